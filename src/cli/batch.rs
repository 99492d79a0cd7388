//! `batch`: a folder, a pattern or a list of photos.

use std::io::Read;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use indicatif::{ProgressBar, ProgressStyle};
use serde::Serialize;

use super::args::LookArgs;
use super::console::Console;
use super::exit::{Failure, Outcome};
use super::outputs::Places;
use super::settings::LookSettings;
use crate::measure::pipeline::Params;
use crate::show::{escape, json};
use crate::work::batch::{self, Batch, BatchError, Grouping, Listed, Shard, Summary};

const EXAMPLES: &str = "\
Examples:
  strandrule batch class/ --out results/
      every photo below class/: reports/, overlays/, looks/, photos.csv, photos.jsonl, and
      samples.csv with the photos of each label pooled. Killed half way? Start it again: it
      finishes what is missing
  strandrule batch 'fleece/*.jpg' --out results/ --group folder
      photos of one folder are one sample
  strandrule batch class/ --out results/ --map map.csv
      a table with the columns photo and sample mends labels that could not be read
  strandrule batch class/ --out results/ --shard 2/4
      the second quarter of the list, for the second of four machines that share a disk; when all
      are done, the same command without --shard measures nothing again and writes the tables
  parallel strandrule batch class/ --out part{} --shard {}/4 ::: 1 2 3 4
  strandrule batch --merge part1 part2 part3 part4 --out results/
      the same with GNU parallel and a folder each, put together at the end

A photo that cannot be read is a row with its reason, and the exit code is 5.";

/// `batch`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES, arg_required_else_help = true)]
pub struct BatchArgs {
    /// Photos, folders of photos, or quoted patterns
    #[arg(value_name = "PHOTOS", required_unless_present_any = ["list", "merge"])]
    pub photos: Vec<PathBuf>,
    /// The folder for all output; made if missing
    #[arg(long, value_name = "DIR", required = true)]
    pub out: PathBuf,
    /// A text file with one photo, folder or pattern a line; - reads standard input
    #[arg(long, value_name = "FILE", help_heading = "Which photos")]
    pub list: Option<PathBuf>,
    /// What makes photos one sample
    #[arg(long, value_enum, default_value_t = Group::Label, help_heading = "Samples")]
    pub group: Group,
    /// A table (CSV, parted by commas, semicolons or tabs) with the columns photo and sample; photos that it does not name go by their label
    #[arg(long, value_name = "FILE.csv", conflicts_with = "group", help_heading = "Samples")]
    pub map: Option<PathBuf>,
    /// Photos in work at once [default: all cores]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024), help_heading = "Work")]
    pub threads: Option<u16>,
    /// Do only part I of N of the list, and write no tables
    #[arg(long, value_name = "I/N", conflicts_with = "merge", help_heading = "Work")]
    pub shard: Option<String>,
    /// Put the folders of several shards together instead of measuring
    #[arg(long, num_args = 1.., value_name = "DIR", conflicts_with_all = ["photos", "list"], help_heading = "Work")]
    pub merge: Vec<PathBuf>,
    /// Write no pictures
    #[arg(long, help_heading = "Work")]
    pub no_pictures: bool,
    /// What is stated about all photos alike.
    #[command(flatten)]
    pub look: LookArgs,
}

/// What makes photos one sample.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Group {
    /// The label on the card
    Label,
    /// The folder
    Folder,
}

impl From<BatchError> for Failure {
    fn from(error: BatchError) -> Self {
        match error {
            BatchError::Saved(error) => Self::Input(error.to_string()),
            other => Self::Output(other.to_string()),
        }
    }
}

/// What goes to standard output.
#[derive(Serialize)]
struct Done {
    photos: usize,
    failed: usize,
    answered: usize,
    table: Option<String>,
}

/// Runs the batch.
pub(super) fn run(args: &BatchArgs, console: &Console) -> Result<Outcome, Failure> {
    let shard = args.shard.as_deref().map(shard).transpose()?;
    let mut places = Places::of_program();
    places.may_read("the mapping file", args.map.as_deref());
    places.may_read("the list", args.list.as_deref().filter(|file| file.as_os_str() != "-"));
    places.writes("--out", &args.out);
    places.writes_own(batch::files_of(&args.out, &[]));
    places.writes_own(batch::files_merged(&args.merge, &args.out));
    places.check()?;
    let (grouping, records, summary) = if args.merge.is_empty() {
        let photos = listed(args)?;
        check(&photos, &args.out, places)?;
        let grouping = grouping_of(args.map.as_deref(), args.group)?;
        let (records, summary) = measure(args, photos, shard, console)?;
        (grouping, records, summary)
    } else {
        check(&[], &args.out, places)?;
        let grouping = grouping_of(args.map.as_deref(), args.group)?;
        let records = batch::merge(&args.merge, &args.out)?;
        let failed = records.iter().filter(|r| r.failure.is_some()).count();
        let answered = records.iter().filter(|r| r.answered).count();
        let summary = Summary { photos: records.len(), failed, answered, unchanged: 0 };
        (grouping, records, summary)
    };
    let table = if shard.is_none() {
        tidy(&args.out, &records, console)?;
        batch::write_tables(&args.out, &records, &grouping)?;
        Some(args.out.join("photos.csv").display().to_string())
    } else {
        None
    };
    let Summary { photos, failed, answered, unchanged } = summary;
    let table_written = table.clone();
    let text = json::text(&Done { photos, failed, answered, table }).map_err(|e| Failure::Output(e.to_string()))?;
    console.result(text.as_bytes())?;
    let counted = if photos == 1 { "1 photo".to_owned() } else { format!("{photos} photos") };
    console.say(&format!("{counted}: {answered} with figures, {failed} failed, {unchanged} unchanged since before"));
    tell_unknown(&grouping, &records, args.map.as_deref(), console);
    let alone: Vec<&str> = records
        .iter()
        .filter(|r| table_written.is_some() && r.failure.is_none() && grouping.sample_of(r).is_none())
        .map(|r| r.photo.as_str())
        .collect();
    if !alone.is_empty() {
        console.say(&format!(
            "in no sample, so not in samples.csv: {}; --map names their samples, or --group folder takes each folder for one",
            some_of(&alone)
        ));
    }
    let failed_ones: Vec<&str> = records.iter().filter(|r| r.failure.is_some()).map(|r| r.photo.as_str()).collect();
    let silent: Vec<&str> =
        records.iter().filter(|r| r.failure.is_none() && !r.answered).map(|r| r.photo.as_str()).collect();
    if !failed_ones.is_empty() {
        console.say(&format!("failed: {}", some_of(&failed_ones)));
    }
    if !silent.is_empty() {
        console.say(&format!("no figure: {}", some_of(&silent)));
    }
    if let Some(table) = &table_written {
        let overlays = args.out.join("overlays");
        let why = if failed_ones.is_empty() && silent.is_empty() {
            ""
        } else {
            " (one row a photo; where figures are missing it says why)"
        };
        console.say(&format!("next: open {table}{why}, and look at {} for what was measured", overlays.display()));
    }
    Ok(if failed > 0 {
        Outcome::SomePhotosFailed
    } else if answered > 0 || photos == 0 {
        Outcome::Answered
    } else {
        Outcome::NothingAnswered
    })
}

/// Names for a line on the screen: the first few, and how many more.
pub(super) fn some_of<T: AsRef<str>>(names: &[T]) -> String {
    const SHOWN: usize = 8;
    let shown: Vec<String> = names.iter().take(SHOWN).map(|n| escape::one_line(n.as_ref())).collect();
    let more = names.len().saturating_sub(SHOWN);
    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
    format!("{}{more}", shown.join(", "))
}

/// Says which photos a mapping file names that are not there: most are slips of the pen.
pub(super) fn tell_unknown(grouping: &Grouping, records: &[batch::Record], map: Option<&Path>, console: &Console) {
    let unknown = grouping.without_photo(records);
    if let Some(map) = map.filter(|_| !unknown.is_empty()) {
        console.complain(&format!("{}: names photos that are not here: {}", map.display(), some_of(&unknown)));
    }
}

/// Checks that what a batch writes into `out` is none of the photos nor what else `places` reads, and that what lies there
/// under the names of its tables is its own.
fn check(photos: &[Listed], out: &Path, mut places: Places) -> Result<(), Failure> {
    photos.iter().for_each(|photo| places.reads("the photo", &photo.path));
    places.writes_own(batch::files_of(out, photos));
    places.check()?;
    match batch::foreign_table(out) {
        Some(table) => Err(Failure::Usage(format!(
            "{}: is there already, and no batch wrote it; choose another folder for --out",
            table.display()
        ))),
        None => Ok(()),
    }
}

/// Takes away what an earlier run wrote for photos that are no longer meant, and says so.
fn tidy(out: &Path, records: &[batch::Record], console: &Console) -> Result<(), Failure> {
    let gone = batch::tidy(out, records)?;
    if !gone.is_empty() {
        let which = some_of(&gone);
        console.say(&format!("taken away from {}, for they are not among these photos: {which}", out.display()));
    }
    Ok(())
}

/// The folder of a finished batch: `place` itself, or `out` after the photos at `place` have been measured into it.
/// Before that it checks `places`, which tells what else the command reads and writes.
pub(super) fn measured_folder(
    place: &Path,
    out: &Path,
    look: &LookArgs,
    mut places: Places,
    console: &Console,
) -> Result<batch::Folder, Failure> {
    if batch::Folder::is_one(place) {
        for file in batch::files_of(place, &[]) {
            places.reads("a file of the batch", &file);
        }
        places.check()?;
        return Ok(batch::Folder::open(place)?);
    }
    let args = BatchArgs {
        photos: vec![place.to_owned()],
        out: out.to_owned(),
        list: None,
        group: Group::Label,
        map: None,
        threads: None,
        shard: None,
        merge: Vec::new(),
        no_pictures: false,
        look: look.clone(),
    };
    let photos = listed(&args)?;
    check(&photos, out, places)?;
    let (records, _) = measure(&args, photos, None, console)?;
    tidy(out, &records, console)?;
    batch::write_tables(out, &records, &Grouping::Label)?;
    Ok(batch::Folder::open(out)?)
}

/// The photos that are meant.
fn listed(args: &BatchArgs) -> Result<Vec<Listed>, Failure> {
    let mut places = args.photos.clone();
    if let Some(list) = &args.list {
        places.extend(lines_of(list)?);
    }
    batch::find_photos(&places).map_err(|e| Failure::Input(e.to_string()))
}

fn measure(
    args: &BatchArgs,
    mut photos: Vec<Listed>,
    shard: Option<Shard>,
    console: &Console,
) -> Result<(Vec<batch::Record>, Summary), Failure> {
    let settings = LookSettings::new(&args.look)?;
    match shard {
        Some(shard) => photos = shard.take(photos),
        None => batch::sweep(&args.out),
    }
    let bar = if console.person_reads_stderr() && !console.is_quiet() {
        ProgressBar::new(photos.len() as u64)
    } else {
        ProgressBar::hidden()
    };
    if let Ok(style) = ProgressStyle::with_template("{wide_bar} {pos}/{len} photos, {eta} left{msg}") {
        bar.set_style(style);
    }
    let work = Batch {
        out: &args.out,
        stated: &settings.stated,
        pictures: !args.no_pictures,
        params: Params::default(),
        limits: settings.limits,
        threads: threads(args),
        wanted: &|| true,
    };
    let done = batch::measure_all(&work, &photos, &|_| bar.inc(1));
    bar.finish_and_clear();
    Ok(done?)
}

/// As stated, else as the environment says, else one for each core; one where there is no room for more.
fn threads(args: &BatchArgs) -> usize {
    if !super::roomy() {
        return 1;
    }
    let from_environment = || std::env::var("RAYON_NUM_THREADS").ok()?.parse::<usize>().ok().filter(|n| *n > 0);
    args.threads
        .map(usize::from)
        .or_else(from_environment)
        .or_else(|| std::thread::available_parallelism().ok().map(usize::from))
        .unwrap_or(1)
}

fn lines_of(file: &Path) -> Result<Vec<PathBuf>, Failure> {
    let unreadable = |e: std::io::Error| Failure::Input(format!("{}: cannot be read: {e}", file.display()));
    let text = if file.as_os_str() == "-" {
        let mut text = String::new();
        std::io::stdin().lock().read_to_string(&mut text).map_err(unreadable)?;
        text
    } else {
        std::fs::read_to_string(file).map_err(unreadable)?
    };
    Ok(text.lines().map(|l| l.trim_end_matches('\r')).filter(|l| !l.is_empty()).map(PathBuf::from).collect())
}

/// By a mapping file where one is given, else as chosen.
pub(super) fn grouping_of(map: Option<&Path>, group: Group) -> Result<Grouping, Failure> {
    match (map, group) {
        (Some(file), _) => {
            let bytes =
                std::fs::read(file).map_err(|e| Failure::Input(format!("{}: cannot be read: {e}", file.display())))?;
            Grouping::from_table(&bytes).map_err(|e| Failure::Input(format!("{}: {e}", file.display())))
        }
        (None, Group::Label) => Ok(Grouping::Label),
        (None, Group::Folder) => Ok(Grouping::Folder),
    }
}

fn shard(given: &str) -> Result<Shard, Failure> {
    let parts = given.split_once('/').and_then(|(i, n)| Some((i.trim().parse().ok()?, n.trim().parse().ok()?)));
    match parts {
        Some((index, of)) if index >= 1 && index <= of => Ok(Shard { index, of }),
        _ => Err(Failure::Usage(format!("--shard {given:?}: give part and number of parts, as in 2/4"))),
    }
}
