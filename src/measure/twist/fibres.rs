//! Plied yarn: which way the fibres on the plies' crests run.
//!
//! Each time a ply passes the middle of the face its crest is cut out along the ply, flattened about the ply's own axis and
//! freed of what all crests have in common (the light on a round ply, the grooves beside it). What remains is the fibres.

use std::f64::consts::{PI, TAU};

use rustfft::{FftPlanner, num_complex::Complex};

use super::super::strand::Strand;
use super::Estimate;
use super::geometry::Bundle;
use super::orient::{Gather, Ring, hann, peak};
use super::outcome::LINE_DEPTH;
use super::piece::{Candidate, PieceLook};
use super::track::Track;
use crate::figures::words::Reason;

/// How far the yarn turns while a crest is followed, radians to either side of the middle of the face: the crest stays
/// within a fifth of the axis radius of where its tangent runs.
const TURN_OF_A_CREST: f64 = 0.65;
/// Outermost angle around the ply.
const LIMIT_PHI: f64 = 0.95;

/// Phase of the track at a station, radians.
pub(super) fn phase_at(track: &Track, stations_per_column: f64, station: f64) -> f64 {
    let columns = track.phase.len();
    let at = ((station + 0.5) / stations_per_column - 0.5).clamp(0.0, columns.saturating_sub(1) as f64);
    let c = (at.floor() as usize).min(columns.saturating_sub(2));
    let t = at - c as f64;
    let next = (c + 1).min(columns.saturating_sub(1));
    match (track.phase.get(c), track.phase.get(next)) {
        (Some(a), Some(b)) => a + (b - a) * t,
        _ => 0.0,
    }
}

/// Signed angle of the surface fibres to the yarn's axis, positive in the sense of the final twist, radians.
pub(super) fn fibre_angle(
    strand: &Strand,
    look: &PieceLook,
    candidate: Candidate,
    bundle: &Bundle,
    shift: usize,
) -> Result<Estimate, Reason> {
    let Some(coarse) = look.coarse.as_ref() else { return Err(Reason::FibresNotVisible) };
    let picture = &strand.strip.rgb;
    let (width, height) = (picture.width(), picture.height());
    let sense = coarse.track.sense;
    let turns_per_station = coarse.rate / f64::from(candidate.harmonic);
    let outer = bundle.envelope_per_half_width();
    let radius = look.outline.mean_width / 2.0 * outer;
    let ply = bundle.radii.iter().copied().fold(0.0, f64::max) * radius;
    let rows = 2 * ((LIMIT_PHI * ply).floor() as usize) + 1;
    let columns = (2.0 * TURN_OF_A_CREST / (TAU * turns_per_station)).min(4.0 * ply) as usize;
    // Below four pixels of ply radius its fibres are thinner than a pixel.
    if ply < 4.0 || columns < 8 || height < 3 {
        return Err(Reason::FibresNotVisible);
    }
    let start = TAU * shift as f64 / super::fold::TURN as f64;
    let mut crests: Vec<Vec<f32>> = Vec::new();
    let mut tangents = Vec::new();
    for (k, (rc, angle)) in bundle.axis_radii.iter().zip(&bundle.angles).enumerate() {
        if bundle.radii.get(k).is_none_or(|r| r * radius < 4.0) {
            continue;
        }
        for middle in crossings(look, &coarse.track, coarse.stations_per_column, candidate, start - sense * angle) {
            let first = middle as i64 - columns as i64 / 2;
            if first < 0 || first as usize + columns >= width.min(look.outline.usable.len()) {
                continue;
            }
            let first = first as usize;
            if !look.outline.usable[first..first + columns].iter().all(|u| *u) {
                continue;
            }
            let scale = coarse.half_width[middle] / (look.outline.mean_width / 2.0);
            let mut crest = Vec::with_capacity(rows * columns);
            let here = phase_at(&coarse.track, coarse.stations_per_column, middle as f64);
            for r in 0..rows {
                let phi = (r as f64 - (rows / 2) as f64) / ply;
                for c in first..first + columns {
                    let turned = (phase_at(&coarse.track, coarse.stations_per_column, c as f64) - here)
                        / f64::from(candidate.harmonic);
                    let axis = coarse.centre[middle] + sense * rc * radius * scale * turned.sin();
                    let y = (axis + ply * scale * phi.sin()).clamp(0.0, (height - 1) as f64);
                    let y0 = (y.floor() as usize).min(height - 2);
                    let t = (y - y0 as f64) as f32;
                    let (a, b) = (picture.samples()[y0 * width + c], picture.samples()[(y0 + 1) * width + c]);
                    let v: f32 = (0..3).map(|i| (a[i] + (b[i] - a[i]) * t).max(0.0).sqrt()).sum();
                    crest.push(v);
                }
            }
            let mean = crest.iter().sum::<f32>() / crest.len() as f32;
            crest.iter_mut().for_each(|v| *v -= mean);
            crests.push(crest);
            let column = ((middle as f64 / coarse.stations_per_column) as usize).min(coarse.track.rate.len() - 1);
            let local = coarse.track.rate[column] / coarse.stations_per_column / f64::from(candidate.harmonic);
            tangents.push(TAU * rc * radius * scale * local);
        }
    }
    if crests.len() < 4 {
        return Err(Reason::FibresNotVisible);
    }
    remove_common(&mut crests);
    crests.iter_mut().for_each(|c| *c = sharpened(c, rows, columns));
    let (angle, sharpness) = direction_of(&crests, rows, columns);
    let tangent = crate::base::stats::mean(&tangents).unwrap_or(0.0);
    // Relative to the band, along which the crest was followed.
    let depth = ply / (ply - LINE_DEPTH);
    let value = (tangent + sense * angle.tan() * depth).atan();
    if sharpness < 0.12 || value.abs() > PI / 3.0 {
        return Err(Reason::FibresNotVisible);
    }
    // Halves of the crests, taken alternately, differ by twice the standard error of the whole.
    let (mut even, mut odd) = (Vec::new(), Vec::new());
    for (i, c) in crests.into_iter().enumerate() {
        if i % 2 == 0 { even.push(c) } else { odd.push(c) }
    }
    let halves = direction_of(&even, rows, columns).0 - direction_of(&odd, rows, columns).0;
    // Band angle, depth of the fibres seen and what grooves leave of their own direction: four and a half degrees.
    Ok(Estimate { value, u: (halves.abs() / 2.0).min(0.2).hypot(0.08) })
}

/// Stations at which `theta - offset` is a whole number of turns.
fn crossings(
    look: &PieceLook,
    track: &Track,
    stations_per_column: f64,
    candidate: Candidate,
    offset: f64,
) -> Vec<usize> {
    let mut out = Vec::new();
    let mut last: Option<f64> = None;
    for i in 0..look.outline.usable.len() {
        let theta = phase_at(track, stations_per_column, i as f64) / f64::from(candidate.harmonic);
        let count = ((theta - offset) / TAU).floor();
        if last.is_some_and(|l| count > l) {
            out.push(i);
        }
        last = Some(count);
    }
    out
}

fn remove_common(crests: &mut [Vec<f32>]) {
    let Some(size) = crests.first().map(Vec::len) else { return };
    let mut mean = vec![0.0f32; size];
    for c in crests.iter() {
        for (m, v) in mean.iter_mut().zip(c) {
            *m += v / crests.len() as f32;
        }
    }
    for c in crests.iter_mut() {
        for (v, m) in c.iter_mut().zip(&mean) {
            *v -= m;
        }
    }
}

/// A crest less its own blur by binomial weights over three by three pixels, which passes power as the fourth power of frequency:
/// about what fibres fall with, so that their fan is as strong near the origin of the spectrum as far from it and leans to
/// neither side. Its rim, which the taper darkens, is left empty.
fn sharpened(crest: &[f32], rows: usize, columns: usize) -> Vec<f32> {
    let mut out = vec![0.0; crest.len()];
    for r in 1..rows.saturating_sub(1) {
        for c in 1..columns.saturating_sub(1) {
            let at = r * columns + c;
            let line = |at: usize| 0.25 * crest[at - 1] + 0.5 * crest[at] + 0.25 * crest[at + 1];
            out[at] = crest[at] - 0.25 * line(at - columns) - 0.5 * line(at) - 0.25 * line(at + columns);
        }
    }
    out
}

/// Direction of the lines in all crests together, and the share of the power that runs along it.
fn direction_of(crests: &[Vec<f32>], rows: usize, columns: usize) -> (f64, f64) {
    let (nx, ny) = ((2 * columns).next_power_of_two(), (rows + rows / 4).next_power_of_two());
    let mut planner = FftPlanner::<f32>::new();
    let (along, across) = (planner.plan_fft_forward(nx), planner.plan_fft_forward(ny));
    let (taper_x, taper_y) = (hann(columns), hann(rows));
    let half = nx / 2;
    let mut power = vec![0.0f32; half * ny];
    let mut grid = vec![Complex::new(0.0f32, 0.0); nx * ny];
    let mut turned = vec![Complex::new(0.0f32, 0.0); half * ny];
    for crest in crests {
        grid.iter_mut().for_each(|g| *g = Complex::new(0.0, 0.0));
        for (r, row) in crest.chunks_exact(columns).enumerate() {
            for ((g, v), t) in grid[r * nx..].iter_mut().zip(row).zip(&taper_x) {
                g.re = v * t * taper_y[r];
            }
        }
        along.process(&mut grid);
        for x in 0..half {
            for y in 0..ny {
                turned[x * ny + y] = grid[y * nx + x];
            }
        }
        across.process(&mut turned);
        let all: f32 = turned.iter().map(|v| v.norm_sqr()).sum();
        for (p, v) in power.iter_mut().zip(&turned) {
            *p += v.norm_sqr() / all.max(1e-20);
        }
    }
    // From lines half a ply wide to the finest that a photo holds.
    let gather = Gather::new(nx, ny, rows, Ring { low: 1.5 / rows as f64, high: 0.35 });
    let seen = gather.along_directions(&power);
    (peak(&seen.directions), seen.share)
}
