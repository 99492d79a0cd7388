//! Over-twist: closed loops are counted, a wave of the whole strand is none.
//!
//! A held strand that has too much twist curls back on itself into loops that touch; a slack or a bowed one does not. Common
//! practice, no source.

use strandrule::base::colour::srgb_of_linear;
use strandrule::base::raster::Raster;
use strandrule::figures::words::Reason;
use strandrule::measure::photo::{CameraFacts, Limits, Photo, decode, read};
use strandrule::measure::pipeline::{Params, Request, measure};
use strandrule::measure::scale::{Scale, ScaleFound};
use strandrule::measure::strand::{LeftOutWhy, StrandRequest, find_strands};
use strandrule::show::summary;
use strandrule::synth::{shoot_jpeg, story};

const WIDE: usize = 1400;
const HIGH: usize = 800;
const STRAND_PX: f64 = 40.0;

/// A strand from left to right that waves by `bow` px, with a loop laid flat above each place of `loops`, px from the left.
fn drawn(bow: f64, loops: &[f64]) -> Photo {
    let mut rgb = Raster::filled(WIDE, HIGH, [0u8; 3]);
    let axis = |x: f64| 500.0 + bow * (x / 220.0).sin();
    let yarn = |along: f64, across: f64| {
        let round = 0.4 + 0.6 * (1.0 - across * across).max(0.0).sqrt();
        let fibre = 1.0 + 0.35 * ((along + 18.0 * across.clamp(-1.0, 1.0).asin()) / 2.4).sin();
        [0.3, 0.14, 0.06].map(|l: f64| l * round * fibre)
    };
    for y in 0..HIGH {
        for x in 0..WIDE {
            let (u, v) = (x as f64, y as f64);
            let half = STRAND_PX / 2.0;
            let across = (v - axis(u)) / half;
            // The loop is the same strand, laid round: its middle line has a radius of 1.3 diameters.
            let ring = loops.iter().map(|at| {
                let (dx, dy) = (u - at, v - (axis(*at) - 1.8 * STRAND_PX));
                ((dx.hypot(dy) - 1.3 * STRAND_PX) / half, dy.atan2(dx) * 1.3 * STRAND_PX)
            });
            let on_ring = ring.into_iter().find(|(across, _)| across.abs() < 1.0);
            let light = match (across.abs() < 1.0, on_ring) {
                (true, _) => yarn(u, across),
                (false, Some((across, along))) => yarn(along, across),
                _ => [0.75, 0.74, 0.7],
            };
            rgb.set(x, y, light.map(|l| srgb_of_linear(l as f32)));
        }
    }
    Photo { name: "loops.png".to_owned(), rgb, camera: CameraFacts::default() }
}

#[test]
fn loops_are_counted_and_waves_are_not() {
    let scale = ScaleFound {
        scale: Scale::Unknown(Reason::NoScale),
        rulers: Vec::new(),
        card_outline: None,
        cards: Vec::new(),
        print_factor: None,
        unit_against_marks: false,
        numerals_backwards: false,
    };
    for (bow, loops) in [(0.0, vec![]), (60.0, vec![]), (0.0, vec![700.0]), (15.0, vec![400.0, 950.0])] {
        let strands = find_strands(&drawn(bow, &loops), &scale, &StrandRequest::default());
        assert_eq!(strands.pieces.len(), 1, "one strand was drawn, bow {bow}, {loops:?}");
        let piece = &strands.pieces[0];
        let kinks = piece.kinks.as_ref().expect("looked for");
        assert_eq!(kinks.len(), loops.len(), "bow {bow}, {loops:?}: {kinks:?}");
        for at in &loops {
            let beside: Vec<_> = piece.stations.iter().filter(|s| (s.centre.x - at).abs() < STRAND_PX).collect();
            assert!(!beside.is_empty() && beside.iter().all(|s| s.left_out == Some(LeftOutWhy::Kink)), "beside {at}");
        }
    }
}

// The demo's own photo of it, with its truth: two closed curls, and a strand that is even but for them.
#[test]
fn the_curls_of_the_demo_are_counted_and_kept_out_of_the_evenness() {
    let chapter = story::story().into_iter().find(|c| c.scene.name == "07-too-much-twist").expect("it is told");
    let (bytes, truth) = shoot_jpeg(&chapter.scene).expect("encodes");
    let truth = serde_json::to_value(&truth).expect("JSON");
    let photo = decode("07.jpg".as_ref(), bytes, &Limits::default()).expect("decodes");
    let report = measure(&photo, &Request::default(), &Params::default()).report;
    let sample = &report.sample;
    let metres = truth["strands"][0]["on_card_length_mm"].as_f64().expect("a length") / 1000.0;
    let kinks = sample.kinks.value().expect("counted") * metres;
    assert!((kinks - 2.0).abs() < 0.3, "{kinks} kinks");
    let curls = truth["strands"][0]["kinks"].as_array().expect("curls").len();
    let left_out = report.strands[0].left_out.iter().filter(|l| l.why == "kink");
    let diameter = sample.diameter_mm.value().expect("a width");
    // Two diameters on either side of the foot, which is itself about as long as the strand is thick.
    let lengths: Vec<f64> = left_out.map(|l| l.end_mm.expect("mm") - l.start_mm.expect("mm")).collect();
    assert_eq!(lengths.len(), curls);
    assert!(lengths.iter().all(|l| *l > 4.5 * diameter), "{lengths:?} mm left out at {diameter} mm");
    let faults = sample.evenness.faults.as_ref().expect("searched");
    assert!(faults.list.is_empty(), "{:?}", faults.list);
    let [low, high] = sample.evenness.diameter_cv_percent.interval95().expect("an interval");
    let cv = truth["yarn"]["width_mm"]["cv_pct"].as_f64().expect("a spread");
    assert!(low <= cv && cv <= high, "{low} to {high} % for {cv}");
    let told = summary::text(&report);
    let line = told.lines().find(|l| l.trim_start().starts_with("kinks")).expect("a line for kinks");
    assert!(line.contains(" per metre ") && line.ends_with(')'), "{line}");
}

// Four passes that run off the card, over its edge onto a table of wood; nothing curls.
#[test]
fn the_edge_of_the_card_is_no_kink() {
    let chapter = story::story().into_iter().find(|c| c.scene.name == "08-skein-passes").expect("it is told");
    let (bytes, _) = shoot_jpeg(&chapter.scene).expect("encodes");
    let photo = decode("08.jpg".as_ref(), bytes, &Limits::default()).expect("decodes");
    let report = measure(&photo, &Request::default(), &Params::default()).report;
    assert_eq!(report.sample.strands, 4);
    assert_eq!(report.sample.kinks.value(), Some(&0.0));
}

#[test]
fn a_summary_without_kinks_has_no_line_for_them() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/photos/p06-two-ply-z-navy.jpg");
    let photo = read(&path, &Limits::default()).expect("it reads");
    let report = measure(&photo, &Request::default(), &Params::default()).report;
    assert_eq!(report.sample.kinks.value(), Some(&0.0));
    assert!(!summary::text(&report).contains("kinks"));
}
