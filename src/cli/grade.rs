//! `grade`: a class marked against a target.

use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;

use super::args::LookArgs;
use super::batch::{Group, grouping_of, measured_folder, tell_unknown};
use super::console::Console;
use super::exit::{Failure, Outcome};
use super::outputs::{Places, reads_reports};
use crate::card::roster;
use crate::show::json;
use crate::work::grade::{self, CRITERION_KEYS, Entry, TARGET_KEYS};
use crate::work::keys::Key;

const EXAMPLES: &str = "\
Examples:
  strandrule grade class/ --target sock.toml --roster class.csv --out marks/
      measures the photos below class/, then writes marks/class.html, marks/class.csv and a page
      for each person
  strandrule grade results/ --target sock.toml --roster class.csv --map mended.csv --out marks/
      photos measured before by `batch`; mended.csv has the columns photo and sample (a line
      \"sample / person\", a short code or a name) for labels that could not be read
  strandrule grade --keys
      every key of the target file

A target file:
  title = \"Sock yarn, week 3\"
  out_of = 20
  provisional_below_percent = 80
  [[criterion]]
  figure = \"twists_per_inch\"
  value = 5.0
  tolerance = 0.5
  weight = 2

A mark is a range: what meets the target with its whole interval counts full, what is too far off with
all of it nothing, and where an interval reaches over a limit, from the least to the most that it allows.
What was not read counts from nothing to full. The sheet says on how much of the target each mark rests.";

/// `grade`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES, arg_required_else_help = true)]
pub struct GradeArgs {
    /// A folder of photos, or the output folder of `batch`
    #[arg(value_name = "FOLDER", required_unless_present = "keys")]
    pub folder: Option<PathBuf>,
    /// Target and rubric
    #[arg(long, value_name = "FILE.toml", required_unless_present = "keys")]
    pub target: Option<PathBuf>,
    /// The folder for sheet and pages; made if missing
    #[arg(long, value_name = "DIR", required_unless_present = "keys")]
    pub out: Option<PathBuf>,
    /// The class: a table (CSV) with the columns sample and person; without it, every label found is a row
    #[arg(long, value_name = "FILE.csv")]
    pub roster: Option<PathBuf>,
    /// A table (CSV) with the columns photo and sample, for labels that could not be read
    #[arg(long, value_name = "FILE.csv")]
    pub map: Option<PathBuf>,
    /// Print every key of the target file and stop
    #[arg(long)]
    pub keys: bool,
    /// What is stated about all photos alike.
    #[command(flatten)]
    pub look: LookArgs,
}

/// What goes to standard output.
#[derive(Serialize)]
struct Done {
    people: usize,
    marked: usize,
    marks: Vec<SampleMark>,
    without_photo: Vec<String>,
    unread: Vec<String>,
    not_on_roster: Vec<String>,
    failed: Vec<String>,
    sheet: String,
}

/// The mark of one sample.
#[derive(Serialize)]
struct SampleMark {
    sample: String,
    least: f64,
    most: f64,
    out_of: f64,
    rests_on_percent: f64,
    provisional: bool,
}

impl SampleMark {
    fn of(entry: &Entry) -> Option<Self> {
        let mark = entry.mark.as_ref()?;
        let [least, most] = mark.total;
        Some(Self {
            sample: entry.label.line(),
            least,
            most,
            out_of: mark.out_of,
            rests_on_percent: (100.0 * mark.rests_on).round(),
            provisional: mark.provisional,
        })
    }
}

/// Marks a class.
pub(super) fn run(args: &GradeArgs, console: &Console) -> Result<Outcome, Failure> {
    if args.keys {
        console.result(keys().as_bytes())?;
        return Ok(Outcome::Answered);
    }
    let (Some(place), Some(target), Some(out)) = (&args.folder, &args.target, &args.out) else {
        return Err(Failure::Usage("a folder of photos, --target and --out are needed".to_owned()));
    };
    let mut places = Places::of_program();
    places.reads("the target", target);
    places.may_read("the roster", args.roster.as_deref());
    places.may_read("the mapping file", args.map.as_deref());
    let like = grade::like_of(target).map_err(Failure::Input)?;
    if let Some(like) = &like {
        reads_reports(&mut places, std::slice::from_ref(like));
    }
    places.writes("--out", out);
    places.writes_own(["class.csv", "class.html"].map(|name| out.join(name)));
    places.writes_own_in(&out.join("people"), "html");
    places.check()?;
    let rubric = grade::read_target(target).map_err(Failure::Input)?;
    let rows = args.roster.as_deref().map(labels).transpose()?;
    let map = args.map.as_deref().map(|file| grouping_of(Some(file), Group::Label)).transpose()?;
    let folder = measured_folder(place, &out.join("measured"), &args.look, places, console)?;
    if let Some(map) = &map {
        tell_unknown(map, &folder.records, args.map.as_deref(), console);
    }
    let photos = grade::photos_of(&folder, map.as_ref())?;
    let class = grade::gather(rows.as_deref(), photos, &rubric);
    grade::write(out, &class, &rubric, &folder)?;
    let marked = class.marked();
    let done = Done {
        people: class.entries.len(),
        marked,
        marks: class.entries.iter().filter_map(SampleMark::of).collect(),
        without_photo: class.entries.iter().filter(|e| e.photos.is_empty()).map(|e| e.label.line()).collect(),
        unread: class.unread.clone(),
        not_on_roster: class.strangers.iter().map(|(photo, ..)| photo.clone()).collect(),
        failed: class.failed.iter().map(|(photo, _)| photo.clone()).collect(),
        sheet: out.join("class.html").display().to_string(),
    };
    console.result(json::text(&done).map_err(|e| Failure::Output(e.to_string()))?.as_bytes())?;
    Ok(if !class.failed.is_empty() {
        Outcome::SomePhotosFailed
    } else if marked > 0 {
        Outcome::Answered
    } else {
        Outcome::NothingAnswered
    })
}

fn read(file: &Path) -> Result<Vec<u8>, Failure> {
    std::fs::read(file).map_err(|e| Failure::Input(format!("{}: cannot be read: {e}", file.display())))
}

fn labels(file: &Path) -> Result<Vec<crate::card::label::Label>, Failure> {
    roster::labels(&read(file)?).map_err(|e| Failure::Input(format!("{}: {e}", file.display())))
}

fn keys() -> String {
    let list = |title: &str, keys: &[Key]| {
        let lines: String = keys.iter().map(|k| format!("  {:<20} {}\n", k.name, k.meaning)).collect();
        format!("{title}\n{lines}")
    };
    let figures: String =
        crate::work::figure::Figure::ALL.iter().map(|f| format!("  {:<20} {}\n", f.key(), f.words())).collect();
    format!(
        "{}{}Figures\n{figures}  {:<20} number of plies\n  {:<20} S or Z\n",
        list("Keys of the file", TARGET_KEYS),
        list("Keys of a [[criterion]]", CRITERION_KEYS),
        "plies",
        "twist_direction"
    )
}
