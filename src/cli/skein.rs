//! `skein`: is this skein even?

use std::fmt::Write;
use std::path::PathBuf;

use clap::Args;

use super::console::Console;
use super::exit::{Failure, Outcome};
use super::outputs::{Places, reads_reports};
use crate::show::json;
use crate::work::saved;
use crate::work::skein::{USUAL_WITHIN_PERCENT, check_skein};

const EXAMPLES: &str = "\
Examples:
  strandrule skein results/
      all photos of one skein, in the order of their names, measured before by `batch`
  strandrule skein end1.json middle.json end2.json --within 2
      how many passes more would give the mean thickness to 2 %

Lay the passes in the order in which they come off the skein; drift is told in that order.";

/// `skein`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct SkeinArgs {
    /// Saved reports of photos of one skein, or folders of them
    #[arg(required = true, value_name = "REPORT")]
    pub reports: Vec<PathBuf>,
    /// How well the mean thickness is to be known, per cent (half the 95 % interval)
    #[arg(long, value_name = "PERCENT", default_value_t = USUAL_WITHIN_PERCENT)]
    pub within: f64,
    /// Print the answer in plain words instead of JSON
    #[arg(long)]
    pub summary: bool,
}

/// Checks a skein.
pub(super) fn run(args: &SkeinArgs, console: &Console) -> Result<Outcome, Failure> {
    if !(args.within > 0.0 && args.within.is_finite()) {
        return Err(Failure::Usage(format!("--within {}: give per cent above 0", args.within)));
    }
    let mut places = Places::of_program();
    reads_reports(&mut places, &args.reports);
    places.check()?;
    let mut reports = Vec::new();
    for place in &args.reports {
        reports.extend(saved::read_reports(place)?);
    }
    let Some(check) = check_skein(&reports, args.within) else {
        return Err(Failure::Input("there is no report to check".to_owned()));
    };
    let mut words = String::new();
    for sentence in &check.sentences {
        let _ = writeln!(words, "{sentence}");
    }
    if args.summary {
        console.result(words.as_bytes())?;
    } else {
        let text = json::text(&check).map_err(|e| Failure::Output(e.to_string()))?;
        console.result(text.as_bytes())?;
        if console.person_reads_stderr() {
            console.say(words.trim_end());
        }
    }
    Ok(if check.passes > 0 { Outcome::Answered } else { Outcome::NothingAnswered })
}
