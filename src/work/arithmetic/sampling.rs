//! How many readings an answer needs, and Student's distribution for few of them.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// Readings needed so that their mean lies within `within_percent` (95 %): n = (1.96 CV / x)^2, rounded up, at least 1.
/// Source: normal theory of the mean. `None` unless `cv_percent` is at least 0 and `within_percent` above 0, both finite.
#[must_use]
pub fn readings_needed(cv_percent: f64, within_percent: f64) -> Option<u64> {
    let n = (1.96 * cv_percent / within_percent).powi(2);
    (cv_percent >= 0.0 && within_percent > 0.0 && n.is_finite() && n < 1e15).then(|| {
        // Whole numbers that the square misses by rounding stay whole.
        (n - 1e-9).ceil().max(1.0) as u64
    })
}

/// Degrees of freedom beyond which Student's distribution is taken as this far along: at a million its 95 % quantile is
/// within 3e-6 of the normal one, and the library's search for the quantile does not end at infinity.
const ENOUGH_FREEDOM: f64 = 1e6;

/// Student's distribution for at least one degree of freedom; not a number counts as one.
fn student(freedom: f64) -> Option<StudentsT> {
    let freedom = if freedom.is_nan() { 1.0 } else { freedom.clamp(1.0, ENOUGH_FREEDOM) };
    StudentsT::new(0.0, 1.0, freedom).ok()
}

/// Two-sided quantile of Student's distribution: |t| stays below it with probability `confidence` at `freedom`
/// degrees of freedom (need not be whole; at least 1 is used). Infinity when `confidence` is 1 or not a number.
#[must_use]
pub fn student_t(confidence: f64, freedom: f64) -> f64 {
    match student(freedom) {
        Some(distribution) if (0.0..1.0).contains(&confidence) => distribution.inverse_cdf(0.5 + confidence / 2.0),
        _ => f64::INFINITY,
    }
}

/// Probability that |t| is at least as large at `freedom` degrees of freedom (at least 1 is used); 1 when it cannot be
/// told.
#[must_use]
pub fn student_p(t: f64, freedom: f64) -> f64 {
    match student(freedom) {
        Some(distribution) if t.is_finite() => (2.0 * distribution.sf(t.abs())).clamp(0.0, 1.0),
        Some(_) if t.is_infinite() => 0.0,
        _ => 1.0,
    }
}
