//! `portfolio`: a page for each sample, and an index.

use std::path::{Path, PathBuf};

use clap::Args;

use super::args::LookArgs;
use super::batch::{Group, grouping_of, measured_folder, some_of, tell_unknown};
use super::console::Console;
use super::exit::{Failure, Outcome};
use super::outputs::{Places, has_ending};
use crate::work::portfolio::{self, NOTE_KEYS, PortfolioError};

const EXAMPLES: &str = "\
Examples:
  strandrule portfolio samples/ --out book/
      measures the photos below samples/ and writes book/index.html and a page for each sample;
      notes stand in samples/NAME.toml beside samples/NAME.jpg
  strandrule portfolio results/ --notes samples/ --out book/
      photos measured before by `batch`
  strandrule portfolio --keys
      every key of a notes file

A notes file:
  fibre = \"Shetland wool, moorit\"
  preparation = \"hand carded\"
  drafting = \"long draw\"
  ratio = 7.5

Photos with the same label are one sample. Pages open from a disk without a network, and print on
A4 and Letter.";

/// `portfolio`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES, arg_required_else_help = true)]
pub struct PortfolioArgs {
    /// A folder of photos, or the output folder of `batch`
    #[arg(value_name = "FOLDER", required_unless_present = "keys")]
    pub folder: Option<PathBuf>,
    /// The folder for the pages; made if missing
    #[arg(long, value_name = "DIR", required_unless_present = "keys")]
    pub out: Option<PathBuf>,
    /// Where the notes stand [default: beside the photos]
    #[arg(long, value_name = "DIR")]
    pub notes: Option<PathBuf>,
    /// Heading of the index
    #[arg(long, value_name = "TEXT", default_value = "Yarn samples")]
    pub title: String,
    /// What makes photos one sample
    #[arg(long, value_enum, default_value_t = Group::Label)]
    pub group: Group,
    /// A table (CSV) with the columns photo and sample
    #[arg(long, value_name = "FILE.csv", conflicts_with = "group")]
    pub map: Option<PathBuf>,
    /// Print every key of a notes file and stop
    #[arg(long)]
    pub keys: bool,
    /// What is stated about all photos alike.
    #[command(flatten)]
    pub look: LookArgs,
}

/// Writes the portfolio.
pub(super) fn run(args: &PortfolioArgs, console: &Console) -> Result<Outcome, Failure> {
    if args.keys {
        let keys: String = NOTE_KEYS.iter().map(|k| format!("{:<14}{}\n", k.name, k.meaning)).collect();
        console.result(keys.as_bytes())?;
        return Ok(Outcome::Answered);
    }
    let (Some(place), Some(out)) = (&args.folder, &args.out) else {
        return Err(Failure::Usage("a folder of photos and --out are needed".to_owned()));
    };
    let notes = args.notes.as_deref().unwrap_or(place);
    let mut places = Places::of_program();
    places.may_read("the mapping file", args.map.as_deref());
    for file in notes_below(notes)? {
        places.reads("the notes", &file);
    }
    places.writes("--out", out);
    places.writes_own_in(out, "html");
    places.check()?;
    let grouping = grouping_of(args.map.as_deref(), args.group)?;
    let folder = measured_folder(place, &out.join("measured"), &args.look, places, console)?;
    tell_unknown(&grouping, &folder.records, args.map.as_deref(), console);
    let written = portfolio::write(&folder, &grouping, notes, &args.title, out)?;
    if !written.unread.is_empty() {
        console.complain(&format!(
            "{}: belongs to no photo and no sample here; call notes like the photo (NAME.toml beside NAME.jpg) or like the sample",
            some_of(&written.unread)
        ));
    }
    let failed = folder.records.iter().filter(|r| r.failure.is_some()).count();
    console.result(format!("{}\n", out.join("index.html").display()).as_bytes())?;
    console.say(&format!("{} samples, {failed} photos failed", written.samples));
    Ok(match (failed, written.samples == 0) {
        (1.., _) => Outcome::SomePhotosFailed,
        (0, true) => Outcome::NothingAnswered,
        (0, false) => Outcome::Answered,
    })
}

/// Every notes file below a folder.
fn notes_below(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    // A folder that is not there would be one without notes.
    std::fs::read_dir(folder).map_err(|e| Failure::Input(format!("{}: cannot be read: {e}", folder.display())))?;
    let files =
        walkdir::WalkDir::new(folder).follow_links(true).into_iter().flatten().map(walkdir::DirEntry::into_path);
    Ok(files.filter(|path| has_ending(path, "toml")).collect())
}

impl From<PortfolioError> for Failure {
    fn from(error: PortfolioError) -> Self {
        match error {
            PortfolioError::Saved(error) => error.into(),
            PortfolioError::Notes { .. } => Self::Input(error.to_string()),
            other => Self::Output(other.to_string()),
        }
    }
}
