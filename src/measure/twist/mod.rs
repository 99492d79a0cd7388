//! Fourth stage: direction, angle, turns along the strand and plies, read from the straightened strand by several routes
//! that must agree. Everything here is in the strip's own columns; millimetres come in later.

mod bands;
mod direction;
mod face;
mod falling;
mod fibres;
mod fold;
mod geometry;
mod orient;
mod outcome;
mod piece;
mod plied;
mod plies;
mod rim;
mod smooth;
mod track;

use rayon::prelude::*;

use super::strand::{Strand, Strands};
use crate::base::geometry::{Point, Strip as StripSpace};
use crate::base::stats;
use crate::figures::report::TwistDirection;
use crate::figures::words::Reason;
use piece::PieceLook;

pub use geometry::{
    axis_radius_of_envelope, envelope_per_mean_width, surface_angle_from_turns, turns_from_surface_angle,
};

/// What the person says about the twist.
#[derive(Debug, Clone, Copy, Default)]
pub struct TwistRequest {
    /// How many plies the yarn has (1 = singles), instead of evidence.
    pub plies: Option<u32>,
}

/// A number and its standard uncertainty, in the unit that its name says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The number.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
}

/// The twist of one piece.
#[derive(Debug, Clone)]
pub struct StrandTwist {
    /// The piece's number.
    pub strand: u32,
    /// Local angle between the visible lines and the axis at the middle of the face, per station, radians, always
    /// positive; `None` where it cannot be told. Plied: the band's; singles: the fibres'.
    pub angle_rad: Vec<Option<f64>>,
    /// Plied yarn: turns of the final twist since the first station, per station, growing along the strand; `None`
    /// where they could not be followed (then the count starts again from any value). Singles: empty.
    pub turns: Vec<Option<f64>>,
    /// Length-weighted mean of the local angles and the uncertainty of that mean, radians.
    pub mean_angle_rad: Option<Estimate>,
    /// Relative standard uncertainty of the turns per length that does not come from length.
    pub turns_relative_u: f64,
    /// Ply crests met on the edges, for the overlay.
    pub bumps: Vec<Point<StripSpace>>,
    /// Plied: signed angle of the surface fibres to the axis, positive in the sense of the final twist, radians.
    pub fibre_angle_rad: Result<Estimate, Reason>,
    /// Unequal plies: the band angle of each, radians.
    pub ply_angles_rad: Option<Vec<f64>>,
}

/// A number of plies that the evidence leaves open, and the twist that the pieces have if it is the true one.
#[derive(Debug, Clone)]
pub struct Reading {
    /// The number, 1 for singles.
    pub plies: u32,
    /// Its probability among the readings, 0 to 1.
    pub share: f64,
    /// Each measured piece, if it holds.
    pub pieces: Vec<StrandTwist>,
}

/// The twist stage's result, all measured pieces together, with its evidence.
#[derive(Debug, Clone)]
pub struct Twist {
    /// Direction and the probability that it is right.
    pub direction: Result<(TwistDirection, f64), Reason>,
    /// Plies and the probability that the number is right.
    pub plies: Result<(u32, f64), Reason>,
    /// Whether the person stated the plies.
    pub plies_stated: bool,
    /// What the photo says by itself of each number from 1 on, probabilities; `None` where no twist is seen.
    pub plies_seen: Option<[f64; 4]>,
    /// Whether leaning lines or plies were seen in any piece.
    pub seen: bool,
    /// Why there is no angle, where no piece has one.
    pub angle_reason: Reason,
    /// Why there are no turns per length, where no piece has them.
    pub turns_reason: Reason,
    /// Each measured piece.
    pub pieces: Vec<StrandTwist>,
    /// Where twist is seen and the plies are not known: what may be, likeliest first; else empty.
    pub readings: Vec<Reading>,
}

impl Twist {
    /// What the photo shows where it speaks against the number of plies that was stated: the likeliest number, and the
    /// probability that the stated one is wrong; `None` where it does not, or nothing was stated.
    #[must_use]
    pub fn against_statement(&self) -> Option<(u32, f64)> {
        let stated = self.plies.as_ref().ok().map(|(n, _)| *n).filter(|_| self.plies_stated)?;
        let seen = self.plies_seen?;
        let (likeliest, _) = (1..).zip(seen).max_by(|a, b| a.1.total_cmp(&b.1))?;
        // More plies than are told apart may pass for any number of them, not for singles.
        let of_stated = (stated as usize).checked_sub(1).and_then(|i| seen.get(i));
        let against = of_stated.map_or(seen[0], |of_stated| 1.0 - of_stated);
        (against > SPEAKS_AGAINST).then_some((likeliest, against))
    }
}

/// Probability that a stated number of plies is wrong from which on it is said: odds of four to one, against which a person who
/// counted is still to be believed. At even odds every fifth right statement would be doubted, at twenty to one few wrong ones.
const SPEAKS_AGAINST: f64 = 0.8;

/// Fewest pixels across in which lines or plies can be told.
const FEWEST_PIXELS: f64 = 8.0;
/// Probability from which a direction is given.
const SURE_ENOUGH: f64 = 0.8;
/// Probability from which a number of plies is given: of those given, three in a hundred are wrong on scenes of our own.
const PLIES_SURE_ENOUGH: f64 = 0.75;
/// Probability from which a number of plies has to be reckoned with where none is sure: less moves no interval's ends.
const PLIES_MAY_BE: f64 = 0.05;

/// Plies from which on the turning bundle is not modelled.
const MOST_PLIES: u32 = 5;

/// Reads the twist from the straightened strands.
#[must_use]
pub fn read_twist(found: &Strands, request: &TwistRequest) -> Twist {
    let chosen: Vec<&Strand> = found.pieces.iter().filter(|s| s.chosen).collect();
    let looks: Vec<(&Strand, PieceLook)> = chosen.par_iter().filter_map(|s| Some((*s, PieceLook::at(s)?))).collect();
    if looks.is_empty() {
        return nothing(if chosen.is_empty() { Reason::NoStrand } else { Reason::TwistNotVisible }, request);
    }
    let width = stats::mean(&looks.iter().map(|(s, l)| l.outline.mean_width * s.step_px).collect::<Vec<_>>());
    if width.unwrap_or(0.0) < FEWEST_PIXELS {
        return nothing(Reason::TooFewPixels, request);
    }
    // The evidence of pieces in which nothing can be read would only speak against those in which it can.
    let (strands, looks): (Vec<&Strand>, Vec<PieceLook>) = looks.into_iter().unzip();
    let common = piece::common_direction(&looks);
    let length = |looks: &[PieceLook]| -> f64 { looks.iter().map(|l| l.outline.usable.len() as f64).sum() };
    let all = length(&looks);
    let (strands, looks): (Vec<&Strand>, Vec<PieceLook>) =
        strands.into_iter().zip(looks).filter(|(s, l)| l.readable(common) || s.sure_yarn()).unzip();
    // Pieces of one yarn look alike: where most show no twist, what one of them shows is chance.
    if looks.is_empty() || length(&looks) < 0.5 * all {
        return nothing(Reason::TwistNotVisible, request);
    }
    let weighed = plies::with_eye(plies::weigh(&looks), &strands).through_few_shades(found.coarse);
    let (likeliest, probability) = weighed.best();
    let used = request.plies.unwrap_or(likeliest);
    // Plies and their fibres may run opposite ways: what is unsure of the one is unsure of the other.
    let singles = request.plies.map_or(weighed.probability[0], |plies| if plies == 1 { 1.0 } else { 0.0 });
    let seen_z = direction::seen_odds(&strands);
    let z = [(1, singles), (2, 1.0 - singles)]
        .into_iter()
        .map(|(plies, share)| {
            let odds = seen_z + looks.iter().map(|l| direction::log_odds(l, plies)).sum::<f64>();
            share / (1.0 + (-odds).exp())
        })
        .sum::<f64>();
    let sense = if z >= 0.5 { 1.0 } else { -1.0 };
    let sure = z.max(1.0 - z);
    // Everything that turns has a sense: a pattern without one (beads, a chain, a plait) is no twist.
    if sure < SURE_ENOUGH && request.plies.is_none() {
        return Twist { seen: true, ..nothing(Reason::TwistNotVisible, request) };
    }
    let letter = if sense > 0.0 { TwistDirection::Z } else { TwistDirection::S };
    let known = request.plies.is_some() || probability >= PLIES_SURE_ENOUGH;
    let figures = |plies: u32| -> Vec<StrandTwist> {
        let each = strands.iter().zip(&looks);
        each.filter_map(|(s, l)| match plies {
            1 => Some(outcome::singles(s, l, sense)),
            _ => outcome::plied(s, l, plies),
        })
        .collect()
    };
    let mut readings: Vec<Reading> = Vec::new();
    if !known {
        let open = weighed.from(PLIES_MAY_BE);
        let all: f64 = open.iter().map(|(_, probability)| probability).sum();
        readings.extend(open.into_iter().map(|(plies, p)| Reading { plies, share: p / all, pieces: figures(plies) }));
    }
    let mut pieces = readings.first().map_or_else(|| figures(used), |likeliest| likeliest.pieces.clone());
    if let Some(second) = readings.get(1) {
        for piece in &mut pieces {
            outcome::either(piece, second.pieces.iter().find(|o| o.strand == piece.strand));
        }
    }
    let lost = match used {
        _ if !known => Reason::PliesUnclear,
        MOST_PLIES.. => Reason::TooManyPlies,
        _ => Reason::TwistNotVisible,
    };
    Twist {
        direction: if sure >= SURE_ENOUGH { Ok((letter, sure)) } else { Err(Reason::TwistNotVisible) },
        plies: if known { Ok((used, probability)) } else { Err(Reason::PliesUnclear) },
        plies_stated: request.plies.is_some(),
        plies_seen: Some(weighed.probability),
        seen: true,
        angle_reason: lost.clone(),
        turns_reason: lost,
        pieces,
        readings,
    }
}

fn nothing(reason: Reason, request: &TwistRequest) -> Twist {
    Twist {
        direction: Err(reason.clone()),
        plies: match request.plies {
            Some(n) => Ok((n, 1.0)),
            None => Err(reason.clone()),
        },
        plies_stated: request.plies.is_some(),
        plies_seen: None,
        seen: false,
        angle_reason: reason.clone(),
        turns_reason: reason,
        pieces: Vec::new(),
        readings: Vec::new(),
    }
}
