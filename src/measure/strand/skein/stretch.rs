//! A clean run becomes a piece: stations, edges at the creases, the straightened picture.

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

/// How far from the crease of the laid-out path the finer one may lie, strand widths: its rows are a twelfth apart.
const REFINE_WIDTHS: f64 = 0.1;

/// Where in the fall of brightness from body to crease the body ends is not seen: taken as anywhere in the outer
/// twentieth of the width on each side, both sides alike (a rectangular distribution, JCGM 100:2008, 4.3.7):
/// 2 x 0.05 / sqrt(3).
const EDGE_RELATIVE_U: f64 = 0.058;

/// A piece of yarn of the run of a laid-out path; `None` where it is too short.
pub(in super::super) fn piece(picture: &Raster<[u8; 3]>, laid: &Laid, run: Range<usize>) -> Option<Strand> {
    let width = laid.width_px;
    let step = (width / MAX_STATIONS_ACROSS).max(1.0);
    let last = run.end.checked_sub(1)? as f64;
    let count = ((last - run.start as f64) * laid.step_px / step).floor() as usize;
    if count < 16 {
        return None;
    }
    let middle = (laid.luma.height() / 2) as f64;
    let mut offsets = [Vec::with_capacity(count), Vec::with_capacity(count)];
    let mut stations = Vec::with_capacity(count);
    for i in 0..count {
        let at = run.start as f64 + i as f64 * step / laid.step_px;
        let (k, t) = (at.floor() as usize, at.fract());
        let between = |values: &[f64]| Some(values.get(k)? * (1.0 - t) + values.get(k + 1)? * t);
        let point = |values: &[Point<Image>]| Some(values.get(k)?.lerp(*values.get(k + 1)?, t));
        for (side, out) in offsets.iter_mut().enumerate() {
            out.push((between(&laid.creases[side])? - middle) * laid.step_px);
        }
        stations.push(Station {
            centre: point(&laid.centres)?,
            normal: point(&laid.normals)?.unit()?,
            left: Edge::default(),
            right: Edge::default(),
            hair_cover_px: 0.0,
            left_out: None,
        });
    }
    let strip = Strip::straighten(picture, &stations, step, STRIP_WIDTHS * width);
    // Square root of linear light: near to what luma is.
    let light = strip.rgb.map(|v| 255.0 * luminance(v).max(0.0).sqrt());
    let smooth = along_rows(&light, (0.05 * width / step).max(0.5));
    let body = light.samples().iter().sum::<f32>() / light.samples().len().max(1) as f32;
    let reach = (REFINE_WIDTHS * width / step).ceil() as usize;
    for (side, offsets) in offsets.iter().enumerate() {
        let expected: Vec<f64> = offsets.iter().map(|o| o / step + strip.middle_row).collect();
        let rows = darkest_line(&smooth, &expected, reach, body, 0.0);
        for (station, row) in stations.iter_mut().zip(rows) {
            let edge = Edge { offset_px: (row - strip.middle_row) * step, u_px: 0.03 * width };
            if side == 0 {
                station.left = edge;
            } else {
                station.right = edge;
            }
        }
    }
    let blur_px = blur(&light) * step;
    Some(Strand {
        number: 0,
        chosen: true,
        step_px: step,
        stations,
        strip,
        edge_systematic_u_px: EDGE_RELATIVE_U * width + 0.3 * blur_px,
        blur_px,
        kinks: Vec::new(),
    })
}

/// Upper bound of the blur, as the sigma of a Gaussian, in samples: an edge of height h blurred by sigma is nowhere
/// steeper than h / (sigma sqrt(2 pi)); the steepest hundredth of all places counts.
fn blur(light: &Raster<f32>) -> f64 {
    const REACH: usize = 3;
    let mut found: Vec<(f32, f32)> = Vec::new();
    for row in 0..light.height() {
        let values = light.row(row);
        for window in values.windows(2 * REACH + 1) {
            let slope = (window[REACH + 1] - window[REACH - 1]).abs() / 2.0;
            let (low, high) = window.iter().fold((f32::INFINITY, 0.0f32), |(l, h), v| (l.min(*v), h.max(*v)));
            found.push((slope, high - low));
        }
    }
    found.sort_unstable_by(|a, b| b.0.total_cmp(&a.0).then(b.1.total_cmp(&a.1)));
    found.truncate((found.len() / 100).max(1));
    let sigmas: Vec<f64> = found
        .iter()
        .filter(|(slope, _)| *slope > 0.0)
        .map(|(slope, height)| f64::from(*height) / (f64::from(*slope) * (2.0 * std::f64::consts::PI).sqrt()))
        .collect();
    crate::base::stats::median(&sigmas).unwrap_or(REACH as f64)
}
