//! What the output folder remembers of each photo.

use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::BatchError;
use crate::card::label::{fnv1a, fnv1a_from};
use crate::figures::Report;
use crate::show::{file, json};
use crate::work::saved;
use crate::work::stated::Stated;

/// The folders below the output folder.
const FOLDERS: [&str; 5] = ["records", "reports", "overlays", "looks", "samples"];

/// A photo's record; written last, so that its presence says that the photo is finished.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Record {
    /// The photo's name in tables.
    pub photo: String,
    /// Name of its files in the output folder, without ending.
    pub id: String,
    /// What was measured how: content of the photo, options, version.
    pub key: String,
    /// The report's content, as a check; null without one.
    pub report_check: Option<String>,
    /// The pictures written, as paths below the output folder, and their sizes in bytes.
    pub pictures: Vec<(String, u64)>,
    /// The label that the report bears.
    pub label: Option<String>,
    /// Whether a figure of the yarn was answered.
    pub answered: bool,
    /// Why there is no report.
    pub failure: Option<String>,
}

/// A stable name for a photo's files: what its name allows, and a check of the whole name against collisions.
#[must_use]
pub fn id(name: &str) -> String {
    let stem = name.rsplit('/').next().unwrap_or(name);
    let stem = stem.rsplit_once('.').map_or(stem, |(before, _)| before);
    let plain: String =
        stem.chars().map(|c| if c.is_ascii_alphanumeric() || c == '_' { c } else { '-' }).take(60).collect();
    let plain = plain.trim_matches('-');
    format!("{}{}{:08x}", plain, if plain.is_empty() { "" } else { "-" }, fnv1a(name.as_bytes()) & 0xffff_ffff)
}

/// A check of some content: its length and a 64-bit hash. Guards against change, not against malice.
#[must_use]
pub(super) fn check(bytes: &[u8]) -> String {
    let mut check = Check::default();
    check.add(bytes);
    check.text()
}

/// The same, of content that comes in pieces.
#[derive(Debug, Clone, Copy)]
pub struct Check {
    bytes: u64,
    hash: u64,
}

impl Default for Check {
    fn default() -> Self {
        Self { bytes: 0, hash: fnv1a(b"") }
    }
}

impl Check {
    /// Adds a piece.
    pub fn add(&mut self, piece: &[u8]) {
        self.bytes += piece.len() as u64;
        self.hash = fnv1a_from(self.hash, piece);
    }

    /// Length so far, bytes.
    #[must_use]
    pub fn bytes(&self) -> u64 {
        self.bytes
    }

    /// As text.
    #[must_use]
    pub fn text(&self) -> String {
        format!("{:x}-{:016x}", self.bytes, self.hash)
    }
}

/// Which program measured: its version and a check of its own file, so that a rebuilt program measures again. The
/// version alone where the file cannot be read.
pub(super) fn program() -> &'static str {
    static PROGRAM: std::sync::OnceLock<String> = std::sync::OnceLock::new();
    PROGRAM.get_or_init(|| {
        let own = std::env::current_exe().and_then(fs::read).map(|bytes| format!("-{:016x}", fnv1a(&bytes)));
        format!("{}{}", env!("CARGO_PKG_VERSION"), own.unwrap_or_default())
    })
}

pub(super) fn report_path(out: &Path, id: &str) -> PathBuf {
    out.join("reports").join(format!("{id}.json"))
}

/// Where a photo's pictures lie below the output folder: what was measured, the strand laid straight, a part of it
/// enlarged, what is known of the two, and what was measured as lines that a page can draw.
pub(super) struct PicturePaths {
    pub(super) overlay: String,
    pub(super) strand: String,
    pub(super) near: String,
    pub(super) facts: String,
    pub(super) sketch: String,
}

impl PicturePaths {
    pub(super) fn of(id: &str) -> Self {
        Self {
            overlay: format!("overlays/{id}.png"),
            strand: format!("looks/{id}-strand.png"),
            near: format!("looks/{id}-near.png"),
            facts: format!("looks/{id}.json"),
            sketch: format!("looks/{id}-marks.json"),
        }
    }
}

fn record_path(out: &Path, id: &str) -> PathBuf {
    out.join("records").join(format!("{id}.json"))
}

pub(super) fn make_folders(out: &Path) -> Result<(), BatchError> {
    for folder in FOLDERS {
        let path = out.join(folder);
        fs::create_dir_all(&path).map_err(|source| BatchError::Folder { path, source })?;
    }
    Ok(())
}

pub(super) fn write(out: &Path, record: &Record) -> Result<(), BatchError> {
    let text = json::text(record).map_err(|e| BatchError::Format(e.to_string()))?;
    Ok(file::write(&record_path(out, &record.id), text.as_bytes())?)
}

fn read(path: &Path) -> Option<Record> {
    serde_json::from_str(&saved::read_text(path, 1 << 20).ok()?).ok()
}

/// The record of one photo by the name of its files; `None` where there is none.
#[must_use]
pub fn one(out: &Path, id: &str) -> Option<Record> {
    read(&record_path(out, id))
}

/// Forgets a photo: its record first, so that nothing half is taken for a finished photo, then its other files.
///
/// # Errors
/// [`BatchError::Folder`] where the record cannot be removed.
pub fn forget(out: &Path, photo: &str) -> Result<(), BatchError> {
    let id = id(photo);
    let path = record_path(out, &id);
    match fs::remove_file(&path) {
        Err(source) if source.kind() != std::io::ErrorKind::NotFound => {
            return Err(BatchError::Folder { path, source });
        }
        _ => {}
    }
    let paths = PicturePaths::of(&id);
    let pictures = [paths.overlay, paths.strand, paths.near, paths.facts, paths.sketch].map(|path| out.join(path));
    for path in pictures.into_iter().chain([report_path(out, &id), Stated::place(out, &id)]) {
        // What cannot be removed is known to nobody any more.
        let _ = fs::remove_file(path);
    }
    Ok(())
}

/// The record of an earlier run, if it has the same key and its files are whole.
pub(super) fn unchanged(out: &Path, id: &str, key: &str) -> Option<Record> {
    let record = read(&record_path(out, id)).filter(|r| r.key == key && r.id == id)?;
    match &record.report_check {
        Some(wanted) if check(&fs::read(report_path(out, id)).ok()?) != *wanted => return None,
        None if record.failure.is_none() => return None,
        _ => {}
    }
    let whole = |(path, size): &(String, u64)| fs::metadata(out.join(path)).is_ok_and(|about| about.len() == *size);
    record.pictures.iter().all(whole).then_some(record)
}

/// All records of a folder, in the order of the photos' names.
pub(super) fn all(folder: &Path) -> Result<Vec<Record>, BatchError> {
    let records = folder.join("records");
    let unreadable = |source| BatchError::Folder { path: records.clone(), source };
    let mut found = Vec::new();
    for entry in fs::read_dir(&records).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        found.extend(path.extension().filter(|e| *e == "json").and_then(|_| read(&path)));
    }
    found.sort_by(|a, b| a.photo.cmp(&b.photo));
    Ok(found)
}

/// The report of a record of the output folder `out`; `None` for a failed photo.
///
/// # Errors
/// [`BatchError::Saved`] where it was removed or damaged.
pub fn report(out: &Path, record: &Record) -> Result<Option<Report>, BatchError> {
    if record.report_check.is_none() {
        return Ok(None);
    }
    Ok(saved::read_reports(&report_path(out, &record.id))?.into_iter().next())
}

/// Copies every finished photo of the parts to `out`, the record last, and returns all records in the order of names.
pub(super) fn merge(parts: &[PathBuf], out: &Path) -> Result<Vec<Record>, BatchError> {
    let mut merged = std::collections::BTreeMap::new();
    for part in parts {
        let same_place = fs::canonicalize(part).ok() == fs::canonicalize(out).ok();
        for record in all(part)? {
            if !same_place {
                if record.report_check.is_some() {
                    copy(&report_path(part, &record.id), &report_path(out, &record.id))?;
                }
                for (path, _) in record.pictures.iter().filter(|(path, _)| is_ours(path)) {
                    copy(&part.join(path), &out.join(path))?;
                }
                write(out, &record)?;
            }
            merged.insert(record.photo.clone(), record);
        }
    }
    Ok(merged.into_values().collect())
}

/// Whether a recorded path stays within the folders that we write.
fn is_ours(path: &str) -> bool {
    let mut parts = path.split('/');
    let (folder, name) = (parts.next().unwrap_or_default(), parts.next().unwrap_or_default());
    FOLDERS.contains(&folder) && !name.is_empty() && name != ".." && !name.contains('\\') && parts.next().is_none()
}

fn copy(from: &Path, to: &Path) -> Result<(), BatchError> {
    let bytes = fs::read(from).map_err(|source| BatchError::Folder { path: from.to_owned(), source })?;
    Ok(file::write(to, &bytes)?)
}

/// Removes temporary files. What cannot be removed does no harm.
pub(super) fn sweep(out: &Path) {
    // Photos may be received into the output folder itself, and what is stated of them is kept there.
    let folders = FOLDERS.iter().chain(&["photos", "stated"]).map(|f| out.join(f)).chain([out.to_owned()]);
    for entry in folders.filter_map(|f| fs::read_dir(f).ok()).flatten().flatten() {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        if name.starts_with(".strandrule-") && name.ends_with(".tmp") {
            let _ = fs::remove_file(entry.path());
        }
    }
}
