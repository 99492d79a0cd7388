//! The truth that the renderer writes, against closed forms that are not its own.
//!
//! Tolerances: 0.5 % and 0.1 degree, unless said otherwise. The truth is worked out from points on the rendered
//! surfaces, the forms below from circles; at the small angles used the plies' slant changes the outline by less.

use approx::assert_relative_eq;
use strandrule::synth::{Scene, Turning, YarnSpec, YarnTruth, shoot};

fn truth_of(yarn: YarnSpec) -> YarnTruth {
    let mut scene = Scene::plain("geometry", Some(yarn));
    // The picture is of no interest here.
    scene.camera.focal_px *= 0.1;
    scene.camera.width_px = 160;
    scene.camera.height_px = 120;
    shoot(&scene).truth.yarn.expect("the yarn is in the picture")
}

/// Source: check of circle packing, n round plies in one ring: distance of the axes r / sin(pi / n); mean width over
/// envelope 0.818, 0.907, 0.942 and coefficient of variation of the raw width 18.8, 2.0, 5.5 % for two, three and four
/// plies, from turning the circles' outline through a whole turn (obliquity neglected, hence an angle of 4 degrees).
#[test]
fn plies_fill_their_envelope_as_circles_in_a_ring_do() {
    for (plies, offset, outside, share, cv) in
        [(2, 1.0, 2.0, 0.818, 18.8), (3, 1.1547, 2.1547, 0.907, 2.0), (4, std::f64::consts::SQRT_2, 2.4142, 0.942, 5.5)]
    {
        let t = truth_of(YarnSpec::even(plies, Turning::Z, 2.0, 4.0));
        let r = t.ply_radius_mm_mean[0];
        assert_relative_eq!(t.ply_axis_offset_mm_mean[0] / r, offset, max_relative = 1e-3);
        assert_relative_eq!(t.envelope_diameter_mm_mean / 2.0 / r, outside, max_relative = 1e-3);
        assert_relative_eq!(t.width_mm.mean / t.envelope_diameter_mm_mean, share, max_relative = 0.01);
        // Only about ten turns are in the picture, and they do not start and end at the same phase.
        assert!((t.width_mm.cv_pct - cv).abs() < 1.0, "{plies} plies: {} % against {cv} %", t.width_mm.cv_pct);
    }
}

/// Source: angle of an unrolled helix, tan = 2 pi R T (idealised helical yarn, Hearle, Grosberg & Backer 1969, from
/// memory), worked for an envelope of 2.0 mm: outside and band seen, degrees, at 2 to 6 turns per inch.
#[test]
fn band_and_outside_run_at_the_angles_of_their_radii() {
    let table = [
        (2, 2.0, 26.32, 13.89),
        (2, 4.0, 44.70, 26.32),
        (2, 6.0, 56.03, 36.58),
        (3, 3.0, 36.58, 21.69),
        (3, 5.0, 51.04, 33.54),
        (4, 3.0, 36.58, 23.50),
        (4, 6.0, 56.03, 41.00),
    ];
    for (plies, tpi, outside, band) in table {
        let mut yarn = YarnSpec::even(plies, Turning::S, 1.0, band);
        // Find the diameter with an envelope of 2 mm: widths scale.
        yarn.diameter_mm = 2.0 / truth_of(yarn.clone()).envelope_diameter_mm_mean;
        let t = truth_of(yarn);
        assert_relative_eq!(t.envelope_diameter_mm_mean, 2.0, max_relative = 1e-4);
        assert_relative_eq!(t.tpi_mean, tpi, max_relative = 5e-4);
        assert_relative_eq!(t.outer_surface_angle_deg.expect("plied"), outside, epsilon = 0.02);
        assert_relative_eq!(t.ply_band_angle_deg.expect("plied")[0], band, epsilon = 0.02);
        assert_eq!(t.direction, "S");
        assert_relative_eq!(t.twist_signed_tpi, -tpi, max_relative = 5e-4);
    }
}

/// Source: the helix identity tan(angle) = pi d T, worked values (diameter mm, turns per inch, degrees).
#[test]
fn singles_obey_the_helix_identity() {
    for (diameter, tpi, angle) in [(0.5, 8.0, 26.32), (1.0, 5.0, 31.73), (2.0, 3.0, 36.58), (0.3, 20.0, 36.58)] {
        let t = truth_of(YarnSpec::even(1, Turning::Z, diameter, angle));
        assert_relative_eq!(t.tpi_mean, tpi, max_relative = 5e-4);
        assert_relative_eq!(t.width_mm.mean, diameter, max_relative = 5e-3);
        assert_relative_eq!(t.envelope_diameter_mm_mean, t.width_mm.mean, max_relative = 5e-3);
        assert_relative_eq!(t.surface_fibre_angle_deg.expect("singles"), angle, epsilon = 0.02);
    }
}

/// Unequal plies balance about the yarn's axis: moments of their areas are equal (statics).
#[test]
fn a_thin_binder_winds_around_a_thick_core() {
    let mut yarn = YarnSpec::even(2, Turning::S, 1.5, 25.0);
    yarn.plies[1].relative_radius = 0.4;
    let t = truth_of(yarn);
    let (r, o) = (&t.ply_radius_mm_mean, &t.ply_axis_offset_mm_mean);
    assert_relative_eq!(r[0] * r[0] * o[0], r[1] * r[1] * o[1], max_relative = 1e-3);
    assert_relative_eq!(o[0] + o[1], r[0] + r[1], max_relative = 1e-3);
    let bands = t.ply_band_angle_deg.expect("plied");
    assert!(bands[0] < 10.0 && bands[1] > 20.0, "{bands:?}");
    assert!(!t.equal_plies);
}
