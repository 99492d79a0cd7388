//! Arithmetic of evenness: deviations, limits, and what plying and length do to them. Pure definitions for plans and
//! tests; the measured figures come from `measure::evenness`.

use crate::base::stats;

/// Coefficient of variation, per cent: standard deviation (divisor n - 1) over mean. `None` for fewer than two values
/// or a mean that is not positive.
#[must_use]
pub fn cv_percent(values: &[f64]) -> Option<f64> {
    let mean = stats::mean(values).filter(|m| *m > 0.0)?;
    stats::standard_deviation(values).map(|s| 100.0 * s / mean)
}

/// Mean deviation U, per cent: mean of |x - mean| over the mean. A normal series has CV = 1.2533 U. `None` when empty
/// or the mean is not positive.
#[must_use]
pub fn mean_deviation_percent(values: &[f64]) -> Option<f64> {
    let mean = stats::mean(values).filter(|m| *m > 0.0)?;
    Some(100.0 * values.iter().map(|v| (v - mean).abs()).sum::<f64>() / values.len() as f64 / mean)
}

/// CV of mass, per cent, that widths imply at constant packing: the CV of their squares. To first order twice the CV
/// of the width. `None` as [`cv_percent`].
#[must_use]
pub fn mass_cv_percent(widths: &[f64]) -> Option<f64> {
    cv_percent(&widths.iter().map(|w| w * w).collect::<Vec<_>>())
}

/// A deviation of mass, per cent, as the deviation of diameter at constant packing: sqrt(1 + m) - 1. NaN below -100 %.
#[must_use]
pub fn diameter_deviation_percent(mass_percent: f64) -> f64 {
    100.0 * ((1.0 + mass_percent / 100.0).sqrt() - 1.0)
}

/// Lowest CV of mass, per cent, that fibres laid at random can give: 100 / sqrt(n) sqrt(1 + (CV_A / 100)^2), `n` fibres
/// in the section whose own cross-sections vary by `fibre_area_cv_percent`. Source: Martindale, Journal of the Textile
/// Institute 36 (1945) T35.
#[must_use]
pub fn limit_cv_percent(fibres: f64, fibre_area_cv_percent: f64) -> f64 {
    100.0 / fibres.sqrt() * (1.0 + (fibre_area_cv_percent / 100.0).powi(2)).sqrt()
}

/// How many times the random limit a yarn's CV is; 1 is as even as chance allows.
#[must_use]
pub fn irregularity_index(cv_percent: f64, limit_cv_percent: f64) -> f64 {
    cv_percent / limit_cv_percent
}

/// CV of `plies` equal and independent singles plied together: CV / sqrt(n).
#[must_use]
pub fn plied_cv_percent(singles_cv_percent: f64, plies: u32) -> f64 {
    singles_cv_percent / f64::from(plies.max(1)).sqrt()
}

/// CV between lengths of `window` samples each (their means), per cent: one point of the variance-length curve.
/// White noise falls as 1/sqrt(length); a sine vanishes at whole periods. `None` for fewer than two whole windows.
/// Source: Townsend & Cox, Journal of the Textile Institute 42 (1951) P107.
#[must_use]
pub fn between_lengths_cv_percent(values: &[f64], window: usize) -> Option<f64> {
    let means: Vec<f64> = values.chunks_exact(window.max(1)).filter_map(stats::mean).collect();
    cv_percent(&means)
}
