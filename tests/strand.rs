//! Core edges: of strands whose width is known, and on photos with truth where a folder of them is named.

use strandrule::measure::photo::{CameraFacts, Photo};
use strandrule::measure::scale::{Scale, ScaleFound};
use strandrule::measure::strand::{StrandRequest, Strands, find_strands};
use strandrule::synth::{HairSpec, Laying, Scene, Turning, YarnSpec, shoot};

const NAVY: [f64; 3] = [0.03, 0.04, 0.1];
const RUST: [f64; 3] = [0.35, 0.1, 0.04];

/// A two-ply strand on a card at 30 px/mm, lit from the side.
fn scene(diameter_mm: f64, direction_deg: f64, colour: [f64; 3], direct: f64) -> Scene {
    let mut yarn = YarnSpec::even(2, Turning::S, diameter_mm, 30.0);
    yarn.plies.iter_mut().for_each(|ply| ply.colour = colour);
    let mut scene = Scene::plain("laid", Some(yarn.clone()));
    scene.yarn = Some((yarn, Laying::Across { angle_deg: 0.0, offset_mm: 6.0, bow_mm: 0.4, kinks: 0 }));
    scene.camera.roll_deg = direction_deg;
    scene.light.direct = direct;
    scene.sensor.lens_sigma_px = 0.8;
    scene.sensor.noise = 1.5;
    scene
}

/// What is found in a scene, and its truth.
fn found(scene: &Scene) -> (Strands, serde_json::Value) {
    let shot = shoot(scene);
    let photo = Photo { name: "laid.png".to_owned(), rgb: shot.picture, camera: CameraFacts::default() };
    let strands = find_strands(&photo, &no_scale(), &StrandRequest::default());
    (strands, serde_json::to_value(&shot.truth).expect("JSON"))
}

/// Mean width, px.
fn mean_width(scene: &Scene) -> f64 {
    let (strands, _) = found(scene);
    assert_eq!(strands.pieces.len(), 1, "one strand was laid");
    let stations = strands.pieces[0].stations.iter().filter(|station| station.left_out.is_none());
    let widths: Vec<f64> = stations.map(strandrule::measure::strand::Station::width_px).collect();
    assert!(widths.len() > 300, "too little was measured");
    widths.iter().sum::<f64>() / widths.len() as f64
}

fn no_scale() -> ScaleFound {
    ScaleFound {
        scale: Scale::Unknown(strandrule::figures::words::Reason::NoScale),
        rulers: Vec::new(),
        card_outline: None,
        cards: Vec::new(),
        print_factor: None,
        unit_against_marks: false,
        numerals_backwards: false,
    }
}

/// Truth: the scene's own, station by station. Tolerance: 3 %.
#[test]
fn strands_have_their_width_at_any_angle() {
    for (diameter_mm, direction_deg, yarn, direct) in
        [(1.3, 0.0, NAVY, 0.0), (1.3, 33.0, RUST, 0.5), (0.9, 90.0, RUST, 0.0), (2.0, -71.0, NAVY, 0.5)]
    {
        let (strands, truth) = found(&scene(diameter_mm, direction_deg, yarn, direct));
        let (error, _) = width_error(&truth, &strands).expect("it was found");
        assert!(error.abs() < 0.03, "{diameter_mm} mm at {direction_deg} degrees: {:+.1} %", 100.0 * error);
    }
}

/// A quarter turn, and half the light, change nothing but the light. Tolerance: 2 % of the width.
#[test]
fn turning_and_darkening_leave_the_width() {
    let first = scene(1.2, 8.0, RUST, 0.4);
    let (mut turned, mut darker) = (first.clone(), first.clone());
    turned.camera.roll_deg += 90.0;
    darker.sensor.exposure *= 0.5;
    let width = mean_width(&first);
    for other in [turned, darker] {
        let second = mean_width(&other);
        assert!((second / width - 1.0).abs() < 0.02, "{width:.2} and {second:.2} px");
    }
}

/// Hairs are no part of the core. Tolerance: 2 % of the width.
#[test]
fn hairs_leave_the_width() {
    let without = scene(1.3, 0.0, RUST, 0.4);
    let mut with = without.clone();
    if let Some((yarn, _)) = &mut with.yarn {
        yarn.hair = HairSpec { per_cm: 60.0, length_mm: 3.0, height_mm: 0.3, radius_mm: 0.009 };
    }
    let (with, without) = (mean_width(&with), mean_width(&without));
    assert!((with / without - 1.0).abs() < 0.02, "{without:.2} px become {with:.2} px");
}

/// An empty card has no strand on it, and says so.
#[test]
fn an_empty_card_has_no_strand() {
    let (strands, _) = found(&Scene::plain("empty", None));
    assert!(strands.pieces.is_empty());
    assert_eq!(strands.reason, Some(strandrule::figures::words::Reason::NoStrand));
}

/// The whole folder of photos with truth: width, station by station in pixels, so without any scale.
#[test]
fn photos_with_truth() {
    let Some(folder) = std::env::var_os("STRANDRULE_PHOTOS") else {
        eprintln!("skipped: STRANDRULE_PHOTOS names no folder of photos with truth");
        return;
    };
    let mut files: Vec<_> =
        std::fs::read_dir(folder).expect("the folder can be read").map(|entry| entry.expect("entry").path()).collect();
    files.retain(|path| path.extension().is_some_and(|e| e == "jpg"));
    files.sort();
    let (mut errors, mut covered, mut missed) = (Vec::new(), 0, Vec::new());
    for path in files {
        let text = std::fs::read_to_string(path.with_extension("json")).expect("truth beside the photo");
        let truth: serde_json::Value = serde_json::from_str(&text).expect("truth is JSON");
        let kind = truth["kind"].as_str().unwrap_or("");
        if truth["expected"] != "measure" || kind.contains("wrapped") {
            continue;
        }
        let photo =
            strandrule::measure::photo::read(&path, &strandrule::measure::photo::Limits::default()).expect("photo");
        let scale = strandrule::measure::scale::find_scale(&photo, &Default::default(), &Default::default());
        let strands = find_strands(&photo, &scale, &StrandRequest::default());
        match width_error(&truth, &strands) {
            Some((error, u)) => {
                eprintln!("{:24} {:+6.2} % (u {:.2} %)", photo.name, 100.0 * error, 100.0 * u);
                covered += usize::from(error.abs() <= 1.96 * u);
                errors.push(error.abs());
            }
            None => missed.push(photo.name.clone()),
        }
    }
    assert!(!errors.is_empty(), "no photo was compared");
    errors.sort_by(f64::total_cmp);
    let median = errors[errors.len() / 2];
    eprintln!("median {:.2} %, covered {covered} of {}, missed {missed:?}", 100.0 * median, errors.len());
    assert!(missed.len() * 5 <= errors.len(), "one in five or more not found: {missed:?}");
    assert!(median < 0.06, "median error {:.2} %", 100.0 * median);
}

/// Relative error of the mean width over the stations that have truth, and its claimed standard uncertainty.
fn width_error(truth: &serde_json::Value, strands: &Strands) -> Option<(f64, f64)> {
    let (mut measured, mut true_sum, mut u, mut n) = (0.0, 0.0, 0.0, 0);
    for strand in truth["strands"].as_array()? {
        let profile = &strand["profile"];
        let list = |key: &str| profile[key].as_array().cloned().unwrap_or_default();
        let (x, y) = (list("px_display_x"), list("px_display_y"));
        let (width, scale, used) = (list("width_mm"), list("px_per_mm_across"), list("used_in_means"));
        for i in 0..x.len() {
            let (Some(x), Some(y), Some(w), Some(s)) =
                (x[i].as_f64(), y[i].as_f64(), width[i].as_f64(), scale[i].as_f64())
            else {
                continue;
            };
            if used[i] != true || w <= 0.0 {
                continue;
            }
            let near = strands
                .pieces
                .iter()
                .filter(|piece| piece.chosen)
                .flat_map(|piece| piece.stations.iter().map(move |station| (piece, station)))
                .min_by(|a, b| {
                    let d = |s: &strandrule::measure::strand::Station| (s.centre.x - x).hypot(s.centre.y - y);
                    d(a.1).total_cmp(&d(b.1))
                });
            if let Some((piece, station)) = near
                && (station.centre.x - x).hypot(station.centre.y - y) < w * s
                && station.left_out.is_none()
            {
                measured += station.width_px();
                true_sum += w * s;
                u += piece.edge_systematic_u_px;
                n += 1;
            }
        }
    }
    (n >= 20).then(|| (measured / true_sum - 1.0, u / true_sum))
}
