//! `measure`: photos in, reports out.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use schemars::JsonSchema;
use serde::Serialize;

use super::args::MeasureArgs;
use super::console::Console;
use super::exit::{Failure, Outcome};
use super::outputs::{Places, ends_in};
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
    let overlays = pictures("--overlay", args.overlay.as_deref(), &args.photos, "overlay.png")?;
    let pages = pictures("--html", args.html.as_deref(), &args.photos, "html")?;
    let mut places = Places::of_program();
    args.photos.iter().for_each(|photo| places.reads("the photo", photo));
    overlays.iter().for_each(|path| places.writes("--overlay", path));
    pages.iter().for_each(|path| places.writes("--html", path));
    args.csv.iter().for_each(|path| places.writes("--csv", path));
    places.check()?;
    let table = targets("--csv", args.csv.as_deref(), args.csv.as_slice(), "csv")?.pop();
    let mut overlays = targets("--overlay", args.overlay.as_deref(), &overlays, "png")?.into_iter();
    let mut pages = targets("--html", args.html.as_deref(), &pages, "html")?.into_iter();
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
fn pictures(option: &str, at: Option<&Path>, photos: &[PathBuf], ending: &str) -> Result<Vec<PathBuf>, Failure> {
    let Some(at) = at else { return Ok(Vec::new()) };
    if photos.len() == 1 && !at.is_dir() {
        return Ok(vec![at.to_owned()]);
    }
    // A name with a file's ending was not meant as a folder.
    if !at.is_dir() && (at.exists() || at.extension().is_some()) {
        let at = at.display();
        return Err(Failure::Output(format!(
            "{at}: is no folder; several photos need a folder for {option}; name one, and it is made"
        )));
    }
    let mut taken = BTreeSet::new();
    let mut paths = Vec::with_capacity(photos.len());
    for photo in photos {
        let stem = photo.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let named = |n: usize| if n == 1 { format!("{stem}.{ending}") } else { format!("{stem}-{n}.{ending}") };
        // One of the first so many names is free; capitals make no other name on every system.
        let free = |name: &String| taken.insert(name.to_lowercase());
        paths.push(at.join((1..=photos.len()).map(named).find(free).unwrap_or_else(|| named(0))));
    }
    Ok(paths)
}

/// Opens the files that an option means: the one that it names, or those in the folder that it names, which is made where
/// it is missing.
fn targets(option: &str, named: Option<&Path>, paths: &[PathBuf], ending: &str) -> Result<Vec<Target>, Failure> {
    let Some(named) = named else { return Ok(Vec::new()) };
    if paths == [named] {
        ends_in(option, named, ending)?;
    } else {
        std::fs::create_dir_all(named).map_err(|e| {
            Failure::Output(format!("{}: the folder cannot be made: {e}; name another", named.display()))
        })?;
    }
    let mut opened = Vec::with_capacity(paths.len());
    for path in paths {
        opened.push(Target::open(path)?);
    }
    Ok(opened)
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
