//! Saved reports read back.

mod sane;

use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};

use crate::figures::Report;
use crate::figures::report::SCHEMA;
use crate::work::batch::{self, Folder};

/// Largest file of reports that is read, bytes. A report with ten passes at full profile is below 2 MB; a table of ten
/// thousand photos stays below this.
const MAX_BYTES: u64 = 1 << 30;

/// Why saved reports cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum SavedError {
    /// The file cannot be read.
    #[error("{}: cannot be read: {source}", file.display())]
    Unreadable {
        /// The file.
        file: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// Far too large.
    #[error("{}: is larger than {MAX_BYTES} bytes; split it", file.display())]
    TooLarge {
        /// The file.
        file: PathBuf,
    },
    /// Not JSON, or not a report.
    #[error("{}: is no saved report ({detail}); write one with `strandrule measure PHOTO > report.json`", file.display())]
    NotAReport {
        /// The file.
        file: PathBuf,
        /// What does not fit.
        detail: String,
    },
    /// A report that holds what no report holds.
    #[error("{}: {problem}; write the report again with `strandrule measure PHOTO > report.json`", file.display())]
    Wrong {
        /// The file.
        file: PathBuf,
        /// The field, and what is wrong with it.
        problem: String,
    },
    /// A report of another version of the schema.
    #[error("{}: has the schema \"{found}\", and this version reads \"{SCHEMA}\"; measure the photo again", file.display())]
    OtherSchema {
        /// The file.
        file: PathBuf,
        /// Its schema.
        found: String,
    },
    /// A batch's record of a photo.
    #[error("{}: is a damaged record; run the batch again", file.display())]
    Record {
        /// The record.
        file: PathBuf,
    },
    /// A report of a batch that somebody changed, or that was not finished.
    #[error("{}: is not what the batch wrote; run the batch again", file.display())]
    Changed {
        /// The report.
        file: PathBuf,
    },
    /// A folder or file without any report.
    #[error("{}: holds no report; measure the photos first, as in `strandrule batch PHOTOS --out results`, and name results", file.display())]
    Empty {
        /// The place.
        file: PathBuf,
    },
}

/// A text file, within the limit.
pub(crate) fn read_text(file: &Path, limit: u64) -> Result<String, SavedError> {
    let unreadable = |source| SavedError::Unreadable { file: file.to_owned(), source };
    let mut bytes = Vec::new();
    fs::File::open(file).map_err(unreadable)?.take(limit + 1).read_to_end(&mut bytes).map_err(unreadable)?;
    if bytes.len() as u64 > limit {
        return Err(SavedError::TooLarge { file: file.to_owned() });
    }
    String::from_utf8(bytes).map_err(|_not_utf8| SavedError::NotAReport {
        file: file.to_owned(),
        detail: "it is not UTF-8 text".to_owned(),
    })
}

/// The reports of a file: one object, a list, or JSON Lines; or of a folder: of its `.json` files in the order of their
/// names, reports only (others are passed over); or of the output folder of `batch` (or its `reports`): of the photos that
/// its records name. Never empty.
///
/// # Errors
/// [`SavedError`].
pub fn read_reports(place: &Path) -> Result<Vec<Report>, SavedError> {
    let reports = if let Some(batch) = Folder::meant_by(place) {
        Folder::open(&batch)?.reports()?
    } else if place.is_dir() {
        in_folder(place)?
    } else {
        in_file(place)?
    };
    if reports.is_empty() {
        return Err(SavedError::Empty { file: place.to_owned() });
    }
    Ok(reports)
}

/// The files that reading reports at a place looks into.
#[must_use]
pub fn files_of(place: &Path) -> Vec<PathBuf> {
    if let Some(batch) = Folder::meant_by(place) {
        batch::files_of(&batch, &[])
    } else if place.is_dir() {
        files_in(place).unwrap_or_default()
    } else {
        vec![place.to_owned()]
    }
}

fn files_in(folder: &Path) -> Result<Vec<PathBuf>, SavedError> {
    let unreadable = |source| SavedError::Unreadable { file: folder.to_owned(), source };
    let mut files = Vec::new();
    for entry in fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        if path.extension().is_some_and(|e| e.eq_ignore_ascii_case("json")) && path.is_file() {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}

fn in_folder(folder: &Path) -> Result<Vec<Report>, SavedError> {
    let mut reports = Vec::new();
    for file in files_in(folder)? {
        match in_file(&file) {
            Ok(found) => reports.extend(found),
            // A folder may hold other JSON files; only what says that it is a report is worth stopping for.
            Err(SavedError::NotAReport { .. }) => {}
            Err(other) => return Err(other),
        }
    }
    Ok(reports)
}

fn in_file(file: &Path) -> Result<Vec<Report>, SavedError> {
    reports_of(file, &read_text(file, MAX_BYTES)?)
}

/// The reports in a file's text; `file` only names it. May be empty. Every figure lies where it can lie at all.
///
/// # Errors
/// [`SavedError::NotAReport`], [`SavedError::Wrong`] and [`SavedError::OtherSchema`].
pub fn reports_of(file: &Path, text: &str) -> Result<Vec<Report>, SavedError> {
    let not_a_report = |detail: String| SavedError::NotAReport { file: file.to_owned(), detail };
    let wrong = |problem: String| SavedError::Wrong { file: file.to_owned(), problem };
    let values: Result<Vec<serde_json::Value>, _> =
        serde_json::Deserializer::from_str(text).into_iter::<serde_json::Value>().collect();
    let mut reports = Vec::new();
    for value in values.map_err(|e| not_a_report(e.to_string()))? {
        let items = match value {
            serde_json::Value::Array(items) => items,
            // Several photos of one sample: their pool, and each one's own report.
            serde_json::Value::Object(mut several) => match several.remove("reports") {
                Some(serde_json::Value::Array(items)) => items,
                _ => vec![serde_json::Value::Object(several)],
            },
            one => vec![one],
        };
        for item in items {
            // A line of a batch wraps its report, or says why there is none.
            let item = match item.get("report") {
                Some(serde_json::Value::Null) => continue,
                Some(report) => report.clone(),
                None => item,
            };
            let schema = item.get("schema").and_then(|s| s.as_str()).unwrap_or_default().to_owned();
            if !schema.starts_with("strandrule-report-") {
                return Err(not_a_report(format!("its schema is \"{schema}\"")));
            }
            if schema != SCHEMA {
                return Err(SavedError::OtherSchema { file: file.to_owned(), found: schema });
            }
            if let Some(problem) = sane::problem_in(&item) {
                return Err(wrong(problem));
            }
            let report = serde_json::from_value::<Report>(item).map_err(|error| wrong(error.to_string()))?;
            match sane::problem_of(&report) {
                None => reports.push(report),
                Some(problem) => return Err(wrong(problem)),
            }
        }
    }
    Ok(reports)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::testing::report;

    #[test]
    fn objects_lists_lines_and_folders_are_read_alike() {
        let folder = tempfile::tempdir().unwrap();
        let one = serde_json::to_string(&report("a.jpg")).unwrap();
        let put = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
        put("one.json", &one);
        put("list.json", &format!("[{one},{one}]"));
        put(
            "lines.jsonl",
            &format!("{one}\n{{\"file\":\"b\",\"report\":{one}}}\n{{\"file\":\"c\",\"report\":null}}\n"),
        );
        put("several.txt", &format!("{{\"schema\":\"strandrule-pooled-1\",\"reports\":[{one},{one}]}}"));
        put("other.json", "{\"name\":\"mine\"}");
        let read = |name: &str| read_reports(&folder.path().join(name)).map(|r| r.len());
        assert_eq!(read("one.json").unwrap(), 1);
        assert_eq!(read("list.json").unwrap(), 2);
        assert_eq!(read("lines.jsonl").unwrap(), 2);
        assert_eq!(read("several.txt").unwrap(), 2);
        assert_eq!(read_reports(folder.path()).unwrap().len(), 3);
        assert_eq!(read_reports(&folder.path().join("one.json")).unwrap()[0], report("a.jpg"));
        assert!(matches!(read("other.json"), Err(SavedError::NotAReport { .. })));
    }

    /// Somebody's hand, or a slip of another program: figures that contradict themselves are not worked with.
    #[test]
    fn figures_that_contradict_themselves_are_refused() {
        let one = serde_json::to_value(report("a.jpg")).unwrap();
        let read = |change: &dyn Fn(&mut serde_json::Value)| {
            let mut changed = one.clone();
            change(&mut changed["sample"]["diameter_mm"]);
            reports_of(Path::new("x.json"), &changed.to_string()).map(|r| r.len())
        };
        assert_eq!(read(&|_| ()).unwrap(), 1);
        let refused = |said: &str, change: &dyn Fn(&mut serde_json::Value)| {
            let error = read(change).unwrap_err();
            assert!(matches!(error, SavedError::Wrong { .. }) && error.to_string().contains(said), "{error}");
        };
        refused("its own interval", &|q| q["interval95"] = serde_json::json!([2.5, 1.5]));
        // A count's interval is no business of the count's.
        refused("backwards", &|q| *q = serde_json::json!({"value": null, "interval95": [2, 1], "budget": []}));
        refused("its own interval", &|q| q["value"] = 9.into());
        refused("no probability", &|q| q["probability"] = 1.5.into());
        refused("cannot be", &|q| q["budget"][0]["standard_uncertainty"] = (-1).into());
    }

    #[test]
    fn what_is_no_report_is_said() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("x.json");
        let read = |text: &[u8]| {
            fs::write(&path, text).unwrap();
            read_reports(&path)
        };
        assert!(matches!(read(b"{\"schema\""), Err(SavedError::NotAReport { .. })));
        assert!(matches!(read(b"\xff\xfe"), Err(SavedError::NotAReport { .. })));
        assert!(matches!(read(b""), Err(SavedError::Empty { .. })));
        assert!(matches!(read(b"{\"schema\":\"strandrule-report-9\"}"), Err(SavedError::OtherSchema { .. })));
        assert!(matches!(read_reports(Path::new("/no/such/file")), Err(SavedError::Unreadable { .. })));
    }
}
