//! What to change at the wheel, in one sentence.

use super::marking::{Limits, Standing};
use super::rubric::{Criterion, What};
use crate::work::figure::Figure;

/// The sentence of a number.
pub(super) fn sentence(standing: Standing, value: f64, limits: &Limits, criterion: &Criterion) -> String {
    match standing {
        Standing::Meets => return "As asked.".to_owned(),
        Standing::CannotBeTold => return "Cannot be told from what was asked.".to_owned(),
        Standing::NotMarked => return String::new(),
        Standing::Misses => {}
    }
    let too_much = value > limits.value;
    let own = if too_much { &criterion.advice_less } else { &criterion.advice_more };
    match (own, criterion.what) {
        (Some(own), _) => own.clone(),
        (None, What::Number { figure, .. }) => (if too_much { less(figure) } else { more(figure) }).to_owned(),
        (None, _) => String::new(),
    }
}

/// The sentence of plies or direction that are not as asked.
pub(super) fn wrong_word(key: &str, asked: &str) -> String {
    match key {
        "plies" => format!("{asked} were asked: count the strands before plying."),
        _ => format!(
            "{asked} twist was asked: turn the wheel the other way in the last step, and check against a sample before going on."
        ),
    }
}

/// To who has too much of it. Common practice of the trade.
fn less(figure: Figure) -> &'static str {
    match figure {
        Figure::DiameterMm | Figure::EnvelopeDiameterMm => {
            "Too thick: draft further before the twist runs in, or let fewer fibres into each draft."
        }
        Figure::WrapsPerInch => "Too thin: draft less far, or let more fibre into each draft.",
        Figure::TwistAngleDeg | Figure::TwistsPerInch | Figure::TwistsPerMetre => {
            "Too much twist: feed the fibre faster, treadle less for each draft, or take a larger whorl."
        }
        Figure::BumpsPerInch | Figure::BumpsPerDiameter => {
            "Too much ply twist: let the plied yarn run in faster, or take a larger whorl for plying."
        }
        Figure::FibreAngleDeg => "The ply twist outweighs the singles' twist: ply with fewer treadles for each length.",
        Figure::DiameterCvPercent => {
            "Uneven in thickness: draft the same length for every treadle, and open thick places before the twist reaches them."
        }
        Figure::TwistCvPercent => "Uneven in twist: keep to one number of treadles for one length of draft.",
        Figure::Hairiness => "Hairy: smooth the fibres with the fingers as the twist runs in, or comb the preparation.",
        Figure::Kinks => "Over-twisted: it curls back on itself; feed the fibre faster, or take a larger whorl.",
    }
}

/// To who has too little of it. Common practice of the trade.
fn more(figure: Figure) -> &'static str {
    match figure {
        Figure::DiameterMm | Figure::EnvelopeDiameterMm => {
            "Too thin: draft less far, or let more fibre into each draft."
        }
        Figure::WrapsPerInch => "Too thick: draft further before the twist runs in.",
        Figure::TwistAngleDeg | Figure::TwistsPerInch | Figure::TwistsPerMetre => {
            "Too little twist: treadle more for each draft, draft shorter, or take a smaller whorl."
        }
        Figure::BumpsPerInch | Figure::BumpsPerDiameter => {
            "Too little ply twist: hold the plied yarn back longer, or take a smaller whorl for plying."
        }
        Figure::FibreAngleDeg => "The singles' twist outweighs the ply twist: ply with more treadles for each length.",
        Figure::DiameterCvPercent | Figure::TwistCvPercent => {
            "More even than asked: vary the draft on purpose, if that is the design."
        }
        Figure::Hairiness => "Smoother than asked: draft from a carded preparation, and do not smooth the strand.",
        Figure::Kinks => "Less lively than asked: put in more twist.",
    }
}
