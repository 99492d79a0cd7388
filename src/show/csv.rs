//! Figures as a table, one row a report: RFC 4180, UTF-8, header first.

use super::columns::{COLUMNS, Cell, Column};
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
    for column in COLUMNS {
        let name = column.name();
        names.push(name.to_owned());
        if is_word(column) {
            names.push(format!("{name}_probability"));
        } else {
            names.extend([format!("{name}_low95"), format!("{name}_high95")]);
        }
        names.push(format!("{name}_reason"));
    }
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
    for column in COLUMNS {
        match (column.get)(report) {
            Cell::Number(value, interval) => {
                let [low, high] = interval.map_or([String::new(), String::new()], |ends| ends.map(written));
                cells.extend([written(value), low, high, String::new()]);
            }
            Cell::Word(word, probability) => {
                cells.extend([escape::cell(&word), probability.map(written).unwrap_or_default(), String::new()]);
            }
            Cell::Unanswered(reason) => {
                cells.extend(std::iter::repeat_n(String::new(), if is_word(column) { 2 } else { 3 }));
                cells.push(escape::cell(reason.code()));
            }
        }
    }
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

fn is_word(column: &Column) -> bool {
    matches!(column.name(), "plies" | "twist_direction")
}

fn written(number: f64) -> String {
    rounded(number).to_string()
}
