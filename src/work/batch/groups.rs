//! Which photos show one sample.

use std::collections::BTreeMap;

use super::record::Record;

/// How photos are put together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Grouping {
    /// By the label on the card; a photo without one stands alone.
    Label,
    /// By the folder that the photo lies in.
    Folder,
    /// By a table of photos and samples; a photo that it does not name goes by its label.
    Map(BTreeMap<String, String>),
}

/// Why a mapping file cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MapError {
    /// Not the right columns.
    #[error("the mapping file needs the columns \"photo\" and \"sample\" in its first row (found: {0})")]
    Columns(String),
    /// A column that is there twice.
    #[error("the mapping file has the column \"{0}\" twice; keep one")]
    Twice(&'static str),
    /// A row that cannot be read.
    #[error("the mapping file's row {row}: {detail}")]
    Row {
        /// Counted with the header as row 1.
        row: usize,
        /// What is wrong.
        detail: String,
    },
}

impl Grouping {
    /// From a table (CSV, UTF-8) with the columns `photo` and `sample`, parted by commas, semicolons or tabs; `photo` is
    /// the name as the tables show it, or the file name alone.
    ///
    /// # Errors
    /// [`MapError`].
    pub fn from_table(bytes: &[u8]) -> Result<Self, MapError> {
        let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(delimiter(bytes))
            .trim(csv::Trim::All)
            .flexible(true)
            .from_reader(bytes);
        let row_error = |error: &csv::Error| MapError::Row {
            row: error.position().map_or(1, |p| usize::try_from(p.line()).unwrap_or(usize::MAX)),
            detail: error.to_string(),
        };
        let header = reader.headers().map_err(|e| row_error(&e))?.clone();
        let column = |name: &str| header.iter().position(|h| h.eq_ignore_ascii_case(name));
        let (Some(photo), Some(sample)) = (column("photo"), column("sample")) else {
            return Err(MapError::Columns(header.iter().collect::<Vec<_>>().join(", ")));
        };
        if let Some(twice) = ["photo", "sample"]
            .into_iter()
            .find(|name| header.iter().filter(|h| h.eq_ignore_ascii_case(name)).count() > 1)
        {
            return Err(MapError::Twice(twice));
        }
        let mut map = BTreeMap::new();
        for record in reader.records() {
            let record = record.map_err(|e| row_error(&e))?;
            let row = record.position().map_or(0, |p| usize::try_from(p.line()).unwrap_or(usize::MAX));
            let (Some(name), Some(to)) = (record.get(photo), record.get(sample)) else {
                return Err(MapError::Row { row, detail: "a cell is missing".to_owned() });
            };
            if name.is_empty() || to.is_empty() {
                continue;
            }
            if map.insert(name.to_owned(), to.to_owned()).is_some_and(|before| before != to) {
                return Err(MapError::Row {
                    row,
                    detail: format!("\"{name}\" is named twice, with different samples"),
                });
            }
        }
        Ok(Self::Map(map))
    }

    /// The photos that a mapping file names and that are not among these; empty for any other grouping.
    #[must_use]
    pub fn without_photo(&self, records: &[Record]) -> Vec<String> {
        let Self::Map(map) = self else { return Vec::new() };
        let is_known = |name: &str| {
            records.iter().any(|r| r.photo == name || r.photo.rsplit('/').next().unwrap_or_default() == name)
        };
        map.keys().filter(|name| !is_known(name)).cloned().collect()
    }

    /// What a mapping file says of a photo; `None` for any other grouping.
    #[must_use]
    pub fn mapped(&self, photo: &str) -> Option<String> {
        let Self::Map(map) = self else { return None };
        let file = photo.rsplit('/').next().unwrap_or_default();
        map.get(photo).or_else(|| map.get(file)).cloned()
    }

    /// The sample that a photo shows, where one is known.
    #[must_use]
    pub fn sample_of(&self, record: &Record) -> Option<String> {
        let folder = || record.photo.rsplit_once('/').map(|(folder, _)| folder.to_owned());
        match self {
            Self::Label => record.label.clone(),
            Self::Folder => folder().or_else(|| record.label.clone()),
            Self::Map(_) => self.mapped(&record.photo).or_else(|| record.label.clone()),
        }
    }
}

/// What parts the cells: the one of comma, semicolon and tab that stands most often in the first row. Spreadsheets
/// write semicolons where the comma is the decimal sign.
fn delimiter(bytes: &[u8]) -> u8 {
    let header = bytes.split(|b| *b == b'\n').next().unwrap_or_default();
    let count = |mark: u8| header.iter().filter(|b| **b == mark).count();
    [b',', b';', b'\t'].into_iter().rev().max_by_key(|mark| count(*mark)).unwrap_or(b',')
}
