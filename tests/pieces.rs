//! Several pieces side by side: each is found and measured by itself, however their shadows join them.

use strandrule::figures::report::TwistDirection;
use strandrule::measure::photo::{Limits, decode};
use strandrule::measure::pipeline::{Params, Request, measure};
use strandrule::synth::{Laying, Scene, Shot, Turning, YarnSpec, encode, shoot};

/// Four pieces so many millimetres apart, light falling over them from the side at 35 degrees.
fn four_pieces(spacing_mm: f64, colour: [f64; 3], diameter_mm: f64) -> (Scene, Shot) {
    let mut yarn = YarnSpec::even(2, Turning::Z, diameter_mm, 28.0);
    yarn.plies.iter_mut().for_each(|ply| ply.colour = colour);
    let mut scene = Scene::plain("pieces", Some(yarn.clone()));
    let laying = Laying::Pieces { count: 4, length_mm: 75.0, spacing_mm, offset_mm: 8.0, angle_deg: 1.5, bow_mm: 0.6 };
    scene.yarn = Some((yarn, laying));
    scene.light.direct = 0.6;
    scene.light.elevation_deg = 35.0;
    // 15 px/mm: all of the pieces and the ruler in view.
    scene.camera.focal_px = 3000.0;
    scene.sensor.noise = 1.5;
    scene.sensor.lens_sigma_px = 0.7;
    let shot = shoot(&scene);
    (scene, shot)
}

// Truth: the scene's own. Tolerance: 4 per cent of the diameter, a pixel at either edge of the thinnest.
#[test]
fn shadows_do_not_join_pieces_side_by_side() {
    for (spacing_mm, colour, diameter_mm) in [(4.0, [0.02, 0.035, 0.13], 1.4), (5.5, [0.3, 0.08, 0.03], 2.0)] {
        let (scene, shot) = four_pieces(spacing_mm, colour, diameter_mm);
        let bytes = encode(&shot.picture, &scene.sensor).expect("a JPEG file");
        let photo = decode("pieces.jpg".as_ref(), bytes, &Limits::default()).expect("it reads");
        let sample = measure(&photo, &Request::default(), &Params::default()).report.sample;

        assert_eq!(sample.strands, 4, "{spacing_mm} mm apart");
        let truth = shot.truth.yarn.expect("yarn").width_mm.mean;
        let measured = sample.diameter_mm.value().expect("a diameter");
        assert!((measured / truth - 1.0).abs() < 0.04, "{spacing_mm} mm apart: {measured} for {truth}");
        assert_eq!(sample.twist_direction.value().copied(), Some(TwistDirection::Z));
    }
}
