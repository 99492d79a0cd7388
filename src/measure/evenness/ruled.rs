//! Each piece laid along a ruler: where its stations are in millimetres, and how wide the strand is there.
//!
//! The strand lies on the card, so its axis is about half its envelope diameter above the plane and nearer to the
//! camera; and it is round, so a camera that looks from the side sees its full diameter where it sees the plane
//! foreshortened. Both are allowed for here, once.

use crate::base::geometry::{Image, Point};
use crate::base::units::Mm;
use crate::measure::scale::{KnownScale, PlaneMap};
use crate::measure::strand::{LeftOutWhy, Strand};

/// One station in units of length.
#[derive(Debug, Clone, Copy)]
pub struct RuledStation {
    /// Distance along the centre line from the first station.
    pub at: f64,
    /// Local width as seen along the card's normal.
    pub width: f64,
    /// Left edge from the centre line, negative.
    pub left: f64,
    /// Right edge from the centre line.
    pub right: f64,
    /// Pixels per unit of length on the plane at the axis's height, across the strand.
    pub px_across: f64,
    /// Tangent of the true angle over tangent of the angle seen in the strip.
    pub tan_factor: f64,
    /// Set where the station is not to be measured.
    pub left_out: Option<LeftOutWhy>,
}

/// One piece in units of length.
#[derive(Debug, Clone)]
pub struct RuledPiece {
    /// The piece's number.
    pub number: u32,
    /// Whether the unit is the millimetre; else it is the photo's pixel.
    pub in_mm: bool,
    /// Its stations, one for each station of the strand, in order.
    pub stations: Vec<RuledStation>,
}

impl RuledPiece {
    /// Length of the part that is measured, in the piece's unit.
    #[must_use]
    pub fn measured_length(&self) -> f64 {
        self.runs().iter().map(|run| run.last().map_or(0.0, |l| l.at) - run.first().map_or(0.0, |f| f.at)).sum()
    }

    /// The measured stretches, each without a gap.
    #[must_use]
    pub fn runs(&self) -> Vec<&[RuledStation]> {
        self.stations.split(|s| s.left_out.is_some()).filter(|run| run.len() > 1).collect()
    }
}

/// Lays a piece out with its axis `height` above the plane; in pixels where no scale is known, or where the map does
/// not reach the whole piece.
#[must_use]
pub fn lay_out(strand: &Strand, scale: Option<&KnownScale>, height: Mm) -> RuledPiece {
    scale.and_then(|known| in_millimetres(strand, &known.map, height)).unwrap_or_else(|| in_pixels(strand))
}

fn in_pixels(strand: &Strand) -> RuledPiece {
    let stations = strand
        .stations
        .iter()
        .enumerate()
        .map(|(i, s)| RuledStation {
            at: i as f64 * strand.step_px,
            width: s.width_px(),
            left: s.left.offset_px,
            right: s.right.offset_px,
            px_across: 1.0,
            tan_factor: 1.0,
            left_out: s.left_out,
        })
        .collect();
    RuledPiece { number: strand.number, in_mm: false, stations }
}

fn in_millimetres(strand: &Strand, map: &PlaneMap, height: Mm) -> Option<RuledPiece> {
    let mut stations = Vec::with_capacity(strand.stations.len());
    let mut at = 0.0;
    let mut before = None;
    for s in &strand.stations {
        let here = map.card_from_image(s.centre, height)?;
        if let Some(before) = before {
            at += here.distance(before);
        }
        before = Some(here);
        let along = Point::new(s.normal.y, -s.normal.x);
        let px_across = map.px_per_mm(s.centre, s.normal, height)?;
        let px_along = map.px_per_mm(s.centre, along, height)?;
        let round = roundness_factor(map, s.centre, along, height);
        let mm_per_px = round / px_across;
        stations.push(RuledStation {
            at,
            width: s.width_px() * mm_per_px,
            left: s.left.offset_px * mm_per_px,
            right: s.right.offset_px * mm_per_px,
            px_across,
            tan_factor: px_along * mm_per_px,
            left_out: s.left_out,
        });
    }
    Some(RuledPiece { number: strand.number, in_mm: true, stations })
}

/// How much of the plane's scale across the strand is foreshortening: the cosine of the camera's tilt across the strand.
///
/// A round strand shows its whole diameter from any side, while a line across it on the plane is shortened. With `v` the
/// ray and `a` the axis, both in plane coordinates, the outline lies along `n = v x a / |v x a|`, and a line `c` across the
/// strand on the plane shows `c . n = |v_z| / sqrt(v_z^2 + (v . c)^2)` of its length. 1 for a scan.
fn roundness_factor(map: &PlaneMap, p: Point<Image>, along: Point<Image>, height: Mm) -> f64 {
    let Some(camera) = map.camera_mm else { return 1.0 };
    let (Some(a), Some(b)) = (map.card_from_image(p, height), map.card_from_image(p + along, height)) else {
        return 1.0;
    };
    let Some(axis) = (b - a).unit() else { return 1.0 };
    let across = axis.quarter_turn();
    let ray = Point::new(a.x - camera.x, a.y - camera.y);
    let down = camera.z - height.0;
    down.abs() / down.hypot(ray.dot(across))
}
