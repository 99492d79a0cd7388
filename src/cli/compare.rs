//! `compare`: samples side by side.

use std::path::{Path, PathBuf};

use clap::Args;

use super::console::Console;
use super::exit::{Failure, Outcome};
use super::outputs::{Places, ends_in, reads_reports};
use crate::show::file::Target;
use crate::show::json;
use crate::work::compare::{compare, control, svg, text};
use crate::work::figure::Figure;
use crate::work::saved;

const EXAMPLES: &str = "\
Examples:
  strandrule compare before.json after.json
      what washing changed, and what it did not
  strandrule compare woollen/ worsted/ combed/ --name woollen --name worsted --name combed
      three folders of reports, each one sample
  strandrule compare singles.json plied.json --summary
      differences in plain words, and whether the ply is balanced
  strandrule compare lot*.json --chart drift.svg --figure diameter_mm
      one yarn over lots, in the order given, as a chart with limits

Two samples are called different only where the difference exceeds what measurement and sampling
explain, counted over all questions asked at once.";

/// `compare`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct CompareArgs {
    /// Saved reports, each a sample: a file (several reports in it are pooled) or a folder of reports
    #[arg(required = true, num_args = 2.., value_name = "SAMPLE")]
    pub samples: Vec<PathBuf>,
    /// Names of the samples, in their order [default: label, else file name]
    #[arg(long, value_name = "TEXT")]
    pub name: Vec<String>,
    /// Draw the samples in their order as a chart with limits
    #[arg(long, value_name = "FILE.svg")]
    pub chart: Option<PathBuf>,
    /// The figure of the chart, by its name in the report
    #[arg(long, value_name = "NAME", default_value = "diameter_mm", value_parser = figure)]
    pub figure: Figure,
    /// Print the comparison in plain words instead of JSON
    #[arg(long)]
    pub summary: bool,
}

/// The figure of that name.
fn figure(name: &str) -> Result<Figure, String> {
    Figure::from_key(name).ok_or_else(|| {
        let all: Vec<&str> = Figure::ALL.iter().map(|f| f.key()).collect();
        format!("choose one of {}", all.join(", "))
    })
}

/// A sample's name from its file or folder; a report of `batch` is called after its photo, without the check that keeps
/// file names apart.
fn name_of(place: &Path, reports: &[crate::figures::Report]) -> String {
    let stem = |name: &Path| name.file_stem().unwrap_or(name.as_os_str()).to_string_lossy().into_owned();
    let own = stem(place);
    let own = own.strip_suffix(".report").unwrap_or(&own).to_owned();
    let checked = own.rsplit_once('-').is_some_and(|(_, c)| c.len() == 8 && c.bytes().all(|b| b.is_ascii_hexdigit()));
    match reports {
        [only] if checked && !only.photo.file.is_empty() => stem(Path::new(&only.photo.file)),
        _ => own,
    }
}

/// Compares.
pub(super) fn run(args: &CompareArgs, console: &Console) -> Result<Outcome, Failure> {
    if args.name.len() > args.samples.len() {
        return Err(Failure::Usage("there are more --name than samples".to_owned()));
    }
    let mut places = Places::of_program();
    reads_reports(&mut places, &args.samples);
    args.chart.iter().for_each(|path| places.writes("--chart", path));
    places.check()?;
    args.chart.iter().try_for_each(|path| ends_in("--chart", path, "svg"))?;
    let chart = args.chart.as_deref().map(Target::open).transpose()?;
    let mut samples: Vec<(String, Vec<crate::figures::Report>)> = Vec::new();
    for (i, place) in args.samples.iter().enumerate() {
        let reports = saved::read_reports(place)?;
        let label = || reports.iter().find_map(|r| r.sample.label.clone());
        let file = || name_of(place, &reports);
        let mut name = args.name.get(i).cloned().or_else(label).unwrap_or_else(file);
        if samples.iter().any(|(other, _)| *other == name) {
            name = format!("{name} ({})", i + 1);
        }
        samples.push((name, reports));
    }
    let made = compare(&samples);
    let mut words = text(&made);
    if let Some(chart) = chart {
        let drawn = control(&made, args.figure);
        for sentence in drawn.sentences() {
            words.push_str(&sentence);
            words.push('\n');
        }
        chart.write(svg(&drawn).as_bytes())?;
    }
    if args.summary {
        console.result(words.as_bytes())?;
    } else {
        console.result(json::text(&made).map_err(|e| Failure::Output(e.to_string()))?.as_bytes())?;
        if console.person_reads_stderr() {
            console.say(words.trim_end());
        }
    }
    Ok(if made.differences.is_empty() { Outcome::NothingAnswered } else { Outcome::Answered })
}
