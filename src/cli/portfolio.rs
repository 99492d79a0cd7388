//! `portfolio`: a page for each sample, and an index.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use clap::Args;

use super::args::LookArgs;
use super::batch::{Group, grouping_of, measured_folder, some_of, tell_unknown};
use super::console::Console;
use super::exit::{Failure, Outcome};
use super::outputs::{Places, entries, has_ending};
use crate::show::file;
use crate::work::batch::{Folder, Record};
use crate::work::pool::pool_reports;
use crate::work::portfolio::{NOTE_KEYS, Notes, Piece, index_page, page_name, sample_page};

/// Largest notes file, bytes.
const MAX_NOTES: u64 = 256 << 10;

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
    std::fs::create_dir_all(out)
        .map_err(|e| Failure::Output(format!("{}: cannot be made: {e}; choose another folder", out.display())))?;
    let mut groups: BTreeMap<String, Vec<&Record>> = BTreeMap::new();
    for record in folder.records.iter().filter(|r| r.failure.is_none()) {
        // A photo that bears no label is a sample of its own.
        groups.entry(grouping.sample_of(record).unwrap_or_else(|| record.photo.clone())).or_default().push(record);
    }
    tell_unknown(&grouping, &folder.records, args.map.as_deref(), console);
    let (mut index, mut pages, mut taken) = (Vec::new(), Vec::new(), BTreeSet::new());
    let mut read = BTreeSet::new();
    for (name, records) in groups {
        let Some(mut piece) = piece(&folder, name, &records, notes, &mut read)? else { continue };
        let page = page_name(&piece.name, &mut taken);
        file::write(&out.join(&page), sample_page(&piece).as_bytes())?;
        // The index needs the small pictures and the figures only.
        piece.reports.clear();
        piece.shown.overlay = None;
        index.push(piece);
        pages.push(page);
    }
    file::write(&out.join("index.html"), index_page(&args.title, &index, &pages).as_bytes())?;
    let unread: Vec<String> = entries(notes)
        .filter(|path| has_ending(path, "toml") && !read.contains(path))
        .map(|path| path.file_name().unwrap_or_default().to_string_lossy().into_owned())
        .collect::<BTreeSet<String>>()
        .into_iter()
        .collect();
    if !unread.is_empty() {
        console.complain(&format!(
            "{}: belongs to no photo and no sample here; call notes like the photo (NAME.toml beside NAME.jpg) or like the sample",
            some_of(&unread)
        ));
    }
    let failed = folder.records.iter().filter(|r| r.failure.is_some()).count();
    console.result(format!("{}\n", out.join("index.html").display()).as_bytes())?;
    console.say(&format!("{} samples, {failed} photos failed", index.len()));
    Ok(match (failed, index.is_empty()) {
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

/// One sample with its photos, pictures and notes.
fn piece(
    folder: &Folder,
    name: String,
    records: &[&Record],
    notes: &Path,
    read: &mut BTreeSet<PathBuf>,
) -> Result<Option<Piece>, Failure> {
    let mut reports = Vec::with_capacity(records.len());
    for record in records {
        reports.extend(folder.report(record)?);
    }
    let Some(pooled) = pool_reports(&reports) else { return Ok(None) };
    let shown = records.first().map(|r| folder.shown(r)).unwrap_or_default();
    let mut found = Notes::default();
    let own = safe_name(&name).map(|n| notes.join(format!("{n}.toml")));
    let beside = records.iter().map(|r| notes.join(&r.photo).with_extension("toml"));
    for path in own.into_iter().chain(beside) {
        if path.is_file() {
            // Notes of a sample's second photo are known, though the first ones are shown.
            if read.insert(path.clone()) && found == Notes::default() {
                found = read_notes(&path)?;
            }
        }
    }
    Ok(Some(Piece { name, reports, pooled, shown, notes: found }))
}

/// A sample's name as a file name, where it can be one.
fn safe_name(name: &str) -> Option<&str> {
    (!name.contains(['/', '\\']) && name != "." && name != "..").then_some(name)
}

fn read_notes(path: &Path) -> Result<Notes, Failure> {
    let wrong = |e: &dyn std::fmt::Display| Failure::Input(format!("{}: {e}", path.display()));
    if std::fs::metadata(path).map_err(|e| wrong(&e))?.len() > MAX_NOTES {
        return Err(wrong(&"is larger than 256 kB; shorten it"));
    }
    let text = std::fs::read_to_string(path).map_err(|e| wrong(&e))?;
    Notes::from_toml(&text).map_err(|e| wrong(&e))
}
