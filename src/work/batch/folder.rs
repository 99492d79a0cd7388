//! A finished batch read back.

use std::path::{Path, PathBuf};

use super::record::{self, PicturePaths, Record};
use crate::figures::Report;
use crate::show::page::look::{Look, LookFacts};
use crate::work::saved::{self, SavedError};

/// The output folder of a batch.
#[derive(Debug, Clone)]
pub struct Folder {
    path: PathBuf,
    /// Its records, in the order of the photos' names.
    pub records: Vec<Record>,
}

/// A photo's pictures, as far as they were written.
#[derive(Debug, Clone, Default)]
pub struct Shown {
    /// What was measured, PNG.
    pub overlay: Option<Vec<u8>>,
    /// The strand laid straight, PNG.
    pub strand: Option<Vec<u8>>,
    /// A part of it enlarged, PNG.
    pub near: Option<Vec<u8>>,
    /// What is known of the two.
    pub facts: Option<LookFacts>,
    /// What was measured as lines, the JSON of a [`Sketch`](crate::show::overlay::Sketch).
    pub sketch: Option<Vec<u8>>,
}

impl Folder {
    /// Whether a place is the output folder of a batch: it holds records.
    #[must_use]
    pub fn is_one(place: &Path) -> bool {
        record::paths(place).is_ok_and(|records| !records.is_empty())
    }

    /// The output folder that a place means: itself, or the one whose `reports` it is.
    #[must_use]
    pub fn meant_by(place: &Path) -> Option<PathBuf> {
        let whole = std::fs::canonicalize(place).ok()?;
        let above = || whole.parent().filter(|_| whole.file_name().is_some_and(|name| name == "reports"));
        if Self::is_one(place) {
            Some(place.to_owned())
        } else {
            above().filter(|out| Self::is_one(out)).map(Path::to_owned)
        }
    }

    /// Reads the records.
    ///
    /// # Errors
    /// [`SavedError`].
    pub fn open(path: &Path) -> Result<Self, SavedError> {
        Ok(Self { path: path.to_owned(), records: record::all(path)? })
    }

    /// The report of a record; `None` for a failed photo.
    ///
    /// # Errors
    /// [`SavedError`] where it was removed, changed or damaged.
    pub fn report(&self, record: &Record) -> Result<Option<Report>, SavedError> {
        record::report(&self.path, record)
    }

    /// The reports of all its photos that have one, in the order of the photos' names.
    ///
    /// # Errors
    /// As [`Folder::report`].
    pub fn reports(&self) -> Result<Vec<Report>, SavedError> {
        let mut reports = Vec::with_capacity(self.records.len());
        for record in &self.records {
            reports.extend(self.report(record)?);
        }
        Ok(reports)
    }

    /// The pictures of a record; those that cannot be read are missing.
    #[must_use]
    pub fn shown(&self, record: &Record) -> Shown {
        shown(&self.path, record)
    }
}

/// The pictures of a record of the output folder `out`; those that cannot be read are missing.
#[must_use]
pub fn shown(out: &Path, record: &Record) -> Shown {
    let paths = PicturePaths::of(&record.id);
    let read = |path: &str| {
        record.pictures.iter().any(|(known, _)| known == path).then(|| std::fs::read(out.join(path)).ok())?
    };
    let facts = saved::read_text(&out.join(&paths.facts), 1 << 20).ok();
    Shown {
        overlay: read(&paths.overlay),
        strand: read(&paths.strand),
        near: read(&paths.near),
        facts: facts.and_then(|text| serde_json::from_str(&text).ok()),
        sketch: read(&paths.sketch),
    }
}

impl Shown {
    /// The pictures of the yarn, where all of them are there.
    #[must_use]
    pub fn look(&self) -> Option<Look> {
        Some(Look { strip_png: self.strand.clone()?, inset_png: self.near.clone()?, facts: self.facts.clone()? })
    }
}
