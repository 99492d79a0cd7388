//! Pictures without yarn: no figure of yarn may come of them.

mod draw;

use draw::{KINDS, picture};
use rayon::prelude::*;
use strandrule::figures::Report;
use strandrule::measure::pipeline::{Params, Request, measure};

/// Pictures of each kind.
const EACH: u64 = 8;

/// The figures of yarn that a report gives.
fn given(report: &Report) -> Vec<&'static str> {
    let sample = &report.sample;
    [
        ("direction", sample.twist_direction.value().is_some()),
        ("plies", sample.plies.value().is_some()),
        ("angle", sample.twist_angle_deg.value().is_some()),
        ("diameter px", sample.diameter_px.value().is_some()),
        ("diameter mm", sample.diameter_mm.value().is_some()),
        ("turns", sample.twists_per_inch.value().is_some()),
    ]
    .into_iter()
    .filter_map(|(name, is)| is.then_some(name))
    .collect()
}

#[test]
fn no_yarn_gives_no_figures() {
    let all: Vec<(usize, u64)> = (0..KINDS.len()).flat_map(|kind| (0..EACH).map(move |seed| (kind, seed))).collect();
    let found: Vec<(usize, Vec<&str>)> = all
        .par_iter()
        .map(|(kind, seed)| {
            let measured = measure(&picture(*kind, *seed), &Request::default(), &Params::default());
            (*kind, given(&measured.report))
        })
        .collect();
    let mut wrong = 0;
    for (kind, (name, _)) in KINDS.iter().enumerate() {
        let figures: Vec<String> =
            found.iter().filter(|(k, f)| *k == kind && !f.is_empty()).map(|(_, f)| f.join(", ")).collect();
        wrong += figures.len();
        if !figures.is_empty() {
            eprintln!("{name}: {} of {EACH} give figures: {}", figures.len(), figures.join(" | "));
        }
    }
    eprintln!("{wrong} of {} pictures without yarn give figures", all.len());
    // Left: a braid whose two sets of strands are drawn at different steepness, so that one way prevails.
    assert!(wrong <= 1, "{wrong} pictures");
}
