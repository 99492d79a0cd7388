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
use crate::show::{columns, csv, escape, json, overlay, page, summary};
use crate::work::pool::{PooledReport, pool_reports};

/// Measures every photo; only when all are measured are files written, and only when all are written does something go
/// to standard output.
pub(super) fn run(args: MeasureArgs, console: &Console) -> Result<Outcome, Failure> {
    let settings = LookSettings::new(&args.look)?;
    let table = args.csv.as_deref().map(Target::open).transpose()?;
    let overlays = picture_targets("--overlay", args.overlay.as_deref(), &args.photos, "overlay.png")?;
    let pages = picture_targets("--html", args.html.as_deref(), &args.photos, "html")?;
    let (mut overlays, mut pages) = (overlays.into_iter(), pages.into_iter());
    let mut reports = Vec::with_capacity(args.photos.len());
    let mut written: Vec<(Target, Vec<u8>)> = Vec::new();
    for path in &args.photos {
        let mut photo = photo::read(path, &settings.limits)?;
        let request = settings.request_for(&mut photo)?;
        let measured = pipeline::measure(&photo, &request, &Params::default());
        let (overlay, page) = (overlays.next(), pages.next());
        if overlay.is_some() || page.is_some() {
            let picture = overlay::png(&photo, &request, &measured.report, &measured.evidence)
                .map_err(|error| Failure::Input(error.to_string()))?;
            if let Some(target) = page {
                let look = page::look::look(&photo, &measured);
                let text = page::report_page(&measured.report, Some(&picture), look.as_ref());
                written.push((target, text.into_bytes()));
            }
            written.extend(overlay.map(|target| (target, picture)));
        }
        reports.push(measured.report);
    }
    if let Some(table) = table {
        let rows = csv::table(&reports).map_err(|error| Failure::Output(error.to_string()))?;
        written.push((table, rows));
    }
    for (target, bytes) in written {
        target.write(&bytes)?;
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

/// Where pictures or pages go, in the order of the photos: one photo's into the file named, unless that is a folder;
/// several photos' into the folder named, each called after its photo, with a number where two would be called alike.
fn picture_targets(option: &str, at: Option<&Path>, photos: &[PathBuf], ending: &str) -> Result<Vec<Target>, Failure> {
    let Some(at) = at else { return Ok(Vec::new()) };
    if photos.len() == 1 && !at.is_dir() {
        let wanted = ending.rsplit('.').next().unwrap_or(ending);
        // A name without an ending is the person's own affair; one of another format would be a lie.
        if at.extension().is_some_and(|given| !given.eq_ignore_ascii_case(wanted)) {
            return Err(Failure::Usage(format!("{option} {}: it is a {wanted} file; name it so", at.display())));
        }
        return Ok(vec![Target::open(at)?]);
    }
    // A name with a file's ending was not meant as a folder.
    if !at.is_dir() && (at.exists() || at.extension().is_some()) {
        let at = at.display();
        return Err(Failure::Output(format!(
            "{at}: is no folder; several photos need a folder for {option}; name one, and it is made"
        )));
    }
    std::fs::create_dir_all(at)
        .map_err(|e| Failure::Output(format!("{}: the folder cannot be made: {e}; name another", at.display())))?;
    let mut taken = BTreeSet::new();
    let mut targets = Vec::with_capacity(photos.len());
    for photo in photos {
        let stem = photo.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let named = |n: usize| if n == 1 { format!("{stem}.{ending}") } else { format!("{stem}-{n}.{ending}") };
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
