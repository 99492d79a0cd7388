//! The figures of twist.

use super::gathered::Gathered;
use super::lengths::{component, gap_between_wraps, shades_stand};
use crate::base::stats;
use crate::base::units::MM_PER_INCH;
use crate::figures::quantity::{Quantity, Sourced};
use crate::figures::report::TwistDirection;
use crate::figures::words::{Method, Reason};
use crate::measure::evenness::twist_windows;

pub(super) fn plies(gathered: &Gathered) -> Quantity<u32> {
    if let Err(reason) = gathered.any_piece() {
        return Quantity::Unanswered(reason);
    }
    let twist = &gathered.evidence.twist;
    match &twist.plies {
        Ok((n, _)) if twist.plies_stated => Quantity::likely(*n, 1.0, Method::Stated),
        Ok((n, probability)) => Quantity::likely(*n, *probability, Method::Combined),
        Err(reason) => Quantity::Unanswered(reason.clone()),
    }
}

pub(super) fn direction(gathered: &Gathered) -> Quantity<TwistDirection> {
    if let Err(reason) = gathered.any_piece() {
        return Quantity::Unanswered(reason);
    }
    match &gathered.evidence.twist.direction {
        Ok((direction, probability)) => Quantity::likely(*direction, *probability, Method::LineAngle),
        Err(reason) => Quantity::Unanswered(reason.clone()),
    }
}

/// Length-weighted mean of the local angles, degree, with its standard uncertainty; foreshortening allowed for.
fn mean_angle(gathered: &Gathered) -> Option<(f64, f64)> {
    let mut weighted = Vec::new();
    for piece in &gathered.pieces {
        let Some(twist) = piece.twist else { continue };
        let Some(estimate) = twist.mean_angle_rad else { continue };
        let factors: Vec<f64> =
            piece.ruled.stations.iter().filter(|s| s.left_out.is_none()).map(|s| s.tan_factor).collect();
        let factor = stats::mean(&factors)?;
        let angle = (estimate.value.tan() * factor).atan();
        weighted.push((angle.to_degrees(), estimate.u.to_degrees(), factors.len() as f64 * piece.strand.step_px));
    }
    let mean = stats::weighted_mean(weighted.iter().map(|(a, _, w)| (*a, *w)))?;
    // What one piece's angle is off by, its neighbours' are too (light, blur): no division by the number of pieces.
    let u = stats::weighted_mean(weighted.iter().map(|(_, u, w)| (*u, *w)))?;
    Some((mean, u))
}

pub(super) fn angle_deg(gathered: &Gathered) -> Quantity<f64> {
    if let Err(reason) = gathered.any_piece() {
        return Quantity::Unanswered(reason);
    }
    match mean_angle(gathered) {
        Some((mean, u)) => {
            let interval = [(mean - 1.96 * u).max(0.0), (mean + 1.96 * u).min(90.0)];
            Quantity::with_interval(mean, interval, Method::LineAngle, vec![component(Sourced::Model, u)])
        }
        None => Quantity::Unanswered(gathered.evidence.twist.angle_reason.clone()),
    }
}

/// Each ply's band angle, mean over the pieces, foreshortening allowed for; `None` for equal plies.
pub(super) fn ply_angles_deg(gathered: &Gathered) -> Option<Vec<f64>> {
    let piece = gathered.pieces.iter().find(|p| p.twist.is_some_and(|t| t.ply_angles_rad.is_some()))?;
    let factor = stats::mean(&piece.ruled.stations.iter().map(|s| s.tan_factor).collect::<Vec<_>>())?;
    let angles = piece.twist?.ply_angles_rad.as_ref()?;
    Some(angles.iter().map(|a| (a.tan() * factor).atan().to_degrees()).collect())
}

/// Mean turns per unit of length over all pieces, in the pieces' unit.
fn mean_turns(gathered: &Gathered) -> Option<f64> {
    let plied = gathered.plies? > 1;
    let mut pairs = Vec::new();
    for piece in &gathered.pieces {
        if plied {
            pairs.extend(counted_turns(piece).map(|(turns, length)| (turns / length, length)));
        } else {
            pairs.extend(
                piece
                    .ruled
                    .stations
                    .iter()
                    .zip(&piece.turns)
                    .filter(|(s, _)| s.left_out.is_none())
                    .filter_map(|(_, t)| Some(((*t)?, 1.0))),
            );
        }
    }
    stats::weighted_mean(pairs)
}

/// Turns counted over all stretches that could be followed, and the length of those stretches.
fn counted_turns(piece: &super::gathered::Piece) -> Option<(f64, f64)> {
    let twist = piece.twist?;
    let mut turns = 0.0;
    let mut length = 0.0;
    for (pair, counts) in piece.ruled.stations.windows(2).zip(twist.turns.windows(2)) {
        if let (Some(a), Some(b)) = (counts[0], counts[1])
            && pair.iter().all(|s| s.left_out.is_none())
        {
            turns += b - a;
            length += pair[1].at - pair[0].at;
        }
    }
    (length > 0.0 && turns > 0.0).then_some((turns, length))
}

/// Length over which twist hardly changes, diameters: it runs along until friction holds it, over several turns. Common
/// practice, no source.
const TWIST_HELD_DIAMETERS: f64 = 10.0;

/// What the yarn that was not measured may do to the mean, as a fraction: twist is known where it was followed, and only
/// the rest is sampled (finite population).
fn turns_unseen(gathered: &Gathered) -> f64 {
    let total: f64 = gathered.pieces.iter().map(|p| p.ruled.measured_length()).sum();
    let square: f64 = gathered
        .pieces
        .iter()
        .filter_map(|piece| {
            let seen: Vec<f64> = piece.turns.iter().flatten().copied().collect();
            let spread = stats::standard_deviation(&seen)? / stats::mean(&seen).filter(|m| *m > 0.0)?;
            let (width, _) = piece.mean_width_and_length()?;
            let length = piece.ruled.measured_length();
            let part = seen.len() as f64 / piece.ruled.stations.len().max(1) as f64;
            let places = (length / (TWIST_HELD_DIAMETERS * width)).max(1.0);
            Some((length / total * spread).powi(2) / places * (1.0 - part).max(0.0))
        })
        .sum();
    square.sqrt()
}

/// Components of the turns per length, as fractions: counting or angle, yarn that was not followed, and width for singles.
fn turns_components(gathered: &Gathered) -> Vec<(Sourced, f64)> {
    let unseen = turns_unseen(gathered);
    let relative =
        stats::mean(&gathered.pieces.iter().filter_map(|p| p.twist.map(|t| t.turns_relative_u)).collect::<Vec<_>>())
            .unwrap_or(0.0);
    if gathered.plies.is_some_and(|n| n > 1) {
        return vec![(Sourced::Model, relative), (Sourced::Sampling, unseen)];
    }
    // T = tan(angle) / (pi d): an angle off by u costs u / (sin cos), a width off by a fraction the same fraction.
    let angle = mean_angle(gathered).map_or(0.0, |(mean, u)| {
        let a = mean.to_radians().max(0.01);
        u.to_radians() / (a.sin() * a.cos())
    });
    let edge = stats::mean(
        &gathered
            .pieces
            .iter()
            .filter_map(|p| Some(p.strand.edge_systematic_u_px / p.mean_width_and_length_px()?.0))
            .collect::<Vec<_>>(),
    )
    .unwrap_or(0.0);
    let width = edge.hypot(gap_between_wraps(gathered).unwrap_or(0.0));
    vec![(Sourced::Model, angle.hypot(relative)), (Sourced::Edge, width), (Sourced::Sampling, unseen)]
}

fn turns_reason(gathered: &Gathered) -> Reason {
    match &gathered.evidence.twist.plies {
        Err(reason) => reason.clone(),
        Ok(_) => gathered.evidence.twist.turns_reason.clone(),
    }
}

pub(super) fn twists_per_mm(gathered: &Gathered) -> Quantity<f64> {
    if let Err(reason) = gathered.in_mm() {
        return Quantity::Unanswered(reason);
    }
    let Some(mean) = mean_turns(gathered) else { return Quantity::Unanswered(turns_reason(gathered)) };
    // Those of singles follow from the width.
    if let Err(reason) = shades_stand(gathered)
        && gathered.plies == Some(1)
    {
        return Quantity::Unanswered(reason);
    }
    let method = if gathered.plies == Some(1) { Method::AngleAndWidth } else { Method::Counting };
    let mut budget = vec![component(Sourced::Scale, mean * gathered.scale_relative_u())];
    budget.extend(turns_components(gathered).into_iter().map(|(source, relative)| component(source, mean * relative)));
    let u = budget.iter().map(|c| c.standard_uncertainty.powi(2)).sum::<f64>().sqrt();
    Quantity::with_interval(mean, [(mean - 1.96 * u).max(0.0), mean + 1.96 * u], method, budget)
}

pub(super) fn bumps_per_inch(gathered: &Gathered, twists_per_mm: &Quantity<f64>) -> Quantity<f64> {
    match gathered.plies {
        Some(1) => Quantity::Unanswered(gathered.any_piece().err().unwrap_or(Reason::Singles)),
        Some(n) => twists_per_mm.scaled(f64::from(n) * MM_PER_INCH),
        None => Quantity::Unanswered(gathered.in_mm().err().unwrap_or_else(|| turns_reason(gathered))),
    }
}

pub(super) fn bumps_per_diameter(gathered: &Gathered) -> Quantity<f64> {
    if let Err(reason) = gathered.any_piece() {
        return Quantity::Unanswered(reason);
    }
    let n = match gathered.plies {
        Some(1) => return Quantity::Unanswered(Reason::Singles),
        Some(n) => f64::from(n),
        None => return Quantity::Unanswered(turns_reason(gathered)),
    };
    let (Some(turns), Some(width)) = (mean_turns(gathered), gathered.mean_width()) else {
        return Quantity::Unanswered(turns_reason(gathered));
    };
    let value = n * turns * width;
    let edge = stats::mean(
        &gathered
            .pieces
            .iter()
            .filter_map(|p| Some(p.strand.edge_systematic_u_px / p.mean_width_and_length_px()?.0))
            .collect::<Vec<_>>(),
    )
    .unwrap_or(0.0);
    let mut budget = vec![component(Sourced::Edge, value * edge)];
    budget.extend(turns_components(gathered).into_iter().map(|(source, relative)| component(source, value * relative)));
    Quantity::from_budget(value, Method::Counting, budget)
}

pub(super) fn fibre_angle_deg(gathered: &Gathered) -> Quantity<f64> {
    if let Err(reason) = gathered.any_piece() {
        return Quantity::Unanswered(reason);
    }
    match gathered.plies {
        Some(1) => return Quantity::Unanswered(Reason::Singles),
        None => return Quantity::Unanswered(turns_reason(gathered)),
        Some(_) => {}
    }
    let found: Vec<_> =
        gathered.pieces.iter().filter_map(|p| p.twist?.fibre_angle_rad.as_ref().ok().copied()).collect();
    let values: Vec<f64> = found.iter().map(|e| e.value.to_degrees()).collect();
    let us: Vec<f64> = found.iter().map(|e| e.u.to_degrees()).collect();
    match (stats::mean(&values), stats::mean(&us)) {
        (Some(mean), Some(u)) => Quantity::from_budget(mean, Method::LineAngle, vec![component(Sourced::Model, u)]),
        _ => Quantity::Unanswered(
            gathered
                .pieces
                .iter()
                .find_map(|p| p.twist?.fibre_angle_rad.as_ref().err().cloned())
                .unwrap_or(Reason::FibresNotVisible),
        ),
    }
}

pub(super) fn twist_cv(gathered: &Gathered) -> Quantity<f64> {
    if let Err(reason) = gathered.any_piece() {
        return Quantity::Unanswered(reason);
    }
    let (Some(n), Some(width)) = (gathered.plies, gathered.mean_width()) else {
        return Quantity::Unanswered(turns_reason(gathered));
    };
    let windows: Vec<f64> = gathered.pieces.iter().flat_map(|p| twist_windows(&p.ruled, &p.turns, n, width)).collect();
    let (Some(s), Some(mean)) = (stats::standard_deviation(&windows), stats::mean(&windows)) else {
        return Quantity::Unanswered(if mean_turns(gathered).is_none() {
            turns_reason(gathered)
        } else {
            Reason::TooShort
        });
    };
    // Four windows are the fewest whose spread says anything: its own relative uncertainty is then 41 %.
    if windows.len() < 4 || mean <= 0.0 {
        return Quantity::Unanswered(Reason::TooShort);
    }
    let cv = 100.0 * s / mean;
    // Uncertainty of a standard deviation from n values. Source: JCGM 100:2008, E.4.3.
    let u = cv / (2.0 * (windows.len() as f64 - 1.0)).sqrt();
    let interval = [(cv - 1.96 * u).max(0.0), cv + 1.96 * u];
    Quantity::with_interval(cv, interval, Method::AlongStrand, vec![component(Sourced::Sampling, u)])
}
