//! How even the strands are: statistics of the averaged widths, and the places that stand out of them.

use super::gathered::{Gathered, Piece, Reading};
use super::lengths::{component, edge_relative_u, or_reason, widths_stand};
use super::readings::{mixed, plies_reason};
use crate::base::stats;
use crate::figures::quantity::{Quantity, Sourced};
use crate::figures::report::{Fault, Faults};
use crate::figures::words::{Method, Reason};
use crate::measure::evenness::{FaultFound, FaultParams, Spread, between_pieces, find_faults, width_spread};

/// Noise of one averaged width, as a fraction of the width.
///
/// A course is placed window by window, about ten to a diameter, and a width is averaged over at least a diameter: of a
/// station's own noise the root of a tenth is left.
fn averaged_noise(gathered: &Gathered) -> f64 {
    const WINDOWS_AVERAGED: f64 = 10.0;
    stats::weighted_mean(gathered.pieces.iter().filter_map(|p| {
        let (width, length) = p.mean_width_and_length_px()?;
        let one = stats::mean(&p.strand.stations.iter().map(|s| s.left.u_px.hypot(s.right.u_px)).collect::<Vec<_>>())?;
        Some((one / width / WINDOWS_AVERAGED.sqrt(), length))
    }))
    .unwrap_or(0.0)
}

fn spread_quantity(s: Spread) -> Quantity<f64> {
    let interval = [(s.cv_percent - 1.96 * s.u).max(0.0), s.cv_percent + 1.96 * s.u];
    Quantity::with_interval(s.cv_percent, interval, Method::AlongStrand, vec![component(Sourced::Edge, s.u)])
}

pub(super) fn diameter_cv(gathered: &Gathered) -> Quantity<f64> {
    or_reason(widths_stand(gathered).and_then(|()| {
        let (noise, edge) = (averaged_noise(gathered), edge_relative_u(gathered));
        let under = |reading: &Reading| {
            let of = |p: &Piece| (p.averaged(reading).to_vec(), p.ruled.measured_length());
            let pieces: Vec<_> = gathered.pieces.iter().map(of).collect();
            width_spread(&pieces, noise, edge).map(|spread| (spread.cv_percent, spread.u))
        };
        let (cv_percent, u) = mixed(gathered, &Reason::TooShort, under)?;
        Ok(spread_quantity(Spread { cv_percent, u }))
    }))
}

pub(super) fn between_strands_cv(gathered: &Gathered) -> Quantity<f64> {
    or_reason(widths_stand(gathered).and_then(|()| {
        let means: Vec<f64> = gathered.pieces.iter().filter_map(Piece::mean_width_and_length).map(|w| w.0).collect();
        between_pieces(&means).map(spread_quantity).ok_or(Reason::OnePiece)
    }))
}

pub(super) fn faults(gathered: &Gathered) -> Result<Faults, Reason> {
    gathered.in_mm()?;
    widths_stand(gathered)?;
    let Some((likeliest, others)) = gathered.readings.split_first().filter(|(first, _)| first.plies.is_some()) else {
        return Err(plies_reason(gathered));
    };
    let mut list = Vec::new();
    let mut searched_mm = 0.0;
    for piece in &gathered.pieces {
        let Some((mean, _)) = piece.mean_width_and_length() else { continue };
        let under = |reading: &Reading| find_faults(piece.averaged(reading), mean, &FaultParams::default());
        let averaged = piece.averaged(likeliest);
        if let (Some(first), Some(last)) = (averaged.first(), averaged.last()) {
            searched_mm += last.at - first.at;
        }
        // What stands out over one length of averaging only may be a ply that passes.
        let mut found = under(likeliest);
        for other in others {
            let also = under(other);
            found.retain(|f| also.iter().any(|a| same_place(f, a)));
        }
        list.extend(found.into_iter().map(|f| Fault {
            kind: f.kind,
            strand: piece.strand.number,
            start_mm: f.start,
            length_mm: f.length,
            deviation_percent: 100.0 * f.deviation,
        }));
    }
    Ok(Faults { searched_mm, list })
}

fn same_place(a: &FaultFound, b: &FaultFound) -> bool {
    a.kind == b.kind && a.first_station <= b.last_station && b.first_station <= a.last_station
}
