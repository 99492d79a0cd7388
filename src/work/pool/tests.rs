use approx::assert_relative_eq;
use serde::Deserialize;

use super::*;
use crate::figures::report::TwistDirection;
use crate::work::testing::{measured, report};

#[derive(Deserialize)]
struct Case {
    values: Vec<f64>,
    u: Vec<f64>,
    mean: f64,
    u_mean: f64,
    between: f64,
    between95: [f64; 2],
}

// Source: statsmodels (combine_effects, iterated = Paule-Mandel) and SciPy for the Q profile; the script stands beside
// the values.
#[test]
fn pooling_agrees_with_a_reference_library() {
    let cases: Vec<Case> = serde_json::from_str(include_str!("../../../fixtures/pool/meta_reference.json")).unwrap();
    assert_eq!(cases.len(), 4);
    for case in cases {
        let readings: Vec<Reading> =
            case.values.iter().zip(&case.u).map(|(value, u)| Reading { value: *value, u: *u }).collect();
        let pooled = pool(&readings).unwrap();
        assert_relative_eq!(pooled.mean, case.mean, max_relative = 1e-6);
        assert_relative_eq!(pooled.u, case.u_mean, max_relative = 1e-6);
        assert_relative_eq!(pooled.between, case.between, max_relative = 1e-5, epsilon = 1e-9);
        assert_relative_eq!(pooled.between95[0], case.between95[0], max_relative = 1e-4, epsilon = 1e-9);
        assert_relative_eq!(pooled.between95[1], case.between95[1], max_relative = 1e-4, epsilon = 1e-9);
    }
}

#[test]
fn shared_uncertainty_does_not_shrink_with_the_number_of_photos() {
    let one = |sampling: f64, scale: f64| {
        let budget = vec![
            Component { source: Sourced::Sampling, standard_uncertainty: sampling },
            Component { source: Sourced::Scale, standard_uncertainty: scale },
        ];
        let mut r = report("a.jpg");
        r.sample.diameter_mm = Quantity::from_budget(2.0, Method::CoreEdge, budget);
        r
    };
    let half = |r: Report, n: usize| pool_reports(&vec![r; n]).unwrap().sample.diameter_mm.half_width().unwrap();
    // Only sampling: sixteen photos are four times as sure. Only scale: as sure as one.
    assert_relative_eq!(half(one(0.04, 0.0), 16), 1.96 * 0.01, max_relative = 1e-3);
    assert_relative_eq!(half(one(0.0, 0.04), 16), 1.96 * 0.04, max_relative = 1e-3);
}

#[test]
fn photos_that_differ_widen_the_interval_and_say_so() {
    let photo = |d: f64| {
        let mut r = report("a.jpg");
        r.sample.diameter_mm = measured(d, 0.02);
        r
    };
    let pooled = pool_reports(&[photo(1.8), photo(2.2), photo(2.0)]).unwrap();
    let d = &pooled.sample.diameter_mm;
    assert_relative_eq!(*d.value().unwrap(), 2.0, max_relative = 1e-9);
    // Spread 0.2 of three: 4.30 x 0.2 / sqrt(3) = 0.50 (Student's t for 2 degrees of freedom, JCGM 100:2008 table G.2).
    assert_relative_eq!(d.half_width().unwrap(), 4.303 * 0.2 / 3.0_f64.sqrt(), max_relative = 0.02);
    let between = pooled.between_photos.iter().find(|b| b.figure == Figure::DiameterMm).unwrap();
    assert_eq!(between.photos, 3);
    assert_relative_eq!(*between.standard_deviation.value().unwrap(), 0.2, max_relative = 0.01);
    let wraps = &pooled.sample.wraps_per_inch;
    assert_relative_eq!(*wraps.value().unwrap(), 12.7, max_relative = 1e-9);
}

#[test]
fn photos_vote_on_direction_and_plies() {
    let photo = |direction, plies, p| {
        let mut r = report("a.jpg");
        r.sample.twist_direction = Quantity::likely(direction, p, Method::LineAngle);
        r.sample.plies = Quantity::likely(plies, p, Method::Combined);
        r
    };
    let agree = pool_reports(&[photo(TwistDirection::S, 2, 0.95), photo(TwistDirection::S, 2, 0.99)]).unwrap();
    assert_eq!(agree.sample.twist_direction.value(), Some(&TwistDirection::S));
    assert_eq!(agree.sample.plies.value(), Some(&2));
    let differ = pool_reports(&[photo(TwistDirection::S, 2, 0.95), photo(TwistDirection::Z, 3, 0.95)]).unwrap();
    assert_eq!(differ.sample.twist_direction.reason(), Some(&Reason::PhotosDisagree));
    assert_eq!(differ.sample.plies.reason(), Some(&Reason::PhotosDisagree));
}

#[test]
fn a_photo_without_scale_takes_no_part_in_lengths() {
    let with = report("a.jpg");
    let mut without = report("b.jpg");
    without.sample.diameter_mm = Quantity::Unanswered(Reason::NoScale);
    without.sample.length_mm = Quantity::Unanswered(Reason::NoScale);
    let pooled = pool_reports(&[with.clone(), without.clone()]).unwrap();
    assert_eq!(pooled.sample.diameter_mm.value(), with.sample.diameter_mm.value());
    let none = pool_reports(&[without.clone(), without]).unwrap();
    assert_eq!(none.sample.diameter_mm.reason(), Some(&Reason::NoScale));
    assert_eq!(pool_reports(&[]), None);
}

// Source: exact Poisson limits of Garwood (1936) as tabulated: count 0: 0 to 3.69; count 3: 0.62 to 8.77.
#[test]
fn kinks_are_counted_over_all_photos() {
    let photo = |per_metre: f64, mm: f64| {
        let mut r = report("a.jpg");
        r.sample.kinks = measured(per_metre, 1.0);
        r.sample.length_mm = measured(mm, 1.0);
        r
    };
    let none = pool_reports(&[photo(0.0, 400.0), photo(0.0, 600.0)]).unwrap().sample.kinks;
    assert_eq!(none.value(), Some(&0.0));
    assert_relative_eq!(none.interval95().unwrap()[1], 3.69, epsilon = 0.005);
    let three = pool_reports(&[photo(2.0, 500.0), photo(4.0, 500.0)]).unwrap().sample.kinks;
    assert_relative_eq!(*three.value().unwrap(), 3.0, epsilon = 1e-9);
    assert_relative_eq!(three.interval95().unwrap()[0], 0.62, epsilon = 0.005);
    assert_relative_eq!(three.interval95().unwrap()[1], 8.77, epsilon = 0.005);
}

#[test]
fn evenness_is_the_length_weighted_root_mean_square() {
    let photo = |cv: f64, mm: f64| {
        let mut r = report("a.jpg");
        r.sample.evenness.diameter_cv_percent = measured(cv, 0.5);
        r.sample.length_mm = measured(mm, 1.0);
        r
    };
    let cv = pool_reports(&[photo(6.0, 300.0), photo(8.0, 100.0)]).unwrap().sample.evenness.diameter_cv_percent;
    assert_relative_eq!(*cv.value().unwrap(), (0.75_f64 * 36.0 + 0.25 * 64.0).sqrt(), max_relative = 1e-9);
}

#[test]
fn one_photo_keeps_its_figures() {
    let r = report("a.jpg");
    assert_eq!(pool_reports(std::slice::from_ref(&r)).unwrap().sample, r.sample);
}

// No angle against the strand's length is above a right one.
#[test]
fn angles_that_disagree_widen_to_a_right_angle_at_most() {
    let (mut a, mut b) = (report("a.jpg"), report("b.jpg"));
    a.sample.twist_angle_deg = measured(20.0, 0.5);
    b.sample.twist_angle_deg = measured(33.0, 0.5);
    a.sample.fibre_angle_deg = measured(-40.0, 1.0);
    b.sample.fibre_angle_deg = measured(40.0, 1.0);
    let sample = pool_reports(&[a, b]).unwrap().sample;
    assert_eq!(sample.twist_angle_deg.interval95(), Some([0.0, 90.0]));
    assert_eq!(sample.fibre_angle_deg.interval95(), Some([-90.0, 90.0]));
}

// Source: geometry, 25.4 mm over the diameter; digits worked by hand.
#[test]
fn wraps_are_an_inch_over_the_diameter() {
    for (mm, wraps) in [(1.0, 25.4), (1.5, 16.93), (2.0, 12.70), (2.54, 10.0), (3.0, 8.47)] {
        let mut photos = [report("a.jpg"), report("b.jpg")];
        for photo in &mut photos {
            photo.sample.diameter_mm = measured(mm, 0.01);
        }
        let pooled = *pool_reports(&photos).unwrap().sample.wraps_per_inch.value().unwrap();
        assert!((pooled - wraps).abs() < 5.1e-3, "{mm} mm: {pooled}");
    }
}
