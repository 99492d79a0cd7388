//! What to beware of.

use super::{Goal, PlanRequest, Step};
use crate::base::units::MM_PER_INCH;
use crate::figures::Warning;
use crate::figures::balance::{Balance, TURNS};
use crate::work::arithmetic::thickness::Fibre;
use crate::work::arithmetic::wheel::{BELIEVABLE_RATIO, FEWEST_TREADLES};

/// Surface angle, degree, beyond which singles are harder than any use asks for: 35 to 45 is called very hard (sock
/// yarn). Source: the angle ranges that a spinning school publishes after Ross and MacKenzie.
const HARDEST_DEG: f64 = 45.0;
/// The same for long fibres, which hold with less twist and grow wiry. Common practice, no authoritative source.
const HARDEST_LONG_DEG: f64 = 35.0;
/// Packing that a yarn can have. Below, the weight or the length is wrong (or the yarn is mostly air); above, fibres
/// would overlap: open packing of circles is 0.75.
const BELIEVABLE_PACKING: [f64; 2] = [0.10, 0.75];

const OVER_TWIST_CURE: &str =
    "feed the fibre faster, or take a larger whorl (fewer flyer turns a treadle) or fewer treadles a draft";

fn caution(code: &str, message: String) -> Warning {
    Warning { code: code.to_owned(), message }
}

/// All cautions of a plan, in the order of the work.
pub(super) fn cautions(request: &PlanRequest, steps: &[Step], packing: Option<f64>) -> Vec<Warning> {
    let mut all = Vec::new();
    twist(request, steps, &mut all);
    plying(request, steps, &mut all);
    wheel(steps, &mut all);
    if let Some(p) = packing.filter(|p| !(BELIEVABLE_PACKING[0]..=BELIEVABLE_PACKING[1]).contains(p)) {
        all.push(caution(
            "weight-unlikely",
            format!("With this weight and diameter, fibre would fill {:.0} % of the yarn; 10 to 75 % can be. Weigh and measure the length again.", 100.0 * p),
        ));
    }
    all
}

fn twist(request: &PlanRequest, steps: &[Step], all: &mut Vec<Warning>) {
    if request.yarn.kinks.is_some_and(|k| k > 0.0) {
        all.push(caution(
            "over-twisted",
            format!("The strand curls back on itself, the sign of over-twist; {OVER_TWIST_CURE}."),
        ));
    }
    let long = matches!(request.fibre, Some(Fibre::Silk | Fibre::Flax | Fibre::Alpaca | Fibre::Mohair));
    let limit = if long { HARDEST_LONG_DEG } else { HARDEST_DEG };
    for step in steps.iter().filter(|s| s.what == "spin") {
        if let Some(angle) = step.twist_angle_deg.filter(|a| a.middle() > limit) {
            all.push(caution(
                "too-much-twist",
                format!("The singles' surface angle would be about {:.0}°, harder than {limit:.0}°, about the most that is of use for this fibre: the held strand curls back on itself. Spin thicker, or with less twist: {OVER_TWIST_CURE}.", angle.middle()),
            ));
        }
        // A fibre is held only where it goes round the strand more than once (from memory; a useful minimum).
        let per_fibre = |staple: f64| staple / MM_PER_INCH * step.twists_per_inch.low;
        if let Some(turns) = request.staple_mm.map(per_fibre).filter(|t| *t < 1.0) {
            all.push(caution(
                "too-little-twist",
                format!("Each fibre would go round the strand only {turns:.1} times; below one turn it slips and the yarn drifts apart. Put in more twist, or use longer fibre."),
            ));
        }
    }
}

fn plying(request: &PlanRequest, steps: &[Step], all: &mut Vec<Warning>) {
    let Some(Goal::PlySingles { direction, .. }) = request.goal else { return };
    let singles = &request.yarn;
    match (direction, singles.direction) {
        (Some(ply), Some(own)) if ply == own => all.push(caution(
            "same-direction",
            format!("Plying {ply:?} onto {own:?} singles adds to their twist instead of balancing it; the result is a hard, lively cord. Ply the other way."),
        )),
        (_, None) => all.push(caution(
            "direction-unknown",
            "The singles' direction is not known; look before you ply, and ply against it. Bought yarn may run either way.".to_owned(),
        )),
        _ => {}
    }
    let (Some(own), Some(step)) = (singles.turns(), steps.first()) else { return };
    if direction.is_some() && direction == singles.direction {
        return;
    }
    let ply = step.twists_per_inch;
    let found = Balance::of_turns([own.low, own.high], [ply.low, ply.high]);
    let (found, hangs, cure) = match found {
        Some(found @ Balance::Underplied) => (found, "in a twist", "more"),
        Some(found @ Balance::Overplied) => (found, "in a twist the other way", "less"),
        Some(Balance::Balanced) | None => return,
    };
    all.push(caution(
        found.word(),
        format!(
            "The ply twist is {:.0} % of the singles'; {:.0} to {:.0} % is called balanced. The skein will hang {hangs}; put {cure} twist into the ply.",
            100.0 * ply.middle() / own.middle(),
            100.0 * TURNS[0],
            100.0 * TURNS[1]
        ),
    ));
}

fn wheel(steps: &[Step], all: &mut Vec<Warning>) {
    let [low, high] = BELIEVABLE_RATIO;
    for setting in steps.iter().flat_map(|s| &s.wheel) {
        if !(low..=high).contains(&setting.ratio) {
            all.push(caution(
                "ratio-unlikely",
                format!("A ratio of {:.1} flyer turns a treadle is outside what flyer wheels offer ({low:.0} to {high:.0}); change the treadles or the draft.", setting.ratio),
            ));
        }
        if setting.treadles < FEWEST_TREADLES {
            all.push(caution(
                "treadles-too-few",
                format!("At a ratio of {:.1} a draft would get {:.2} treadles, less than half a one; take a smaller ratio or a longer draft.", setting.ratio, setting.treadles),
            ));
        }
    }
}
