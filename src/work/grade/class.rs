//! Whose photo is whose.

use std::collections::BTreeMap;

use super::marking::{Result as Mark, mark};
use super::rubric::Rubric;
use crate::card::label::Label;
use crate::figures::Report;
use crate::work::keys::nearest;
use crate::work::pool::{PooledReport, pool_reports};

/// A photo of the class, measured or not.
#[derive(Debug, Clone, PartialEq)]
pub struct Photo {
    /// Its name.
    pub name: String,
    /// Its report; `None` where it failed.
    pub report: Option<Report>,
    /// Why it failed.
    pub failure: Option<String>,
    /// Whose it is, where a mapping file says so: a line of the roster ("sample / person"), or a person.
    pub mapped: Option<String>,
}

/// One row of the roster with what was found for it.
#[derive(Debug, Clone)]
pub struct Entry {
    /// Sample and person.
    pub label: Label,
    /// Its photos' names.
    pub photos: Vec<String>,
    /// Its photos together; `None` without any.
    pub pooled: Option<PooledReport>,
    /// Its mark; `None` without any photo.
    pub mark: Option<Mark>,
}

/// A marked class.
#[derive(Debug, Clone)]
pub struct Class {
    /// The roster's rows, in its order.
    pub entries: Vec<Entry>,
    /// Photos whose label could not be read.
    pub unread: Vec<String>,
    /// Photos whose label is not on the roster: photo, label, and the nearest on the roster.
    pub strangers: Vec<(String, String, Option<String>)>,
    /// Photos that could not be measured, and why.
    pub failed: Vec<(String, String)>,
}

impl Class {
    /// How many samples have a mark that rests on anything.
    #[must_use]
    pub fn marked(&self) -> usize {
        self.entries.iter().filter(|e| e.mark.as_ref().is_some_and(|m| m.rests_on > 0.0)).count()
    }
}

/// Assigns the photos to the roster and marks each sample. A mapping goes before the label on the card; without a
/// roster, every label found is a row.
///
/// A label fits a row when it is the row's line ("sample / person"), its short code, or a person or sample that only
/// one row has.
#[must_use]
pub fn gather(roster: Option<&[Label]>, photos: Vec<Photo>, rubric: &Rubric) -> Class {
    let mut class = Class { entries: Vec::new(), unread: Vec::new(), strangers: Vec::new(), failed: Vec::new() };
    let rows: Vec<Label> = match roster {
        Some(rows) => rows.to_vec(),
        None => labels_of(&photos),
    };
    let mut found: BTreeMap<usize, Vec<(String, Report)>> = BTreeMap::new();
    for photo in photos {
        let Some(report) = photo.report else {
            class.failed.push((photo.name, photo.failure.unwrap_or_else(|| "no report".to_owned())));
            continue;
        };
        let Some(label) = photo.mapped.or_else(|| report.sample.label.clone()) else {
            class.unread.push(photo.name);
            continue;
        };
        match row_of(&rows, &label) {
            Some(row) => found.entry(row).or_default().push((photo.name, report)),
            None => {
                let lines: Vec<String> = rows.iter().map(Label::line).collect();
                let near = nearest(&label, lines.iter().map(String::as_str)).map(str::to_owned);
                class.strangers.push((photo.name, label, near));
            }
        }
    }
    for (i, label) in rows.into_iter().enumerate() {
        let (names, reports): (Vec<String>, Vec<Report>) = found.remove(&i).unwrap_or_default().into_iter().unzip();
        let pooled = pool_reports(&reports);
        let mark = pooled.as_ref().map(|p| mark(&p.sample, rubric));
        class.entries.push(Entry { label, photos: names, pooled, mark });
    }
    class
}

/// Every label that the photos bear, as rows.
fn labels_of(photos: &[Photo]) -> Vec<Label> {
    let mut rows: Vec<Label> = Vec::new();
    for photo in photos {
        let own = photo.report.as_ref().and_then(|r| r.sample.label.as_ref());
        let Some(text) = photo.mapped.as_ref().or(own) else { continue };
        let (sample, person) = text.split_once(" / ").map_or((text.as_str(), None), |(s, p)| (s, Some(p)));
        if let Ok(label) = Label::new(sample, person)
            && !rows.contains(&label)
        {
            rows.push(label);
        }
    }
    rows.sort();
    rows
}

fn row_of(rows: &[Label], label: &str) -> Option<usize> {
    let label = label.trim();
    let only = |fits: &dyn Fn(&Label) -> bool| {
        let mut all = rows.iter().enumerate().filter(|(_, row)| fits(row)).map(|(i, _)| i);
        all.next().filter(|_| all.next().is_none())
    };
    only(&|row| row.line() == label)
        .or_else(|| only(&|row| row.short_code().eq_ignore_ascii_case(label)))
        .or_else(|| only(&|row| row.person() == Some(label)))
        .or_else(|| only(&|row| row.sample() == label))
}
