//! What the desk keeps on the disk, laid out as `batch --out` does, so that either goes on where the other stopped:
//! `photos/` holds the photos as they came, `stated/` what is stated of each, `map.csv` which photos are one sample,
//! `roster.csv` and `target.toml` a class and what it is asked; reports, pictures and tables are those of a batch.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};

use crate::show::{escape, file};
use crate::work::batch::{self, Grouping, Listed};

/// The lock that one open desk holds; the system lets it go however the program ends.
const LOCK: &str = ".strandrule-desk.lock";

/// Largest table or target that is read, bytes: a class is a few kilobytes.
pub(crate) const MOST_TEXT_BYTES: u64 = 1 << 20;

/// The desk's folder, held by one desk at a time.
#[derive(Debug)]
pub(crate) struct Folder {
    out: PathBuf,
    _lock: File,
}

impl Folder {
    /// Makes the folder where it is missing, holds it, and removes what a killed program left half written.
    ///
    /// # Errors
    /// A sentence naming the folder.
    pub(crate) fn open(out: &Path) -> Result<Self, String> {
        let refused = |e: std::io::Error| format!("{}: cannot be used: {e}; name another folder", out.display());
        if let Some(table) = batch::foreign_table(out) {
            return Err(format!("{}: is there already, and no batch wrote it; name another folder", table.display()));
        }
        // Records make it the output folder of a batch, before anything is measured too.
        for folder in ["photos", "records"] {
            fs::create_dir_all(out.join(folder)).map_err(refused)?;
        }
        let out = fs::canonicalize(out).map_err(refused)?;
        let lock = File::create(out.join(LOCK)).map_err(refused)?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(fs::TryLockError::WouldBlock) => {
                return Err(format!("{}: is open on another desk; close that one first", out.display()));
            }
            // A file system without locks: the desk works there too.
            Err(fs::TryLockError::Error(_)) => {}
        }
        batch::sweep(&out);
        // Every photo is looked at once more anyway; nobody at a desk could mend a record.
        batch::drop_damaged(&out).map_err(|e| e.to_string())?;
        Ok(Self { out, _lock: lock })
    }

    /// Where it is.
    #[must_use]
    pub(crate) fn out(&self) -> &Path {
        &self.out
    }

    /// Where a photo of this name lies, or will.
    #[must_use]
    pub(crate) fn photo(&self, name: &str) -> PathBuf {
        self.out.join("photos").join(name)
    }

    /// Every photo in it, as a batch would list them.
    #[must_use]
    pub(crate) fn photos(&self) -> Vec<Listed> {
        batch::find_photos(&[self.out.join("photos")]).unwrap_or_default()
    }

    /// Which photos are one sample, as `map.csv` says.
    ///
    /// # Errors
    /// A sentence where the table cannot be read.
    pub(crate) fn map(&self) -> Result<BTreeMap<String, String>, String> {
        let Some(bytes) = self.text("map.csv")? else { return Ok(BTreeMap::new()) };
        match Grouping::from_table(&bytes).map_err(|e| format!("map.csv: {e}"))? {
            Grouping::Map(map) => Ok(map),
            Grouping::Label | Grouping::Folder => Ok(BTreeMap::new()),
        }
    }

    /// Keeps which photos are one sample.
    ///
    /// # Errors
    /// A sentence where it cannot be written.
    pub(crate) fn keep_map(&self, map: &BTreeMap<String, String>) -> Result<(), String> {
        let mut table = csv::Writer::from_writer(Vec::new());
        let rows = std::iter::once(("photo", "sample")).chain(map.iter().map(|(p, s)| (p.as_str(), s.as_str())));
        for (photo, sample) in rows {
            table.write_record([photo, sample]).map_err(|e| e.to_string())?;
        }
        self.keep("map.csv", &table.into_inner().map_err(|e| e.to_string())?)
    }

    /// A small file's content; `None` where there is none.
    ///
    /// # Errors
    /// A sentence where it cannot be read or is far too large.
    pub(crate) fn text(&self, name: &str) -> Result<Option<Vec<u8>>, String> {
        let path = self.out.join(name);
        match fs::metadata(&path) {
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(None),
            Ok(about) if about.len() > MOST_TEXT_BYTES => Err(format!("{name}: is far too large")),
            _ => fs::read(&path).map(Some).map_err(|e| format!("{name}: cannot be read: {e}")),
        }
    }

    /// Writes a small file whole.
    ///
    /// # Errors
    /// A sentence where it cannot be written.
    pub(crate) fn keep(&self, name: &str, bytes: &[u8]) -> Result<(), String> {
        file::write(&self.out.join(name), bytes).map_err(|e| e.to_string())
    }

    /// Puts a photo away: it is moved into `removed/`, and what was measured of it goes.
    ///
    /// # Errors
    /// A sentence where it cannot be moved.
    pub(crate) fn put_away(&self, name: &str) -> Result<(), String> {
        let refused = |e: std::io::Error| format!("{}: cannot be put away: {e}", escape::one_line(name));
        let removed = self.out.join("removed");
        fs::create_dir_all(&removed).map_err(refused)?;
        let free = (1..10_000).map(|n| removed.join(super::names::numbered(name, n))).find(|path| !path.exists());
        let free = free.ok_or_else(|| format!("{}: has been put away too often", escape::one_line(name)))?;
        if self.photo(name).exists() {
            fs::rename(self.photo(name), free).map_err(refused)?;
        }
        batch::take_away(&self.out, name).map_err(|e| e.to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_damaged_record_keeps_no_desk_shut() {
        let place = tempfile::tempdir().unwrap();
        fs::create_dir(place.path().join("records")).unwrap();
        let record = place.path().join("records").join("yarn-0123abcd.json");
        fs::write(&record, "{").unwrap();
        let folder = Folder::open(place.path()).unwrap();
        assert!(batch::Folder::open(folder.out()).unwrap().records.is_empty());
        assert!(!record.exists());
    }
}
