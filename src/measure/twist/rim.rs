//! What repeats along the edges of a strand and in the shadow beside it.
//!
//! Plies swell the outline as they pass, each edge once per ply, and the shadow on the ground draws the same outline again:
//! larger, and where the edge itself is lost, as of light yarn on a light card. Singles' outlines wander, but do not repeat.

use super::bands::{Bands, PER_OCTAVE, best_path};
use super::face::Face;
use super::track::range;
use rustfft::num_complex::Complex;

/// Rows across, local radii from the middle: from just inside the edge out over hairs and shadow.
const OFFSETS: [f64; 10] = [0.85, 0.95, 1.05, 1.15, 1.3, 1.5, 1.7, 1.9, 2.15, 2.4];

/// Share of the octave above that counts towards a band: bumps have a second harmonic, wandering has not.
const SECOND: f64 = 0.5;
/// Most that it may be of the band itself: where there is no fundamental, the octave above is the pattern.
const OVERTONE: f64 = 4.0;

/// What repeats there.
#[derive(Debug, Clone)]
pub(super) struct Rim {
    /// Logarithm of the power that repeats over what wanders alike, mean along the strand.
    pub(super) clear: f64,
    /// How often it repeats, per column.
    pub(super) rate: f64,
    /// The band that it lies in, per column.
    pub(super) bands: Vec<usize>,
}

/// Where the rows of the face lie that [`Rim::of`] looks at.
pub(super) fn rows() -> Vec<f64> {
    OFFSETS.iter().rev().map(|o| -o).chain(OFFSETS).collect()
}

impl Rim {
    /// Looks along the rows of a face that is `width` columns wide.
    pub(super) fn of(face: &Face, width: f64) -> Option<Self> {
        let n = face.columns;
        let (low, high) = range(width, n)?;
        let bands = Bands::new(n, low, high);
        let count = bands.rates.len();
        let block = (width / 4.0).round().max(1.0) as usize;
        let blocks: Vec<usize> =
            (0..n / block).filter(|b| face.usable[b * block..(b + 1) * block].iter().all(|u| *u)).collect();
        if blocks.len() < 16 {
            return None;
        }
        // Mean power per band and block.
        let mut power = vec![vec![0.0f64; count]; blocks.len()];
        for row in face.planes.first()?.chunks_exact(n) {
            let mut signal = bands.silence();
            for (s, v) in signal.iter_mut().zip(row) {
                *s = Complex::new(*v, 0.0);
            }
            bands.split(signal, |i, band| {
                for (p, b) in power.iter_mut().zip(&blocks) {
                    p[i] += band[b * block..(b + 1) * block].iter().map(|v| f64::from(v.norm_sqr())).sum::<f64>();
                }
            });
        }
        for p in &mut power {
            for (p, rate) in p.iter_mut().zip(&bands.rates) {
                *p /= rate;
            }
            for i in 0..count.saturating_sub(PER_OCTAVE) {
                p[i] += SECOND * p[i + PER_OCTAVE].min(OVERTONE * p[i]);
            }
        }
        let wandering = wandering(&power, &bands.rates)?;
        let score: Vec<Vec<f64>> =
            power.iter().map(|p| p.iter().zip(&wandering).map(|(p, w)| (p / w).max(1e-6).ln()).collect()).collect();
        // Twist changes by some ten per cent in a few diameters: one band (10 %) in a block of a quarter diameter is half
        // as likely again as none.
        let (path, clear) = best_path(&score, 0.5);
        let rate = path.iter().map(|i| bands.rates[*i].ln()).sum::<f64>() / path.len() as f64;
        let of_column = |c: usize| {
            let after = blocks.partition_point(|b| b * block <= c);
            path.get(after.saturating_sub(1)).copied().unwrap_or(0)
        };
        Some(Self { clear, rate: rate.exp(), bands: (0..n).map(of_column).collect() })
    }
}

/// Power per band of what only wanders: a power law through the mean powers, on which what stands out weighs little.
fn wandering(power: &[Vec<f64>], rates: &[f64]) -> Option<Vec<f64>> {
    let means: Vec<f64> = (0..rates.len())
        .map(|i| (power.iter().map(|p| p[i]).sum::<f64>() / power.len() as f64).max(1e-30).ln())
        .collect();
    let logs: Vec<f64> = rates.iter().map(|r| r.ln()).collect();
    let mut weights = vec![1.0; rates.len()];
    let mut line = (0.0, 0.0);
    for _ in 0..8 {
        let points = logs.iter().zip(&means).zip(&weights).map(|((x, y), w): (_, &f64)| (*x, *y, w * w));
        line = crate::base::stats::weighted_line(points)?;
        for ((w, x), y) in weights.iter_mut().zip(&logs).zip(&means) {
            *w = if y - line.0 - line.1 * x > 0.3 { 0.3 } else { 1.0 };
        }
    }
    Some(logs.iter().map(|x| (line.0 + line.1 * x).exp()).collect())
}
