//! What to do at the wheel: from measured singles to a ply, or from a wished yarn back to its singles, with settings.
//!
//! Everything predicted is a range. Weight is never guessed from wraps: it needs a length and a weight.

mod cautions;
mod plying;
mod text;
mod weight;
mod wheel;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::base::units::{Angle, MM_PER_INCH, Mm, TurnsPerMm};
use crate::figures::Warning;
use crate::figures::report::{Sample, TwistDirection};
use crate::work::arithmetic::helix;
use crate::work::arithmetic::thickness::Fibre;

pub use plying::PliedPrediction;
pub use text::text;
pub use weight::{WeighedSkein, YarnNumber};
pub use wheel::{WheelRequest, WheelSetting};

/// The schema word of a plan.
pub const PLAN_SCHEMA: &str = "strandrule-plan-1";

/// A number with the range in which it is expected.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Range {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Range {
    /// From two ends in any order.
    #[must_use]
    pub fn new(a: f64, b: f64) -> Self {
        Self { low: a.min(b), high: a.max(b) }
    }

    /// Both ends alike.
    #[must_use]
    pub fn exactly(value: f64) -> Self {
        Self { low: value, high: value }
    }

    /// The middle.
    #[must_use]
    pub fn middle(self) -> f64 {
        f64::midpoint(self.low, self.high)
    }

    /// Both ends through a function that rises or falls throughout.
    #[must_use]
    pub fn map(self, f: impl Fn(f64) -> f64) -> Self {
        Self::new(f(self.low), f(self.high))
    }
}

/// A yarn to start from or to reach, as far as it is known.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Yarn {
    /// Number of plies, 1 for singles.
    pub plies: Option<u32>,
    /// Mean width of its body, mm.
    pub diameter_mm: Option<Range>,
    /// Turns of its final twist per inch.
    pub twists_per_inch: Option<Range>,
    /// Seen angle of its final twist, degree.
    pub twist_angle_deg: Option<Range>,
    /// Direction of its final twist.
    pub direction: Option<TwistDirection>,
    /// Kinks per metre.
    pub kinks: Option<f64>,
}

impl Yarn {
    /// What a report says of it, with its intervals.
    #[must_use]
    pub fn from_sample(sample: &Sample) -> Self {
        let range = |q: &crate::figures::Quantity<f64>| q.interval95().map(|[low, high]| Range { low, high });
        Self {
            plies: sample.plies.value().copied(),
            diameter_mm: range(&sample.diameter_mm),
            twists_per_inch: range(&sample.twists_per_inch),
            twist_angle_deg: range(&sample.twist_angle_deg),
            direction: sample.twist_direction.value().copied(),
            kinks: sample.kinks.value().copied(),
        }
    }

    /// The same with what is stated in `other` put in its place.
    #[must_use]
    pub fn overridden_by(self, other: Self) -> Self {
        Self {
            plies: other.plies.or(self.plies),
            diameter_mm: other.diameter_mm.or(self.diameter_mm),
            twists_per_inch: other.twists_per_inch.or(self.twists_per_inch),
            twist_angle_deg: other.twist_angle_deg.or(self.twist_angle_deg),
            direction: other.direction.or(self.direction),
            kinks: other.kinks.or(self.kinks),
        }
    }

    /// Turns per inch: as known, else for singles from angle and width (tan = pi d T).
    fn turns(&self) -> Option<Range> {
        self.twists_per_inch.or_else(|| {
            let (angle, d) = (self.twist_angle_deg?, self.diameter_mm?);
            (self.plies == Some(1)).then(|| {
                let turns = |deg: f64, mm: f64| helix::turns_for_angle(Angle::degrees(deg), Mm(mm)).per_inch();
                Range::new(turns(angle.low, d.high), turns(angle.high, d.low))
            })
        })
    }
}

/// How the ply twist is chosen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PlyTwist {
    /// So that the ply is balanced.
    Balanced,
    /// So that the bands of the plies are seen at this angle, degree.
    Angle(f64),
    /// Stated, turns per inch.
    Stated(f64),
}

/// What is to be planned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Goal {
    /// Ply these singles, so many strands together.
    PlySingles {
        /// How many.
        plies: u32,
        /// With how much twist.
        twist: PlyTwist,
        /// In which direction; against the singles' where not stated.
        direction: Option<TwistDirection>,
    },
    /// Spin a yarn like the one given.
    SpinLike,
}

/// Everything that a plan rests on.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PlanRequest {
    /// The yarn: the singles at hand, or the yarn wished for.
    pub yarn: Yarn,
    /// Ply it, or spin one like it.
    pub goal: Option<Goal>,
    /// Ratios, treadles and draft.
    pub wheel: WheelRequest,
    /// A length of this yarn that was measured and weighed.
    pub skein: Option<WeighedSkein>,
    /// The fibre.
    pub fibre: Option<Fibre>,
    /// Its staple length, mm.
    pub staple_mm: Option<f64>,
}

/// One thing to spin or to ply.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Step {
    /// `spin` or `ply`.
    pub what: String,
    /// Which way; null where unknown.
    pub direction: Option<TwistDirection>,
    /// Turns per inch to put in.
    pub twists_per_inch: Range,
    /// The thickness of what comes out, mm; null where unknown.
    pub diameter_mm: Option<Range>,
    /// Surface angle of what comes out (singles), or seen angle of the bands (plied), degree; null where unknown.
    pub twist_angle_deg: Option<Range>,
    /// Ways to reach it at the wheel.
    pub wheel: Vec<WheelSetting>,
}

/// A plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Plan {
    /// `strandrule-plan-1`.
    pub schema: String,
    /// What to do, in order.
    pub steps: Vec<Step>,
    /// What the plied yarn will be, where one is planned.
    pub plied: Option<PliedPrediction>,
    /// The yarn's numbers; empty without a length and a weight.
    pub numbers: Vec<YarnNumber>,
    /// Part of the yarn's section filled by fibre, 0 to 1, where weight, diameter and fibre are known.
    pub packing: Option<f64>,
    /// What to beware of.
    pub cautions: Vec<Warning>,
}

/// Why nothing can be planned.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// Neither turns nor angle and width.
    #[error(
        "neither the twist nor the angle and the diameter of the yarn are known; state --tpi, or measure a photo that shows the twist"
    )]
    NoTwist,
    /// Plying needs singles.
    #[error("the yarn to be plied has {0} plies already; give a report of its singles, or state --plies 1")]
    NotSingles(u32),
    /// A wished angle needs a thickness.
    #[error("a ply twist for an angle needs the singles' diameter; state --diameter, or measure a photo with a scale")]
    NoDiameter,
    /// How many plies the wished yarn has.
    #[error("how many plies the wished yarn has is not known; state --plies (1 for singles)")]
    NoPlies,
    /// A number outside what can be.
    #[error("{what} of {value} cannot be; {advice}")]
    Impossible {
        /// What.
        what: &'static str,
        /// As given.
        value: f64,
        /// What to do.
        advice: &'static str,
    },
}

/// Works out a plan.
///
/// Without a goal only the numbers of a weighed skein and the cautions are given.
///
/// # Errors
/// [`PlanError`] where what is known does not suffice, or a number cannot be.
pub fn plan(request: &PlanRequest) -> Result<Plan, PlanError> {
    check(request)?;
    let yarn = &request.yarn;
    let (steps, plied) = match request.goal {
        None => (Vec::new(), None),
        Some(Goal::PlySingles { plies, twist, direction }) => {
            let (step, plied) = plying::ply_singles(yarn, plies, twist, direction, &request.wheel)?;
            (vec![step], Some(plied))
        }
        Some(Goal::SpinLike) => (plying::spin_like(yarn, &request.wheel)?, None),
    };
    let numbers = request.skein.as_ref().map(weight::numbers).unwrap_or_default();
    let packing = weight::packing(request);
    let cautions = cautions::cautions(request, &steps, packing);
    Ok(Plan { schema: PLAN_SCHEMA.to_owned(), steps, plied, numbers, packing, cautions })
}

/// Refuses numbers that cannot be.
fn check(request: &PlanRequest) -> Result<(), PlanError> {
    // The most is generous: a slip of the unit or of the point is to be caught, no rare yarn or wheel. A rope is thicker
    // than 50 mm, filament alone bears 100 turns an inch, spindle wheels reach 120 to 1 and no arm draws 3 m.
    let up_to = |what, most: f64, value: Option<f64>, advice| match value {
        Some(value) if !(value > 0.0 && value <= most) => Err(PlanError::Impossible { what, value, advice }),
        _ => Ok(()),
    };
    let yarn = &request.yarn;
    up_to("a diameter", 50.0, yarn.diameter_mm.map(|r| r.low), "give above 0 to 50 mm")?;
    up_to("a diameter", 50.0, yarn.diameter_mm.map(|r| r.high), "give above 0 to 50 mm")?;
    up_to("a twist", 100.0, yarn.twists_per_inch.map(|r| r.high), "give turns per inch, above 0 to 100")?;
    if let Some(Goal::PlySingles { twist: PlyTwist::Stated(turns), .. }) = request.goal {
        up_to("a ply twist", 100.0, Some(turns), "give turns per inch, above 0 to 100")?;
    }
    up_to("a draft length", 120.0, request.wheel.draft_inches, "give above 0 to 120 in, as in 3in or 75mm")?;
    up_to("a number of treadles", 200.0, request.wheel.treadles, "give the treadles for one draft, above 0 to 200")?;
    up_to("a staple length", 1500.0, request.staple_mm, "give above 0 to 1500 mm")?;
    for ratio in &request.wheel.ratios {
        let advice = "give the turns of the flyer for one turn of the wheel, above 0 to 200";
        up_to("a ratio", 200.0, Some(*ratio), advice)?;
    }
    if let Some(skein) = &request.skein {
        up_to("a length", 1e6, Some(skein.metres), "give the length of the skein, above 0 to 1000 km")?;
        up_to("a weight", 1e6, Some(skein.grams), "give the weight of the skein, above 0 to 1000 kg")?;
    }
    let angle = match request.goal {
        Some(Goal::PlySingles { twist: PlyTwist::Angle(angle), .. }) => Some(angle),
        _ => yarn.twist_angle_deg.map(Range::middle),
    };
    match angle {
        Some(value) if !(value > 0.0 && value < 85.0) => {
            Err(PlanError::Impossible { what: "an angle", value, advice: "give degrees between 0 and 85" })
        }
        _ => Ok(()),
    }
}

/// The other direction.
pub(crate) fn against(direction: TwistDirection) -> TwistDirection {
    match direction {
        TwistDirection::S => TwistDirection::Z,
        TwistDirection::Z => TwistDirection::S,
    }
}

/// Surface angle of a strand with a range of widths and turns, degree.
fn surface_angle(diameter_mm: Range, per_inch: Range) -> Range {
    let angle = |d: f64, t: f64| helix::surface_angle(Mm(d), TurnsPerMm(t / MM_PER_INCH)).as_degrees();
    Range::new(angle(diameter_mm.low, per_inch.low), angle(diameter_mm.high, per_inch.high))
}

#[cfg(test)]
mod tests;
