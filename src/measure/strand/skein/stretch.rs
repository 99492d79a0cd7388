//! A clean run becomes a piece: stations, edges beside the creases, the straightened picture.

use std::ops::Range;

use super::super::{Edge, Station, Strand, Strip};
use super::crease::darkest_line;
use super::lay::{Laid, along_rows};
use crate::base::colour::luminance;
use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;

/// Widest strand, in stations across, before the step grows.
const MAX_STATIONS_ACROSS: f64 = 80.0;

/// Half width of the strip, strand widths: the strand and its neighbours' near halves.
const STRIP_WIDTHS: f64 = 1.0;

/// How far from where a crease is expected it may lie, strand widths: expected places are a twelfth apart.
const REFINE_WIDTHS: f64 = 0.12;

/// Widest fall of brightness from body to crease, strand widths: cosine shading alone falls to half in 0.07.
const WIDEST_FALL_WIDTHS: f64 = 0.2;

/// Standard uncertainty of the crease at one station, strand widths: fibres and grooves that run into it.
const NOISE_WIDTHS: f64 = 0.03;

/// What lies beside a strand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in super::super) enum Beside {
    /// Another strand: there is a crease near the expected place.
    Strand,
    /// Ground: the expected place is the edge.
    Ground,
}

/// Where a strand runs and where its edges are expected.
#[derive(Debug, Clone)]
pub(in super::super) struct Course {
    /// Centre line, at equal steps.
    pub(in super::super) centres: Vec<Point<Image>>,
    /// Unit normals, clockwise of the walking direction on the screen.
    pub(in super::super) normals: Vec<Point<Image>>,
    /// Expected edges, px from the centre line along the normal.
    pub(in super::super) offsets: [Vec<f64>; 2],
    /// Distance between centres, px.
    pub(in super::super) step_px: f64,
    /// Strand width, px.
    pub(in super::super) width_px: f64,
    /// What lies at negative and positive offsets.
    pub(in super::super) beside: [Beside; 2],
}

impl Course {
    /// Of a run of a laid-out path; `None` for a run beyond it.
    pub(in super::super) fn of(laid: &Laid, run: Range<usize>) -> Option<Self> {
        let middle = (laid.luma.height() / 2) as f64;
        let offsets = |side: usize| -> Option<Vec<f64>> {
            Some(laid.creases[side].get(run.clone())?.iter().map(|row| (row - middle) * laid.step_px).collect())
        };
        Some(Self {
            centres: laid.centres.get(run.clone())?.to_vec(),
            normals: laid.normals.get(run.clone())?.to_vec(),
            offsets: [offsets(0)?, offsets(1)?],
            step_px: laid.step_px,
            width_px: laid.width_px,
            beside: [Beside::Strand; 2],
        })
    }

    /// Stations a `step` apart, edges where they are expected.
    fn stations(&self, step: f64) -> Option<Vec<Station>> {
        let length = self.centres.len().checked_sub(1)? as f64 * self.step_px;
        let count = (length / step).floor() as usize;
        (0..count)
            .map(|i| {
                let at = i as f64 * step / self.step_px;
                let (k, t) = (at.floor() as usize, at.fract());
                let point = |values: &[Point<Image>]| Some(values.get(k)?.lerp(*values.get(k + 1)?, t));
                let edge = |values: &[f64]| {
                    let offset_px = values.get(k)? * (1.0 - t) + values.get(k + 1)? * t;
                    Some(Edge { offset_px, u_px: 0.0 })
                };
                Some(Station {
                    centre: point(&self.centres)?,
                    normal: point(&self.normals)?.unit()?,
                    left: edge(&self.offsets[0])?,
                    right: edge(&self.offsets[1])?,
                    hair_cover_px: None,
                    left_out: None,
                })
            })
            .collect()
    }
}

/// The piece of yarn along a course; `None` where it is too short.
///
/// Between two strands the crease's darkest line is found to part of a pixel. The body ends somewhere between that line
/// (strands that touch) and where the brightness has fallen to half (a dark gap between them): the middle of the two is
/// taken, on the mean profile along the piece, and their distance is a rectangular distribution (JCGM 100:2008, 4.3.7)
/// that both edges share.
pub(in super::super) fn piece(picture: &Raster<[u8; 3]>, course: &Course) -> Option<Strand> {
    let width = course.width_px;
    let step = (width / MAX_STATIONS_ACROSS).max(1.0);
    let mut stations = course.stations(step)?;
    if stations.len() < 16 {
        return None;
    }
    let strip = Strip::straighten(picture, &stations, step, STRIP_WIDTHS * width);
    // Square root of linear light: near to what luma is.
    let light = strip.rgb.map(|v| 255.0 * luminance(v).max(0.0).sqrt());
    let smooth = along_rows(&light, (0.05 * width / step).max(0.5));
    let body = light.samples().iter().sum::<f32>() / light.samples().len().max(1) as f32;
    let reach = (REFINE_WIDTHS * width / step).ceil() as usize;
    let blur_px = blur(&light) * step;
    let mut shared_u = 0.3 * blur_px;
    for side in [Side::Left, Side::Right] {
        let expected: Vec<f64> = stations.iter().map(|s| side.edge(s).offset_px / step + strip.middle_row).collect();
        let beside = course.beside[usize::from(side == Side::Right)];
        let (rows, fall) = match beside {
            Beside::Strand => {
                let rows = darkest_line(&smooth, &expected, reach, body, 0.0);
                let fall = half_fall(&light, &rows, side, width / step);
                (rows, fall)
            }
            Beside::Ground => (expected, 0.0),
        };
        shared_u += fall * step / 12.0f64.sqrt();
        let inwards = if side == Side::Left { 0.5 * fall } else { -0.5 * fall };
        for (station, row) in stations.iter_mut().zip(rows) {
            let offset_px = (row + inwards - strip.middle_row) * step;
            *side.edge_mut(station) = Edge { offset_px, u_px: NOISE_WIDTHS * width };
        }
    }
    Some(Strand {
        number: 0,
        chosen: true,
        step_px: step,
        stations,
        strip,
        edge_systematic_u_px: shared_u,
        blur_px,
        kinks: None,
        beside: false,
        eye: None,
    })
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Left,
    Right,
}

impl Side {
    fn edge(self, station: &Station) -> Edge {
        if self == Self::Left { station.left } else { station.right }
    }
    fn edge_mut(self, station: &mut Station) -> &mut Edge {
        if self == Self::Left { &mut station.left } else { &mut station.right }
    }
}

/// Distance from the crease to where the mean brightness along the piece is half way up to that of the body, rows.
fn half_fall(light: &Raster<f32>, rows: &[f64], side: Side, width_rows: f64) -> f64 {
    let inwards = if side == Side::Left { 1.0 } else { -1.0 };
    let count = (2.0 * WIDEST_FALL_WIDTHS * width_rows).ceil() as usize;
    let profile: Vec<f64> = (0..=count)
        .map(|k| {
            let sum: f64 = rows
                .iter()
                .enumerate()
                .map(|(column, row)| {
                    let at = row + inwards * k as f64 / 2.0;
                    let (low, t) = (at.floor(), at.fract() as f32);
                    let (a, b) = (
                        light.clamped(column as isize, low as isize),
                        light.clamped(column as isize, low as isize + 1),
                    );
                    f64::from(a + (b - a) * t)
                })
                .sum();
            sum / rows.len().max(1) as f64
        })
        .collect();
    let (Some(low), Some(high)) = (profile.first().copied(), profile.iter().copied().reduce(f64::max)) else {
        return 0.0;
    };
    let half = (low + high) / 2.0;
    profile
        .windows(2)
        .position(|p| p[0] < half && p[1] >= half)
        .map_or(0.0, |k| (k as f64 + (half - profile[k]) / (profile[k + 1] - profile[k])) / 2.0)
}

/// Upper bound of the blur, as the sigma of a Gaussian, in samples: an edge of height h blurred by sigma is nowhere
/// steeper than h / (sigma sqrt(2 pi)); the steepest hundredth of all places counts.
fn blur(light: &Raster<f32>) -> f64 {
    const REACH: usize = 3;
    let mut found: Vec<(f32, f32)> = Vec::new();
    // A third of the rows tell it as well.
    for row in (0..light.height()).step_by(3) {
        let values = light.row(row);
        for window in values.windows(2 * REACH + 1) {
            let slope = (window[REACH + 1] - window[REACH - 1]).abs() / 2.0;
            let (low, high) = window.iter().fold((f32::INFINITY, 0.0f32), |(l, h), v| (l.min(*v), h.max(*v)));
            found.push((slope, high - low));
        }
    }
    let steepest = (found.len() / 100).max(1).min(found.len());
    if steepest == 0 {
        return REACH as f64;
    }
    found.select_nth_unstable_by(steepest - 1, |a, b| b.0.total_cmp(&a.0).then(b.1.total_cmp(&a.1)));
    let sigmas: Vec<f64> = found
        .iter()
        .take(steepest)
        .filter(|(slope, _)| *slope > 0.0)
        .map(|(slope, height)| f64::from(*height) / (f64::from(*slope) * (2.0 * std::f64::consts::PI).sqrt()))
        .collect();
    crate::base::stats::median(&sigmas).unwrap_or(REACH as f64)
}
