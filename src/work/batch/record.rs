//! What the output folder remembers of each photo.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::BatchError;
use crate::card::label::{fnv1a, fnv1a_from};
use crate::figures::Report;
use crate::show::{file, json};
use crate::work::saved::{self, SavedError};
use crate::work::stated::Stated;

/// The folders below the output folder.
const FOLDERS: [&str; 5] = ["records", "reports", "overlays", "looks", "samples"];

/// The tables beside them.
const TABLES: [&str; 3] = ["photos.csv", "photos.jsonl", "samples.csv"];

/// A table's name in a folder that holds no records: somebody else's file.
pub(super) fn foreign_table(out: &Path) -> Option<PathBuf> {
    let mut tables = TABLES.iter().map(|name| out.join(name));
    tables.find(|table| table.exists() && !out.join("records").is_dir())
}

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

/// Whether a file's name without ending is one that [`id`] gives: it ends in eight hexadecimal digits.
fn is_id(stem: &str) -> bool {
    let check = stem.rsplit('-').next().unwrap_or(stem);
    check.len() == 8 && check.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'))
}

/// Whether a path is that of a picture of a batch: the name that it gives, in a folder that it makes, beside its records.
pub(super) fn names_picture(path: &Path) -> bool {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let Some(stem) = name.strip_suffix(".png") else { return false };
    let Some(folder) = path.parent() else { return false };
    let named = match folder.file_name().and_then(|n| n.to_str()) {
        Some("overlays") => is_id(stem),
        Some("looks") => stem.strip_suffix("-strand").or_else(|| stem.strip_suffix("-near")).is_some_and(is_id),
        _ => false,
    };
    named && folder.parent().is_some_and(|out| out.join("records").is_dir())
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
    fn all(id: &str) -> [String; 5] {
        let Self { overlay, strand, near, facts, sketch } = Self::of(id);
        [overlay, strand, near, facts, sketch]
    }

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

/// Writes a record after what it speaks of; what an earlier one of the same photo spoke of besides is removed first.
pub(super) fn write(out: &Path, record: &Record) -> Result<(), BatchError> {
    if let Some(old) = read(&record_path(out, &record.id)) {
        forget(out, &old, Some(record))?;
    }
    let text = json::text(record).map_err(|e| BatchError::Format(e.to_string()))?;
    Ok(file::write(&record_path(out, &record.id), text.as_bytes())?)
}

impl Record {
    /// What it says was written, as paths below the output folder, each with whether a content is what was written.
    fn files(&self) -> Vec<(String, Wrote)> {
        let ours = PicturePaths::all(&self.id);
        let pictures = self.pictures.iter().filter(|(path, _)| ours.contains(path));
        let report =
            self.report_check.iter().map(|check| (format!("reports/{}.json", self.id), Wrote::Text(check.clone())));
        report.chain(pictures.map(|(path, size)| (path.clone(), Wrote::Picture(*size)))).collect()
    }
}

/// What a record remembers of a file.
enum Wrote {
    /// The check of its content.
    Text(String),
    /// Its size, bytes.
    Picture(u64),
}

impl Wrote {
    fn stands_in(&self, path: &Path) -> bool {
        match self {
            Self::Text(wanted) => fs::read(path).is_ok_and(|bytes| check(&bytes) == *wanted),
            Self::Picture(size) => fs::metadata(path).is_ok_and(|about| about.len() == *size),
        }
    }
}

/// Reads a record; `None` where it is damaged or was not written for a photo of its name.
fn read(path: &Path) -> Option<Record> {
    let record: Record = serde_json::from_str(&saved::read_text(path, 1 << 20).ok()?).ok()?;
    let whole = record.id == id(&record.photo) && path.file_stem()?.to_str()? == record.id;
    whole.then_some(record)
}

/// The paths of all records of a folder, in the order of their names: what in `records` is named as a batch names them.
pub(super) fn paths(folder: &Path) -> std::io::Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder.join("records"))? {
        let path = entry?.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if name.strip_suffix(".json").is_some_and(is_id) {
            found.push(path);
        }
    }
    found.sort();
    Ok(found)
}

/// Every file that measuring these photos may write into a folder, and every one that its records speak of.
pub(super) fn files_of(out: &Path, ids: impl IntoIterator<Item = String>) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = TABLES.iter().map(|name| out.join(name)).collect();
    for id in ids {
        files.extend([record_path(out, &id), report_path(out, &id)]);
        files.extend(PicturePaths::all(&id).map(|path| out.join(path)));
        files.push(Stated::place(out, &id));
    }
    for path in paths(out).unwrap_or_default() {
        if let Some(record) = read(&path) {
            files.extend(record.files().into_iter().map(|(below, _)| out.join(below)));
            files.push(Stated::place(out, &record.id));
        }
        files.push(path);
    }
    files.extend(samples(out).map(|(path, _)| path));
    files
}

/// The pooled reports that lie in a folder and name of which is made from the sample's own; and that sample.
pub(super) fn samples(out: &Path) -> impl Iterator<Item = (PathBuf, String)> {
    fs::read_dir(out.join("samples")).into_iter().flatten().flatten().filter_map(|entry| {
        let path = entry.path();
        let pooled: serde_json::Value = serde_json::from_str(&saved::read_text(&path, 1 << 30).ok()?).ok()?;
        let sample = pooled.pointer("/sample/label")?.as_str()?.to_owned();
        (path.file_name()?.to_str()? == format!("{}.json", id(&sample))).then_some((path, sample))
    })
}

/// Removes what an earlier record says was written and a later one does not, as far as it is still what was written.
/// Whatever else lies there is not ours to touch.
fn forget(out: &Path, old: &Record, new: Option<&Record>) -> Result<(), BatchError> {
    let kept: Vec<String> = new.map(Record::files).unwrap_or_default().into_iter().map(|(path, _)| path).collect();
    for (below, wrote) in old.files() {
        let path = out.join(&below);
        if !kept.contains(&below) && wrote.stands_in(&path) {
            remove(&path)?;
        }
    }
    Ok(())
}

fn remove(path: &Path) -> Result<(), BatchError> {
    match fs::remove_file(path) {
        Err(source) if source.kind() != std::io::ErrorKind::NotFound => {
            Err(BatchError::Stale { path: path.to_owned(), source })
        }
        _ => Ok(()),
    }
}

/// Removes what was written for photos that are not among `records`, each record last, so that a run that is killed
/// meanwhile leaves the rest to the next. The photos' names come back, and those of records that were damaged.
pub(super) fn tidy(out: &Path, records: &[Record]) -> Result<Vec<String>, BatchError> {
    let known: BTreeSet<&str> = records.iter().map(|r| r.id.as_str()).collect();
    let mut gone = Vec::new();
    for path in paths(out).map_err(|source| BatchError::Folder { path: out.join("records"), source })? {
        let stem = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        if known.contains(stem.as_str()) {
            continue;
        }
        match read(&path) {
            Some(record) => {
                forget(out, &record, None)?;
                gone.push(record.photo);
            }
            None => gone.push(format!("records/{stem}.json (damaged)")),
        }
        remove(&path)?;
    }
    gone.sort();
    Ok(gone)
}

/// The record of one photo by the name of its files; `None` where there is none.
#[must_use]
pub fn one(out: &Path, id: &str) -> Option<Record> {
    read(&record_path(out, id))
}

/// Takes away what was written for a photo and what was stated of it, the record last; the photo itself is not touched.
///
/// # Errors
/// [`BatchError::Stale`] where something stays.
pub fn take_away(out: &Path, photo: &str) -> Result<(), BatchError> {
    let id = id(photo);
    if let Some(record) = one(out, &id) {
        forget(out, &record, None)?;
    }
    remove(&Stated::place(out, &id))?;
    remove(&record_path(out, &id))
}

/// The record of an earlier run, if it has the same key and its files are whole.
pub(super) fn unchanged(out: &Path, id: &str, key: &str) -> Option<Record> {
    let record = read(&record_path(out, id)).filter(|r| r.key == key)?;
    if record.report_check.is_none() && record.failure.is_none() {
        return None;
    }
    record.files().iter().all(|(below, wrote)| wrote.stands_in(&out.join(below))).then_some(record)
}

/// All records of a folder, in the order of the photos' names.
///
/// # Errors
/// [`SavedError::Record`] for one that is damaged: its photo would be missing without a word.
pub(super) fn all(folder: &Path) -> Result<Vec<Record>, SavedError> {
    let listed = paths(folder).map_err(|source| SavedError::Unreadable { file: folder.join("records"), source })?;
    let mut found = Vec::with_capacity(listed.len());
    for path in listed {
        found.push(read(&path).ok_or(SavedError::Record { file: path })?);
    }
    found.sort_by(|a, b| a.photo.cmp(&b.photo));
    Ok(found)
}

/// The report of a record of the output folder `out`; `None` for a failed photo.
///
/// # Errors
/// [`SavedError`] where it cannot be read or is not what the record says.
pub fn report(out: &Path, record: &Record) -> Result<Option<Report>, SavedError> {
    let Some(wanted) = &record.report_check else { return Ok(None) };
    let file = report_path(out, &record.id);
    let text = saved::read_text(&file, 1 << 30)?;
    if check(text.as_bytes()) != *wanted {
        return Err(SavedError::Changed { file });
    }
    Ok(saved::reports_of(&file, &text)?.into_iter().next())
}

/// Removes the records that are damaged, whose photos are then measured again.
pub(super) fn drop_damaged(out: &Path) -> Result<(), BatchError> {
    let listed = paths(out).map_err(|source| BatchError::Folder { path: out.join("records"), source })?;
    listed.iter().filter(|path| read(path).is_none()).try_for_each(|path| remove(path))
}

/// Copies every finished photo of the parts to `out`, the record last, and returns all records in the order of names.
pub(super) fn merge(parts: &[PathBuf], out: &Path) -> Result<Vec<Record>, BatchError> {
    let mut merged = std::collections::BTreeMap::new();
    for part in parts {
        let same_place = fs::canonicalize(part).ok() == fs::canonicalize(out).ok();
        for record in all(part)? {
            if !same_place {
                for (below, _) in record.files() {
                    copy(&part.join(&below), &out.join(&below))?;
                }
                // What was stated of it comes along, or whoever goes on there would measure it as if nothing had been.
                if Stated::place(part, &record.id).is_file() {
                    fs::create_dir_all(out.join("stated"))
                        .map_err(|source| BatchError::Folder { path: out.join("stated"), source })?;
                    copy(&Stated::place(part, &record.id), &Stated::place(out, &record.id))?;
                }
                write(out, &record)?;
            }
            merged.insert(record.photo.clone(), record);
        }
    }
    Ok(merged.into_values().collect())
}

fn copy(from: &Path, to: &Path) -> Result<(), BatchError> {
    let bytes = fs::read(from).map_err(|source| BatchError::Folder { path: from.to_owned(), source })?;
    Ok(file::write(to, &bytes)?)
}

/// The files that [`merge`] may write for what a part holds.
pub(super) fn files_of_part(part: &Path, out: &Path) -> Vec<PathBuf> {
    files_of(out, all(part).unwrap_or_default().into_iter().map(|record| record.id))
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
