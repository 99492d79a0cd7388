//! `measure`: photos in, reports out.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use schemars::JsonSchema;
use serde::Serialize;

use super::args::MeasureArgs;
use super::console::Console;
use super::exit::{Failure, Outcome};
use super::settings::LookSettings;
use crate::figures::Report;
use crate::figures::report::Sample;
use crate::measure::photo;
use crate::measure::pipeline::{self, Params};
use crate::show::file::Target;
use crate::show::{columns, csv, escape, json, overlay, summary};
use crate::work::pool::{PooledReport, pool_reports};

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
    let Some(result) = Measured::new(reports) else { return Err(Failure::Usage("name at least one photo".to_owned())) };
    print(&result, args.summary, console)?;
    Ok(if columns::answers_anything(result.sample()) { Outcome::Answered } else { Outcome::NothingAnswered })
}

/// What is printed for several photos: the pooled figures, and each photo's own report.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct SeveralPhotos {
    /// All photos together.
    #[serde(flatten)]
    pooled: PooledReport,
    /// Each photo, in the order given.
    reports: Vec<Report>,
}

/// One photo's report, or those of several with their pool.
#[derive(Debug, Serialize)]
#[serde(untagged)]
enum Measured {
    One(Box<Report>),
    Several(Box<SeveralPhotos>),
}

impl Measured {
    /// `None` for no report at all.
    fn new(mut reports: Vec<Report>) -> Option<Self> {
        if reports.len() == 1 {
            return reports.pop().map(|report| Self::One(Box::new(report)));
        }
        let pooled = pool_reports(&reports)?;
        Some(Self::Several(Box::new(SeveralPhotos { pooled, reports })))
    }

    fn sample(&self) -> &Sample {
        match self {
            Self::One(report) => &report.sample,
            Self::Several(several) => &several.pooled.sample,
        }
    }

    fn in_words(&self) -> String {
        match self {
            Self::One(report) => summary::text(report),
            Self::Several(several) => {
                let mut text: String = several
                    .reports
                    .iter()
                    .map(|r| format!("{}: {}\n", escape::one_line(&r.photo.file), summary::brief(&r.sample)))
                    .collect();
                let title = format!("{} photos together", several.reports.len());
                text.push_str(&summary::of_sample(&title, &several.pooled.sample, &several.pooled.warnings));
                text
            }
        }
    }
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
fn print(result: &Measured, summary_only: bool, console: &Console) -> Result<(), Failure> {
    if summary_only {
        return console.result(result.in_words().as_bytes());
    }
    let written =
        json::text(result).map_err(|error| Failure::Output(format!("the report cannot be written: {error}")))?;
    console.result(written.as_bytes())?;
    if console.person_reads_stderr() {
        console.say(result.in_words().trim_end());
    }
    Ok(())
}
