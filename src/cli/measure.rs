//! `measure`: photos in, reports out.

use super::args::MeasureArgs;
use super::console::Console;
use super::exit::{Failure, Outcome};
use super::settings::LookSettings;
use crate::figures::Report;
use crate::measure::photo;
use crate::measure::pipeline::{self, Params};
use crate::show::file::Target;
use crate::show::{columns, csv, json, summary};

/// Measures every photo; only when all are read and all files are written something goes to standard output.
pub(super) fn run(args: MeasureArgs, console: &Console) -> Result<Outcome, Failure> {
    let settings = LookSettings::new(&args.look)?;
    let table = args.csv.as_deref().map(Target::open).transpose()?;
    let mut reports = Vec::with_capacity(args.photos.len());
    for path in &args.photos {
        let photo = photo::read(path, &settings.limits)?;
        let request = settings.request_for(&photo)?;
        let measured = pipeline::measure(&photo, &request, &Params::default());
        reports.push(measured.report);
    }
    if let Some(table) = table {
        let rows = csv::table(&reports).map_err(|error| Failure::Output(error.to_string()))?;
        table.write(&rows)?;
    }
    print(&reports, args.summary, console)?;
    let answered = reports.iter().any(columns::answers_anything);
    Ok(if answered { Outcome::Answered } else { Outcome::NothingAnswered })
}

/// JSON to standard output and, where a person reads standard error, the summary after it; or the summary alone.
fn print(reports: &[Report], summary_only: bool, console: &Console) -> Result<(), Failure> {
    let in_words: String = reports.iter().map(summary::text).collect();
    if summary_only {
        return console.result(in_words.as_bytes());
    }
    let written = match reports {
        [one] => json::text(one),
        several => json::text(&several),
    };
    let written = written.map_err(|error| Failure::Output(format!("the report cannot be written: {error}")))?;
    console.result(written.as_bytes())?;
    if console.person_reads_stderr() {
        console.say(in_words.trim_end());
    }
    Ok(())
}
