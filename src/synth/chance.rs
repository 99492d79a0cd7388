//! Repeatable chance: the same seed gives the same scene on every machine.
//!
//! SplitMix64 (Steele, Lea & Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014) for draws, its
//! finisher as a hash for noise that can be looked up anywhere without a table.

/// A stream of draws.
#[derive(Debug, Clone)]
pub(super) struct Chance(u64);

const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;

/// Mixes the bits of `x` (the finisher of SplitMix64).
pub(super) fn hash(x: u64) -> u64 {
    let x = x.wrapping_add(GOLDEN);
    let x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    x ^ (x >> 31)
}

/// The top 53 bits as a number from 0 up to 1.
fn unit_of(bits: u64) -> f64 {
    (bits >> 11) as f64 / (1u64 << 53) as f64
}

impl Chance {
    /// A stream of its own for each pair of seed and purpose.
    pub(super) fn new(seed: u64, purpose: u64) -> Self {
        Self(hash(seed ^ hash(purpose)))
    }
    /// 64 random bits.
    pub(super) fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(GOLDEN);
        hash(self.0)
    }
    /// Evenly from 0 up to 1.
    pub(super) fn unit(&mut self) -> f64 {
        unit_of(self.bits())
    }
    /// Evenly between two bounds.
    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }
    /// Evenly in the logarithm between two positive bounds.
    pub(super) fn log_between(&mut self, low: f64, high: f64) -> f64 {
        (self.between(low.ln(), high.ln())).exp()
    }
    /// True with probability `p`.
    pub(super) fn happens(&mut self, p: f64) -> bool {
        self.unit() < p
    }
    /// Normal with mean 0 and deviation 1 (Box-Muller).
    pub(super) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }
    /// One of the choices; the first where there is only one. `choices` must not be empty.
    pub(super) fn pick<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[(self.unit() * choices.len() as f64) as usize % choices.len()]
    }
}

/// A value from -1 to 1 that belongs to a lattice point.
pub(super) fn lattice(seed: u64, i: i64, j: i64) -> f64 {
    let key = seed ^ (i as u64).wrapping_mul(GOLDEN) ^ (j as u64).wrapping_mul(0xc2b2_ae3d_27d4_eb4f);
    unit_of(hash(key)) * 2.0 - 1.0
}

/// Smooth step with zero slope at both ends, `t` from 0 to 1.
fn ease(t: f64) -> f64 {
    t * t * (3.0 - 2.0 * t)
}

/// Smooth noise along a line: mean 0, deviation close to 1, features about one unit of `x` long.
///
/// Lattice values are uniform (deviation 1/sqrt 3); eased between neighbours their mean square is
/// 1/3 * integral((1 - w)^2 + w^2) = 1/3 * 0.743, so the factor is 2.009.
pub(super) fn wave(seed: u64, x: f64) -> f64 {
    let cell = x.floor();
    let w = ease(x - cell);
    let (a, b) = (lattice(seed, cell as i64, 0), lattice(seed, cell as i64 + 1, 0));
    2.009 * (a + (b - a) * w)
}

/// Smooth noise along each of many lines, from -1 to 1; neighbouring lines have nothing in common.
pub(super) fn along_fibre(seed: u64, line: i64, x: f64) -> f64 {
    let cell = x.floor();
    let (a, b) = (lattice(seed, line, cell as i64), lattice(seed, line, cell as i64 + 1));
    a + (b - a) * ease(x - cell)
}

/// Smooth noise over a plane, from about -1 to 1.
pub(super) fn cloud(seed: u64, x: f64, y: f64) -> f64 {
    let (cx, cy) = (x.floor(), y.floor());
    let (wx, wy) = (ease(x - cx), ease(y - cy));
    let (i, j) = (cx as i64, cy as i64);
    let top = lattice(seed, i, j) + (lattice(seed, i + 1, j) - lattice(seed, i, j)) * wx;
    let bottom = lattice(seed, i, j + 1) + (lattice(seed, i + 1, j + 1) - lattice(seed, i, j + 1)) * wx;
    top + (bottom - top) * wy
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: SplitMix64 seeded with 1234567, first outputs published with the reference implementation
    /// (Vigna, splitmix64.c; values as listed on Rosetta Code), from memory.
    #[test]
    fn stream_is_splitmix64() {
        let mut chance = Chance(1_234_567);
        assert_eq!(chance.bits(), hash(1_234_567 + 0u64.wrapping_add(GOLDEN)));
        assert_eq!(hash(1_234_567), 6_457_827_717_110_365_317);
    }

    #[test]
    fn noise_has_the_deviation_that_it_claims() {
        let values: Vec<f64> = (0..20_000).map(|i| wave(7, f64::from(i) * 0.37)).collect();
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let deviation = (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / values.len() as f64).sqrt();
        assert!(mean.abs() < 0.05, "mean {mean}");
        assert!((deviation - 1.0).abs() < 0.05, "deviation {deviation}");
    }
}
