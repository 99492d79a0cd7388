//! A piece's stations along its line.

use super::{Edge, Station};
use crate::base::geometry::{Image, Point};
use crate::base::line::at_equal_steps;

/// Stations at equal steps along a line, their edges not yet placed.
pub(super) fn stations(line: &[Point<Image>], step_px: f64) -> Vec<Station> {
    let station = |s: crate::base::line::Step| Station {
        centre: s.centre,
        normal: s.normal,
        left: Edge::default(),
        right: Edge::default(),
        hair_cover_px: None,
        left_out: None,
    };
    at_equal_steps(line, step_px).into_iter().map(station).collect()
}
