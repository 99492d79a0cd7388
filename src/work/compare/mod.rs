//! Two or more samples side by side: which differences are real, which are not, and by how much.

mod chart;
mod control;
mod text;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

use super::figure::Figure;
use super::pool::{PooledReport, pool_reports};
use crate::base::units::MM_PER_INCH;
use crate::figures::quantity::{COVERAGE_FACTOR_95, Interval};
use crate::figures::report::Sample;
use crate::figures::{Balance, Quantity, Report};

pub use chart::svg;
pub use control::{Control, Limits, control};
pub use text::text;

/// The schema word of a comparison.
pub const COMPARISON_SCHEMA: &str = "strandrule-comparison-1";

/// Risk of calling any two samples different that are not, over the whole comparison.
const RISK: f64 = 0.05;

/// The figures compared: each says something of its own. Wraps and turns per metre follow from these.
const COMPARED: [Figure; 8] = [
    Figure::DiameterMm,
    Figure::TwistsPerInch,
    Figure::TwistAngleDeg,
    Figure::FibreAngleDeg,
    Figure::DiameterCvPercent,
    Figure::TwistCvPercent,
    Figure::Hairiness,
    Figure::Kinks,
];

/// Samples side by side.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Comparison {
    /// `strandrule-comparison-1`.
    pub schema: String,
    /// The samples, in the order given.
    pub samples: Vec<Compared>,
    /// Every pair of samples and every figure that both answer.
    pub differences: Vec<Difference>,
    /// The same in plain words.
    pub sentences: Vec<String>,
}

/// One sample of a comparison.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Compared {
    /// Its name.
    pub name: String,
    /// Its figures, photos pooled.
    pub pooled: PooledReport,
}

/// What can be said of a difference.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// The samples differ by more than measurement and sampling explain.
    Different,
    /// They cannot be told apart; they may still differ by less than the interval.
    NotTold,
}

/// The difference of one figure between two samples, second minus first.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Difference {
    /// Name of the first sample.
    pub first: String,
    /// Name of the second.
    pub second: String,
    /// Which figure.
    pub figure: Figure,
    /// Second minus first, in the figure's unit.
    pub difference: f64,
    /// Its 95 % interval, taken alone.
    pub interval95: Interval,
    /// In per cent of the first; null where that is 0 or the figure is signed.
    pub percent: Option<f64>,
    /// Probability of so large a difference by chance, corrected for the number of questions asked (Holm, Scandinavian
    /// Journal of Statistics 6 (1979) 65).
    pub p_corrected: f64,
    /// What can be said.
    pub verdict: Verdict,
}

/// Standard uncertainty of a sample's figure for comparing: that of its interval, and not less than the spread among
/// its pieces allows for their number (CV / sqrt n; normal theory of the mean).
fn uncertainty(sample: &Sample, figure: Figure) -> Option<(f64, f64)> {
    let quantity = figure.of(sample);
    let value = *quantity.value()?;
    let u = quantity.half_width()? / COVERAGE_FACTOR_95;
    let floor = match figure {
        Figure::DiameterMm => {
            let cv = sample.evenness.between_strands_cv_percent.value().filter(|_| sample.strands > 1);
            cv.map(|cv| cv / 100.0 * value / f64::from(sample.strands).sqrt())
        }
        Figure::TwistsPerInch => {
            // Twist varies along the yarn by windows of two turns; each is one reading.
            let windows = sample.length_mm.value().map(|l| (l / MM_PER_INCH * value / 2.0).max(1.0));
            sample.evenness.twist_cv_percent.value().zip(windows).map(|(cv, n)| cv / 100.0 * value / n.sqrt())
        }
        _ => None,
    };
    Some((value, u.max(floor.unwrap_or(0.0))))
}

/// Compares samples, each a name and the reports of its photos; samples without any report are left out.
#[must_use]
pub fn compare(samples: &[(String, Vec<Report>)]) -> Comparison {
    let samples: Vec<Compared> = samples
        .iter()
        .filter_map(|(name, reports)| Some(Compared { name: name.clone(), pooled: pool_reports(reports)? }))
        .collect();
    let mut differences = Vec::new();
    for (i, first) in samples.iter().enumerate() {
        for second in samples.iter().skip(i + 1) {
            differences.extend(COMPARED.into_iter().filter_map(|figure| difference(first, second, figure)));
        }
    }
    correct(&mut differences);
    let mut comparison =
        Comparison { schema: COMPARISON_SCHEMA.to_owned(), samples, differences, sentences: Vec::new() };
    comparison.sentences = text::sentences(&comparison);
    comparison
}

fn difference(first: &Compared, second: &Compared, figure: Figure) -> Option<Difference> {
    let (a, u_a) = uncertainty(&first.pooled.sample, figure)?;
    let (b, u_b) = uncertainty(&second.pooled.sample, figure)?;
    // The ruler's and the edge's errors may be the same on both sides and cancel; adding them as if they were
    // independent can only make the claim more careful. Each interval already holds Student's factor for few photos,
    // so 1.96 of its standard uncertainty is used (Welch's test with that factor carried in).
    // No measurement is without error: an uncertainty of nothing says that it is not known, and decides nothing.
    let u = Some(u_a.hypot(u_b)).filter(|_| u_a > 0.0 && u_b > 0.0)?;
    let difference = b - a;
    let half = COVERAGE_FACTOR_95 * u;
    let p = Normal::standard().sf((difference / u).abs()) * 2.0;
    Some(Difference {
        first: first.name.clone(),
        second: second.name.clone(),
        figure,
        difference,
        interval95: [difference - half, difference + half],
        percent: (a > 0.0 && figure.is_never_negative()).then(|| 100.0 * difference / a),
        p_corrected: p,
        verdict: Verdict::NotTold,
    })
}

/// Corrects the probabilities for the number of questions (Holm's step-down) and settles the verdicts.
fn correct(differences: &mut [Difference]) {
    let n = differences.len();
    let mut order: Vec<usize> = (0..n).collect();
    let p = |d: &[Difference], i: usize| d.get(i).map_or(1.0, |d| d.p_corrected);
    order.sort_by(|a, b| p(differences, *a).total_cmp(&p(differences, *b)));
    let mut floor = 0.0_f64;
    for (rank, i) in order.into_iter().enumerate() {
        if let Some(d) = differences.get_mut(i) {
            floor = floor.max((d.p_corrected * (n - rank) as f64).min(1.0));
            d.p_corrected = floor;
            d.verdict = if floor < RISK { Verdict::Different } else { Verdict::NotTold };
        }
    }
}

/// Singles beside a yarn that may be plied from them.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Plying {
    /// Whether the first of the two is the singles.
    first_is_singles: bool,
    /// Ply turns over the singles' turns.
    ratio: f64,
    /// Its least and most, from the ends of both intervals.
    range: Interval,
    /// What the turns support.
    by_turns: Option<Balance>,
    /// What the surface fibres of the plied yarn support.
    by_fibres: Option<Balance>,
}

/// How a ply twist stands to the singles'. `None` unless one is singles, the other plied, not known to run the same way, and
/// both turns are known.
fn plying(a: &Sample, b: &Sample) -> Option<Plying> {
    let (singles, plied) = match (a.plies.value()?, b.plies.value()?) {
        (1, n) if *n > 1 => (a, b),
        (n, 1) if *n > 1 => (b, a),
        _ => return None,
    };
    let against = match (singles.twist_direction.value(), plied.twist_direction.value()) {
        (Some(own), Some(ply)) => own != ply,
        _ => true,
    };
    let turns = |q: &Quantity<f64>| Some((*q.value().filter(|t| **t > 0.0)?, q.interval95()?));
    let (own, own_range) = turns(&singles.twists_per_inch).filter(|_| against)?;
    let (ply, ply_range) = turns(&plied.twists_per_inch)?;
    Some(Plying {
        first_is_singles: std::ptr::eq(singles, a),
        ratio: ply / own,
        range: [ply_range[0] / own_range[1], ply_range[1] / own_range[0].max(0.0)],
        by_turns: Balance::of_turns(own_range, ply_range),
        by_fibres: Balance::of_fibres(&plied.fibre_angle_deg),
    })
}

#[cfg(test)]
mod tests;
