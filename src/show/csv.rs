//! Figures as a table, one row a report: RFC 4180, UTF-8, header first.

use super::columns::{Cell, Column, SAMPLE, SCALE};
use super::escape;
use super::json::rounded;
use crate::figures::Report;

/// The columns before the figures.
const FACTS: [&str; 6] = ["file", "label", "taken_at", "scale_method", "strands", "faults"];

/// The names of all columns, in order: facts, then per figure its value, the ends of its interval or its probability,
/// and the word of its reason where it has no value.
#[must_use]
pub fn header() -> Vec<String> {
    let mut names: Vec<String> = FACTS.iter().map(ToString::to_string).collect();
    names.extend(SCALE.iter().flat_map(names_of));
    names.extend(SAMPLE.iter().flat_map(names_of));
    names
}

/// One report's cells, in the order of [`header`].
#[must_use]
pub fn row(report: &Report) -> Vec<String> {
    let faults = report.sample.evenness.faults.as_ref().map(|f| f.list.len().to_string());
    let method = report.scale.method.and_then(|m| serde_json::to_value(m).ok());
    let mut cells = vec![
        escape::cell(&report.photo.file),
        escape::cell(report.sample.label.as_deref().unwrap_or_default()),
        report.photo.taken_at.clone().unwrap_or_default(),
        method.and_then(|m| m.as_str().map(str::to_owned)).unwrap_or_default(),
        report.sample.strands.to_string(),
        faults.unwrap_or_default(),
    ];
    cells.extend(SCALE.iter().flat_map(|column| cells_of(column, &report.scale)));
    cells.extend(SAMPLE.iter().flat_map(|column| cells_of(column, &report.sample)));
    cells
}

/// The whole table.
///
/// # Errors
/// None that the memory allows; the writer's own error type is passed on.
pub fn table<'a>(reports: impl IntoIterator<Item = &'a Report>) -> Result<Vec<u8>, ::csv::Error> {
    let mut writer = ::csv::WriterBuilder::new().terminator(::csv::Terminator::CRLF).from_writer(Vec::new());
    writer.write_record(header())?;
    for report in reports {
        writer.write_record(row(report))?;
    }
    writer.into_inner().map_err(|error| error.into_error().into())
}

fn names_of<Of>(column: &Column<Of>) -> Vec<String> {
    let name = column.name();
    let also: &[&str] =
        if column.is_word() { &["", "_probability", "_reason"] } else { &["", "_low95", "_high95", "_reason"] };
    also.iter().map(|ending| format!("{name}{ending}")).collect()
}

fn cells_of<Of>(column: &Column<Of>, of: &Of) -> Vec<String> {
    match (column.get)(of) {
        Cell::Number(value, interval) => {
            let [low, high] = interval.map_or([String::new(), String::new()], |ends| ends.map(written));
            vec![written(value), low, high, String::new()]
        }
        Cell::Word(word, probability) => {
            vec![escape::cell(&word), probability.map(written).unwrap_or_default(), String::new()]
        }
        Cell::Unanswered(reason) => {
            let mut cells = vec![String::new(); if column.is_word() { 2 } else { 3 }];
            cells.push(escape::cell(reason.code()));
            cells
        }
    }
}

fn written(number: f64) -> String {
    rounded(number).to_string()
}
