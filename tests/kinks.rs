//! Over-twist: closed loops are counted, a wave of the whole strand is none.
//!
//! A held strand that has too much twist curls back on itself into loops that touch; a slack or a bowed one does not. Common
//! practice, no source.

use strandrule::figures::words::Reason;
use strandrule::measure::photo::{CameraFacts, Limits, Photo, decode, read};
use strandrule::measure::pipeline::{Params, Request, measure};
use strandrule::measure::scale::{Scale, ScaleFound};
use strandrule::measure::strand::{LeftOutWhy, Station, StrandRequest, find_strands};
use strandrule::show::summary;
use strandrule::synth::{Laying, Scene, Turning, YarnSpec, shoot, shoot_jpeg, story};

/// A two-ply strand across a card without a ruler's scale, waving by `bow_mm`, with `loops` closed curls; where each is, px.
fn laid(bow_mm: f64, loops: usize) -> (Photo, Vec<[f64; 2]>) {
    let mut yarn = YarnSpec::even(2, Turning::S, 1.2, 32.0);
    yarn.plies.iter_mut().for_each(|ply| ply.colour = [0.3, 0.1, 0.04]);
    let mut scene = Scene::plain("loops", Some(yarn.clone()));
    scene.yarn = Some((yarn, Laying::Across { angle_deg: 3.0, offset_mm: 4.0, bow_mm, kinks: loops }));
    // 20 px/mm: 80 mm of it, 24 px thick.
    scene.camera.focal_px = 4000.0;
    scene.light.direct = 0.5;
    scene.sensor.lens_sigma_px = 0.7;
    scene.sensor.noise = 1.5;
    let shot = shoot(&scene);
    let middles = shot.truth.strands[0].kinks.iter().map(|kink| kink.px).collect();
    (Photo { name: "loops.png".to_owned(), rgb: shot.picture, camera: CameraFacts::default() }, middles)
}

// Truth: the scene's own.
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
    for (bow_mm, loops) in [(0.0, 0), (4.0, 0), (0.0, 1), (1.5, 2)] {
        let (photo, middles) = laid(bow_mm, loops);
        assert_eq!(middles.len(), loops, "drawn as asked");
        let strands = find_strands(&photo, &scale, &StrandRequest::default());
        assert_eq!(strands.pieces.len(), 1, "one strand was laid, bow {bow_mm} mm, {loops} loops");
        let piece = &strands.pieces[0];
        let kinks = piece.kinks.as_ref().expect("looked for");
        assert_eq!(kinks.len(), loops, "bow {bow_mm} mm: {kinks:?} for {middles:?}");
        for [x, y] in middles {
            let apart = |s: &Station| (s.centre.x - x).hypot(s.centre.y - y);
            let nearest = piece.stations.iter().min_by(|a, b| apart(a).total_cmp(&apart(b))).expect("stations");
            assert_eq!(nearest.left_out, Some(LeftOutWhy::Kink), "beside the loop at {x:.0}, {y:.0}");
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
