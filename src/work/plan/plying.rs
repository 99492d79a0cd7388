//! From singles to a ply and back.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::wheel::{WheelRequest, settings};
use super::{PlanError, PlyTwist, Range, Step, Yarn, against, surface_angle};
use crate::base::units::{Angle, MM_PER_INCH, Mm, TurnsPerMm};
use crate::figures::report::TwistDirection;
use crate::work::arithmetic::helix;

/// Ply turns over singles turns of a balanced ply: from surface fibres along the axis (round plies, small angles, two
/// plies: 1/2) to the spinners' rule (2/3). Common practice and geometry; finished twist differs from fresh.
const BALANCED: Range = Range { low: 0.5, high: 2.0 / 3.0 };

/// What a plied yarn will be.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PliedPrediction {
    /// How many plies.
    pub plies: u32,
    /// Turns per inch of the ply twist.
    pub twists_per_inch: Range,
    /// Which way; null where the singles' direction is unknown.
    pub direction: Option<TwistDirection>,
    /// Width that the turning plies fill, mm: round touching plies at most, plies pressed into one round yarn at least.
    pub envelope_diameter_mm: Option<Range>,
    /// Mean width seen from one side, mm.
    pub diameter_mm: Option<Range>,
    /// 25.4 over the mean width.
    pub wraps_per_inch: Option<Range>,
    /// Angle of the bands as seen, degree.
    pub twist_angle_deg: Option<Range>,
    /// Part of the singles' length that plying takes up, %.
    pub take_up_percent: Option<Range>,
    /// Twist left in the singles, turns per inch, positive in their own direction.
    pub residual_twists_per_inch: Option<Range>,
}

/// Envelope of `plies` singles of a width, mm: from all their area pressed into one circle to round touching plies.
fn envelope(singles_mm: Range, plies: u32) -> Range {
    let pressed = f64::from(plies).sqrt();
    let round = helix::envelope_per_ply(plies);
    Range { low: singles_mm.low * pressed.min(round), high: singles_mm.high * pressed.max(round) }
}

/// Mean width seen, mm, of the same range: a pressed yarn is seen as wide as it is; round plies show their mean extent.
fn mean_width(singles_mm: Range, plies: u32) -> Range {
    let pressed = f64::from(plies).sqrt();
    let round = helix::envelope_per_ply(plies) * helix::mean_width_per_envelope(plies);
    Range { low: singles_mm.low * pressed.min(round), high: singles_mm.high * pressed.max(round) }
}

/// Seen angle of the bands, degree: tan = 2 pi Rc T. Rc of round touching plies at most; plies pressed together have
/// their middles nearer to the axis (their mean radius in the pressed circle, two thirds of it).
fn band_angle(singles_mm: Range, plies: u32, per_inch: Range) -> Range {
    let round = helix::ply_axis_radius(plies);
    let pressed = 2.0 / 3.0 * f64::from(plies).sqrt();
    let (least, most) = (round.min(pressed), round.max(pressed));
    let angle = |d: f64, axis: f64, t: f64| helix::surface_angle(Mm(d * axis), TurnsPerMm(t / MM_PER_INCH));
    Range::new(
        angle(singles_mm.low, least, per_inch.low).as_degrees(),
        angle(singles_mm.high, most, per_inch.high).as_degrees(),
    )
}

/// Take-up of plying, %: between the ideal migrating helix (tan^2(b/2)) and a ply that only winds (1 - cos b).
fn take_up(band_deg: Range) -> Range {
    let low = helix::retraction(Angle::degrees(band_deg.low));
    let high = 1.0 - Angle::degrees(band_deg.high).as_radians().cos();
    Range { low: 100.0 * low, high: 100.0 * high }
}

/// The step and the outcome of plying singles.
pub(super) fn ply_singles(
    singles: &Yarn,
    plies: u32,
    twist: PlyTwist,
    direction: Option<TwistDirection>,
    wheel: &WheelRequest,
) -> Result<(Step, PliedPrediction), PlanError> {
    if let Some(n) = singles.plies.filter(|n| *n > 1) {
        return Err(PlanError::NotSingles(n));
    }
    let singles = Yarn { plies: Some(1), ..*singles };
    let turns = singles.turns();
    let per_inch = match twist {
        PlyTwist::Stated(per_inch) => Range::exactly(per_inch),
        PlyTwist::Balanced => {
            let t = turns.ok_or(PlanError::NoTwist)?;
            Range { low: t.low * BALANCED.low, high: t.high * BALANCED.high }
        }
        PlyTwist::Angle(degrees) => {
            let d = singles.diameter_mm.ok_or(PlanError::NoDiameter)?;
            let axis = helix::ply_axis_radius(plies);
            d.map(|d| helix::turns_for_angle(Angle::degrees(degrees), Mm(d * axis)).per_inch())
        }
    };
    let direction = direction.or(singles.direction.map(against));
    let band = singles.diameter_mm.map(|d| band_angle(d, plies, per_inch));
    let residual = turns.zip(band).filter(|_| direction != singles.direction || direction.is_none()).map(|(t, b)| {
        let left = |single: f64, ply: f64, b: f64| {
            let per_mm = |per_inch: f64| TurnsPerMm(per_inch / MM_PER_INCH);
            helix::residual_turns(per_mm(single), per_mm(ply), Angle::degrees(b)).per_inch()
        };
        Range::new(left(t.low, per_inch.high, b.middle()), left(t.high, per_inch.low, b.middle()))
    });
    let width = singles.diameter_mm.map(|d| mean_width(d, plies));
    let step = Step {
        what: "ply".to_owned(),
        direction,
        twists_per_inch: per_inch,
        diameter_mm: width,
        twist_angle_deg: band,
        wheel: settings(per_inch, wheel),
    };
    let plied = PliedPrediction {
        plies,
        twists_per_inch: per_inch,
        direction,
        envelope_diameter_mm: singles.diameter_mm.map(|d| envelope(d, plies)),
        diameter_mm: width,
        wraps_per_inch: width.map(|w| w.map(|w| MM_PER_INCH / w)),
        twist_angle_deg: band,
        take_up_percent: band.map(take_up),
        residual_twists_per_inch: residual,
    };
    Ok((step, plied))
}

/// The steps that lead to a yarn like this one.
pub(super) fn spin_like(wished: &Yarn, wheel: &WheelRequest) -> Result<Vec<Step>, PlanError> {
    let plies = wished.plies.ok_or(PlanError::NoPlies)?;
    let turns = wished.turns().ok_or(PlanError::NoTwist)?;
    let angle = wished.diameter_mm.map(|d| surface_angle(d, turns)).or(wished.twist_angle_deg);
    let step = |what: &str, direction, per_inch, diameter_mm, twist_angle_deg| Step {
        what: what.to_owned(),
        direction,
        twists_per_inch: per_inch,
        diameter_mm,
        twist_angle_deg,
        wheel: settings(per_inch, wheel),
    };
    if plies < 2 {
        return Ok(vec![step("spin", wished.direction, turns, wished.diameter_mm, angle)]);
    }
    let singles_turns = Range { low: turns.low / BALANCED.high, high: turns.high / BALANCED.low };
    // The mean width of round plies, or of plies pressed into one: how thick each single was.
    let round = helix::envelope_per_ply(plies) * helix::mean_width_per_envelope(plies);
    let pressed = f64::from(plies).sqrt();
    let singles_mm =
        wished.diameter_mm.map(|d| Range { low: d.low / round.max(pressed), high: d.high / round.min(pressed) });
    let singles_angle = singles_mm.map(|d| surface_angle(d, singles_turns));
    let band = wished.twist_angle_deg.or_else(|| singles_mm.map(|d| band_angle(d, plies, turns)));
    Ok(vec![
        step("spin", wished.direction.map(against), singles_turns, singles_mm, singles_angle),
        step("ply", wished.direction, turns, wished.diameter_mm, band),
    ])
}
