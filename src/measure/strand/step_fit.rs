//! Where an edge lies to a fraction of a pixel: a blurred step between two ramps, fitted to the profile across it.
//!
//! On either side of the core's edge brightness changes by itself: the round body darkens towards its rim, a shadow
//! deepens towards the body. Half of the way between mean levels is then off by a good part of a pixel, always to the
//! same side. The model keeps the two apart: `(1 - s) (a0 + a1 x) + s (b0 + b1 x)` with `s` the step blurred by the
//! picture's own blur, and only its place is searched; the four others follow by linear least squares.

use nalgebra::{DMatrix, DVector};

/// Spacing of the places tried, rows; the minimum between them is found by a parabola.
const SPACING: f64 = 0.25;

/// Rows that a profile needs beyond the edge on either side, to tell level and ramp there.
const BEYOND: usize = 3;

/// Ridge on the two slopes, in heights of the step a row: ramps are gentle, a steep one would be the step itself.
const SLOPE_RIDGE: f64 = 0.5;

/// All places tried, with the matrix that takes a profile to the part of it that the model does not explain.
#[derive(Debug)]
pub(super) struct StepFit {
    /// Half the profile's length, rows.
    pub(super) half_taps: usize,
    /// Standard deviation of the first guess, rows.
    guess_deviation: f64,
    places: Vec<(f64, DMatrix<f64>)>,
}

/// A fitted edge.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fitted {
    /// Outwards from the profile's middle, rows.
    pub(super) offset: f64,
    /// Standard uncertainty from what the model leaves, rows.
    pub(super) u: f64,
}

impl StepFit {
    /// Prepares the fit for profiles of `2 half_taps + 1` rows under a blur of `sigma` rows, about a first guess that is
    /// good to `guess_deviation` rows.
    pub(super) fn new(half_taps: usize, sigma: f64, guess_deviation: f64) -> Option<Self> {
        let taps = 2 * half_taps + 1;
        let reach = half_taps.checked_sub(BEYOND)? as f64;
        let count = (2.0 * reach / SPACING) as i32;
        let places = (0..=count)
            .map(|k| {
                let e = f64::from(k) * SPACING - reach;
                let design = DMatrix::from_fn(taps, 4, |row, column| {
                    let x = row as f64 - half_taps as f64 - e;
                    let s = normal_cumulative(x / sigma);
                    match column {
                        0 => 1.0 - s,
                        1 => (1.0 - s) * x,
                        2 => s,
                        _ => s * x,
                    }
                });
                let ridge = DMatrix::from_diagonal(&DVector::from_vec(vec![
                    1e-9,
                    SLOPE_RIDGE * SLOPE_RIDGE,
                    1e-9,
                    SLOPE_RIDGE * SLOPE_RIDGE,
                ]));
                let normal = design.transpose() * &design + ridge;
                let inverse = normal.try_inverse()?;
                // Residual sum of squares plus the ridge's own cost: P' (I - A N^-1 A') P.
                let left = DMatrix::identity(taps, taps) - &design * inverse * design.transpose();
                Some((e, left))
            })
            .collect::<Option<Vec<_>>>()?;
        Some(Self { half_taps, guess_deviation, places })
    }

    /// The likeliest place of the edge in a profile, whose step is about 1 high; `None` where the best place is at the
    /// end of the reach.
    pub(super) fn place(&self, profile: &[f64]) -> Option<Fitted> {
        if profile.len() != 2 * self.half_taps + 1 {
            return None;
        }
        let p = DVector::from_column_slice(profile);
        // Neighbouring taps share the blur and the texture: about half of them are independent.
        let independent = profile.len() as f64 / 2.0;
        let costs: Vec<f64> = self
            .places
            .iter()
            .map(|(e, left)| {
                let square = (left * &p).dot(&p).max(0.0) + 1e-4;
                independent * square.ln() + (e / self.guess_deviation).powi(2)
            })
            .collect();
        let best = (0..costs.len()).min_by(|a, b| costs[*a].total_cmp(&costs[*b]))?;
        if best == 0 || best + 1 == costs.len() {
            return None;
        }
        let (before, here, after) = (costs[best - 1], costs[best], costs[best + 1]);
        let curvature = (before + after - 2.0 * here).max(1e-6);
        let shift = 0.5 * (before - after) / curvature;
        let offset = self.places[best].0 + shift.clamp(-1.0, 1.0) * SPACING;
        // Cost is minus twice the log likelihood: its second derivative is 2 / variance.
        Some(Fitted { offset, u: (2.0 / (curvature / (SPACING * SPACING))).sqrt().min(self.half_taps as f64) })
    }
}

/// Cumulative normal distribution by Abramowitz & Stegun 7.1.26 (error below 1.5e-7; from memory).
fn normal_cumulative(x: f64) -> f64 {
    let z = x.abs() / std::f64::consts::SQRT_2;
    let t = 1.0 / (1.0 + 0.327_591_1 * z);
    let poly =
        t * (0.254_829_592 + t * (-0.284_496_736 + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    let erf = 1.0 - poly * (-z * z).exp();
    if x >= 0.0 { 0.5 * (1.0 + erf) } else { 0.5 * (1.0 - erf) }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: tables of the normal distribution.
    #[test]
    fn cumulative_normal_has_its_known_values() {
        approx::assert_relative_eq!(normal_cumulative(0.0), 0.5, epsilon = 1e-6);
        approx::assert_relative_eq!(normal_cumulative(1.96), 0.975_002, epsilon = 1e-5);
        approx::assert_relative_eq!(normal_cumulative(-1.0), 0.158_655, epsilon = 1e-5);
    }

    /// Steps between ramps: a dark rim inside, a deepening shadow outside.
    #[test]
    fn ramps_beside_a_step_do_not_move_it() {
        let fit = StepFit::new(8, 1.0, 3.0).unwrap();
        for edge in [-2.3, -0.4, 0.0, 1.1, 2.6] {
            let profile: Vec<f64> = (-8..=8)
                .map(|k| {
                    let x = f64::from(k) - edge;
                    let s = normal_cumulative(x);
                    (1.0 - s) * (1.0 - 0.02 * x) + s * (0.04 * x)
                })
                .collect();
            let found = fit.place(&profile).unwrap();
            assert!((found.offset - edge).abs() < 0.12, "{} for {edge}", found.offset);
        }
    }
}
