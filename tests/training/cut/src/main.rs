//! Painted photos in, strips and scout pictures out: `cut OUT PHOTO.jpg...`, each photo with its labels beside it
//! (tests/training/README.md says which).

mod chance;
mod columns;
mod found;
mod scene;
mod scout;
mod things;

use std::path::{Path, PathBuf};

use chance::Chance;
use rayon::prelude::*;
use scene::Scene;
use strandrule::base::geometry::{Image, Point};
use strandrule::base::line::smoothed;
use strandrule::base::raster::Raster;
use strandrule::measure::seen::strip::EyeStrip;

/// Strips cut from one strand: each with a guess of its own of where it lies and how wide it is.
const CUTS: u64 = 4;

/// Guess of the width over the true one: the scout is wrong by up to two thirds either way, and what is seen must not hang on it.
const LEAST_GUESS: f64 = 0.55;
const MOST_GUESS: f64 = 1.8;

/// Every other cut is as near as the program's last looks are: this share of the widest guesses' and jitter's range.
const NEAR: f64 = 0.4;

/// Longest strip, columns; longer strands give a part of themselves, drawn at random.
const MOST_COLUMNS: f64 = 768.0;

fn main() {
    let mut arguments = std::env::args().skip(1).map(PathBuf::from);
    let Some(out) = arguments.next() else {
        eprintln!("usage: cut OUT PHOTO.jpg...");
        std::process::exit(2);
    };
    std::fs::create_dir_all(&out).expect("the folder can be made");
    let photos: Vec<PathBuf> = arguments.collect();
    let counts: Vec<usize> = photos
        .par_iter()
        .map(|photo| {
            one(photo, &out).unwrap_or_else(|why| {
                eprintln!("skipped {}: {why}", photo.display());
                0
            })
        })
        .collect();
    println!("{} strips from {} photos", counts.iter().sum::<usize>(), photos.len());
}

fn one(photo: &Path, out: &Path) -> Result<usize, String> {
    let scene = Scene::read(photo)?;
    let stem = photo.file_stem().and_then(|n| n.to_str()).ok_or("no name")?;
    scout::write(&scene, &out.join(stem))?;
    let mut cut = 0;
    for (number, strand) in scene.strands.iter().enumerate() {
        for version in 0..CUTS {
            let mut chance = Chance::of(scene.seed, &format!("{}-{number}-{version}", scene.painter));
            let Some(width) = strand.width_px() else { continue };
            let near = if version % 2 == 0 { NEAR } else { 1.0 };
            let guess = width * (near * (LEAST_GUESS.ln() + (MOST_GUESS / LEAST_GUESS).ln() * chance.unit())).exp();
            let Some(line) = part(&strand.centre, MOST_COLUMNS * guess / 20.0, &mut chance) else { continue };
            let line = jittered(&line, width, near, &mut chance);
            let Some(strip) = EyeStrip::lay(&scene.photo, &line, guess) else { continue };
            let truth = columns::of(strand, &strip, scene.line_tangent(&line));
            if !truth.valid.iter().any(|v| *v) {
                continue;
            }
            write(&scene, &strip, &line, guess, &truth, &out.join(format!("{stem}-{number}-{version}")))?;
            cut += 1;
        }
    }
    for (number, path) in found::paths(&scene).into_iter().enumerate() {
        let mut chance = Chance::of(scene.seed, &format!("{}-found-{number}", scene.painter));
        let guess = path.width_px * (LEAST_GUESS.ln() - LEAST_GUESS.ln() * chance.unit()).exp();
        let Some(line) = part(&path.line, MOST_COLUMNS * guess / 20.0, &mut chance) else { continue };
        let Some(strip) = EyeStrip::lay(&scene.photo, &line, guess) else { continue };
        let truth = match found::what(&scene, &line, path.width_px) {
            found::What::Strand(strand) => columns::of(strand, &strip, scene.line_tangent(&line)),
            found::What::Nothing => columns::nothing(&strip),
            found::What::Unclear => continue,
        };
        if truth.plies > 0 && !truth.valid.iter().any(|v| *v) {
            continue;
        }
        let name = if truth.plies > 0 { "found" } else { "wrong" };
        write(&scene, &strip, &line, guess, &truth, &out.join(format!("{stem}-{name}{number}")))?;
        cut += 1;
    }
    for (number, (line, width)) in things::lines(&scene).into_iter().enumerate() {
        let Some(strip) = EyeStrip::lay(&scene.photo, &line, width) else { continue };
        let truth = columns::nothing(&strip);
        write(&scene, &strip, &line, width, &truth, &out.join(format!("{stem}-no{number}")))?;
        cut += 1;
    }
    Ok(cut)
}

/// A part of a line, at most so long.
fn part(line: &[Point<Image>], most_px: f64, chance: &mut Chance) -> Option<Vec<Point<Image>>> {
    let length: f64 = line.windows(2).map(|w| w[0].distance(w[1])).sum();
    let first = chance.unit() * (length - most_px).max(0.0);
    let mut along = 0.0;
    let mut out = Vec::new();
    for (i, p) in line.iter().enumerate() {
        along += if i > 0 { line[i - 1].distance(*p) } else { 0.0 };
        if along >= first && along <= first + most_px {
            out.push(*p);
        }
    }
    (out.len() > 8).then_some(out)
}

/// The line as something might have found it: beside the strand by up to a third of its width, times `far`, and swaying.
fn jittered(line: &[Point<Image>], width: f64, far: f64, chance: &mut Chance) -> Vec<Point<Image>> {
    let step = line.windows(2).map(|w| w[0].distance(w[1])).sum::<f64>() / (line.len() - 1) as f64;
    let line = smoothed(line, 0.4 * width / step.max(1e-6));
    let (aside, sway) = (0.15 * far * width * chance.normal().clamp(-2.0, 2.0), 0.15 * far * width * chance.unit());
    let noise: Vec<f64> = (0..line.len()).map(|_| chance.normal()).collect();
    let mut slow = strandrule::base::line::smooth_values(&noise, 5.0 * width / step.max(1e-6));
    let size = (slow.iter().map(|v| v * v).sum::<f64>() / slow.len() as f64).sqrt().max(1e-9);
    slow.iter_mut().for_each(|v| *v *= sway / size);
    (0..line.len())
        .map(|i| {
            let (a, b) = (i.saturating_sub(1), (i + 1).min(line.len() - 1));
            let normal = (line[b] - line[a]).unit().map_or(Point::new(0.0, 0.0), Point::quarter_turn);
            line[i] + normal * (aside + slow[i])
        })
        .collect()
}

fn write(
    scene: &Scene,
    strip: &EyeStrip,
    line: &[Point<Image>],
    guess: f64,
    truth: &columns::Columns,
    stem: &Path,
) -> Result<(), String> {
    let labels = EyeStrip::lay(&scene.labels, line, guess).ok_or("labels of another size")?;
    png(&strip.rgb, &stem.with_extension("strip.png"))?;
    png(&labels.rgb, &stem.with_extension("truth.png"))?;
    let text = serde_json::to_string(truth).map_err(|e| e.to_string())?;
    std::fs::write(stem.with_extension("strip.json"), text).map_err(|e| e.to_string())
}

fn png(picture: &Raster<[u8; 3]>, to: &Path) -> Result<(), String> {
    let (width, height) = (picture.width() as u32, picture.height() as u32);
    image::save_buffer(to, picture.samples().as_flattened(), width, height, image::ExtendedColorType::Rgb8)
        .map_err(|e| e.to_string())
}
