//! One yarn over dates or lots: a chart of single values with limits.

use crate::base::stats;
use crate::work::figure::Figure;

use super::Comparison;

/// Control limits of single values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// The mean.
    pub centre: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

/// A yarn over dates or lots.
#[derive(Debug, Clone, PartialEq)]
pub struct Control {
    /// Which figure.
    pub figure: Figure,
    /// Name, value and 95 % interval of each lot that answers, in order.
    pub points: Vec<(String, f64, [f64; 2])>,
    /// The limits; `None` for fewer than three lots.
    pub limits: Option<Limits>,
    /// Points whose whole interval lies beyond a limit.
    pub beyond: Vec<usize>,
    /// Start of the first run of eight successive points on one side of the mean.
    pub shift: Option<usize>,
}

impl Control {
    /// In plain words, one sentence each.
    #[must_use]
    pub fn sentences(&self) -> Vec<String> {
        let mut all = Vec::new();
        let name = |i: usize| self.points.get(i).map_or("", |p| p.0.as_str());
        if self.limits.is_none() {
            all.push("Limits need at least three lots.".to_owned());
        } else if self.points.len() < 8 {
            all.push(format!("The limits rest on {} lots only and will still move.", self.points.len()));
        }
        for i in &self.beyond {
            all.push(format!("{} lies beyond the limits, with its whole interval: look for a cause.", name(*i)));
        }
        if let Some(i) = self.shift {
            all.push(format!(
                "From {} on, eight lots in a row lie on one side of the mean: the yarn has drifted.",
                name(i)
            ));
        }
        if all.is_empty() {
            all.push("All lots lie within the limits, and no drift shows.".to_owned());
        }
        all
    }
}

/// The chart of one figure over the samples of a comparison in their order.
///
/// Limits of single values from the mean moving range: centre plus and minus 2.66 of it (3 standard deviations at
/// d2 = 1.128 for pairs). A run of eight on one side is a shift. Source: NIST/SEMATECH e-Handbook of Statistical Methods,
/// 6.3.2.2 (individuals charts) and 6.3.2 (run rules).
#[must_use]
pub fn control(comparison: &Comparison, figure: Figure) -> Control {
    let points: Vec<(String, f64, [f64; 2])> = comparison
        .samples
        .iter()
        .filter_map(|s| {
            let quantity = figure.of(&s.pooled.sample);
            Some((s.name.clone(), *quantity.value()?, quantity.interval95()?))
        })
        .collect();
    let values: Vec<f64> = points.iter().map(|p| p.1).collect();
    let ranges: Vec<f64> = values.windows(2).filter_map(|w| Some((w.get(1)? - w.first()?).abs())).collect();
    let limits = match (stats::mean(&values), stats::mean(&ranges)) {
        (Some(centre), Some(range)) if values.len() >= 3 => {
            Some(Limits { centre, low: centre - 2.66 * range, high: centre + 2.66 * range })
        }
        _ => None,
    };
    let beyond = limits.map_or_else(Vec::new, |l| {
        let out = |p: &(String, f64, [f64; 2])| p.2[0] > l.high || p.2[1] < l.low;
        points.iter().enumerate().filter(|(_, p)| out(p)).map(|(i, _)| i).collect()
    });
    let shift = limits.and_then(|l| {
        values.windows(8).position(|w| w.iter().all(|v| *v > l.centre) || w.iter().all(|v| *v < l.centre))
    });
    Control { figure, points, limits, beyond, shift }
}
