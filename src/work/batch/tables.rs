//! The tables of a batch, written from its records one photo at a time.

use std::collections::BTreeMap;
use std::path::Path;

use serde::Serialize;

use super::BatchError;
use super::groups::Grouping;
use super::record::{self, Record};
use crate::base::stats;
use crate::figures::Report;
use crate::figures::report::Profile;
use crate::show::{csv as figures_csv, escape, file, json};
use crate::work::figure::Figure;
use crate::work::pool::{PooledReport, pool_reports};

/// A line of `photos.jsonl`.
#[derive(Serialize)]
struct Line<'a> {
    photo: &'a str,
    sample: Option<String>,
    failure: Option<&'a str>,
    report: Option<Report>,
}

fn format(error: impl std::fmt::Display) -> BatchError {
    BatchError::Format(error.to_string())
}

fn writer() -> csv::Writer<Vec<u8>> {
    csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new())
}

/// `photos.csv` and `photos.jsonl`: one row and one line a photo, failed ones too.
pub(super) fn photos(out: &Path, records: &[Record], grouping: &Grouping) -> Result<(), BatchError> {
    let mut table = writer();
    let mut header = vec!["photo".to_owned(), "sample".to_owned(), "failure".to_owned()];
    header.extend(figures_csv::header());
    let width = header.len();
    table.write_record(&header).map_err(format)?;
    // Lines carry whole reports, so they go straight to the file.
    file::Target::open(&out.join("photos.jsonl"))?.fill(|lines| {
        for record in records {
            let report = record::report(out, record).map_err(std::io::Error::other)?;
            let sample = grouping.sample_of(record);
            table
                .write_record(row(record, sample.as_deref(), report.as_ref(), width))
                .map_err(std::io::Error::other)?;
            let line = Line { photo: &record.photo, sample, failure: record.failure.as_deref(), report };
            lines.write_all(json::line(&line).map_err(std::io::Error::other)?.as_bytes())?;
        }
        Ok(())
    })?;
    Ok(file::write(&out.join("photos.csv"), &table.into_inner().map_err(format)?)?)
}

/// A photo's row: its name, its sample, why it failed, and the figures.
fn row(record: &Record, sample: Option<&str>, report: Option<&Report>, width: usize) -> Vec<String> {
    let mut row = vec![
        escape::cell(&record.photo),
        escape::cell(sample.unwrap_or_default()),
        escape::cell(record.failure.as_deref().unwrap_or_default()),
    ];
    row.extend(report.map(figures_csv::row).unwrap_or_default());
    row.resize(width, String::new());
    row
}

/// A report without its long profiles: pooling needs only the mean width of each piece.
fn light(mut report: Report) -> Report {
    for strand in &mut report.strands {
        let mean = stats::mean(&strand.profile.width_mm);
        strand.profile = Profile { width_mm: mean.into_iter().collect(), ..Profile::default() };
    }
    report
}

/// `samples.csv` and `samples/NAME.json`: the photos of each sample pooled.
pub(super) fn samples(out: &Path, records: &[Record], grouping: &Grouping) -> Result<(), BatchError> {
    let mut groups: BTreeMap<String, Vec<&Record>> = BTreeMap::new();
    for record in records.iter().filter(|r| r.failure.is_none()) {
        if let Some(sample) = grouping.sample_of(record) {
            groups.entry(sample).or_default().push(record);
        }
    }
    let mut table = writer();
    table.write_record(samples_header()).map_err(format)?;
    for (name, members) in &groups {
        let mut reports = Vec::with_capacity(members.len());
        for record in members {
            reports.extend(record::report(out, record)?.map(light));
        }
        let Some(mut pooled) = pool_reports(&reports) else { continue };
        pooled.sample.label = Some(name.clone());
        table.write_record(samples_row(name, &pooled)).map_err(format)?;
        let text = json::text(&pooled).map_err(format)?;
        file::write(&out.join("samples").join(format!("{}.json", record::id(name))), text.as_bytes())?;
    }
    // Samples of an earlier grouping. What cannot be removed is out of date but does no further harm.
    for (path, _) in record::samples(out).filter(|(_, sample)| !groups.contains_key(sample)) {
        let _ = std::fs::remove_file(path);
    }
    Ok(file::write(&out.join("samples.csv"), &table.into_inner().map_err(format)?)?)
}

fn samples_header() -> Vec<String> {
    let mut header: Vec<String> =
        ["sample", "photos", "strands", "length_mm", "plies", "twist_direction"].map(str::to_owned).to_vec();
    for figure in Figure::ALL {
        let key = figure.key();
        header.extend([
            key.to_owned(),
            format!("{key}_low95"),
            format!("{key}_high95"),
            format!("{key}_reason"),
            format!("{key}_between_photos_sd"),
        ]);
    }
    header
}

fn samples_row(name: &str, pooled: &PooledReport) -> Vec<String> {
    let number = |v: f64| json::rounded(v).to_string();
    let sample = &pooled.sample;
    let mut row = vec![
        escape::cell(name),
        pooled.photos.len().to_string(),
        sample.strands.to_string(),
        sample.length_mm.value().map(|v| number(*v)).unwrap_or_default(),
        sample.plies.value().map(ToString::to_string).unwrap_or_default(),
        sample.twist_direction.value().map(|d| format!("{d:?}")).unwrap_or_default(),
    ];
    for figure in Figure::ALL {
        let quantity = figure.of(sample);
        let [low, high] = quantity.interval95().map_or([String::new(), String::new()], |ends| ends.map(number));
        let between = pooled.between_photos.iter().find(|b| b.figure == figure);
        row.extend([
            quantity.value().map(|v| number(*v)).unwrap_or_default(),
            low,
            high,
            quantity.reason().map(|r| escape::cell(r.code())).unwrap_or_default(),
            between.and_then(|b| b.standard_deviation.value()).map(|v| number(*v)).unwrap_or_default(),
        ]);
    }
    row
}
