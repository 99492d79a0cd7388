//! Is this skein even? From several passes and several photos of it: variation within a pass, between passes and between
//! photos, drift along the skein, and how many more passes would narrow the answer.

use std::collections::BTreeSet;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::arithmetic::sampling::{readings_needed, student_t};
use super::pool::{self, Reading, pool_reports};
use crate::base::stats;
use crate::figures::quantity::{COVERAGE_FACTOR_95, Component, Sourced};
use crate::figures::{Method, Quantity, Reason, Report};
use crate::show::plain::evenness_called;

/// How well the mean of a skein is to be known unless somebody says otherwise, per cent (half of the 95 % interval).
pub const USUAL_WITHIN_PERCENT: f64 = 5.0;

/// The schema word of a skein check.
pub const SKEIN_SCHEMA: &str = "strandrule-skein-1";

/// What a skein check says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SkeinCheck {
    /// `strandrule-skein-1`.
    pub schema: String,
    /// Photos looked at.
    pub photos: u32,
    /// Passes with a measured width.
    pub passes: u32,
    /// Mean width over all of them, mm.
    pub diameter_mm: Quantity<f64>,
    /// Variation along a pass, %.
    pub within_pass_cv_percent: Quantity<f64>,
    /// Variation of the passes' means within a photo, beyond what the variation along a pass explains, %.
    pub between_passes_cv_percent: Quantity<f64>,
    /// Variation of the photos' means, beyond what passes and each photo's own scale and edges explain, %.
    pub between_photos_cv_percent: Quantity<f64>,
    /// Change of the width from the first pass to the last, in the order given, % of the mean; positive grows thicker.
    pub drift_percent: Quantity<f64>,
    /// Half the 95 % interval that sampling leaves on the mean, %; null with fewer than two passes.
    pub sampling_half_width_percent: Option<f64>,
    /// The width wished for, %.
    pub wished_half_width_percent: f64,
    /// Passes needed in all for the wished width; null where no number of passes reaches it or it cannot be told.
    pub passes_needed: Option<u64>,
    /// How many of them are still missing.
    pub more_passes: Option<u64>,
    /// The same in plain words, one sentence each.
    pub sentences: Vec<String>,
}

/// The mean width of one pass and the uncertainty that sampling along it leaves.
struct Pass {
    mean: f64,
    u: f64,
}

/// Blocks along a pass for the uncertainty of its mean. Neighbouring widths are alike over about a staple's length;
/// eight blocks of a card's width are 10 to 15 mm each, and leave the deviation of their means known to a quarter.
const BLOCKS: usize = 8;

/// Means of equal parts of a pass (batch means: Schmeiser, Operations Research 30 (1982) 556).
fn block_means(widths: &[f64], blocks: usize) -> Vec<f64> {
    let size = widths.len() / blocks.max(1);
    if size == 0 { Vec::new() } else { widths.chunks_exact(size).take(blocks).filter_map(stats::mean).collect() }
}

fn pass(widths: &[f64]) -> Option<Pass> {
    let mean = stats::mean(widths).filter(|m| *m > 0.0)?;
    let blocks = block_means(widths, BLOCKS);
    let u = stats::standard_deviation(&blocks)? / (blocks.len() as f64).sqrt();
    Some(Pass { mean, u })
}

/// Checks a skein; `None` for an empty list. `wished_half_width_percent` is the half width of the 95 % interval on the
/// mean width that the person would like.
#[must_use]
pub fn check_skein(reports: &[Report], wished_half_width_percent: f64) -> Option<SkeinCheck> {
    let pooled = pool_reports(reports)?;
    let photos: Vec<Vec<Pass>> =
        reports.iter().map(|r| r.strands.iter().filter_map(|s| pass(&s.profile.width_mm)).collect()).collect();
    let means: Vec<f64> = photos.iter().flatten().map(|p| p.mean).collect();
    let grand = stats::mean(&means).unwrap_or(f64::NAN);
    let (between_passes, pass_variance) = between_passes(&photos, grand);
    let between_photos = between_photos(reports, &photos, pass_variance, grand);
    let shared_percent = pool::split(&pooled.sample.diameter_mm)
        .map_or(0.0, |s| 100.0 * s.shared / s.reading.value.abs().max(f64::MIN_POSITIVE));
    let spread_percent = stats::standard_deviation(&means).map(|s| 100.0 * s / grand);
    let sampling =
        spread_percent.map(|cv| student_t(0.95, means.len() as f64 - 1.0) * cv / (means.len() as f64).sqrt());
    // What the ruler and the rule for the edge leave is the same for every pass.
    let left = wished_half_width_percent.powi(2) - (COVERAGE_FACTOR_95 * shared_percent).powi(2);
    let passes_needed = spread_percent.filter(|_| left > 0.0).and_then(|cv| readings_needed(cv, left.sqrt()));
    let mut check = SkeinCheck {
        schema: SKEIN_SCHEMA.to_owned(),
        photos: u32::try_from(reports.len()).unwrap_or(u32::MAX),
        passes: u32::try_from(means.len()).unwrap_or(u32::MAX),
        diameter_mm: pooled.sample.diameter_mm,
        within_pass_cv_percent: pooled.sample.evenness.diameter_cv_percent,
        between_passes_cv_percent: between_passes,
        between_photos_cv_percent: between_photos,
        drift_percent: drift(reports, &means),
        sampling_half_width_percent: sampling,
        wished_half_width_percent,
        passes_needed,
        more_passes: passes_needed.map(|n| n.saturating_sub(means.len() as u64)),
        sentences: Vec::new(),
    };
    check.sentences = sentences(&check, shared_percent);
    if let Some(mixed) = different_yarns(reports) {
        // What is said of the whole would be said of no yarn at all.
        check.passes_needed = None;
        check.more_passes = None;
        check.sentences = vec![mixed];
    }
    Some(check)
}

/// A word or count below this probability tells no two yarns apart.
const SURE: f64 = 0.95;

/// Says so where labels, or surely read directions or plies, show that the photos are not of one yarn.
fn different_yarns(reports: &[Report]) -> Option<String> {
    fn sure<T: Copy>(quantity: &Quantity<T>) -> Option<T> {
        match quantity {
            Quantity::Measured { value, probability, .. } if probability.unwrap_or(1.0) >= SURE => Some(*value),
            _ => None,
        }
    }
    let labels: BTreeSet<&str> = reports.iter().filter_map(|r| r.sample.label.as_deref()).collect();
    let plies: BTreeSet<u32> = reports.iter().filter_map(|r| sure(&r.sample.plies)).collect();
    let directions: BTreeSet<String> =
        reports.iter().filter_map(|r| sure(&r.sample.twist_direction)).map(|d| format!("{d:?}")).collect();
    let many = |what: &str, found: Vec<String>| (found.len() > 1).then(|| format!("{what} {}", found.join(", ")));
    let found: Vec<String> = [
        many("the labels", labels.into_iter().map(|l| format!("\"{l}\"")).collect()),
        many("plies of", plies.iter().map(u32::to_string).collect()),
        many("twists of", directions.into_iter().collect()),
    ]
    .into_iter()
    .flatten()
    .collect();
    (!found.is_empty()).then(|| {
        format!(
            "These photos show different yarns ({}); a skein check holds for one yarn. Name the reports of one skein only, or mend a wrong reading with --plies.",
            found.join("; ")
        )
    })
}

/// Variation of pass means within photos, %, and its variance in mm^2 (sampling along the passes included).
fn between_passes(photos: &[Vec<Pass>], grand: f64) -> (Quantity<f64>, Option<f64>) {
    let spare: usize = photos.iter().map(|p| p.len().saturating_sub(1)).sum();
    if spare == 0 {
        return (Quantity::Unanswered(Reason::OnePiece), None);
    }
    let squares: f64 = photos
        .iter()
        .filter_map(|passes| {
            let m = stats::mean(&passes.iter().map(|p| p.mean).collect::<Vec<_>>())?;
            Some(passes.iter().map(|p| (p.mean - m).powi(2)).sum::<f64>())
        })
        .sum();
    let variance = squares / spare as f64;
    let noise = stats::mean(&photos.iter().flatten().map(|p| p.u * p.u).collect::<Vec<_>>()).unwrap_or(0.0);
    let percent = |variance: f64| 100.0 * (variance - noise).max(0.0).sqrt() / grand;
    let Ok(chi) = ChiSquared::new(spare as f64) else { return (Quantity::Unanswered(Reason::OnePiece), None) };
    let ends = [0.975, 0.025].map(|p| percent(squares / chi.inverse_cdf(p)));
    (Quantity::with_interval(percent(variance), ends, Method::AlongStrand, Vec::new()), Some(variance))
}

/// Variation of photo means, %, beyond passes and each photo's own scale and edges.
fn between_photos(reports: &[Report], photos: &[Vec<Pass>], pass_variance: Option<f64>, grand: f64) -> Quantity<f64> {
    let readings: Vec<Reading> = reports
        .iter()
        .zip(photos)
        .filter_map(|(report, passes)| {
            let value = stats::mean(&passes.iter().map(|p| p.mean).collect::<Vec<_>>())?;
            let own = stats::mean(&passes.iter().map(|p| p.u * p.u).collect::<Vec<_>>())?;
            let shared = pool::split(&report.sample.diameter_mm).map_or(0.0, |s| s.shared);
            let of_mean = pass_variance.unwrap_or(own) / passes.len() as f64;
            Some(Reading { value, u: (of_mean + shared * shared).sqrt().max(1e-9 * value) })
        })
        .collect();
    match pool::pool(&readings) {
        Some(found) if readings.len() > 1 => Quantity::with_interval(
            100.0 * found.between / grand,
            found.between95.map(|b| 100.0 * b / grand),
            Method::AlongStrand,
            Vec::new(),
        ),
        _ => Quantity::Unanswered(Reason::OnePhoto),
    }
}

/// Change of the width along the skein, %: the slope of a straight line through the means in their order times its
/// length, with Student's interval. Three passes or more are taken as they are; fewer are cut into blocks.
fn drift(reports: &[Report], means: &[f64]) -> Quantity<f64> {
    let blocks: Vec<f64> = if means.len() >= 3 {
        means.to_vec()
    } else {
        reports.iter().flat_map(|r| &r.strands).flat_map(|s| block_means(&s.profile.width_mm, BLOCKS)).collect()
    };
    let n = blocks.len();
    let (Some(mean), true) = (stats::mean(&blocks).filter(|m| *m > 0.0), n >= 3) else {
        return Quantity::Unanswered(Reason::TooShort);
    };
    // The order runs from 0 at the first to 1 at the last.
    let at = |i: usize| i as f64 / (n - 1) as f64 - 0.5;
    let across: f64 = (0..n).map(|i| at(i).powi(2)).sum();
    let slope = blocks.iter().enumerate().map(|(i, v)| at(i) * (v - mean)).sum::<f64>() / across;
    let left: f64 = blocks.iter().enumerate().map(|(i, v)| (v - mean - slope * at(i)).powi(2)).sum();
    let spare = n as f64 - 2.0;
    let u = (left / spare / across).sqrt();
    let half = student_t(0.95, spare) * u;
    let percent = |v: f64| 100.0 * v / mean;
    let budget = vec![Component { source: Sourced::Sampling, standard_uncertainty: percent(u) }];
    Quantity::with_interval(percent(slope), [percent(slope - half), percent(slope + half)], Method::AlongStrand, budget)
}

fn sentences(check: &SkeinCheck, shared_percent: f64) -> Vec<String> {
    let mut all = Vec::new();
    let range = |q: &Quantity<f64>| q.value().copied().zip(q.interval95());
    if let Some((cv, [low, high])) = range(&check.within_pass_cv_percent) {
        let called = evenness_called(cv);
        all.push(format!("Along a pass the thickness varies by {cv:.0} % ({low:.0} to {high:.0}): {called}."));
    }
    let more = |q: &Quantity<f64>, what: &str| match range(q) {
        Some((cv, [low, high])) if low > 0.0 => {
            format!("Beyond that, {what} differ by {cv:.1} % ({low:.1} to {high:.1}).")
        }
        Some((_, [_, high])) => format!("No difference between {what} shows beyond that; it is below {high:.1} %."),
        None => format!("Whether {what} differ cannot be told from these photos; take several."),
    };
    all.push(more(&check.between_passes_cv_percent, "passes"));
    all.push(more(&check.between_photos_cv_percent, "photos"));
    match range(&check.drift_percent) {
        Some((change, [low, high])) if low > 0.0 || high < 0.0 => {
            let grows = if change > 0.0 { "thicker" } else { "thinner" };
            all.push(format!(
                "From the first pass to the last the yarn grows {grows} by {:.1} % ({:.1} to {:.1}).",
                change.abs(),
                low.abs().min(high.abs()),
                low.abs().max(high.abs())
            ));
        }
        Some((_, [low, high])) => all.push(format!(
            "No drift shows from the first pass to the last; the change lies between {low:+.1} and {high:+.1} %."
        )),
        None => {}
    }
    let wished = check.wished_half_width_percent;
    match (check.more_passes, check.sampling_half_width_percent) {
        (Some(0), _) => all.push(format!("The passes suffice for a mean known to {wished} %.")),
        (Some(more), _) => all.push(format!("For a mean known to {wished} %, lay about {more} more passes, from other parts of the skein.")),
        (None, Some(_)) => all.push(format!(
            "No number of passes brings the mean to {wished} %: ruler and edges alone leave {:.1} %; use the ruler card, or move closer.",
            COVERAGE_FACTOR_95 * shared_percent
        )),
        (None, None) => all.push("One pass says nothing about the others; lay at least two.".to_owned()),
    }
    all
}

#[cfg(test)]
mod tests {
    use approx::assert_relative_eq;

    use super::*;
    use crate::figures::report::{Profile, StrandFigures};
    use crate::work::testing::{measured, report};

    /// A photo whose passes have these mean widths, each waving by `wave` of it within every block.
    fn photo(means: &[f64], wave: f64) -> Report {
        let mut r = report("a.jpg");
        r.sample.diameter_mm = measured(stats::mean(means).unwrap(), 0.001);
        r.strands = means
            .iter()
            .enumerate()
            .map(|(i, mean)| StrandFigures {
                number: i as u32 + 1,
                length_mm: Some(80.0),
                left_out: Vec::new(),
                profile: Profile {
                    at_mm: (0..160).map(|k| f64::from(k) * 0.5).collect(),
                    width_mm: (0..160).map(|k| mean * (1.0 + wave * (f64::from(k) * 1.3).sin())).collect(),
                    ..Profile::default()
                },
            })
            .collect();
        r
    }

    #[test]
    fn variation_is_put_where_it_is() {
        let passes = check_skein(&[photo(&[1.8, 2.2, 2.0], 0.02), photo(&[2.2, 1.8, 2.0], 0.02)], 5.0).unwrap();
        let between = *passes.between_passes_cv_percent.value().unwrap();
        assert_relative_eq!(between, 10.0, epsilon = 0.3);
        assert_eq!(passes.between_photos_cv_percent.interval95().unwrap()[0], 0.0);
        let photos = check_skein(&[photo(&[1.8, 1.81, 1.79], 0.02), photo(&[2.2, 2.21, 2.19], 0.02)], 5.0).unwrap();
        assert!(*photos.between_passes_cv_percent.value().unwrap() < 1.0);
        assert_relative_eq!(*photos.between_photos_cv_percent.value().unwrap(), 14.1, epsilon = 0.3);
        assert!(photos.between_photos_cv_percent.interval95().unwrap()[0] > 3.0);
    }

    // Source: normal theory of the mean, n = (1.96 CV / x)^2: CV 10 % within 5 % needs 16, within 2 % 97.
    #[test]
    fn passes_needed_follow_from_the_spread_of_the_passes() {
        let skein = [photo(&[1.8, 2.2, 1.8, 2.2, 2.0], 0.0)];
        let cv = 100.0 * 0.2 / 2.0;
        let check = check_skein(&skein, 5.0).unwrap();
        assert_eq!(check.passes_needed, readings_needed(cv, 5.0));
        assert_eq!((check.passes_needed, check.more_passes), (Some(16), Some(11)));
        assert_eq!(check_skein(&skein, 2.0).unwrap().passes_needed, Some(97));
    }

    #[test]
    fn what_the_ruler_leaves_no_pass_takes_away() {
        let mut r = photo(&[1.9, 2.1, 2.0], 0.0);
        r.sample.diameter_mm = Quantity::from_budget(
            2.0,
            Method::CoreEdge,
            vec![Component { source: Sourced::Scale, standard_uncertainty: 0.06 }],
        );
        let check = check_skein(&[r], 5.0).unwrap();
        assert_eq!(check.passes_needed, None);
        assert!(check.sentences.iter().any(|s| s.starts_with("No number of passes")), "{:?}", check.sentences);
    }

    #[test]
    fn drift_is_found_and_noise_is_not() {
        let growing = check_skein(&[photo(&[1.80, 1.85, 1.90, 1.96, 2.00], 0.0)], 5.0).unwrap();
        assert_relative_eq!(*growing.drift_percent.value().unwrap(), 10.7, epsilon = 0.6);
        assert!(growing.drift_percent.interval95().unwrap()[0] > 0.0);
        let still = check_skein(&[photo(&[1.9, 2.1, 1.95, 2.05, 1.9], 0.0)], 5.0).unwrap();
        let [low, high] = still.drift_percent.interval95().unwrap();
        assert!(low < 0.0 && high > 0.0);
    }

    #[test]
    fn photos_of_different_yarns_are_no_skein() {
        let mut other = photo(&[2.0, 2.1], 0.05);
        other.sample.plies = Quantity::likely(1, 0.999, crate::figures::Method::Combined);
        let check = check_skein(&[photo(&[2.0, 2.1], 0.05), other], 5.0).unwrap();
        assert_eq!(check.sentences.len(), 1);
        assert!(check.sentences[0].contains("different yarns (plies of 1, 2)"), "{:?}", check.sentences);
        assert_eq!(check.more_passes, None);
    }

    #[test]
    fn one_pass_says_nothing_about_others() {
        let check = check_skein(&[photo(&[2.0], 0.05)], 5.0).unwrap();
        assert_eq!(check.between_passes_cv_percent.reason(), Some(&Reason::OnePiece));
        assert_eq!(check.between_photos_cv_percent.reason(), Some(&Reason::OnePhoto));
        assert_eq!(check.passes_needed, None);
        assert_eq!(check_skein(&[], 5.0), None);
    }
}
