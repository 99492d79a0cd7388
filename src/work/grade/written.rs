//! Marking from files, and marks as files.

use std::path::{Path, PathBuf};

use super::class::{Class, Photo};
use super::pages::{class_page, file_name, person_page};
use super::rubric::Rubric;
use super::sheet;
use crate::base::stats;
use crate::figures::Report;
use crate::figures::report::Profile;
use crate::show::file;
use crate::work::batch::{BatchError, Folder, Grouping, Record};
use crate::work::{pool, saved};

fn text_of(file: &Path) -> Result<String, String> {
    let bytes = std::fs::read(file).map_err(|e| format!("{}: cannot be read: {e}", file.display()))?;
    String::from_utf8(bytes).map_err(|_not_utf8| format!("{}: it is not UTF-8 text", file.display()))
}

/// The saved report of the yarn that a target file wants to be matched, if it names one: it lies beside the file.
///
/// # Errors
/// A sentence naming the file.
pub fn like_of(file: &Path) -> Result<Option<PathBuf>, String> {
    let name = Rubric::like(&text_of(file)?).map_err(|e| format!("{}: {e}", file.display()))?;
    Ok(name.map(|name| file.parent().unwrap_or(Path::new(".")).join(name)))
}

/// What a target file asks.
///
/// # Errors
/// A sentence naming the file.
pub fn read_target(file: &Path) -> Result<Rubric, String> {
    let like = match like_of(file)? {
        Some(beside) => pool::pool_reports(&saved::read_reports(&beside).map_err(|e| e.to_string())?),
        None => None,
    };
    let like = like.map(|pooled| pooled.sample);
    Rubric::from_toml(&text_of(file)?, like.as_ref()).map_err(|e| format!("{}: {e}", file.display()))
}

/// The photos of a batch, with whose they are where a table says so.
///
/// # Errors
/// [`BatchError`] where a report cannot be read.
pub fn photos_of(folder: &Folder, map: Option<&Grouping>) -> Result<Vec<Photo>, BatchError> {
    let photo = |record: &Record| {
        Ok(Photo {
            name: record.photo.clone(),
            report: folder.report(record)?.map(without_profiles),
            failure: record.failure.clone(),
            mapped: map.and_then(|m| m.mapped(&record.photo)),
        })
    };
    folder.records.iter().map(photo).collect()
}

/// Marks need no profiles, and a class has many.
fn without_profiles(mut report: Report) -> Report {
    for strand in &mut report.strands {
        let mean = stats::mean(&strand.profile.width_mm);
        strand.profile = Profile { width_mm: mean.into_iter().collect(), ..Profile::default() };
    }
    report
}

/// Writes the class's sheet, its table and each person's page into `out`.
///
/// # Errors
/// [`BatchError`] where a file cannot be written.
pub fn write(out: &Path, class: &Class, rubric: &Rubric, folder: &Folder) -> Result<(), BatchError> {
    let people = out.join("people");
    std::fs::create_dir_all(&people).map_err(|source| BatchError::Folder { path: people.clone(), source })?;
    for entry in &class.entries {
        let first = entry.photos.first().and_then(|name| folder.records.iter().find(|r| r.photo == *name));
        let shown = first.map(|record| folder.shown(record)).unwrap_or_default();
        let page = person_page(entry, rubric, shown.strand.as_deref(), shown.overlay.as_deref());
        file::write(&people.join(file_name(entry)), page.as_bytes())?;
    }
    let table = sheet::csv(class, rubric).map_err(|e| BatchError::Format(e.to_string()))?;
    file::write(&out.join("class.csv"), &table)?;
    file::write(&out.join("class.html"), class_page(class, rubric).as_bytes())?;
    Ok(())
}
