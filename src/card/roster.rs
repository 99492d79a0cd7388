//! A class's roster: a table with one card a row, checked as a whole before anything is printed.

use std::collections::BTreeMap;

use super::label::{Label, LabelError};

/// How many problems are told before the rest is only counted.
const TOLD: usize = 20;

/// More cards than this is a mistake, not a class.
const MAX_ROWS: usize = 2000;

/// Why a roster cannot be printed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RosterError {
    /// Not UTF-8.
    #[error("row {row}: not in UTF-8; save the table as \"CSV UTF-8\"")]
    Encoding {
        /// The row as a spreadsheet counts it, the header being row 1.
        row: usize,
    },
    /// UTF-16.
    #[error("the table is in UTF-16; save it as \"CSV UTF-8\"")]
    Utf16,
    /// A needed column is missing.
    #[error(
        "there is no column \"{column}\"; the first row must name the columns \"sample\" and \"person\" (found: {found})"
    )]
    NoColumn {
        /// The column.
        column: &'static str,
        /// The columns found.
        found: String,
    },
    /// A column that is there twice.
    #[error("the column \"{0}\" is there twice; keep one")]
    Twice(&'static str),
    /// The table cannot be taken apart.
    #[error("row {row}: {problem}")]
    Malformed {
        /// The row.
        row: usize,
        /// What is wrong.
        problem: String,
    },
    /// Nothing in it.
    #[error("the table has no rows below its header")]
    Empty,
    /// Far too many rows.
    #[error("the table has more than {MAX_ROWS} rows; split it")]
    TooMany,
    /// Rows that cannot be printed, all of them.
    #[error("{}", problems_text(.0))]
    Rows(Vec<RowProblem>),
}

/// What is wrong with one row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RowProblem {
    /// The row as a spreadsheet counts it, the header being row 1.
    pub row: usize,
    /// What is wrong with it.
    pub problem: Problem,
}

/// What can be wrong with a row.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Problem {
    /// A text that cannot stand on a card.
    #[error(transparent)]
    Label(#[from] LabelError),
    /// The same sample and person once more.
    #[error("the same sample and person as row {0}; name each sample once")]
    Duplicate(usize),
    /// Another label with the same short code.
    #[error("its short code is that of row {0} by chance; change its name a little")]
    SameCode(usize),
}

fn problems_text(problems: &[RowProblem]) -> String {
    let mut lines: Vec<String> = problems.iter().take(TOLD).map(|p| format!("row {}: {}", p.row, p.problem)).collect();
    if problems.len() > TOLD {
        lines.push(format!("and {} more rows", problems.len() - TOLD));
    }
    lines.join("\n")
}

/// The labels of a roster's rows, in order.
///
/// `bytes` is a CSV table (RFC 4180) in UTF-8, with or without a byte order mark, separated by commas, semicolons or
/// tabs, whose first row names at least the columns `sample` and `person` (any case, any order; others are ignored).
/// A row whose cells are all empty is passed over.
///
/// # Errors
/// [`RosterError`]; every row that cannot be printed is named at once.
pub fn labels(bytes: &[u8]) -> Result<Vec<Label>, RosterError> {
    let text = text(bytes)?;
    let header = text.lines().next().unwrap_or_default();
    let delimiter = [b',', b';', b'\t']
        .into_iter()
        .max_by_key(|d| (header.bytes().filter(|b| b == d).count(), *d == b','))
        .unwrap_or(b',');
    let mut reader =
        csv::ReaderBuilder::new().delimiter(delimiter).flexible(true).trim(csv::Trim::All).from_reader(text.as_bytes());
    let columns = reader.headers().map_err(|e| malformed(&e))?.clone();
    let find = |column: &'static str| {
        let mut places = columns.iter().enumerate().filter(|(_, c)| c.eq_ignore_ascii_case(column)).map(|(i, _)| i);
        match (places.next(), places.next()) {
            (Some(only), None) => Ok(only),
            (Some(_), Some(_)) => Err(RosterError::Twice(column)),
            (None, _) => Err(RosterError::NoColumn {
                column,
                found: columns.iter().map(|c| format!("\"{}\"", c.escape_debug())).collect::<Vec<_>>().join(", "),
            }),
        }
    };
    let (sample, person) = (find("sample")?, find("person")?);

    let mut found: Vec<Label> = Vec::new();
    let mut problems = Vec::new();
    let mut seen: BTreeMap<Label, usize> = BTreeMap::new();
    let mut codes: BTreeMap<String, usize> = BTreeMap::new();
    for record in reader.records() {
        let record = record.map_err(|e| malformed(&e))?;
        let row = record.position().map_or(0, |p| usize::try_from(p.line()).unwrap_or(usize::MAX));
        if record.iter().all(str::is_empty) {
            continue;
        }
        if found.len() >= MAX_ROWS {
            return Err(RosterError::TooMany);
        }
        match Label::new(record.get(sample).unwrap_or_default(), record.get(person)) {
            Err(error) => problems.push(RowProblem { row, problem: error.into() }),
            Ok(label) => {
                if let Some(first) = seen.get(&label) {
                    problems.push(RowProblem { row, problem: Problem::Duplicate(*first) });
                    continue;
                }
                if let Some(first) = codes.insert(label.short_code(), row) {
                    problems.push(RowProblem { row, problem: Problem::SameCode(first) });
                }
                seen.insert(label.clone(), row);
                found.push(label);
            }
        }
    }
    if !problems.is_empty() {
        return Err(RosterError::Rows(problems));
    }
    if found.is_empty() {
        return Err(RosterError::Empty);
    }
    Ok(found)
}

fn text(bytes: &[u8]) -> Result<&str, RosterError> {
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Err(RosterError::Utf16);
    }
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    std::str::from_utf8(bytes).map_err(|error| RosterError::Encoding {
        row: 1 + bytes.iter().take(error.valid_up_to()).filter(|b| **b == b'\n').count(),
    })
}

fn malformed(error: &csv::Error) -> RosterError {
    let row = error.position().map_or(1, |p| usize::try_from(p.line()).unwrap_or(usize::MAX));
    RosterError::Malformed { row, problem: error.to_string() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_roster_with_mark_semicolons_and_other_columns_is_read() {
        let table = "\u{feff}No;Person;Sample\r\n1;Ada;Fleece A\r\n;;\r\n2;;\"Fleece; B\"\r\n";
        let read = labels(table.as_bytes()).unwrap();
        assert_eq!(read.len(), 2);
        assert_eq!((read[0].sample(), read[0].person()), ("Fleece A", Some("Ada")));
        assert_eq!((read[1].sample(), read[1].person()), ("Fleece; B", None));
    }

    #[test]
    fn a_column_that_is_there_twice_is_no_roster() {
        assert_eq!(labels(b"sample,person,Sample\nA,x,B\n"), Err(RosterError::Twice("sample")));
        assert_eq!(labels(b"sample;person;person\nA;x;y\n"), Err(RosterError::Twice("person")));
    }

    #[test]
    fn every_bad_row_is_named() {
        let table = "sample,person\nA,x\n=cmd(),y\nA,x\n,z\n";
        let RosterError::Rows(problems) = labels(table.as_bytes()).unwrap_err() else { panic!("not rows") };
        assert_eq!(problems.iter().map(|p| p.row).collect::<Vec<_>>(), [3, 4, 5]);
        assert_eq!(problems[1].problem, Problem::Duplicate(2));
    }

    #[test]
    fn wrong_encodings_name_their_row() {
        assert_eq!(labels(b"sample,person\nok,x\nM\xfcller,y\n"), Err(RosterError::Encoding { row: 3 }));
        assert_eq!(labels(b"\xff\xfes\0"), Err(RosterError::Utf16));
    }

    #[test]
    fn missing_columns_and_empty_tables_are_told() {
        assert!(matches!(labels(b"name,person\n"), Err(RosterError::NoColumn { column: "sample", .. })));
        assert_eq!(labels(b"sample,person\n"), Err(RosterError::Empty));
        assert!(matches!(labels(b""), Err(RosterError::NoColumn { .. })));
    }
}
