//! One photo of a batch.

use std::panic::{AssertUnwindSafe, catch_unwind};

use super::list::Listed;
use super::record::{self, PicturePaths, Record};
use super::{Batch, BatchError, Progress};
use crate::figures::Report;
use crate::measure::photo;
use crate::measure::pipeline;
use crate::show::overlay::Sketch;
use crate::show::page::{self, look::Look};
use crate::show::{columns, file, json, overlay};
use crate::work::stated::Stated;

/// Measures a photo unless it is unchanged, and writes its files, the record last; nothing where it is no longer wanted.
pub(super) fn measure(batch: &Batch<'_>, listed: &Listed) -> Result<Option<(Record, Progress)>, BatchError> {
    let id = record::id(&listed.name);
    // What is decoded later is what was hashed, even if the file is replaced meanwhile.
    let bytes = match photo::bytes_of(&listed.path, listed.name.as_ref(), &batch.limits) {
        Ok(bytes) => bytes,
        Err(failure) => {
            let record = failed(&listed.name, id, String::new(), failure.to_string());
            record::write(batch.out, &record)?;
            return Ok(Some((record, Progress::Failed)));
        }
    };
    let own = Stated::read(batch.out, &id);
    let stated = own.map(|own| own.over(batch.stated));
    let key = format!(
        "{} {} {} {:016x}",
        record::check(&bytes),
        record::program(),
        if batch.pictures { "pictures" } else { "figures" },
        crate::card::label::fnv1a(format!("{:?} {:?}", stated.as_ref().map(Stated::line), batch.limits).as_bytes())
    );
    if let Some(record) = record::unchanged(batch.out, &id, &key) {
        return Ok(Some((record, Progress::Unchanged)));
    }
    // A fault of ours in one photo must not cost the others.
    let ours = "the measurement failed inside the program; please report this photo";
    let outcome = catch_unwind(AssertUnwindSafe(|| look(batch, listed, &stated?, bytes)))
        .unwrap_or_else(|_panic| Err(Ended::Failed(ours.to_owned())));
    let (record, how) = match outcome {
        Err(Ended::Unwanted) => return Ok(None),
        Err(Ended::Failed(failure)) => (failed(&listed.name, id, key, failure), Progress::Failed),
        Ok((report, pictures)) => {
            let text = json::text(&report).map_err(|e| BatchError::Format(e.to_string()))?;
            file::write(&record::report_path(batch.out, &id), text.as_bytes())?;
            let mut written = Vec::new();
            for (path, bytes) in pictures.files(&id)? {
                file::write(&batch.out.join(&path), &bytes)?;
                written.push((path, bytes.len() as u64));
            }
            let record = Record {
                photo: listed.name.clone(),
                id,
                key,
                report_check: Some(record::check(text.as_bytes())),
                pictures: written,
                label: report.sample.label.clone(),
                answered: columns::answers_anything(&report.sample),
                failure: None,
            };
            (record, Progress::Measured)
        }
    };
    record::write(batch.out, &record)?;
    Ok(Some((record, how)))
}

/// Why there is no report.
enum Ended {
    /// Nobody wants it any more.
    Unwanted,
    /// What is wrong.
    Failed(String),
}

impl From<String> for Ended {
    fn from(why: String) -> Self {
        Self::Failed(why)
    }
}

fn failed(photo: &str, id: String, key: String, failure: String) -> Record {
    Record {
        photo: photo.to_owned(),
        id,
        key,
        report_check: None,
        pictures: Vec::new(),
        label: None,
        answered: false,
        failure: Some(failure),
    }
}

/// The pictures of one photo, none where none are wanted.
#[derive(Default)]
struct Pictures {
    overlay: Option<Vec<u8>>,
    sketch: Option<Sketch>,
    look: Option<Look>,
}

impl Pictures {
    /// Where each goes, and its bytes.
    fn files(self, id: &str) -> Result<Vec<(String, Vec<u8>)>, BatchError> {
        let paths = PicturePaths::of(id);
        let mut files: Vec<_> = self.overlay.map(|png| (paths.overlay, png)).into_iter().collect();
        if let Some(sketch) = self.sketch {
            let sketch = json::line(&sketch).map_err(|e| BatchError::Format(e.to_string()))?;
            files.push((paths.sketch, sketch.into_bytes()));
        }
        if let Some(look) = self.look {
            let facts = json::text(&look.facts).map_err(|e| BatchError::Format(e.to_string()))?;
            files.extend([
                (paths.strand, look.strip_png),
                (paths.near, look.inset_png),
                (paths.facts, facts.into_bytes()),
            ]);
        }
        Ok(files)
    }
}

fn look(batch: &Batch<'_>, listed: &Listed, stated: &Stated, bytes: Vec<u8>) -> Result<(Report, Pictures), Ended> {
    let mut photo = photo::decode(listed.name.as_ref(), bytes, &batch.limits).map_err(|e| e.to_string())?;
    let request = stated.request_for(&mut photo)?;
    let go_on = || if (batch.wanted)() { Ok(()) } else { Err(Ended::Unwanted) };
    go_on()?;
    let measured = pipeline::measure_unless(&photo, &request, &batch.params, &go_on)?;
    let pictures = if batch.pictures {
        let overlay =
            overlay::png(&photo, &request, &measured.report, &measured.evidence).map_err(|e| e.to_string())?;
        go_on()?;
        Pictures {
            overlay: Some(overlay),
            sketch: Some(overlay::sketch(&photo, &request, &measured.report, &measured.evidence)),
            look: page::look::look(&photo, &measured),
        }
    } else {
        Pictures::default()
    };
    Ok((measured.report, pictures))
}
