//! `demo`: writes photos of invented yarn with their exact truth, and measures them.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use clap::Args;

use super::console::Console;
use super::exit::{Failure, Outcome};
use crate::base::units::MM_PER_INCH;
use crate::figures::balance::FIBRES_DEG;
use crate::figures::report::Sample;
use crate::figures::{Balance, Method, Quantity, Report};
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
        let said: String = remarks(&measured.report).iter().map(|remark| format!("\n{remark}\n")).collect();
        // Writing to a string cannot fail.
        let _ = write!(
            text,
            "\n## {}\n\n![{}]({name}.jpg)\n\n{}\n{said}\nWhat was measured ([report]({name}.report.json), \
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

/// What the figures of a photo say of the story, as far as they do.
fn remarks(report: &Report) -> Vec<String> {
    let sample = &report.sample;
    [balance(sample), wraps(sample), kinks(report)].into_iter().flatten().collect()
}

/// Whether a plied yarn is balanced.
fn balance(sample: &Sample) -> Option<String> {
    let (value, interval) =
        summary::with_interval(*sample.fibre_angle_deg.value()?, sample.fibre_angle_deg.interval95());
    let lie = format!("The fibres on the surface lie at {value} degrees to the yarn's axis ({})", interval?);
    Some(match Balance::of_fibres(&sample.fibre_angle_deg) {
        Some(found) => format!("{lie}: {}.", found.word()),
        None => format!(
            "{lie}; whether the yarn is balanced, which is to lie from {:.0} to {:.0}, this photo does not tell.",
            FIBRES_DEG[0], FIBRES_DEG[1]
        ),
    })
}

/// How counted wraps stand to those that the diameter gives.
fn wraps(sample: &Sample) -> Option<String> {
    let Quantity::Measured { value: counted, interval95: Some(counted95), method: Method::WrapsCounted, .. } =
        &sample.wraps_per_inch
    else {
        return None;
    };
    let (diameter, [thin, thick]) = (sample.diameter_mm.value()?, sample.diameter_mm.interval95()?);
    let (given, given95) = (MM_PER_INCH / diameter, [MM_PER_INCH / thick, MM_PER_INCH / thin]);
    let (counted, _) = summary::with_interval(*counted, Some(*counted95));
    let (given, interval) = summary::with_interval(given, Some(given95).filter(|i| i.iter().all(|v| v.is_finite())));
    let interval = interval.map(|i| format!(" ({i})")).unwrap_or_default();
    let told = format!("25.4 mm over the diameter gives {given} wraps to the inch{interval}, counting {counted}");
    Some(if given95[0] > counted95[1] {
        format!("{told}: more, as wraps that do not lie quite close would have it.")
    } else if given95[1] < counted95[0] {
        format!("{told}: less, as wraps that are squeezed would have it.")
    } else {
        format!("{told}: they cannot be told apart.")
    })
}

/// What became of the curls.
fn kinks(report: &Report) -> Option<String> {
    report.sample.kinks.value().filter(|k| **k > 0.0)?;
    let left_out = report.strands.iter().flat_map(|s| &s.left_out).filter(|l| l.why == "kink").count();
    (left_out > 0).then(|| "Where it curls, width and twist are not measured.".to_owned())
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::testing::{measured, report};

    #[test]
    fn the_story_says_of_its_figures_what_they_say() {
        let mut told = report("a.jpg");
        told.sample.fibre_angle_deg = measured(2.5, 4.6);
        assert!(remarks(&told)[0].contains("does not tell"), "-6.5 to 11.5 reaches beyond 10 degrees");
        told.sample.fibre_angle_deg = measured(2.5, 2.0);
        assert!(remarks(&told)[0].ends_with(": balanced."));
        // 25.4 over 2 mm is 12.7, known to 2 %.
        for (counted, word) in [(12.0, "more"), (12.6, "cannot be told apart"), (13.5, "less")] {
            let Quantity::Measured { value, interval95, budget, .. } = measured(counted, 0.05) else { panic!() };
            told.sample.wraps_per_inch =
                Quantity::Measured { value, interval95, probability: None, method: Method::WrapsCounted, budget };
            let said = remarks(&told).remove(1);
            assert!(said.contains("gives 12.70 wraps") && said.contains(word), "{said}");
        }
        assert_eq!(remarks(&told).len(), 2, "no kinks, nothing of curls");
    }
}
