//! A signal along the strand cut into bands of frequency, and the best path through what they hold.

use std::sync::Arc;

use rustfft::{Fft, FftPlanner, num_complex::Complex};

/// Bands per octave.
pub(super) const PER_OCTAVE: usize = 7;

/// A bank of overlapping bands.
pub(super) struct Bands {
    /// Middle of each, cycles per column.
    pub(super) rates: Vec<f64>,
    padded: usize,
    forward: Arc<dyn Fft<f32>>,
    inverse: Arc<dyn Fft<f32>>,
}

impl Bands {
    /// Bands from `low` to `high`, cycles per column, for signals of `columns`.
    pub(super) fn new(columns: usize, low: f64, high: f64) -> Self {
        let padded = (columns + columns / 4).next_power_of_two();
        let count = ((high / low).log2() * PER_OCTAVE as f64).ceil() as usize + 1;
        let rates = (0..count).map(|i| low * 2.0f64.powf(i as f64 / PER_OCTAVE as f64)).collect();
        let mut planner = FftPlanner::<f32>::new();
        Self { rates, padded, forward: planner.plan_fft_forward(padded), inverse: planner.plan_fft_inverse(padded) }
    }

    /// An empty signal of the length that is worked on; only the first columns are used.
    pub(super) fn silence(&self) -> Vec<Complex<f32>> {
        vec![Complex::new(0.0, 0.0); self.padded]
    }

    /// Hands each band's number and its part of `signal`, along the columns, to `take`.
    pub(super) fn split(&self, mut signal: Vec<Complex<f32>>, mut take: impl FnMut(usize, &[Complex<f32>])) {
        self.forward.process(&mut signal);
        let mut band = self.silence();
        for (i, rate) in self.rates.iter().enumerate() {
            band.fill(Complex::new(0.0, 0.0));
            // Gaussian in frequency, 18 % wide (sigma): about two repeats long (sigma 0.9 repeat).
            let sigma = 0.18 * rate * self.padded as f64;
            let middle = rate * self.padded as f64;
            let first = (middle - 3.0 * sigma).floor().max(1.0) as usize;
            let last = ((middle + 3.0 * sigma).ceil() as usize).min(self.padded / 2);
            for k in first..=last {
                let t = (k as f64 - middle) / sigma;
                band[k] = signal[k] * (-0.5 * t * t).exp() as f32;
            }
            self.inverse.process(&mut band);
            take(i, &band);
        }
    }
}

/// The path through `score[block][band]` with the greatest sum, where a change by `k` bands from block to block costs
/// `cost * k^2` and `k` is two at most: band per block, and the mean score along the path, changes not counted.
pub(super) fn best_path(score: &[Vec<f64>], cost: f64) -> (Vec<usize>, f64) {
    let (blocks, bands) = (score.len(), score.first().map_or(0, Vec::len));
    let mut best = vec![vec![0.0f64; bands]; blocks];
    let mut from = vec![vec![0usize; bands]; blocks];
    for b in 0..blocks {
        for i in 0..bands {
            let mut top = (f64::NEG_INFINITY, i);
            if b == 0 {
                top.0 = 0.0;
            } else {
                let reach = (i + 2).min(bands - 1);
                for (j, before) in best[b - 1].iter().enumerate().take(reach + 1).skip(i.saturating_sub(2)) {
                    let v = before - cost * (i as f64 - j as f64).powi(2);
                    if v > top.0 {
                        top = (v, j);
                    }
                }
            }
            best[b][i] = top.0 + score[b][i];
            from[b][i] = top.1;
        }
    }
    let mut at =
        best.last().and_then(|l| l.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).map(|(i, _)| i)).unwrap_or(0);
    let mut by_block = vec![0; blocks];
    let mut sum = 0.0;
    for b in (0..blocks).rev() {
        by_block[b] = at;
        sum += score[b][at];
        at = from[b][at];
    }
    (by_block, sum / blocks.max(1) as f64)
}
