//! The figures of one piece, once the number of plies is known.

use std::f64::consts::{PI, TAU};

use super::super::strand::Strand;
use super::fibres::{fibre_angle, phase_at};
use super::piece::{CLOSENESS, Coarse, fit};
use super::piece::{Candidate, PieceLook};
use super::plies::candidate;
use super::{Estimate, StrandTwist};
use crate::base::geometry::{Point, Strip as StripSpace};
use crate::base::stats;
use crate::figures::words::Reason;

/// How far below the outline the axes of the visible lines wind, rows: half a line. Fibres of 20 to 60 um at 10 to 40 px/mm
/// are 0.2 to 2.4 px thick, 0.8 in the middle, but nothing below about 1.5 px is seen: there the lines are chance bundles of
/// fibres, half of which is 0.75. One value for all yarns, so more than half its size is in the uncertainty.
pub(super) const LINE_DEPTH: f64 = 0.6;
/// Standard uncertainty of that, rows: from lines painted on the outline to the thickest that wool has.
const LINE_DEPTH_U: f64 = 0.35;

/// Singles: the fibres' angle.
pub(super) fn singles(strand: &Strand, look: &PieceLook, sense: f64) -> StrandTwist {
    let n = look.outline.usable.len();
    let middle = stats::median(&look.fine.iter().map(|w| sense * look.fibres_of(w)).collect::<Vec<_>>());
    let mut knots: Vec<(f64, f64)> = Vec::new();
    if let Some(middle) = middle {
        for window in &look.fine {
            let angle = sense * look.fibres_of(window);
            // A window off by more than 20 degrees follows something else: a hair, a shadow.
            if (angle - middle).abs() < 0.35 {
                let tangent = angle.tan() * window.radius / (window.radius - LINE_DEPTH).max(0.5 * window.radius);
                knots.push((window.column * look.fine_stations_per_column, tangent.atan()));
            }
        }
    }
    let half = look.outline.mean_width * 4.0;
    let angle_rad: Vec<Option<f64>> = (0..n)
        .map(|i| {
            let x = i as f64;
            if !look.outline.usable[i] {
                return None;
            }
            let after = knots.partition_point(|k| k.0 <= x);
            match (after.checked_sub(1).and_then(|k| knots.get(k)), knots.get(after)) {
                (Some(a), Some(b)) if b.0 - a.0 < 3.0 * half => Some(a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0)),
                (Some(a), _) if x - a.0 < half => Some(a.1),
                (_, Some(b)) if b.0 - x < half => Some(b.1),
                _ => None,
            }
            .map(|a: f64| a.max(0.0))
        })
        .collect();
    let seen: Vec<f64> = angle_rad.iter().flatten().copied().collect();
    let spread = stats::robust_deviation(&knots.iter().map(|k| k.1).collect::<Vec<_>>()).unwrap_or(0.0);
    let mean_angle_rad = stats::mean(&seen).map(|value| {
        let noise = spread / (knots.len().max(1) as f64).sqrt();
        let depth = value.sin() * value.cos() * LINE_DEPTH_U / (look.outline.mean_width / 2.0);
        Estimate { value, u: noise.hypot(depth).hypot(0.008) }
    });
    StrandTwist {
        strand: strand.number,
        angle_rad,
        turns: Vec::new(),
        mean_angle_rad,
        turns_relative_u: 0.01,
        bumps: Vec::new(),
        fibre_angle_rad: Err(Reason::Singles),
        ply_angles_rad: None,
    }
}

/// Where the plies are not known: the angle as one reading has it, its uncertainty widened to the other reading's; without
/// an angle where the two lie more than ten degrees apart.
pub(super) fn either(one: &mut StrandTwist, other: Option<&StrandTwist>) {
    let difference = match (one.mean_angle_rad, other.and_then(|o| o.mean_angle_rad)) {
        (Some(a), Some(b)) => (a.value - b.value).abs(),
        _ => f64::INFINITY,
    };
    if difference < 10f64.to_radians() {
        one.mean_angle_rad = one.mean_angle_rad.map(|e| Estimate { value: e.value, u: e.u.hypot(difference) });
    } else {
        one.mean_angle_rad = None;
        one.angle_rad.iter_mut().for_each(|a| *a = None);
    }
}

/// Plied yarn: turns by counting, the band's angle from them.
pub(super) fn plied(strand: &Strand, look: &PieceLook, plies: u32) -> Option<StrandTwist> {
    let (candidate, fit) = candidate(look, plies)?;
    let coarse = look.coarse.as_ref()?;
    let n = look.outline.usable.len();
    let per = coarse.stations_per_column;
    let columns = coarse.track.rate.len();
    let period = TAU * f64::from(candidate.harmonic);
    let turns_per_width = coarse.rate * look.outline.mean_width / f64::from(candidate.harmonic);
    let closeness = closeness(coarse, &candidate, turns_per_width);
    let bundle = candidate.bundle(turns_per_width, closeness);
    let outer = bundle.envelope_per_half_width();
    let mut turns = Vec::with_capacity(n);
    let mut angle_rad = Vec::with_capacity(n);
    let mut ply_sums = vec![0.0; bundle.axis_radii.len()];
    let mut count = 0.0;
    for i in 0..n {
        let c = ((i as f64 / per) as usize).min(columns.saturating_sub(1));
        let phase = phase_at(&coarse.track, per, i as f64);
        if !look.outline.usable[i] {
            turns.push(None);
            angle_rad.push(None);
            continue;
        }
        turns.push(Some(phase / period));
        let local = coarse.track.rate[c] / per / f64::from(candidate.harmonic);
        let envelope = coarse.half_width[i] * outer;
        let angles: Vec<f64> = bundle.axis_radii.iter().map(|rc| (TAU * rc * envelope * local).atan()).collect();
        for (s, a) in ply_sums.iter_mut().zip(&angles) {
            *s += a;
        }
        count += 1.0;
        angle_rad.push(stats::mean(&angles));
    }
    let seen: Vec<f64> = angle_rad.iter().flatten().copied().collect();
    let repeats = coarse.track.repeats();
    let counted = f64::from(plies) * coarse.rate / (f64::from(candidate.harmonic) * strand.step_px);
    let mean_angle_rad = stats::mean(&seen).map(|value| Estimate {
        value,
        // Closeness of the plies is known to about 5 %, the width to what the edges allow, and the tangent goes with both.
        u: (value.sin()
            * value.cos()
            * 0.05f64.hypot(strand.edge_systematic_u_px / (look.outline.mean_width * strand.step_px)))
        .hypot(0.008),
    });
    Some(StrandTwist {
        strand: strand.number,
        angle_rad,
        turns,
        mean_angle_rad,
        // A tenth of a repeat at either end.
        turns_relative_u: (0.14 / repeats.max(1.0))
            .hypot(0.002)
            .hypot(coarse.count_u)
            .hypot(contradicted(strand, counted)),
        bumps: bumps(look, candidate, n),
        fibre_angle_rad: fibre_angle(strand, look, candidate, &bundle, fit.shift),
        ply_angles_rad: (!bundle.equal()).then(|| ply_sums.iter().map(|s| s / f64::max(count, 1.0)).collect()),
    })
}

/// By how much the eye's count of passing plies may differ from another that is right: its phase lags a little where twist changes.
const SAME_COUNT: f64 = 0.04;

/// Relative standard uncertainty of a count of plies that pass per px, where the eye counts otherwise: the truth may lie anywhere
/// between the two (rectangular).
fn contradicted(strand: &Strand, counted: f64) -> f64 {
    let seen = strand.eye.and_then(|says| says.passes_per_px);
    let apart = seen.map_or(0.0, |seen| (seen / counted - 1.0).abs());
    if apart > SAME_COUNT { apart / 3f64.sqrt() } else { 0.0 }
}

/// How closely the plies' axes lie, from the folded picture: the best of a few, held to the usual by a spread of 0.06.
fn closeness(coarse: &Coarse, candidate: &Candidate, turns_per_width: f64) -> f64 {
    let tried = [0.81, 0.87, 0.93, 0.99, 1.05];
    let score = |c: f64| {
        let f = fit(candidate, &coarse.folds, turns_per_width, c, coarse.track.sense);
        -12.0 * (1.0 - f.explained.clamp(0.0, 0.999)).ln() - 0.5 * ((c - CLOSENESS) / 0.06).powi(2)
    };
    let scores: Vec<f64> = tried.iter().map(|c| score(*c)).collect();
    let top = scores.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights = scores.iter().map(|s| (s - top).exp());
    stats::weighted_mean(tried.into_iter().zip(weights)).unwrap_or(CLOSENESS)
}

/// Where plies stand out on the two edges.
fn bumps(look: &PieceLook, candidate: Candidate, stations: usize) -> Vec<Point<StripSpace>> {
    let Some(coarse) = look.coarse.as_ref() else { return Vec::new() };
    let Some(fit) = super::plies::candidate(look, candidate.plies) else { return Vec::new() };
    let mut out = Vec::new();
    let per_turn = f64::from(candidate.plies);
    let start = TAU * fit.1.shift as f64 / super::fold::TURN as f64;
    let columns = coarse.track.phase.len();
    let mut last = [f64::NEG_INFINITY; 2];
    for i in 0..stations {
        let c = (i as f64 / coarse.stations_per_column) as usize;
        if c >= columns || !look.outline.usable[i] {
            continue;
        }
        let theta = coarse.track.phase[c] / f64::from(candidate.harmonic) - start;
        for (side, edge) in [(0usize, -1.0), (1, 1.0)] {
            // Ply k stands at the edge when theta + 2 pi k / n is a quarter turn to that side.
            let count = ((theta - edge * coarse.track.sense * PI / 2.0) / TAU * per_turn).floor();
            if last[side].is_finite() && count > last[side] {
                let y = coarse.centre[i] + edge * look.local_half_width[i];
                out.push(Point::new(i as f64, y));
            }
            last[side] = count;
        }
    }
    out
}
