//! The class as a table.

use super::class::Class;
use super::marking::Standing;
use super::rubric::Rubric;
use crate::show::escape;

impl Standing {
    /// In a word, for tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Meets => "meets",
            Self::CannotBeTold => "cannot-be-told-apart",
            Self::Misses => "misses",
            Self::NotMarked => "not-marked",
        }
    }
}

/// A part of a whole in whole per cent.
fn percent(part: f64) -> String {
    format!("{:.0}", 100.0 * part)
}

/// The sheet as CSV (RFC 4180): one row a person and sample, those without a photo too.
///
/// # Errors
/// None that the memory allows; the writer's own error type is passed on.
pub fn csv(class: &Class, rubric: &Rubric) -> Result<Vec<u8>, ::csv::Error> {
    let mut writer = ::csv::WriterBuilder::new().terminator(::csv::Terminator::CRLF).from_writer(Vec::new());
    let mut header: Vec<String> =
        ["sample", "person", "photos", "least_mark", "most_mark", "out_of", "rests_on_percent", "provisional"]
            .map(str::to_owned)
            .to_vec();
    for criterion in &rubric.criteria {
        let key = criterion.what.key();
        header.extend(["measured", "standing", "least_percent", "most_percent"].map(|of| format!("{key}_{of}")));
    }
    let width = header.len();
    writer.write_record(&header)?;
    for entry in &class.entries {
        let mut row = vec![
            escape::cell(entry.label.sample()),
            escape::cell(entry.label.person().unwrap_or_default()),
            entry.photos.len().to_string(),
        ];
        if let Some(mark) = &entry.mark {
            row.extend(mark.total.map(|end| format!("{end:.1}")));
            let provisional = if mark.provisional { "yes" } else { "no" };
            row.extend([mark.out_of.to_string(), percent(mark.rests_on), provisional.to_owned()]);
            for criterion in &mark.criteria {
                row.extend([escape::cell(&criterion.measured), criterion.standing.word().to_owned()]);
                row.extend(criterion.share.map(percent));
            }
        }
        row.resize(width, String::new());
        writer.write_record(&row)?;
    }
    writer.into_inner().map_err(|error| error.into_error().into())
}
