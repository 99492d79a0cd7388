//! What falling power does to the direction of lines, and how to undo it.
//!
//! Fibres scatter about their mean direction, so that their power lies on a fan, not on a line. Along one column of the
//! spectrum the side of the fan that is nearer to the origin is stronger, since power falls with frequency, the more the
//! blurrier the picture: the column's maximum is pulled towards lines square to the strand. With power `k^-p` and a
//! scatter of variance `v` (radians squared) lines at an angle `a` to the strand are seen at `a + v p cot(a)`: the
//! logarithm of a Gaussian fan and of the fall added up, its maximum taken to first order.

use super::orient::{Directions, NEAR};

/// The fan of lines in all windows of a piece together.
#[derive(Debug)]
pub(super) struct Ridge {
    /// Power against the degrees from each window's own maximum.
    around: Vec<f64>,
    /// Power along the maximum, per column of the spectrum.
    along: Vec<f64>,
    /// Sum of the maxima's distances from the strand's direction, radians, and their number.
    angles: (f64, usize),
    /// Deviation of the rows' taper, cycles per row; it widens the picture's spectrum and the gathering does it again.
    taper: f64,
}

impl Ridge {
    /// For windows whose spectrum has `columns` columns, with `rows` rows under a Hann taper.
    pub(super) fn new(columns: usize, rows: usize) -> Self {
        Self {
            around: vec![0.0; 2 * NEAR as usize + 1],
            along: vec![0.0; columns],
            angles: (0.0, 0),
            taper: super::orient::taper_deviation(rows),
        }
    }

    /// Adds a window.
    pub(super) fn add(&mut self, seen: &Directions) {
        let top = seen.around.iter().copied().fold(0.0, f64::max);
        if top <= 0.0 {
            return;
        }
        // Lines that fall the other way are the same fan mirrored.
        let mirrored = seen.middle < 0.0;
        let count = seen.around.len();
        for (i, sum) in self.around.iter_mut().enumerate() {
            *sum += seen.around[if mirrored { count - 1 - i } else { i }] / top;
        }
        for (sum, power) in self.along.iter_mut().zip(&seen.ridge) {
            *sum += power / top;
        }
        self.angles.0 += seen.middle.abs();
        self.angles.1 += 1;
    }

    /// An angle that a window showed, freed of what the fall did to it, radians.
    pub(super) fn freed(&self, angle: f64) -> f64 {
        let Some(pull) = self.pull() else { return angle };
        let size = angle.abs();
        // Near the strand's own direction the first order no longer holds; nor is it larger than a fraction of the angle.
        let shift = (pull / size.tan().max(0.05)).clamp(0.0, 0.25 * size);
        angle - shift.copysign(angle)
    }

    /// Variance of the scatter times the exponent of the fall.
    fn pull(&self) -> Option<f64> {
        if self.angles.1 == 0 {
            return None;
        }
        let angle = self.angles.0 / self.angles.1 as f64;
        let sine = angle.sin().max(0.02);
        let columns = 2.0 * self.along.len() as f64;
        // Wave number, power there, and variance of direction that the tapers alone make of it.
        let rays: Vec<(f64, f64, f64)> = self
            .along
            .iter()
            .enumerate()
            .filter(|(_, power)| **power > 0.0)
            .map(|(x, power)| {
                let k = x as f64 / columns / sine;
                (k, *power, 2.0 * (self.taper * sine / k).powi(2))
            })
            .collect();
        let scatter = scatter(&rays, half_width(&self.around)?);
        Some(scatter * fall(&rays, scatter)?)
    }
}

/// Half the full width at half height of a curve around its middle, radians; its steps are degrees.
fn half_width(curve: &[f64]) -> Option<f64> {
    let middle = curve.len() / 2;
    let top = *curve.get(middle)?;
    let reach = |next: &dyn Fn(usize) -> Option<f64>| -> f64 {
        let mut before = top;
        for d in 1..=middle {
            let here = next(d).unwrap_or(0.0);
            if here < top / 2.0 {
                return d as f64 - 1.0 + (before - top / 2.0) / (before - here).max(1e-12);
            }
            before = here;
        }
        middle as f64
    };
    let (left, right) = (reach(&|d| curve.get(middle - d).copied()), reach(&|d| curve.get(middle + d).copied()));
    (top > 0.0).then(|| ((left + right) / 2.0).to_radians())
}

/// Variance of the fibres' own scatter that together with the tapers' makes the fan as wide as it is seen, radians squared.
fn scatter(rays: &[(f64, f64, f64)], half_width: f64) -> f64 {
    let share = |variance: f64, at: f64| -> f64 {
        let (mut sum, mut whole) = (0.0, 0.0);
        for (_, power, taper) in rays {
            sum += power * (-0.5 * at * at / (variance + taper)).exp();
            whole += power;
        }
        if whole > 0.0 { sum / whole } else { 1.0 }
    };
    let (mut low, mut high) = (0.0, 15f64.to_radians().powi(2));
    for _ in 0..30 {
        let middle = (low + high) / 2.0;
        if share(middle, half_width) < 0.5 { low = middle } else { high = middle }
    }
    low
}

/// Exponent with which the fibres' power falls with frequency: the slope of the logarithms, weighed by the power.
fn fall(rays: &[(f64, f64, f64)], scatter: f64) -> Option<f64> {
    // The tapers widen the fan and lower its crest by as much.
    let crest = |power: f64, taper: f64| power * ((scatter + taper) / scatter.max(1e-9)).sqrt();
    let points = rays.iter().map(|(k, power, taper)| (k.ln(), crest(*power, *taper).ln(), *power));
    crate::base::stats::weighted_line(points).map(|(_, slope)| (-slope).clamp(0.0, 8.0))
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::super::orient::{Gather, Ring, peak};
    use super::*;

    /// Spectrum of a fan of lines at `angle` with the given scatter whose power falls as `k^-exponent`: truth by construction.
    fn fan(nx: usize, ny: usize, angle: f64, scatter: f64, exponent: f64) -> Vec<f32> {
        let mut power = vec![0.0f32; nx / 2 * ny];
        for x in 1..nx / 2 {
            for y in 0..ny {
                let kx = x as f64 / nx as f64;
                let ky = if 2 * y > ny { y as f64 - ny as f64 } else { y as f64 } / ny as f64;
                // Lines at an angle have their power across them: ky = -kx / tan(angle).
                let along = (-kx).atan2(ky);
                let off = (along - angle + 0.5 * PI).rem_euclid(PI) - 0.5 * PI;
                let value = kx.hypot(ky).powf(-exponent) * (-0.5 * (off / scatter).powi(2)).exp();
                power[x * ny + y] = value as f32;
            }
        }
        power
    }

    #[test]
    fn a_fan_is_seen_too_steep_and_set_right() {
        // A tenth of a degree for the steps of the search, and a fifth of the pull for its first order.
        let (nx, ny, rows) = (512, 512, 400);
        let gather = Gather::new(nx, ny, rows, Ring { low: 0.05, high: 0.35 });
        for (angle, scatter, exponent) in [(20.0f64, 5.0f64, 3.0), (30.0, 6.0, 4.0), (30.0, 4.0, 2.0), (42.0, 6.0, 4.0)]
        {
            for sign in [1.0, -1.0] {
                let power = fan(nx, ny, sign * angle.to_radians(), scatter.to_radians(), exponent);
                let seen = gather.along_directions(&power);
                let shown = peak(&seen.directions);
                let mut ridge = Ridge::new(nx / 2, rows);
                ridge.add(&seen);
                let pull = (scatter.to_radians().powi(2) * exponent / shown.abs().tan()).to_degrees();
                let (before, after) = ((shown * sign).to_degrees(), (ridge.freed(shown) * sign).to_degrees());
                assert!(before > angle + 0.6 * pull, "{angle} {scatter} {exponent}: seen at {before}");
                assert!(
                    (after - angle).abs() < 0.1 + 0.2 * pull,
                    "{angle} {scatter} {exponent}: {before} became {after}"
                );
            }
        }
    }
}
