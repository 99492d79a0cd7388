//! A portfolio written to a folder: a page for each sample, and the index.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use super::notes::Notes;
use super::pages::{Piece, index_page, page_name, sample_page};
use crate::show::file::{self, WriteError};
use crate::work::batch::{Folder, Grouping, Record};
use crate::work::pool::pool_reports;
use crate::work::saved::SavedError;

/// Largest notes file, bytes.
const MAX_NOTES: u64 = 256 << 10;

/// Why a portfolio cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum PortfolioError {
    /// A file of notes.
    #[error("{}: {problem}", path.display())]
    Notes {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        problem: String,
    },
    /// The photos' own figures.
    #[error(transparent)]
    Saved(#[from] SavedError),
    /// A page.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// The folder.
    #[error("{}: cannot be made: {source}; choose another folder", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
}

/// What was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// How many samples have a page.
    pub samples: usize,
    /// Files of notes that belong to no photo and no sample.
    pub unread: Vec<String>,
}

/// Writes `index.html` and a page for each sample of `folder` into `out`; notes stand in `notes`, called like the photo or
/// like the sample.
///
/// # Errors
/// [`PortfolioError`].
pub fn write(
    folder: &Folder,
    grouping: &Grouping,
    notes: &Path,
    title: &str,
    out: &Path,
) -> Result<Written, PortfolioError> {
    std::fs::create_dir_all(out).map_err(|source| PortfolioError::Folder { path: out.to_owned(), source })?;
    let mut groups: BTreeMap<String, Vec<&Record>> = BTreeMap::new();
    for record in folder.records.iter().filter(|r| r.failure.is_none()) {
        // A photo that bears no label is a sample of its own.
        groups.entry(grouping.sample_of(record).unwrap_or_else(|| record.photo.clone())).or_default().push(record);
    }
    let (mut index, mut pages, mut taken) = (Vec::new(), Vec::new(), BTreeSet::new());
    let mut read = BTreeSet::new();
    for (name, records) in groups {
        let Some(mut piece) = piece(folder, name, &records, notes, &mut read)? else { continue };
        let page = page_name(&piece.name, &mut taken);
        file::write(&out.join(&page), sample_page(&piece).as_bytes())?;
        // The index needs the small pictures and the figures only.
        piece.reports.clear();
        piece.shown.overlay = None;
        index.push(piece);
        pages.push(page);
    }
    file::write(&out.join("index.html"), index_page(title, &index, &pages).as_bytes())?;
    let unread: BTreeSet<String> = std::fs::read_dir(notes)
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.path())
        .filter(|path| path.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml")) && !read.contains(path))
        .map(|path| path.file_name().unwrap_or_default().to_string_lossy().into_owned())
        .collect();
    Ok(Written { samples: index.len(), unread: unread.into_iter().collect() })
}

/// One sample with its photos, pictures and notes.
fn piece(
    folder: &Folder,
    name: String,
    records: &[&Record],
    notes: &Path,
    read: &mut BTreeSet<PathBuf>,
) -> Result<Option<Piece>, PortfolioError> {
    let mut reports = Vec::with_capacity(records.len());
    for record in records {
        reports.extend(folder.report(record)?);
    }
    let Some(pooled) = pool_reports(&reports) else { return Ok(None) };
    let shown = records.first().map(|r| folder.shown(r)).unwrap_or_default();
    let mut found = Notes::default();
    let own = safe_name(&name).map(|n| notes.join(format!("{n}.toml")));
    let beside = records.iter().map(|r| notes.join(&r.photo).with_extension("toml"));
    for path in own.into_iter().chain(beside) {
        if path.is_file() {
            // Notes of a sample's second photo are known, though the first ones are shown.
            if read.insert(path.clone()) && found == Notes::default() {
                found = read_notes(&path)?;
            }
        }
    }
    Ok(Some(Piece { name, reports, pooled, shown, notes: found }))
}

/// A sample's name as a file name, where it can be one.
fn safe_name(name: &str) -> Option<&str> {
    (!name.contains(['/', '\\']) && name != "." && name != "..").then_some(name)
}

fn read_notes(path: &Path) -> Result<Notes, PortfolioError> {
    let wrong = |e: &dyn std::fmt::Display| PortfolioError::Notes { path: path.to_owned(), problem: e.to_string() };
    if std::fs::metadata(path).map_err(|e| wrong(&e))?.len() > MAX_NOTES {
        return Err(wrong(&"is larger than 256 kB; shorten it"));
    }
    let text = std::fs::read_to_string(path).map_err(|e| wrong(&e))?;
    Notes::from_toml(&text).map_err(|e| wrong(&e))
}
