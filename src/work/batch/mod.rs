//! Many photos in one go: every photo becomes a report, a picture of what was measured and a row; photos of one sample
//! are pooled.
//!
//! The output folder is the memory. Each photo has its own files, written beside and renamed, the record last; so a run
//! that was killed is finished by starting it again, an unchanged photo is not measured twice, and several machines may
//! each do a part of the list. Tables are made from the records at the end, in the order of the list, and are the same
//! whatever the number of threads.

mod folder;
mod groups;
mod list;
mod one;
mod record;
mod tables;

use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::measure::photo::Limits;
use crate::measure::pipeline::Params;
use crate::show::file::WriteError;

use super::saved::SavedError;
use super::stated::Stated;

pub use folder::{Folder, Shown, shown};
pub use groups::{Grouping, MapError};
pub use list::{ListError, Listed, find_photos, is_photo_ending};
pub use record::{Check, Record, id as id_of, one as record_of, report as report_of, take_away};

/// What a batch does.
pub struct Batch<'a> {
    /// The output folder.
    pub out: &'a Path,
    /// What is stated of all photos; what the output folder keeps of one goes before it. Photos measured under other
    /// statements are measured again.
    pub stated: &'a Stated,
    /// Whether pictures are written too: what was measured, the strand laid straight, a part of it enlarged.
    pub pictures: bool,
    /// The constants of the stages.
    pub params: Params,
    /// Bounds on each photo.
    pub limits: Limits,
    /// How many photos are in work at once, at least 1.
    pub threads: usize,
    /// Whether the photos in hand are still wanted; asked between stages. One that is not leaves everything as it was.
    pub wanted: &'a (dyn Fn() -> bool + Sync),
}

impl std::fmt::Debug for Batch<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Batch").field("out", &self.out).field("threads", &self.threads).finish_non_exhaustive()
    }
}

/// Why a batch stopped. A photo that fails is not among these: it is a row.
#[derive(Debug, thiserror::Error)]
pub enum BatchError {
    /// An output cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// A folder cannot be made or read.
    #[error("{}: {source}; choose another output folder", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// What an earlier run wrote cannot be taken away.
    #[error("{}: cannot be taken away: {source}; remove it, or choose another output folder", path.display())]
    Stale {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// A report written before cannot be read back.
    #[error(transparent)]
    Saved(#[from] SavedError),
    /// The system gives no thread.
    #[error("no thread can be started: {0}; close other programs, or raise the limit on processes or memory")]
    Threads(String),
    /// A table or report cannot be put into words.
    #[error("a report cannot be written: {0}")]
    Format(String),
}

/// How a photo went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Progress {
    /// Measured now.
    Measured,
    /// Unchanged since an earlier run.
    Unchanged,
    /// No report; its record says why.
    Failed,
}

/// What a finished batch did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Summary {
    /// Photos in the list (or in this shard).
    pub photos: usize,
    /// Of these, failed.
    pub failed: usize,
    /// Of these, with at least one figure of the yarn.
    pub answered: usize,
    /// Of these, unchanged since an earlier run.
    pub unchanged: usize,
}

/// A part of the list, for more than one machine: every `of`-th photo from number `index` (counted from 1) on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shard {
    /// Which part, from 1.
    pub index: usize,
    /// Of how many.
    pub of: usize,
}

impl Shard {
    /// The photos of this part.
    #[must_use]
    pub fn take(self, list: Vec<Listed>) -> Vec<Listed> {
        list.into_iter().enumerate().filter(|(i, _)| i % self.of == self.index - 1).map(|(_, photo)| photo).collect()
    }
}

/// Measures what has not been measured yet and writes each photo's files; `progress` is called after each, from any
/// thread. Tables are left to [`write_tables`]. A photo that is no longer wanted has no record among those that come back.
///
/// Each thread has one photo in hand and its own pool, so memory follows the number of threads, not of photos.
///
/// # Errors
/// [`BatchError`] where an output cannot be written; what was finished before stays.
pub fn measure_all(
    batch: &Batch<'_>,
    photos: &[Listed],
    progress: &(dyn Fn(Progress) + Sync),
) -> Result<(Vec<Record>, Summary), BatchError> {
    record::make_folders(batch.out)?;
    let next = AtomicUsize::new(0);
    let done: Mutex<Vec<(usize, Record, Progress)>> = Mutex::new(Vec::with_capacity(photos.len()));
    let stopped: Mutex<Option<BatchError>> = Mutex::new(None);
    let stop = |error: BatchError| {
        next.store(photos.len(), Ordering::SeqCst);
        if let Ok(mut first) = stopped.lock() {
            first.get_or_insert(error);
        }
    };
    // Where there is but one thread in all, it needs no other to work for it.
    let alone = batch.threads <= 1 && rayon::current_num_threads() == 1;
    let work = || {
        let pool = match (!alone).then(|| rayon::ThreadPoolBuilder::new().num_threads(1).build()).transpose() {
            Ok(pool) => pool,
            Err(error) => return stop(BatchError::Threads(error.to_string())),
        };
        loop {
            let index = next.fetch_add(1, Ordering::SeqCst);
            let Some(photo) = photos.get(index) else { break };
            let measure = || one::measure(batch, photo);
            match pool.as_ref().map_or_else(measure, |pool| pool.install(measure)) {
                Ok(None) => {}
                Ok(Some((record, how))) => {
                    progress(how);
                    if let Ok(mut done) = done.lock() {
                        done.push((index, record, how));
                    }
                }
                Err(error) => return stop(error),
            }
        }
    };
    std::thread::scope(|scope| {
        // This thread is one of them. Where the system gives no more, those that there are do the work.
        for _ in 1..batch.threads.clamp(1, photos.len().max(1)) {
            if std::thread::Builder::new().spawn_scoped(scope, work).is_err() {
                break;
            }
        }
        work();
    });
    if let Some(error) = stopped.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner) {
        return Err(error);
    }
    let mut done = done.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
    done.sort_by_key(|(index, ..)| *index);
    let summary = Summary {
        photos: done.len(),
        failed: done.iter().filter(|(_, r, _)| r.failure.is_some()).count(),
        answered: done.iter().filter(|(_, r, _)| r.answered).count(),
        unchanged: done.iter().filter(|(.., how)| *how == Progress::Unchanged).count(),
    };
    Ok((done.into_iter().map(|(_, record, _)| record).collect(), summary))
}

/// Writes `photos.csv`, `photos.jsonl`, `samples.csv` and a pooled report for each sample, from the records, in order.
///
/// # Errors
/// [`BatchError`].
pub fn write_tables(out: &Path, records: &[Record], grouping: &Grouping) -> Result<(), BatchError> {
    tables::photos(out, records, grouping)?;
    tables::samples(out, records, grouping)
}

/// Brings the parts that several machines measured into one folder; the records come back in the order of the list.
///
/// # Errors
/// [`BatchError`].
pub fn merge(parts: &[PathBuf], out: &Path) -> Result<Vec<Record>, BatchError> {
    record::make_folders(out)?;
    record::merge(parts, out)
}

/// Every file that a batch of these photos may write into its folder, with what is stated of each, and every one that it
/// wrote there before.
#[must_use]
pub fn files_of(out: &Path, photos: &[Listed]) -> Vec<PathBuf> {
    record::files_of(out, photos.iter().map(|photo| record::id(&photo.name)))
}

/// Every file that [`merge`] may write into its folder.
#[must_use]
pub fn files_merged(parts: &[PathBuf], out: &Path) -> Vec<PathBuf> {
    parts.iter().flat_map(|part| record::files_of_part(part, out)).collect()
}

/// A file that a batch would replace with a table and that no batch wrote.
#[must_use]
pub fn foreign_table(out: &Path) -> Option<PathBuf> {
    record::foreign_table(out)
}

/// Takes away what earlier runs wrote for photos that are not among `records`: only what their own records say, and only
/// as far as it is still what they wrote. What is gone comes back by its name.
///
/// # Errors
/// [`BatchError`].
pub fn tidy(out: &Path, records: &[Record]) -> Result<Vec<String>, BatchError> {
    record::tidy(out, records)
}

/// Removes damaged records, whose photos are then measured again.
///
/// # Errors
/// [`BatchError`].
pub fn drop_damaged(out: &Path) -> Result<(), BatchError> {
    record::drop_damaged(out)
}

/// Removes what a killed run left half written. Not to be called while another run works in the same folder.
pub fn sweep(out: &Path) {
    record::sweep(out);
}

#[cfg(test)]
mod tests;
