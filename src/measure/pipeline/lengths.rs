//! The figures that are lengths, or go by the length.

use super::gathered::{Gathered, Reading};
use super::readings::mixed;
use crate::base::geometry::{Image, Point};
use crate::base::stats;
use crate::base::units::MM_PER_INCH;
use crate::figures::quantity::{Component, Quantity, Sourced};
use crate::figures::words::{Method, Reason};
use crate::measure::scale::KnownScale;
use crate::measure::strand::Arrangement;
use crate::measure::twist::envelope_per_mean_width;

/// Narrowest core that the edges may measure, in blur radii (Gaussian sigma).
///
/// Optics: a strip `w` wide under blur sigma peaks at erf(w / (2 sqrt(2) sigma)) of its true height, so half of what is
/// seen lies outside the true edge. At 6 the width comes out 0.1 % too large, at 5 0.6 %, at 4 2.8 %.
const MIN_CORE_BLURS: f64 = 4.0;

pub(super) fn component(source: Sourced, standard_uncertainty: f64) -> Component {
    Component { source, standard_uncertainty: standard_uncertainty.abs() }
}

pub(super) fn or_reason(result: Result<Quantity<f64>, Reason>) -> Quantity<f64> {
    result.unwrap_or_else(Quantity::Unanswered)
}

/// Whether widths can be measured at all: sharp enough.
pub(super) fn widths_stand(gathered: &Gathered) -> Result<(), Reason> {
    gathered.any_piece()?;
    let blur = stats::mean(&gathered.pieces.iter().map(|p| p.strand.blur_px).collect::<Vec<_>>()).unwrap_or(0.0);
    let width = gathered.mean_width_px().filter(|width| *width >= MIN_CORE_BLURS * blur).ok_or(Reason::TooBlurred)?;
    let length: f64 = gathered.pieces.iter().filter_map(|p| Some(p.mean_width_and_length_px()?.1)).sum();
    if length < MIN_DIAMETERS * width {
        return Err(Reason::TooShort);
    }
    shades_stand(gathered)?;
    if edge_relative_u(gathered) > MOST_UNSURE { Err(Reason::EdgeUnclear) } else { Ok(()) }
}

/// Whether the file keeps shades enough for a width, and for what follows from it.
pub(super) fn shades_stand(gathered: &Gathered) -> Result<(), Reason> {
    if gathered.evidence.strands.coarse > MOST_COARSE { Err(Reason::TooFewShades) } else { Ok(()) }
}

/// Standard uncertainty of the edges, as a fraction of the width, from which on there is no width: the interval then reaches
/// from half of it to one and a half, and the eye knows as much.
const MOST_UNSURE: f64 = 0.25;

/// The same of the file's shades alone: the interval then reaches a fifth to either side, from one category of yarn weight into
/// the next, and neither another piece nor another photo of the kind mends it.
const MOST_COARSE: f64 = 0.1;

/// Diameters of length that a mean width needs: over less a crack in the table may pass for a strand, and no mean of a
/// handspun yarn stands.
const MIN_DIAMETERS: f64 = 5.0;

pub(super) fn px_per_mm(gathered: &Gathered) -> Quantity<f64> {
    or_reason(match &gathered.evidence.scale.scale {
        crate::measure::scale::Scale::Unknown(reason) => Err(reason.clone()),
        crate::measure::scale::Scale::Known(known) => {
            if gathered.in_mm().is_ok() {
                across_strands(gathered, known)
            } else {
                along_ruler(gathered, known)
            }
        }
    })
}

fn across_strands(gathered: &Gathered, known: &KnownScale) -> Result<Quantity<f64>, Reason> {
    let mean = stats::weighted_mean(
        gathered
            .pieces
            .iter()
            .flat_map(|p| p.ruled.stations.iter().filter(|s| s.left_out.is_none()).map(|s| (s.px_across, 1.0))),
    )
    .ok_or(Reason::NoStrand)?;
    let budget = vec![component(Sourced::Scale, mean * gathered.scale_relative_u())];
    Ok(Quantity::from_budget(mean, known.method, budget))
}

/// Where no strand is found: along the ruler, mean over its visible ticks; a stated scale is the same everywhere.
fn along_ruler(gathered: &Gathered, known: &KnownScale) -> Result<Quantity<f64>, Reason> {
    let ticks: Vec<Point<_>> = gathered
        .evidence
        .scale
        .rulers
        .iter()
        .filter(|r| r.chosen)
        .flat_map(|r| r.ticks.iter().filter(|t| t.place_mm.is_some()).map(|t| t.foot))
        .collect();
    let (ends, at): (Option<Point<_>>, Vec<Point<_>>) = match (ticks.first(), ticks.last()) {
        (Some(first), Some(last)) if ticks.len() > 1 => ((*last - *first).unit(), ticks),
        _ => (None, vec![Point::new(known.map.centre_px.0, known.map.centre_px.1)]),
    };
    let along = ends.unwrap_or_else(|| Point::new(1.0, 0.0));
    let flat = crate::base::units::Mm(0.0);
    let scales: Vec<f64> = at.iter().filter_map(|p| known.map.px_per_mm(*p, along, flat)).collect();
    let mean = stats::mean(&scales).ok_or(Reason::PoseUnclear)?;
    let u = stats::mean(&at.iter().map(|p| known.map.relative_u(*p)).collect::<Vec<_>>()).unwrap_or(1.0);
    Ok(Quantity::from_budget(mean, known.method, vec![component(Sourced::Scale, mean * u)]))
}

pub(super) fn length_mm(gathered: &Gathered) -> Quantity<f64> {
    or_reason(gathered.in_mm().and_then(|()| widths_stand(gathered)).map(|()| {
        let total: f64 = gathered.pieces.iter().map(|p| p.ruled.measured_length()).sum();
        let budget = vec![component(Sourced::Scale, total * gathered.scale_relative_u())];
        Quantity::from_budget(total, Method::CentreLine, budget)
    }))
}

/// Room between neighbouring wraps that looks like the crease of touching ones, diameters: ground so narrow lies in the shade of
/// both. From wound firmly to wound loosely (common practice, no source).
const UNSEEN_GAP: f64 = 0.3;

/// Standard uncertainty of a wrap's width from such room, as a fraction (rectangular); `None` for yarn that is not wound.
pub(super) fn gap_between_wraps(gathered: &Gathered) -> Option<f64> {
    gathered.evidence.strands.wraps.as_ref().map(|_| UNSEEN_GAP / 12f64.sqrt())
}

/// Standard uncertainty of the mean width from where the edges are, as a fraction of it.
pub(super) fn edge_relative_u(gathered: &Gathered) -> f64 {
    stats::weighted_mean(gathered.pieces.iter().filter_map(|p| {
        let (width, length) = p.mean_width_and_length_px()?;
        Some((p.strand.edge_systematic_u_px / width, length))
    }))
    .unwrap_or(0.0)
}

/// Components of the mean width, as fractions of it: edge, noise of the picture, yarn that could not be measured, and, where it
/// is wound, room between the wraps.
fn width_components(gathered: &Gathered) -> Vec<(Sourced, f64)> {
    let pieces = &gathered.pieces;
    let mut noise_square = 0.0;
    let mut unseen_square = 0.0;
    let total: f64 = pieces.iter().filter_map(|p| p.mean_width_and_length_px()).map(|w| w.1).sum();
    for piece in pieces {
        let Some((width, length)) = piece.mean_width_and_length_px() else { continue };
        let share = length / total;
        // Neighbouring stations see the same fibre lock: one independent place a diameter.
        let places = (length / width).max(1.0);
        let all = piece.strand.stations.len() as f64 * piece.strand.step_px;
        let one = stats::mean(
            &piece.strand.stations.iter().map(|s| s.left.u_px.hypot(s.right.u_px) / width).collect::<Vec<_>>(),
        )
        .unwrap_or(0.0);
        noise_square += (share * one).powi(2) / places;
        let likeliest = gathered.readings.first();
        let widths: Vec<f64> = likeliest.map_or(&[][..], |r| piece.averaged(r)).iter().map(|a| a.width).collect();
        if let (Some(s), Some(m)) = (stats::standard_deviation(&widths), stats::mean(&widths)) {
            // Finite population: what was measured of a piece is known, only the rest is sampled.
            unseen_square += (share * s / m).powi(2) / places * (1.0 - length / all.max(length));
        }
    }
    let mut components = vec![
        (Sourced::Edge, edge_relative_u(gathered)),
        (Sourced::Picture, noise_square.sqrt()),
        (Sourced::Sampling, unseen_square.sqrt()),
    ];
    components.extend(gap_between_wraps(gathered).map(|u| (Sourced::Model, u)));
    components
}

fn with_width_budget(gathered: &Gathered, value: f64, method: Method, scale_relative_u: f64) -> Quantity<f64> {
    let mut budget = vec![component(Sourced::Scale, value * scale_relative_u)];
    let of_width = width_components(gathered).into_iter();
    budget.extend(of_width.map(|(source, relative)| component(source, value * relative)));
    Quantity::from_budget(value, method, budget)
}

pub(super) fn diameter_mm(gathered: &Gathered) -> Quantity<f64> {
    or_reason(gathered.in_mm().and_then(|()| widths_stand(gathered)).and_then(|()| {
        let mean = gathered.mean_width().ok_or(Reason::NoStrand)?;
        Ok(with_width_budget(gathered, mean, Method::CoreEdge, gathered.scale_relative_u()))
    }))
}

pub(super) fn diameter_px(gathered: &Gathered) -> Quantity<f64> {
    or_reason(widths_stand(gathered).and_then(|()| {
        let mean = gathered.mean_width_px().ok_or(Reason::NoStrand)?;
        let of_width = width_components(gathered).into_iter();
        let budget = of_width.map(|(source, relative)| component(source, mean * relative)).collect();
        Ok(Quantity::from_budget(mean, Method::CoreEdge, budget))
    }))
}

pub(super) fn envelope_mm(gathered: &Gathered, diameter: &Quantity<f64>) -> Quantity<f64> {
    if let Some(reason) = diameter.reason() {
        return Quantity::Unanswered(reason.clone());
    }
    if gathered.plies == Some(1) {
        return diameter.clone();
    }
    let lost = &gathered.evidence.twist.turns_reason;
    or_reason(mixed(gathered, lost, |reading| envelope_under(gathered, reading)).map(|(value, between)| {
        let mut whole = with_width_budget(gathered, value, Method::Envelope, gathered.scale_relative_u());
        // The farthest of many noisy edges lies a little outside the true one, and a groove's shadow hides some of it.
        const EXTREME_RELATIVE_U: f64 = 0.01;
        if let Quantity::Measured { value, budget, .. } = &mut whole {
            budget.push(component(Sourced::Model, (*value * EXTREME_RELATIVE_U).hypot(between)));
            whole = Quantity::from_budget(*value, Method::Envelope, budget.clone());
        }
        whole
    }))
}

/// The mean envelope if a reading of the plies holds, and its own standard uncertainty: what the outline reaches beyond what
/// round plies that touch fill is looseness, or unevenness that comes and goes within a turn; a photo does not part the two, so
/// the truth lies anywhere between.
fn envelope_under(gathered: &Gathered, reading: &Reading) -> Option<(f64, f64)> {
    let seen = reading.plies == Some(1) || gathered.pieces.iter().any(|p| !p.averaged(reading).is_empty());
    let envelope = gathered.envelope_under(reading).filter(|_| seen)?;
    let touching = reading.plies.zip(gathered.mean_width()).map(|(n, width)| width * envelope_per_mean_width(n));
    Some((envelope, touching.map_or(0.0, |t| (envelope - t).max(0.0) / 3f64.sqrt())))
}

pub(super) fn wraps_per_inch(gathered: &Gathered, diameter: &Quantity<f64>) -> Quantity<f64> {
    if let Some(counted) = wraps_counted(gathered) {
        return counted;
    }
    match diameter {
        Quantity::Measured { value, interval95: Some([low, high]), budget, .. } if *low > 0.0 => {
            let slope = MM_PER_INCH / value.powi(2);
            let budget = budget.iter().map(|c| component(c.source, c.standard_uncertainty * slope)).collect::<Vec<_>>();
            Quantity::with_interval(
                MM_PER_INCH / value,
                [MM_PER_INCH / high, MM_PER_INCH / low],
                Method::FromDiameter,
                budget,
            )
        }
        Quantity::Measured { .. } => Quantity::Unanswered(Reason::EdgeUnclear),
        Quantity::Unanswered(reason) => Quantity::Unanswered(reason.clone()),
    }
}

/// Wraps lying side by side: (n - 1) over the distance from the first centre to the last, square to the wraps on their plane.
fn wraps_counted(gathered: &Gathered) -> Option<Quantity<f64>> {
    let wraps = gathered.evidence.strands.wraps.as_ref().filter(|w| w.on_ruler || gathered.any_piece().is_ok())?;
    let known = gathered.evidence.scale.scale.known()?;
    let (first, last) = (wraps.centres.first()?, wraps.centres.last()?);
    let gaps = wraps.centres.len().checked_sub(1).filter(|n| *n > 0)? as f64;
    let height = gathered.axis_height;
    let on_plane = |p: Point<Image>| known.map.card_from_image(p, height);
    let middle = *wraps.centres.get(wraps.centres.len() / 2)?;
    let along = on_plane(middle + wraps.along)? - on_plane(middle - wraps.along)?;
    let distance = (on_plane(*last)? - on_plane(*first)?).cross(along.unit()?).abs();
    let value = gaps / distance * MM_PER_INCH;
    let px = first.distance(*last);
    let budget = vec![
        component(Sourced::Scale, value * gathered.scale_relative_u()),
        component(Sourced::Edge, value * wraps.u_px / px),
    ];
    Some(Quantity::from_budget(value, Method::WrapsCounted, budget))
}

pub(super) fn hairiness(gathered: &Gathered) -> Quantity<f64> {
    or_reason(widths_stand(gathered).and_then(|()| {
        let width = gathered.mean_width_px().ok_or(Reason::NoStrand)?;
        let covers: Vec<f64> = gathered
            .pieces
            .iter()
            .flat_map(|p| p.strand.stations.iter().filter(|s| s.left_out.is_none()).filter_map(|s| s.hair_cover_px))
            .collect();
        if covers.is_empty() {
            return Err(Reason::EdgeUnclear);
        }
        let mean = stats::mean(&covers).ok_or(Reason::NoStrand)? / width;
        let spread = stats::standard_deviation(&covers).unwrap_or(0.0) / width;
        // One independent place a diameter. Hairs fainter than the picture's noise and such as run along the yarn go unseen,
        // and a shadow's grain may pass for some: taken as half.
        let places = (covers.len() as f64 / width).max(1.0);
        let budget =
            vec![component(Sourced::Sampling, spread / places.sqrt()), component(Sourced::Picture, mean / 2.0)];
        let u = budget.iter().map(|c| c.standard_uncertainty.powi(2)).sum::<f64>().sqrt();
        Ok(Quantity::with_interval(mean, [(mean - 1.96 * u).max(0.0), mean + 1.96 * u], Method::HaloCover, budget))
    }))
}

pub(super) fn kinks(gathered: &Gathered) -> Quantity<f64> {
    or_reason(gathered.in_mm().and_then(|()| {
        // Among strands that touch and cross a loop is not told from a crossing.
        if gathered.evidence.strands.arrangement != Arrangement::Separate {
            return Err(Reason::NoCleanStretch);
        }
        let told: Option<usize> = gathered.pieces.iter().map(|p| p.strand.kinks.as_ref().map(Vec::len)).sum();
        let count = told.ok_or(Reason::TooFewPixels)? as f64;
        let metres = gathered
            .pieces
            .iter()
            .filter_map(|p| Some(p.ruled.stations.last()?.at - p.ruled.stations.first()?.at))
            .sum::<f64>()
            / 1000.0;
        if metres <= 0.0 {
            return Err(Reason::TooShort);
        }
        // Garwood's exact Poisson limits, approximated by a square-root transform (Freeman & Tukey 1950, from memory).
        let (low, high) = ((count.sqrt() - 0.98).max(0.0).powi(2).min(count), ((count + 1.0).sqrt() + 0.98).powi(2));
        let budget = vec![component(Sourced::Sampling, count.max(1.0).sqrt() / metres)];
        Ok(Quantity::with_interval(count / metres, [low / metres, high / metres], Method::AlongStrand, budget))
    }))
}
