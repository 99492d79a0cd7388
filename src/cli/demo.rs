//! `demo`: writes photos of invented yarn with their exact truth.

use std::path::{Path, PathBuf};

use clap::Args;

use super::console::Console;
use super::exit::{Failure, Outcome};
use crate::show::file;
use crate::synth::{self, Scene};

/// `demo`.
#[derive(Debug, Args)]
pub struct DemoArgs {
    /// Folder to write to; made where it does not exist
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// Instead of the demo, write this many random photos, each with its exact truth beside it as JSON
    #[arg(long, value_name = "N")]
    scenes: Option<u64>,
    /// Seed of the first random photo; the next one has the next number
    #[arg(long, value_name = "SEED", default_value_t = 1)]
    seed: u64,
    /// Longer side of the random photos, in pixels
    #[arg(long, value_name = "PX", value_parser = clap::value_parser!(u32).range(64..=12000))]
    width: Option<u32>,
}

/// Writes what was asked for.
pub(super) fn run(args: &DemoArgs, console: &Console) -> Result<Outcome, Failure> {
    std::fs::create_dir_all(&args.folder).map_err(|error| {
        Failure::Output(format!("{}: the folder cannot be made: {error}; name another", args.folder.display()))
    })?;
    let Some(count) = args.scenes else {
        return Err(Failure::Usage("the demo is not written yet; use --scenes".to_owned()));
    };
    for i in 0..count {
        let mut scene = synth::random_scene(args.seed.wrapping_add(i));
        if let Some(width) = args.width {
            scene = scene.reduced(width as usize);
        }
        let photo = write_photo(&args.folder, &scene)?;
        console.say(&format!("{}: {}", photo.display(), scene.kind));
    }
    Ok(Outcome::Answered)
}

/// Writes one scene as NAME.jpg and NAME.json; returns the photo's path.
fn write_photo(folder: &Path, scene: &Scene) -> Result<PathBuf, Failure> {
    let fail = |what: String| Failure::Output(format!("{}: {what}", scene.name));
    let (bytes, truth) = synth::shoot_jpeg(scene).map_err(|e| fail(e.to_string()))?;
    let text = serde_json::to_string(&truth).map_err(|e| fail(e.to_string()))?;
    let photo = folder.join(format!("{}.jpg", scene.name));
    file::write(&photo, &bytes)?;
    file::write(&folder.join(format!("{}.json", scene.name)), text.as_bytes())?;
    Ok(photo)
}
