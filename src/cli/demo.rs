//! `demo`: writes photos of invented yarn with their exact truth, and measures them.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use clap::Args;

use super::console::Console;
use super::exit::{Failure, Outcome};
use crate::measure::photo::{Limits, decode};
use crate::measure::pipeline::{Params, Request, measure};
use crate::show::{file, json, overlay, summary};
use crate::synth::{self, Scene, story};

const EXAMPLES: &str = "\
Examples:
  strandrule demo first-look
      photos of an invented sampling, the story that belongs to them, and what was measured: open
      first-look/story.md
  strandrule demo --scenes 40 --seed 7 trial
      40 random photos, each with its exact truth beside it";

/// `demo`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct DemoArgs {
    /// Folder to write to; made where it does not exist
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// Instead of the demo, write this many random photos, each with its exact truth beside it as JSON
    #[arg(long, value_name = "N")]
    scenes: Option<u64>,
    /// Seed of the first random photo; the next one has the next number
    #[arg(long, value_name = "SEED", default_value_t = 1, requires = "scenes")]
    seed: u64,
    /// Longer side of the random photos, in pixels
    #[arg(long, value_name = "PX", value_parser = clap::value_parser!(u32).range(64..=12000), requires = "scenes")]
    width: Option<u32>,
}

/// Writes what was asked for.
pub(super) fn run(args: &DemoArgs, console: &Console) -> Result<Outcome, Failure> {
    std::fs::create_dir_all(&args.folder).map_err(|error| {
        Failure::Output(format!("{}: the folder cannot be made: {error}; name another", args.folder.display()))
    })?;
    match args.scenes {
        Some(count) => scenes(args, count, console),
        None => tell(&args.folder, console),
    }
}

fn scenes(args: &DemoArgs, count: u64, console: &Console) -> Result<Outcome, Failure> {
    for i in 0..count {
        let mut scene = synth::random_scene(args.seed.wrapping_add(i));
        if let Some(width) = args.width {
            scene = scene.reduced(width as usize);
        }
        let (photo, _) = write_photo(&args.folder, &scene)?;
        console.say(&format!("{}: {}", photo.display(), scene.kind));
    }
    Ok(Outcome::Answered)
}

/// The story: photos, what was measured in each (report, overlay), and the text that holds them together, last.
fn tell(folder: &Path, console: &Console) -> Result<Outcome, Failure> {
    let mut text = story::OPENING.to_owned();
    for chapter in story::story() {
        let name = &chapter.scene.name;
        let (photo, bytes) = write_photo(folder, &chapter.scene)?;
        let decoded = decode(&photo, bytes, &Limits::default())?;
        let request = Request::default();
        let measured = measure(&decoded, &request, &Params::default());
        let report = json::text(&measured.report).map_err(|e| Failure::Output(format!("{name}: {e}")))?;
        file::write(&folder.join(format!("{name}.report.json")), report.as_bytes())?;
        let picture = overlay::png(&decoded, &request, &measured.report, &measured.evidence);
        let picture = picture.map_err(|e| Failure::Output(format!("{name}: {e}")))?;
        file::write(&folder.join(format!("{name}.overlay.png")), &picture)?;
        let seen = summary::text(&measured.report);
        // Writing to a string cannot fail.
        let _ = write!(
            text,
            "\n## {}\n\n![{}]({name}.jpg)\n\n{}\n\nWhat was measured ([report]({name}.report.json), \
             [what it looked at]({name}.overlay.png)):\n\n```\n{}\n```\n",
            chapter.title,
            chapter.title,
            chapter.text,
            seen.trim_end()
        );
        console.say(&format!("{}: {}", photo.display(), chapter.title));
    }
    let page = folder.join("story.md");
    file::write(&page, text.as_bytes())?;
    console.say(&format!("{}: begin here", page.display()));
    Ok(Outcome::Answered)
}

/// Writes one scene as NAME.jpg and NAME.json; returns the photo's path and bytes.
fn write_photo(folder: &Path, scene: &Scene) -> Result<(PathBuf, Vec<u8>), Failure> {
    let fail = |what: String| Failure::Output(format!("{}: {what}", scene.name));
    let (bytes, truth) = synth::shoot_jpeg(scene).map_err(|e| fail(e.to_string()))?;
    let text = serde_json::to_string(&truth).map_err(|e| fail(e.to_string()))?;
    let photo = folder.join(format!("{}.jpg", scene.name));
    file::write(&photo, &bytes)?;
    file::write(&folder.join(format!("{}.json", scene.name)), text.as_bytes())?;
    Ok((photo, bytes))
}
