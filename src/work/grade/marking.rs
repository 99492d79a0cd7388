//! The mark of one sample.

use super::advice;
use super::rubric::{Criterion, Rubric, Side, What};
use crate::figures::Method;
use crate::figures::Quantity;
use crate::figures::report::Sample;

/// A word or count below this probability decides no mark.
const SURE: f64 = 0.95;

/// How a figure stands to what was asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// All of its interval lies within the tolerance.
    Meets,
    /// Some of its interval lies within the tolerance, some beyond: it cannot be told from what was asked.
    CannotBeTold,
    /// All of its interval lies beyond the tolerance.
    Misses,
    /// The photo gives no answer.
    NotMarked,
}

/// One criterion, marked.
#[derive(Debug, Clone, PartialEq)]
pub struct Marked {
    /// The figure's key.
    pub key: &'static str,
    /// The figure in words.
    pub words: &'static str,
    /// What was asked, as text.
    pub asked: String,
    /// What was measured, as text.
    pub measured: String,
    /// How it stands.
    pub standing: Standing,
    /// Least and most that the criterion counts, 0 to 1: of the end of the interval that lies farthest from what was asked,
    /// and of its nearest point; from nothing to full where it was not read.
    pub share: [f64; 2],
    /// How much it counts.
    pub weight: f64,
    /// One plain sentence, saying what to change.
    pub sentence: String,
}

/// A sample's mark.
#[derive(Debug, Clone, PartialEq)]
pub struct Result {
    /// Each criterion, in the rubric's order.
    pub criteria: Vec<Marked>,
    /// The least and the most that the mark can be, to one decimal.
    pub total: [f64; 2],
    /// The full mark.
    pub out_of: f64,
    /// Part of the rubric's weight that was read, 0 to 1: what the mark rests on.
    pub rests_on: f64,
    /// Whether that is less than the rubric asks for.
    pub provisional: bool,
}

/// Marks a sample. What was not read counts from nothing to full, so that nobody gains or loses by a photo that does not
/// show it.
#[must_use]
pub fn mark(sample: &Sample, rubric: &Rubric) -> Result {
    let criteria: Vec<Marked> = rubric.criteria.iter().map(|c| criterion(sample, c)).collect();
    let all: f64 = criteria.iter().map(|c| c.weight).sum();
    let part = |counted: &dyn Fn(&Marked) -> f64| criteria.iter().map(|c| c.weight * counted(c)).sum::<f64>() / all;
    let total = [0, 1].map(|end| (part(&|c| c.share[end]) * rubric.out_of * 10.0).round() / 10.0);
    let rests_on = part(&|c| if c.standing == Standing::NotMarked { 0.0 } else { 1.0 });
    // Parts of a whole, summed in floating point, may miss it by their rounding.
    let provisional = rests_on < rubric.provisional_below * (1.0 - 1e-9);
    Result { total, rests_on, provisional, criteria, out_of: rubric.out_of }
}

fn criterion(sample: &Sample, criterion: &Criterion) -> Marked {
    let base = Marked {
        key: criterion.what.key(),
        words: criterion.what.words(),
        asked: String::new(),
        measured: String::new(),
        standing: Standing::NotMarked,
        share: [0.0, 1.0],
        weight: criterion.weight,
        sentence: String::new(),
    };
    match criterion.what {
        What::Plies(asked) => word(base, &sample.plies, &asked, |n| match n {
            1 => "singles".to_owned(),
            n => format!("{n} plies"),
        }),
        What::Direction(asked) => word(base, &sample.twist_direction, &asked, |d| format!("{d:?}")),
        What::Number { figure, value, tolerance, zero_beyond, side } => {
            let limits = Limits { value, tolerance, zero_beyond, side };
            let unit = figure.unit();
            let unit = if unit.is_empty() || unit == "°" { unit.to_owned() } else { format!(" {unit}") };
            let n = digits(tolerance);
            let asked = match side {
                Side::Both => format!("{value:.n$}{unit} ± {tolerance:.n$}"),
                Side::AtMost => format!("at most {:.n$}{unit}", value + tolerance),
                Side::AtLeast => format!("at least {:.n$}{unit}", value - tolerance),
            };
            let base = Marked { asked, ..base };
            match unsure_plies(sample).filter(|_| figure.follows_from_plies()) {
                Some(why) => unanswered(base, Some(why)),
                None => number(base, figure.of(sample), &limits, &unit, criterion),
            }
        }
    }
}

/// Digits behind the point that a tolerance makes useful: two significant ones.
fn digits(tolerance: f64) -> usize {
    (1.0 - tolerance.abs().max(1e-6).log10().floor()).clamp(0.0, 4.0) as usize
}

/// What was asked of a number.
pub(super) struct Limits {
    pub(super) value: f64,
    pub(super) tolerance: f64,
    pub(super) zero_beyond: f64,
    pub(super) side: Side,
}

impl Limits {
    /// How far a value lies on the faulty side.
    fn deviation(&self, v: f64) -> f64 {
        match self.side {
            Side::Both => (v - self.value).abs(),
            Side::AtMost => (v - self.value).max(0.0),
            Side::AtLeast => (self.value - v).max(0.0),
        }
    }

    /// The part of the mark at a deviation: full up to the tolerance, none from `zero_beyond` on, straight between.
    fn share(&self, deviation: f64) -> f64 {
        // A deviation that equals the tolerance but for rounding has the full mark.
        if deviation <= self.tolerance * (1.0 + 1e-9) {
            1.0
        } else if deviation >= self.zero_beyond {
            0.0
        } else {
            (self.zero_beyond - deviation) / (self.zero_beyond - self.tolerance)
        }
    }
}

fn number(base: Marked, quantity: &Quantity<f64>, limits: &Limits, unit: &str, criterion: &Criterion) -> Marked {
    let (Some(value), Some([low, high])) = (quantity.value().copied(), quantity.interval95()) else {
        return unanswered(base, quantity.reason().map(crate::figures::Reason::message));
    };
    let n = digits(((high - low) / 2.0).max(limits.tolerance / 10.0));
    // The point of the interval nearest to what was asked, and the ends.
    let nearest = limits.deviation(limits.value.clamp(low, high));
    let farthest = limits.deviation(low).max(limits.deviation(high));
    let (share, least) = (limits.share(nearest), limits.share(farthest));
    let standing = if nearest > limits.tolerance * (1.0 + 1e-9) {
        Standing::Misses
    } else if farthest > limits.tolerance * (1.0 + 1e-9) {
        Standing::CannotBeTold
    } else {
        Standing::Meets
    };
    let mut sentence = advice::sentence(standing, value, limits, criterion);
    if share > least {
        sentence.push_str(&format!(
            " Its interval ({low:.n$} to {high:.n$}{unit}) reaches over a limit: this part counts from {:.0} to {:.0} %.",
            100.0 * least,
            100.0 * share
        ));
    }
    Marked {
        measured: format!("{value:.n$}{unit} ({low:.n$} to {high:.n$})"),
        standing,
        share: [least, share],
        sentence,
        ..base
    }
}

/// Why a figure that follows from the number of plies is not marked; `None` where that number is sure enough.
fn unsure_plies(sample: &Sample) -> Option<String> {
    let Quantity::Measured { value, probability, .. } = &sample.plies else { return None };
    let sure = probability.filter(|p| *p < SURE)?;
    Some(format!(
        "it follows from the number of plies, and {value} is only {:.0} % sure; state --plies, or take a closer, sharper photo.",
        100.0 * sure
    ))
}

fn unanswered(base: Marked, why: Option<String>) -> Marked {
    let sentence = format!("Not marked: {}", why.unwrap_or_else(|| "the photo gives no interval.".to_owned()));
    Marked { measured: "none".to_owned(), sentence, ..base }
}

fn word<T: PartialEq>(base: Marked, quantity: &Quantity<T>, asked: &T, written: impl Fn(&T) -> String) -> Marked {
    let base = Marked { asked: written(asked), ..base };
    let Quantity::Measured { value, probability, method, .. } = quantity else {
        return unanswered(base, quantity.reason().map(crate::figures::Reason::message));
    };
    if *method == Method::Stated {
        return unanswered(base, Some(format!("{} was stated, not read from a photo.", written(value))));
    }
    let sure = probability.unwrap_or(1.0);
    let how_sure = if sure > 0.99 { "more than 99 % sure".to_owned() } else { format!("{:.0} % sure", 100.0 * sure) };
    let measured = format!("{} ({how_sure})", written(value));
    let right = value == asked;
    if sure < SURE {
        let sentence = format!(
            "Not marked: it looks like {}, but not surely enough to count for or against it; take a closer, sharper photo.",
            written(value)
        );
        return Marked { measured, sentence, ..base };
    }
    let (standing, share) = if right { (Standing::Meets, 1.0) } else { (Standing::Misses, 0.0) };
    let sentence = if right { "As asked.".to_owned() } else { advice::wrong_word(base.key, &base.asked) };
    Marked { measured, standing, share: [share; 2], sentence, ..base }
}
