//! The whole measurement: photos with a known truth in, reports out.
//!
//! Tolerances are those that the first release has to meet over `fixtures/photos` and the folder that
//! `STRANDRULE_PHOTOS` names; a handful of photos cannot tell 85 % from 80 %, so small sets allow one miss.
#![expect(clippy::print_stdout, clippy::print_stderr, reason = "the table and the skipping must be seen")]

use std::path::{Path, PathBuf};

use serde_json::Value;
use strandrule::base::stats::median;
use strandrule::measure::photo::{Limits, Photo, decode, read};
use strandrule::measure::pipeline::{Params, Request, measure};
use strandrule::synth::{Scene, random_scene, shoot_jpeg};

use super::compare::{FIGURES, Figure, figure, given_lengths};

fn report_of(photo: &Photo) -> Value {
    serde_json::to_value(measure(photo, &Request::default(), &Params::default()).report).expect("a report is JSON")
}

/// All photos of a folder with a truth beside them, in order of name.
fn with_truth(folder: &Path) -> Vec<(PathBuf, Value)> {
    let entries = std::fs::read_dir(folder).expect("the folder can be read");
    let mut all: Vec<PathBuf> = entries.map(|e| e.expect("an entry").path()).collect();
    all.retain(|p| p.extension().is_some_and(|e| e == "json") && p.with_extension("jpg").exists());
    all.sort();
    let truth = |p: &PathBuf| serde_json::from_slice(&std::fs::read(p).expect("truth can be read")).expect("JSON");
    all.iter().map(|p| (p.with_extension("jpg"), truth(p))).collect()
}

/// Everything that came out over a set of photos.
#[derive(Default)]
struct Tally {
    photos: usize,
    figures: Vec<(&'static str, Figure, usize)>,
    wrongly_given: Vec<String>,
}

impl Tally {
    fn add(&mut self, name: &str, report: &Value, truth: &Value) {
        self.photos += 1;
        if truth["expected"] == "refuse" {
            let given = given_lengths(report);
            if !given.is_empty() {
                self.wrongly_given.push(format!("{name}: {}", given.join(", ")));
            }
            return;
        }
        let plies = truth["yarn"]["plies"].as_u64().unwrap_or(0) as usize;
        let mut line = format!("{name:<28}");
        for (figure_name, ..) in FIGURES {
            let found = figure(figure_name, report, truth);
            let cell = match &found {
                None => String::new(),
                Some(Figure { error: None, .. }) => "-".to_owned(),
                Some(f) => format!("{:.2}{}", f.error.unwrap_or(0.0), if f.covered { "" } else { "!" }),
            };
            line += &format!("{figure_name:>10} {cell:<7}");
            if let Some(f) = found {
                self.figures.push((figure_name, f, plies));
            }
        }
        println!("{line}");
    }

    fn of(&self, name: &str, keep: impl Fn(usize) -> bool) -> Vec<&Figure> {
        self.figures.iter().filter(|(n, _, plies)| *n == name && keep(*plies)).map(|(_, f, _)| f).collect()
    }
    fn faults(&self) -> Vec<&str> {
        self.figures.iter().filter_map(|(_, f, _)| f.fault.as_deref()).collect()
    }
    /// Share of the readable photos in which the figure is answered.
    fn answered(&self, name: &str) -> f64 {
        let all: Vec<_> = self.of(name, |_| true).into_iter().filter(|f| f.readable).collect();
        all.iter().filter(|f| f.error.is_some()).count() as f64 / all.len().max(1) as f64
    }
    fn errors(&self, name: &str, keep: impl Fn(usize) -> bool) -> Vec<f64> {
        self.of(name, keep).iter().filter_map(|f| f.error).collect()
    }
    fn wrong(&self, name: &str) -> usize {
        self.errors(name, |_| true).iter().filter(|e| **e > 0.5).count()
    }
    /// Share of the answers whose interval holds the truth.
    fn coverage(&self, names: &[&str]) -> (usize, usize) {
        let all: Vec<_> = names.iter().flat_map(|n| self.of(n, |_| true)).filter(|f| f.error.is_some()).collect();
        (all.iter().filter(|f| f.covered).count(), all.len())
    }
    fn assert_in_order(&self) {
        assert!(self.faults().is_empty(), "against the contract: {:?}", self.faults());
        assert!(self.wrongly_given.is_empty(), "lengths given where they should be refused: {:?}", self.wrongly_given);
    }
}

fn tally(photos: impl IntoIterator<Item = (PathBuf, Value)>) -> Tally {
    let mut tally = Tally::default();
    for (path, truth) in photos {
        let photo = read(&path, &Limits::default()).expect("the photo can be read");
        tally.add(&path.file_stem().unwrap_or_default().to_string_lossy(), &report_of(&photo), &truth);
    }
    tally
}

/// Pale yarn on the ruler card's dark field, half of its card white. Truth: what the demo drew (`strandrule demo` writes it
/// beside the photo); tolerances twice those of the goal for careful photos.
#[test]
fn pale_yarn_on_the_dark_field_is_measured() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-images/01-ivo-short-draw.jpg");
    let report = report_of(&read(&path, &Limits::default()).expect("the photo can be read"));
    let sample = &report["sample"];
    let value = |name: &str| sample[name]["value"].as_f64().unwrap_or(f64::NAN);
    assert_eq!(sample["twist_direction"]["value"], "Z");
    assert_eq!(sample["plies"]["value"], 1);
    assert!((value("diameter_mm") / 0.790 - 1.0).abs() < 0.04, "{} mm", value("diameter_mm"));
    assert!((value("twists_per_inch") / 6.35 - 1.0).abs() < 0.08, "{} turns an inch", value("twists_per_inch"));
}

#[test]
fn photos_kept_as_fixtures_are_measured_right() {
    let photos = with_truth(&Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/photos"));
    assert!(photos.len() >= 9, "{} photos", photos.len());
    let tally = tally(photos);
    tally.assert_in_order();
    assert_eq!(tally.wrong("direction"), 0);
    assert_eq!(tally.wrong("plies"), 0);
    // Eight photos with yarn to measure: seven answered are 88 %.
    for name in ["direction", "diameter", "scale"] {
        assert!(tally.answered(name) >= 0.85, "{name} answered in {}", tally.answered(name));
    }
    let middle = |name: &str| median(&tally.errors(name, |_| true)).expect("answers");
    assert!(middle("diameter") <= 3.0, "diameter {} %", middle("diameter"));
    assert!(middle("angle") <= 2.0, "angle {} degrees", middle("angle"));
    assert!(middle("scale") <= 0.7, "scale {} %", middle("scale"));
    let turns = median(&tally.errors("turns", |plies| plies > 1)).expect("answers");
    assert!(turns <= 5.0, "turns of plied yarn {turns} %");
}

/// Random scenes of our own, as they come: many are harder than a careful photo (out of focus, thin, noisy).
///
/// The bounds are a floor under what is reached, not the goal, which stands in the two tests on ray-traced photos; the
/// renderer's authors know its optics, so these scenes count for less. A twelfth of the directions may be wrong here:
/// one is, on brown plies whose fibres run against them.
#[test]
fn rendered_scenes_are_measured_no_worse_than_before() {
    let mut tally = Tally::default();
    // Seeds 0 to 11; none is left out.
    for seed in 0..12 {
        let scene: Scene = random_scene(seed).reduced(2400);
        let (bytes, truth) = shoot_jpeg(&scene).expect("encodes");
        let photo = decode(Path::new(&scene.name), bytes, &Limits::default()).expect("decodes");
        tally.add(&scene.name, &report_of(&photo), &serde_json::to_value(&truth).expect("JSON"));
    }
    tally.assert_in_order();
    assert!(tally.wrong("direction") <= 1, "{} directions wrong", tally.wrong("direction"));
    assert!(tally.answered("direction") >= 0.7, "direction answered in {}", tally.answered("direction"));
    let middle = |name: &str| median(&tally.errors(name, |_| true)).expect("answers");
    assert!(middle("scale") <= 0.7, "scale {} %", middle("scale"));
    assert!(middle("diameter") <= 8.0, "diameter {} %", middle("diameter"));
    assert!(middle("angle") <= 3.0, "angle {} degrees", middle("angle"));
    let turns = median(&tally.errors("turns", |plies| plies > 1)).expect("answers");
    assert!(turns <= 5.0, "turns of plied yarn {turns} %");
    let (held, all) = tally.coverage(&["scale", "diameter", "envelope", "turns", "angle"]);
    println!("{held} of {all} intervals hold the truth");
    assert!(all >= 30, "{all} intervals");
    assert!(held as f64 >= 0.6 * all as f64, "{held} of {all} intervals hold the truth");
}

/// A folder of photos with truth, where `STRANDRULE_PHOTOS` names one.
#[test]
fn a_folder_of_photos_is_measured_right() {
    let Some(folder) = std::env::var_os("STRANDRULE_PHOTOS") else {
        eprintln!("SKIPPED a_folder_of_photos_is_measured_right: STRANDRULE_PHOTOS names no folder of photos");
        return;
    };
    let photos = with_truth(Path::new(&folder));
    assert!(photos.len() >= 20, "{} photos in {}", photos.len(), folder.to_string_lossy());
    let tally = tally(photos);
    tally.assert_in_order();
    assert_eq!(tally.wrong("direction"), 0, "directions");
    assert!(tally.answered("direction") >= 0.9, "direction answered in {}", tally.answered("direction"));
    let plies = tally.errors("plies", |_| true).len();
    assert!(tally.wrong("plies") as f64 <= 0.15 * plies as f64, "{} of {plies} ply counts wrong", tally.wrong("plies"));
    assert!(tally.answered("plies") >= 0.7, "plies answered in {}", tally.answered("plies"));
    for name in ["diameter", "scale"] {
        assert!(tally.answered(name) >= 0.85, "{name} answered in {}", tally.answered(name));
    }
    let middle = |name: &str| median(&tally.errors(name, |_| true)).expect("answers");
    assert!(middle("diameter") <= 3.0, "diameter {} %", middle("diameter"));
    assert!(middle("angle") <= 2.0, "angle {} degrees", middle("angle"));
    assert!(middle("scale") <= 0.7, "scale {} %", middle("scale"));
    let turns = median(&tally.errors("turns", |plies| plies > 1)).expect("answers");
    assert!(turns <= 5.0, "turns of plied yarn {turns} %");
}

/// Whether four plies seen at once are three or four cannot be told; how far they reach can. Truth: the ray tracer's.
#[test]
fn what_all_readings_of_open_plies_agree_on_is_given() {
    let (report, truth) = fixture("p16-four-ply-s-cream");
    assert!(report["sample"]["plies"]["value"].is_null(), "{}", report["sample"]["plies"]);
    let envelope = figure("envelope", &report, &truth).expect("it has a truth");
    assert!(envelope.covered && envelope.error.is_some_and(|e| e <= 10.0), "{envelope:?}");
}

/// A thick bulky yarn of four and a half repeats, whose two plies are both seen. Truth: the ray tracer's.
#[test]
fn two_plies_of_few_repeats_are_read() {
    let (report, truth) = fixture("r03");
    assert_eq!(report["sample"]["plies"]["value"], truth["yarn"]["plies"]);
    let envelope = figure("envelope", &report, &truth).expect("it has a truth");
    assert!(envelope.covered && envelope.error.is_some_and(|e| e <= 10.0), "{envelope:?}");
}

/// The report of a photo among the fixtures, and its truth.
fn fixture(name: &str) -> (Value, Value) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/photos").join(name).with_extension("jpg");
    let truth = std::fs::read(path.with_extension("json")).expect("truth can be read");
    let report = report_of(&read(&path, &Limits::default()).expect("the photo can be read"));
    (report, serde_json::from_slice(&truth).expect("JSON"))
}
