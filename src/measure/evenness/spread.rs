//! How much the averaged width varies.

use super::turning::AveragedWidth;
use crate::base::stats::{mean, standard_deviation};

/// A coefficient of variation and its standard uncertainty, per cent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// 100 s / mean, divisor n - 1.
    pub cv_percent: f64,
    /// Standard uncertainty, percentage points.
    pub u: f64,
}

/// Root of the length-weighted mean of the squared coefficients of variation of the pieces, per cent.
///
/// `pieces`: averaged widths of each piece and its measured length. `noise`: standard deviation of one averaged width
/// that comes from placing the edges, as a fraction of the width; its square is taken out of the variance, since noise
/// adds to what is seen. `wander`: standard uncertainty of the mean width from its edges, as a fraction of the width: part of
/// it comes and goes along the strand. `None` unless some piece has at least 20 averaged widths.
///
/// The uncertainty: relative error of the slope between true and seen width changes (the edges are smoothed along the
/// strand by a tenth of a diameter at most, and an edge placed at the wrong height moves with the contrast), taken as
/// 7 % of the value; half of what the noise adds; and the variance of edges that wander, which may add to what is seen or hide
/// some of it: half of the square of `wander`, the other half being the same all along.
#[must_use]
pub fn width_spread(pieces: &[(Vec<AveragedWidth>, f64)], noise: f64, wander: f64) -> Option<Spread> {
    let mut sum = 0.0;
    let mut weight = 0.0;
    for (averaged, length) in pieces {
        if averaged.len() < 20 {
            continue;
        }
        let widths: Vec<f64> = averaged.iter().map(|a| a.width).collect();
        let (Some(s), Some(m)) = (standard_deviation(&widths), mean(&widths)) else { continue };
        if m > 0.0 {
            sum += length * (s / m).powi(2);
            weight += length;
        }
    }
    if weight <= 0.0 {
        return None;
    }
    let seen = sum / weight;
    let true_square = (seen - noise * noise).max(0.0);
    let cv = true_square.sqrt();
    let noise_part = (seen.sqrt() - cv).abs() / 2.0;
    let wandering = wander * wander / 2.0;
    // d cv = d(cv^2) / (2 cv), and no more than the root of it where the strand is even.
    let wander_part = wandering / (2.0 * cv.max(wandering.sqrt()).max(1e-9));
    Some(Spread { cv_percent: 100.0 * cv, u: 100.0 * (0.07 * cv).hypot(noise_part).hypot(wander_part).max(0.001) })
}

/// Coefficient of variation of the means of several pieces, per cent; `None` for fewer than two.
///
/// The uncertainty is that of a standard deviation from n values, `s / sqrt(2 (n - 1))`. Source: JCGM 100:2008, E.4.3.
#[must_use]
pub fn between_pieces(means: &[f64]) -> Option<Spread> {
    let (s, m) = (standard_deviation(means)?, mean(means)?);
    (m > 0.0).then(|| {
        let cv = 100.0 * s / m;
        Spread { cv_percent: cv, u: cv / (2.0 * (means.len() as f64 - 1.0)).sqrt() }
    })
}
