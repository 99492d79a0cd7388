//! What the output folder remembers of each photo.

use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::BatchError;
use crate::card::label::fnv1a;
use crate::figures::Report;
use crate::show::{file, json};
use crate::work::saved;

/// The folders below the output folder.
const FOLDERS: [&str; 4] = ["records", "reports", "overlays", "samples"];

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
    /// The overlay's size in bytes; null without one.
    pub overlay_bytes: Option<u64>,
    /// The label that the report bears.
    pub label: Option<String>,
    /// Whether a figure of the yarn was answered.
    pub answered: bool,
    /// Why there is no report.
    pub failure: Option<String>,
}

/// A stable name for a photo's files: what its name allows, and a check of the whole name against collisions.
#[must_use]
pub(super) fn id(name: &str) -> String {
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
    format!("{:x}-{:016x}", bytes.len(), fnv1a(bytes))
}

pub(super) fn report_path(out: &Path, id: &str) -> PathBuf {
    out.join("reports").join(format!("{id}.json"))
}

pub(super) fn overlay_path(out: &Path, id: &str) -> PathBuf {
    out.join("overlays").join(format!("{id}.png"))
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

/// The record of an earlier run, if it has the same key and its files are whole.
pub(super) fn unchanged(out: &Path, id: &str, key: &str, wants_overlay: bool) -> Option<Record> {
    let record = read(&record_path(out, id)).filter(|r| r.key == key && r.id == id)?;
    match &record.report_check {
        Some(wanted) if check(&fs::read(report_path(out, id)).ok()?) != *wanted => return None,
        None if record.failure.is_none() => return None,
        _ => {}
    }
    match record.overlay_bytes {
        Some(wanted) if fs::metadata(overlay_path(out, id)).ok()?.len() != wanted => return None,
        None if wants_overlay && record.failure.is_none() => return None,
        _ => {}
    }
    Some(record)
}

/// The report of a record; `None` for a failed photo.
pub(super) fn report(out: &Path, record: &Record) -> Result<Option<Report>, BatchError> {
    if record.report_check.is_none() {
        return Ok(None);
    }
    Ok(saved::read_reports(&report_path(out, &record.id))?.into_iter().next())
}

/// Copies every finished photo of the parts to `out`, the record last, and returns all records in the order of names.
pub(super) fn merge(parts: &[PathBuf], out: &Path) -> Result<Vec<Record>, BatchError> {
    let mut all = std::collections::BTreeMap::new();
    for part in parts {
        let folder = part.join("records");
        let unreadable = |source| BatchError::Folder { path: folder.clone(), source };
        for entry in fs::read_dir(&folder).map_err(unreadable)? {
            let path = entry.map_err(unreadable)?.path();
            let Some(record) = path.extension().filter(|e| *e == "json").and_then(|_| read(&path)) else { continue };
            let same_place = fs::canonicalize(part).ok() == fs::canonicalize(out).ok();
            if !same_place {
                copy(&record.report_check, &report_path(part, &record.id), &report_path(out, &record.id))?;
                copy(&record.overlay_bytes, &overlay_path(part, &record.id), &overlay_path(out, &record.id))?;
                write(out, &record)?;
            }
            all.insert(record.photo.clone(), record);
        }
    }
    Ok(all.into_values().collect())
}

fn copy<T>(present: &Option<T>, from: &Path, to: &Path) -> Result<(), BatchError> {
    if present.is_some() {
        let bytes = fs::read(from).map_err(|source| BatchError::Folder { path: from.to_owned(), source })?;
        file::write(to, &bytes)?;
    }
    Ok(())
}

/// Removes temporary files. What cannot be removed does no harm.
pub(super) fn sweep(out: &Path) {
    let folders = FOLDERS.iter().map(|f| out.join(f)).chain([out.to_owned()]);
    for entry in folders.filter_map(|f| fs::read_dir(f).ok()).flatten().flatten() {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        if name.starts_with(".strandrule-") && name.ends_with(".tmp") {
            let _ = fs::remove_file(entry.path());
        }
    }
}
