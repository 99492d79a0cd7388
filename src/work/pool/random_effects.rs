//! One mean of several photos' results, each with its own uncertainty, that may also vary among themselves.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use crate::work::arithmetic::sampling::student_t;

/// A result and the standard uncertainty that is its own (not shared with the others).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// The result.
    pub value: f64,
    /// Its own standard uncertainty, same unit; positive.
    pub u: f64,
}

/// The mean of several results under the random-effects model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pooled {
    /// The weighted mean.
    pub mean: f64,
    /// Its standard uncertainty from what is not shared.
    pub u: f64,
    /// Effective degrees of freedom of `u` (Welch-Satterthwaite, JCGM 100:2008, G.4.1): the readings' own
    /// uncertainties count as known, the spread among them has n - 1.
    pub freedom: f64,
    /// Standard deviation among the results beyond their own uncertainty (0 when none shows).
    pub between: f64,
    /// 95 % interval of `between` (Q profile).
    pub between95: [f64; 2],
}

impl Pooled {
    /// Half the 95 % interval of the mean, `shared` standard uncertainty of all readings alike added in squares.
    #[must_use]
    pub fn half_width(&self, shared: f64) -> f64 {
        (student_t(0.95, self.freedom) * self.u).hypot(1.96 * shared)
    }
}

/// Weights, weighted mean and generalised Q at a between-results variance.
fn at(readings: &[Reading], variance: f64) -> (f64, f64, f64) {
    let weight = |r: &Reading| 1.0 / (r.u * r.u + variance);
    let sum: f64 = readings.iter().map(weight).sum();
    let mean = readings.iter().map(|r| weight(r) * r.value).sum::<f64>() / sum;
    let q = readings.iter().map(|r| weight(r) * (r.value - mean).powi(2)).sum();
    (sum, mean, q)
}

/// The variance at which Q equals `wished`; 0 where Q is below it already. Q falls as the variance grows.
fn variance_where_q_is(readings: &[Reading], wished: f64) -> f64 {
    if at(readings, 0.0).2 <= wished {
        return 0.0;
    }
    let mean = readings.iter().map(|r| r.value).sum::<f64>() / readings.len() as f64;
    let spread: f64 = readings.iter().map(|r| (r.value - mean).powi(2)).sum();
    let (mut low, mut high) = (0.0, spread);
    while at(readings, high).2 > wished && high < f64::MAX / 4.0 {
        high *= 2.0;
    }
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if at(readings, middle).2 > wished { low = middle } else { high = middle }
    }
    f64::midpoint(low, high)
}

/// Pools readings: the between-results variance solves Q = n - 1 (Paule & Mandel, Journal of Research of the National
/// Bureau of Standards 87 (1982) 377), weights are 1 / (u^2 + between^2), the interval of `between` comes from the Q
/// profile (Viechtbauer, Statistics in Medicine 26 (2007) 37). `None` when empty or a reading is not finite or its `u`
/// not positive. One reading is returned as it stands, with `between` unknown: 0 within [0, infinity].
#[must_use]
pub fn pool(readings: &[Reading]) -> Option<Pooled> {
    let sound = |r: &Reading| r.value.is_finite() && r.u.is_finite() && r.u > 0.0;
    let first = readings.first()?;
    if !readings.iter().all(sound) {
        return None;
    }
    if readings.len() == 1 {
        return Some(Pooled {
            mean: first.value,
            u: first.u,
            freedom: f64::INFINITY,
            between: 0.0,
            between95: [0.0, f64::INFINITY],
        });
    }
    let spare = readings.len() as f64 - 1.0;
    let variance = variance_where_q_is(readings, spare);
    let (sum, mean, _) = at(readings, variance);
    let u_squared = 1.0 / sum;
    // The part of the mean's variance that the spread among the readings supplies.
    let from_spread: f64 =
        readings.iter().map(|r| variance / (r.u * r.u + variance).powi(2)).sum::<f64>() / (sum * sum);
    let freedom = if from_spread > 0.0 { spare * (u_squared / from_spread).powi(2) } else { f64::INFINITY };
    let quantile = |p: f64| ChiSquared::new(spare).map_or(f64::NAN, |d| d.inverse_cdf(p));
    let between95 = [quantile(0.975), quantile(0.025)].map(|q| variance_where_q_is(readings, q).sqrt());
    Some(Pooled { mean, u: u_squared.sqrt(), freedom, between: variance.sqrt(), between95 })
}
