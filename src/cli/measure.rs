//! `measure`: photos in, reports out.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use super::args::MeasureArgs;
use super::console::Console;
use super::exit::{Failure, Outcome};
use super::settings::LookSettings;
use crate::figures::Report;
use crate::measure::photo;
use crate::measure::pipeline::{self, Params};
use crate::show::file::Target;
use crate::show::{columns, csv, json, overlay, summary};

/// Measures every photo; only when all are read and all files are written something goes to standard output.
pub(super) fn run(args: MeasureArgs, console: &Console) -> Result<Outcome, Failure> {
    let settings = LookSettings::new(&args.look)?;
    let table = args.csv.as_deref().map(Target::open).transpose()?;
    let overlays = args.overlay.as_deref().map(|at| overlay_targets(at, &args.photos)).transpose()?;
    let mut overlays = overlays.unwrap_or_default().into_iter();
    let mut reports = Vec::with_capacity(args.photos.len());
    for path in &args.photos {
        let photo = photo::read(path, &settings.limits)?;
        let request = settings.request_for(&photo)?;
        let measured = pipeline::measure(&photo, &request, &Params::default());
        if let Some(target) = overlays.next() {
            let picture = overlay::png(&photo, &request, &measured.report, &measured.evidence);
            target.write(&picture.map_err(|error| Failure::Input(error.to_string()))?)?;
        }
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

/// Where the overlays go, in the order of the photos: one photo's into the file named, unless that is a folder; several
/// photos' into the folder named, each called after its photo, with a number where two would be called alike.
fn overlay_targets(at: &Path, photos: &[PathBuf]) -> Result<Vec<Target>, Failure> {
    if photos.len() == 1 && !at.is_dir() {
        return Ok(vec![Target::open(at)?]);
    }
    if !at.is_dir() {
        return Err(Failure::Output(format!(
            "{}: is no folder; several photos need a folder for --overlay",
            at.display()
        )));
    }
    let mut taken = BTreeSet::new();
    let mut targets = Vec::with_capacity(photos.len());
    for photo in photos {
        let stem = photo.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let named = |n: usize| if n == 1 { format!("{stem}.overlay.png") } else { format!("{stem}-{n}.overlay.png") };
        // One of the first so many names is free.
        let name = (1..=photos.len()).map(named).find(|name| taken.insert(name.clone())).unwrap_or_else(|| named(0));
        targets.push(Target::open(&at.join(name))?);
    }
    Ok(targets)
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
