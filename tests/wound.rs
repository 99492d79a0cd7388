//! Yarn wound on a ruler is counted where no single strand can be followed; yarn laid across a ruler is not.

use strandrule::figures::quantity::Quantity;
use strandrule::figures::words::Method;
use strandrule::measure::photo::{Limits, decode};
use strandrule::measure::pipeline::{Params, Request, measure};
use strandrule::synth::{CardSpec, Laying, Scene, Turning, YarnSpec, encode, random_scene, shoot};

const MADDER: [f64; 3] = [0.35, 0.05, 0.03];

/// A yarn of two plies on a ruler 28 mm wide, light from the side.
fn on_ruler(name: &str, laying: Laying) -> Scene {
    let mut yarn = YarnSpec::even(2, Turning::Z, 1.4, 30.0);
    yarn.plies.iter_mut().for_each(|ply| ply.colour = MADDER);
    let mut scene = Scene::plain(name, Some(yarn.clone()));
    scene.card = CardSpec { width_mm: 158.0, height_mm: 28.0, thickness_mm: 1.6, ..scene.card };
    scene.yarn = Some((yarn, laying));
    scene.light.direct = 0.5;
    scene.camera.focal_px = 5000.0;
    scene.sensor.noise = 1.5;
    scene.sensor.lens_sigma_px = 0.7;
    scene
}

/// What is told, and the scene's own truth.
fn told(scene: &Scene) -> (Quantity<f64>, Option<f64>) {
    let shot = shoot(scene);
    let bytes = encode(&shot.picture, &scene.sensor).expect("a JPEG file");
    let photo = decode(scene.name.as_ref(), bytes, &Limits::default()).expect("it reads");
    let wraps = measure(&photo, &Request::default(), &Params::default()).report.sample.wraps_per_inch;
    (wraps, shot.truth.yarn.expect("yarn").wraps_per_inch_true)
}

// Truth: the scenes' own. Tolerance: a wrap too many or too few in a score is 5 per cent; creases are seen much better.
#[test]
fn wraps_on_a_ruler_are_counted() {
    // A green and a white ply; three plies of two colours; brown singles, thick and thin.
    for seed in [20_153, 20_181, 20_431] {
        let (wraps, truth) = told(&random_scene(seed));
        let Quantity::Measured { value, method: Method::WrapsCounted, .. } = wraps else { panic!("{seed}: {wraps:?}") };
        let truth = truth.expect("wraps");
        assert!((value / truth - 1.0).abs() < 0.015, "{seed}: {value} for {truth}");
    }
}

// Truth: the scene's own. WP-4 counts wraps that touch; passes with bare ruler between them would count as few.
#[test]
fn passes_across_a_ruler_are_no_wraps() {
    let laying =
        Laying::Pieces { count: 6, length_mm: 60.0, spacing_mm: 3.0, offset_mm: 0.0, angle_deg: 90.0, bow_mm: 0.0 };
    let (wraps, _) = told(&on_ruler("passes", laying));
    assert!(!matches!(wraps, Quantity::Measured { method: Method::WrapsCounted, .. }), "{wraps:?}");
}
