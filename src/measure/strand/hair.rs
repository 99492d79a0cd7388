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

#[cfg(test)]
mod tests {
    use super::super::{Edge, Station, Strip};
    use super::*;

    const HAIR_WIDTH_PX: f64 = 2.0;
    const HAIR_LENGTH_PX: f64 = 50.0;

    /// Mean cover of a drawn strand, 40 px wide, with straight hairs normal to it on alternating sides, so far apart.
    fn cover(spacing_px: f64) -> f64 {
        let (wide, high, half) = (900, 400, 20.0);
        let middle = f64::from(high / 2);
        let mut picture = Raster::filled(wide, high as usize, [190u8, 189, 184]);
        for y in 0..high as usize {
            for x in 0..wide {
                let (along, across) = (x as f64, y as f64 - middle);
                let hair = (along / spacing_px).floor();
                let on_hair = along - hair * spacing_px < HAIR_WIDTH_PX
                    && across.abs() - half < HAIR_LENGTH_PX
                    && (across > 0.0) == (hair.rem_euclid(2.0) < 1.0);
                if across.abs() < half || on_hair {
                    picture.set(x, y, [150, 80, 50]);
                }
            }
        }
        let edge = |offset_px| Edge { offset_px, u_px: 0.2 };
        let stations: Vec<Station> = (0..wide)
            .map(|x| Station {
                centre: Point::new(x as f64, middle),
                normal: Point::new(0.0, 1.0),
                left: edge(-half),
                right: edge(half),
                hair_cover_px: None,
                left_out: None,
            })
            .collect();
        let mut piece = Strand {
            number: 1,
            chosen: true,
            step_px: 1.0,
            strip: Strip::straighten(&picture, &stations, 1.0, 60.0),
            stations,
            edge_systematic_u_px: 0.2,
            blur_px: 0.8,
            kinks: None,
            beside: false,
            eye: None,
        };
        measure(&mut piece, &picture, None, &|_| true);
        let all: Vec<f64> = piece.stations.iter().filter_map(|s| s.hair_cover_px).collect();
        assert!(all.len() > 300, "too little was looked at");
        all.iter().sum::<f64>() / all.len() as f64
    }

    /// Source: the definition of the hair area index, hairs times width times length over the core's area (geometry; the report's
    /// hairiness is the same, per length). Twice the hairs give twice the cover.
    #[test]
    fn hairs_cover_what_they_cover() {
        let bare = cover(f64::INFINITY);
        assert!(bare < 0.1, "no hairs, yet {bare:.2} px");
        for spacing in [60.0, 30.0] {
            let (measured, expected) = (cover(spacing), HAIR_WIDTH_PX * HAIR_LENGTH_PX / spacing);
            let error = measured / expected - 1.0;
            assert!(error.abs() < 0.25, "{spacing} px between hairs: {measured:.2} px for {expected:.2} px");
        }
    }
}
