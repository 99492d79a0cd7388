//! Over-twist: closed loops are counted, a wave of the whole strand is none.
//!
//! A held strand that has too much twist curls back on itself into loops that touch; a slack or a bowed one does not. Common
//! practice, no source.

use strandrule::base::colour::srgb_of_linear;
use strandrule::base::raster::Raster;
use strandrule::figures::words::Reason;
use strandrule::measure::photo::{CameraFacts, Photo};
use strandrule::measure::scale::{Scale, ScaleFound};
use strandrule::measure::strand::{LeftOutWhy, StrandParams, StrandRequest, find_strands};

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
    };
    for (bow, loops) in [(0.0, vec![]), (60.0, vec![]), (0.0, vec![700.0]), (15.0, vec![400.0, 950.0])] {
        let strands = find_strands(&drawn(bow, &loops), &scale, &StrandRequest::default(), &StrandParams::default());
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
