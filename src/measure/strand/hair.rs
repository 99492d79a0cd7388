//! Hairs outside both core edges: how much of the ground they cover.
//!
//! Ground and shadow change slowly along the strand, a hair crosses a line parallel to the edge within a few pixels. So on
//! each such line what stands out from the running median is hair: its cover is how far it lies from the ground towards the
//! body's colour. Covers are integrated outwards (the report's definition of hairiness).

use rayon::prelude::*;

use super::Strand;
use crate::base::colour::LINEAR_OF_SRGB;
use crate::base::geometry::{Image, Point};
use crate::base::line::running_median;
use crate::base::raster::Raster;
use crate::base::stats::median;

/// How far out hairs are counted: two diameters, or three millimetres where that is less and the scale is known.
const REACH_DIAMETERS: f64 = 2.0;
const REACH_MM: f64 = 3.0;

/// Lines a side; covers change slowly outwards.
const LINES: usize = 16;

/// Distance from the edge at which lines begin, blurs: nearer, the body itself is seen.
const GUARD_BLURS: f64 = 2.5;

/// Length of the running median, diameters: longer than hairs are wide, much shorter than the shadow of a ply, which is of a
/// dark yarn's colour.
const MEDIAN_DIAMETERS: f64 = 0.3;

/// Standard deviations of the line's own noise from which on a difference is a hair: of noise, one sample in seven hundred.
const STANDS_OUT: f64 = 3.0;

/// Least difference between body and ground, linear light of any channel: two code values of a mid-grey, times ten.
const LEAST_CONTRAST: f64 = 0.08;

/// Part of all lines that must show enough contrast.
const LEAST_LINES: f64 = 0.5;

/// Sets the cover by hairs of every station; leaves it unknown where body and ground are too alike. `mm_px` is a
/// millimetre's length in px, where known; `bare` tells whether a point of the photo may show nothing but ground and hair.
pub(super) fn measure(
    piece: &mut Strand,
    picture: &Raster<[u8; 3]>,
    mm_px: Option<f64>,
    bare: &(dyn Fn(Point<Image>) -> bool + Sync),
) {
    let widths: Vec<f64> = piece.stations.iter().map(super::Station::width_px).collect();
    let Some(diameter_px) = median(&widths) else { return };
    let reach_px = mm_px.map_or(f64::MAX, |mm| REACH_MM * mm).min(REACH_DIAMETERS * diameter_px);
    let guard_px = (GUARD_BLURS * piece.blur_px).max(2.0 * piece.step_px);
    if reach_px < 2.0 * guard_px {
        return;
    }
    let body = body_colour(piece);
    let spacing = (reach_px - guard_px) / LINES as f64;
    let half = (0.5 * MEDIAN_DIAMETERS * diameter_px / piece.step_px).round().max(7.0) as usize;
    let above: Vec<Option<Line>> = [-1.0, 1.0]
        .into_iter()
        .flat_map(|side| (0..LINES).map(move |k| (side, guard_px + (k as f64 + 0.5) * spacing)))
        .collect::<Vec<_>>()
        .into_par_iter()
        .map(|(side, out_px)| line(piece, picture, side, out_px, body, half, bare))
        .collect();
    let lines: Vec<Option<Vec<f64>>> = above.iter().map(|l| l.as_ref().map(Line::cover)).collect();
    let seen = lines.iter().flatten().count();
    if (seen as f64) < LEAST_LINES * lines.len() as f64 {
        return;
    }
    // The guard is taken to be covered as the first line is; lines that could not be read as the mean of the others.
    let width_of = |k: usize| if k.is_multiple_of(LINES) { spacing + guard_px } else { spacing };
    let total: f64 = (0..lines.len()).map(width_of).sum();
    let known: f64 = lines.iter().enumerate().filter(|(_, l)| l.is_some()).map(|(k, _)| width_of(k)).sum();
    for (i, station) in piece.stations.iter_mut().enumerate() {
        let covered: f64 =
            lines.iter().enumerate().filter_map(|(k, line)| Some(width_of(k) * line.as_ref()?.get(i)?)).sum();
        station.hair_cover_px = Some(covered * total / known);
    }
}

/// Mean colour of the body's middle half, linear light.
fn body_colour(piece: &Strand) -> [f64; 3] {
    let (mut sum, mut count) = ([0.0; 3], 0.0);
    for (column, station) in piece.stations.iter().enumerate().step_by(4) {
        for part in [-0.25, 0.0, 0.25] {
            let offset = 0.5 * (station.left.offset_px + station.right.offset_px) + part * station.width_px();
            let row = (piece.strip.middle_row + offset / piece.step_px).round();
            if let Some(pixel) = piece.strip.rgb.get(column, row.max(0.0) as usize) {
                sum.iter_mut().zip(pixel).for_each(|(s, v)| *s += f64::from(v));
                count += 1.0;
            }
        }
    }
    sum.map(|s| s / f64::max(count, 1.0))
}

/// One line parallel to an edge; `None` where body and ground are too alike on it or something else lies
/// there.
fn line(
    piece: &Strand,
    picture: &Raster<[u8; 3]>,
    side: f64,
    out_px: f64,
    body: [f64; 3],
    half: usize,
    bare: &(dyn Fn(Point<Image>) -> bool + Sync),
) -> Option<Line> {
    let table = &*LINEAR_OF_SRGB;
    let seen: Vec<Option<[f64; 3]>> = piece
        .stations
        .iter()
        .map(|station| {
            let edge = if side < 0.0 { station.left } else { station.right };
            let p = station.centre + station.normal * (edge.offset_px + side * out_px);
            let seen = station.left_out.is_none() && picture.holds(p.x, p.y) && bare(p);
            seen.then(|| picture.bilinear_through(p.x, p.y, table).map(f64::from))
        })
        .collect();
    let read = seen.iter().flatten().count();
    if read < 8 * half || 2 * read < seen.len() {
        return None;
    }
    let ground: Vec<f64> = (0..3)
        .map(|c: usize| median(&seen.iter().flatten().map(|v| v[c]).collect::<Vec<_>>()))
        .collect::<Option<_>>()?;
    let axis: Vec<f64> = (0..3).map(|c| body[c] - ground[c]).collect();
    let length = axis.iter().map(|v| v * v).sum::<f64>();
    if length.sqrt() < LEAST_CONTRAST {
        return None;
    }
    // 0 is ground, 1 the body's colour.
    let towards: Vec<Option<f64>> =
        seen.iter().map(|v| v.map(|v| (0..3).map(|c| (v[c] - ground[c]) * axis[c]).sum::<f64>() / length)).collect();
    let smooth = running_median(&towards, half, (half / 3).max(1));
    let above: Vec<Option<f64>> = towards.iter().zip(&smooth).map(|(v, m)| Some((*v)? - (*m)?)).collect();
    // Noise alone, from the side that hairs do not reach: below the ground.
    let below: Vec<f64> = above.iter().flatten().copied().filter(|v| *v < 0.0).collect();
    let noise = (below.iter().map(|v| v * v).sum::<f64>() / below.len().max(1) as f64).sqrt();
    Some(Line { above, noise })
}

/// A line parallel to an edge.
struct Line {
    /// How far each station lies from the ground towards the body's colour: 0 is ground, 1 body; `None` where something else
    /// lies there.
    above: Vec<Option<f64>>,
    /// Standard deviation of its noise.
    noise: f64,
}

impl Line {
    /// Cover by hairs per station; the line's mean where it is unknown.
    fn cover(&self) -> Vec<f64> {
        let hair = |v: f64| if v > STANDS_OUT * self.noise { v.min(1.0) } else { 0.0 };
        let known: Vec<f64> = self.above.iter().flatten().map(|v| hair(*v)).collect();
        let mean = known.iter().sum::<f64>() / known.len().max(1) as f64;
        self.above.iter().map(|v| v.map_or(mean, hair)).collect()
    }
}
