//! Pooling of what is not a plain mean: votes, lengths, variations, counted events.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use crate::base::stats;
use crate::figures::quantity::{COVERAGE_FACTOR_95, Component, Sourced};
use crate::figures::report::{Fault, Faults, Report, Sample};
use crate::figures::{Method, Quantity, Reason, Warning};
use crate::work::figure::Figure;

use super::split;

/// The reason given most often; among equals the one met first.
pub(super) fn commonest_reason<'a>(reasons: impl Iterator<Item = Option<&'a Reason>>) -> Reason {
    let mut counted: Vec<(&Reason, usize)> = Vec::new();
    for reason in reasons.flatten() {
        match counted.iter_mut().find(|(r, _)| *r == reason) {
            Some((_, n)) => *n += 1,
            None => counted.push((reason, 1)),
        }
    }
    let most = counted.iter().map(|(_, n)| *n).max();
    counted.iter().find(|(_, n)| Some(*n) == most).map_or(Reason::NotFinite, |(r, _)| (*r).clone())
}

/// The label that all labelled photos bear; photos without one are taken along, different labels are said.
pub(super) fn common_label(samples: &[&Sample], warnings: &mut Vec<Warning>) -> Option<String> {
    let mut labels: Vec<&String> = samples.iter().filter_map(|s| s.label.as_ref()).collect();
    labels.sort();
    labels.dedup();
    match labels.as_slice() {
        [] => None,
        [one] => Some((*one).clone()),
        several => {
            let names = several.iter().map(|l| format!("\u{201c}{l}\u{201d}")).collect::<Vec<_>>().join(", ");
            warnings.push(Warning {
                code: "labels-differ".to_owned(),
                message: format!("These photos bear different labels ({names}) and were pooled as one sample all the same; check that they belong together."),
            });
            None
        }
    }
}

/// The answer that the photos' probabilities favour together; unanswered when it stays below nine in ten.
///
/// Photos of one yarn share much of what misleads them, so agreement does not multiply certainty: the probability of
/// an answer is the mean over the answering photos of what each gives it, or the best single one when all agree.
pub(super) fn vote<'a, T: Clone + PartialEq + 'a>(quantities: impl Iterator<Item = &'a Quantity<T>>) -> Quantity<T> {
    let quantities: Vec<&Quantity<T>> = quantities.collect();
    let mut given: Vec<(&T, f64, f64)> = Vec::new();
    let (mut answered, mut method) = (0u32, None);
    for quantity in &quantities {
        let Quantity::Measured { value, probability, method: how, .. } = quantity else { continue };
        let p = probability.unwrap_or(1.0);
        answered += 1;
        method = Some(method.map_or(*how, |m: Method| if m == *how { m } else { Method::Combined }));
        match given.iter_mut().find(|(v, ..)| *v == value) {
            Some((_, sum, best)) => {
                *sum += p;
                *best = best.max(p);
            }
            None => given.push((value, p, p)),
        }
    }
    let Some(method) = method else {
        return Quantity::Unanswered(commonest_reason(quantities.iter().map(|q| q.reason())));
    };
    match given.as_slice() {
        [(value, _, best)] => Quantity::likely((*value).clone(), *best, method),
        several => {
            let most = several.iter().max_by(|a, b| a.1.total_cmp(&b.1));
            match most {
                Some((value, sum, _)) if *sum / f64::from(answered) >= 0.9 => {
                    Quantity::likely((*value).clone(), *sum / f64::from(answered), Method::Combined)
                }
                _ => Quantity::Unanswered(Reason::PhotosDisagree),
            }
        }
    }
}

/// All measured lengths together: what the photos share adds up, what is their own adds in squares.
pub(super) fn total_length(samples: &[&Sample]) -> Quantity<f64> {
    let splits: Vec<_> = samples.iter().filter_map(|s| split(&s.length_mm)).collect();
    if splits.is_empty() {
        return Quantity::Unanswered(commonest_reason(samples.iter().map(|s| s.length_mm.reason())));
    }
    let own = splits.iter().map(|s| s.reading.u.powi(2)).sum::<f64>().sqrt();
    let shared: f64 = splits.iter().map(|s| s.shared).sum();
    Quantity::from_budget(
        splits.iter().map(|s| s.reading.value).sum(),
        Method::CentreLine,
        vec![
            Component { source: Sourced::Picture, standard_uncertainty: own },
            Component { source: Sourced::Scale, standard_uncertainty: shared },
        ],
    )
}

/// The mean of each ply's angle, where all photos that list them list as many as there are plies.
pub(super) fn mean_ply_angles(samples: &[&Sample], plies: Option<u32>) -> Option<Vec<f64>> {
    let lists: Vec<&Vec<f64>> = samples.iter().filter_map(|s| s.ply_angles_deg.as_ref()).collect();
    let n = plies? as usize;
    if lists.is_empty() || lists.iter().any(|l| l.len() != n) {
        return None;
    }
    // Which ply is which is not known from photo to photo, so each list is sorted first.
    let sorted: Vec<Vec<f64>> = lists
        .iter()
        .map(|l| {
            let mut l = (*l).clone();
            l.sort_by(f64::total_cmp);
            l
        })
        .collect();
    (0..n).map(|k| stats::mean(&sorted.iter().filter_map(|l| l.get(k).copied()).collect::<Vec<_>>())).collect()
}

/// Variation within pieces over all photos: the root of the length-weighted mean of their squares, as for the pieces of
/// one photo. Weights are the measured lengths (equal where one is unknown).
pub(super) fn pooled_cv(samples: &[&Sample], figure: Figure) -> Quantity<f64> {
    let answered: Vec<_> = samples.iter().filter_map(|s| split(figure.of(s)).map(|q| (s, q))).collect();
    if answered.is_empty() {
        return Quantity::Unanswered(commonest_reason(samples.iter().map(|s| figure.of(s).reason())));
    }
    let lengths: Option<Vec<f64>> =
        answered.iter().map(|(s, _)| s.length_mm.value().copied().filter(|l| *l > 0.0)).collect();
    let lengths = lengths.unwrap_or_else(|| vec![1.0; answered.len()]);
    let total: f64 = lengths.iter().sum();
    let square: f64 = answered.iter().zip(&lengths).map(|((_, q), l)| l / total * q.reading.value.powi(2)).sum();
    let cv = square.sqrt();
    if cv <= 0.0 {
        let high = answered.iter().map(|(_, q)| q.reading.u.hypot(q.shared)).fold(0.0, f64::max);
        return Quantity::with_interval(0.0, [0.0, COVERAGE_FACTOR_95 * high], Method::AlongStrand, Vec::new());
    }
    let (mut own, mut shared) = (0.0, 0.0);
    for ((_, q), l) in answered.iter().zip(&lengths) {
        let slope = l / total * q.reading.value / cv;
        own += (slope * q.reading.u).powi(2);
        shared += slope * q.shared;
    }
    // A few photos may not have seen the yarn's spread of evenness: the spread of the squares among them, as they are
    // weighted, is the floor of the uncertainty.
    let spread: f64 = answered
        .iter()
        .zip(&lengths)
        .map(|((_, q), l)| (l / total * (q.reading.value.powi(2) - square)).powi(2))
        .sum::<f64>()
        .sqrt()
        / (2.0 * cv);
    let own = own.sqrt().max(spread);
    let half = COVERAGE_FACTOR_95 * own.hypot(shared);
    let budget = vec![
        Component { source: Sourced::Sampling, standard_uncertainty: own },
        Component { source: Sourced::Model, standard_uncertainty: shared },
    ];
    Quantity::with_interval(cv, [(cv - half).max(0.0), cv + half], Method::AlongStrand, budget)
}

/// Variation of the mean widths of all pieces of all photos, per cent, with its 95 % interval for a normal spread
/// (chi-squared, n - 1).
pub(super) fn between_strands(reports: &[Report]) -> Quantity<f64> {
    let means: Vec<f64> =
        reports.iter().flat_map(|r| &r.strands).filter_map(|s| stats::mean(&s.profile.width_mm)).collect();
    let (Some(mean), Some(sd)) = (stats::mean(&means).filter(|m| *m > 0.0), stats::standard_deviation(&means)) else {
        return Quantity::Unanswered(Reason::OnePiece);
    };
    let spare = means.len() as f64 - 1.0;
    let cv = 100.0 * sd / mean;
    let Ok(chi) = ChiSquared::new(spare) else { return Quantity::Unanswered(Reason::OnePiece) };
    let [low, high] = [0.975, 0.025].map(|p| cv * (spare / chi.inverse_cdf(p)).sqrt());
    Quantity::with_interval(cv, [low, high], Method::AlongStrand, Vec::new())
}

/// All faults found, strands counted on from photo to photo; `None` where no photo was searched.
pub(super) fn merged_faults(samples: &[&Sample]) -> Option<Faults> {
    let mut merged: Option<Faults> = None;
    let mut before = 0;
    for sample in samples {
        if let Some(faults) = &sample.evenness.faults {
            let all = merged.get_or_insert(Faults { searched_mm: 0.0, list: Vec::new() });
            all.searched_mm += faults.searched_mm;
            all.list.extend(faults.list.iter().map(|f| Fault { strand: f.strand + before, ..f.clone() }));
        }
        before += sample.strands;
    }
    merged
}

/// Kinks per metre of all photos: their number over their length, with the exact interval of a Poisson count (Garwood,
/// Biometrika 28 (1936) 437).
pub(super) fn pooled_kinks(samples: &[&Sample]) -> Quantity<f64> {
    let seen: Vec<(f64, f64)> = samples
        .iter()
        .filter_map(|s| Some((*s.kinks.value()?, s.length_mm.value().filter(|l| **l > 0.0)? / 1000.0)))
        .collect();
    if seen.is_empty() {
        return Quantity::Unanswered(commonest_reason(samples.iter().map(|s| s.kinks.reason())));
    }
    let metres: f64 = seen.iter().map(|(_, l)| l).sum();
    let count = seen.iter().map(|(k, l)| k * l).sum::<f64>().round();
    let quantile = |p: f64, freedom: f64| ChiSquared::new(freedom).map_or(0.0, |d| d.inverse_cdf(p)) / 2.0 / metres;
    let low = if count > 0.0 { quantile(0.025, 2.0 * count) } else { 0.0 };
    let high = quantile(0.975, 2.0 * count + 2.0);
    Quantity::with_interval(count / metres, [low, high], Method::Counting, Vec::new())
}
