//! Following the coarse pattern of plies along the strand: which way it runs, how fast it repeats, and its phase.
//!
//! On the flattened face every pattern that turns with the yarn is a sum of `a_h exp(i h (theta(x) - phi))`, with theta
//! the angle through which the yarn has turned. A component `h` repeats `h` times a turn along the strand, and its phase
//! runs through `h` radians per radian around it: the sense of that run is the direction of twist.

use std::f64::consts::TAU;

use rustfft::num_complex::Complex;

use super::bands::{Bands, PER_OCTAVE, best_path};
use super::face::Face;

/// Phase slopes around the face that are tried, radians per radian, either sense.
const SLOPES: [f64; 2] = [1.4, STEEPEST_SLOPE];
/// The steepest of them.
const STEEPEST_SLOPE: f64 = 3.4;

/// The followed component.
#[derive(Debug, Clone)]
pub(super) struct Track {
    /// +1: the pattern runs down to the right (Z); -1: S.
    pub(super) sense: f64,
    /// Phase per column, radians, growing along the strand.
    pub(super) phase: Vec<f64>,
    /// Local repeats per column.
    pub(super) rate: Vec<f64>,
    /// Power of the patterns that run one way over the other, summed along the track: natural log of the ratio.
    pub(super) log_sense_ratio: f64,
}

impl Track {
    /// Repeats from its first column to its last.
    pub(super) fn repeats(&self) -> f64 {
        match (self.phase.first(), self.phase.last()) {
            (Some(first), Some(last)) => ((last - first) / TAU).max(0.0),
            _ => 0.0,
        }
    }
}

struct Scalogram {
    rates: Vec<f64>,
    /// [sense][rate][column]
    power: [Vec<Vec<f32>>; 2],
}

fn row_weights(face: &Face) -> Vec<f64> {
    // A cosine over the sampled face: its rim is foreshortened and shaded.
    let step = face.phi(face.rows / 2 + 1);
    let limit = face.phi(face.rows - 1) + step;
    (0..face.rows).map(|r| (face.phi(r) / limit * std::f64::consts::FRAC_PI_2).cos()).collect()
}

fn scalogram(face: &Face, low: f64, high: f64) -> Scalogram {
    let n = face.columns;
    let bands = Bands::new(n, low, high);
    let count = bands.rates.len();
    let weights = row_weights(face);
    let mut power = [vec![vec![0.0f32; n]; count], vec![vec![0.0f32; n]; count]];
    for plane in &face.planes {
        for slope in SLOPES {
            for (side, sense) in [1.0, -1.0].into_iter().enumerate() {
                let mut sum = bands.silence();
                for r in 0..face.rows {
                    // Z: theta grows with x as phi does: component exp(i h (theta - phi)); multiply by exp(i h phi).
                    let turn = Complex::from_polar(weights[r] as f32, (sense * slope * face.phi(r)) as f32);
                    for (s, v) in sum.iter_mut().zip(&plane[r * n..(r + 1) * n]) {
                        *s += turn * *v;
                    }
                }
                bands.split(sum, |i, band| {
                    for (p, v) in power[side][i].iter_mut().zip(band) {
                        *p = p.max(v.norm_sqr());
                    }
                });
            }
        }
    }
    Scalogram { rates: bands.rates, power }
}

/// The best path through the scalogram of one sense: band per column.
fn path(power: &[Vec<f32>], columns: usize, usable: &[bool], block: usize) -> Vec<usize> {
    let rates = power.len();
    let blocks = columns.div_ceil(block);
    let mut score = vec![vec![0.0f64; rates]; blocks];
    for b in 0..blocks {
        let span = b * block..((b + 1) * block).min(columns);
        let good = span.clone().filter(|c| usable[*c]).count();
        if good == 0 {
            continue;
        }
        let total: f64 = power.iter().map(|p| f64::from(p[b * block])).sum::<f64>().max(1e-30);
        // A pattern of plies has harmonics: the second counts towards its fundamental, so that a weak fundamental is
        // not left for its neighbours.
        for (i, s) in score[b].iter_mut().enumerate() {
            let second = power.get(i + PER_OCTAVE).map_or(0.0, |p| f64::from(p[b * block]));
            *s = (f64::from(power[i][b * block]) + 0.7 * second) / total;
        }
    }
    // Twist changes slowly along a yarn: a change of rate by one grid step (9 %) within a block costs as much as a
    // twentieth of the block's power.
    let (by_block, _) = best_path(&score, 0.05);
    (0..columns).map(|c| by_block[c / block]).collect()
}

/// Rates that are looked at, repeats per column: from one ply passing in 16 diameters (3 degrees, two plies) to 4 per diameter
/// (60 degrees, four plies). `None` where that leaves less than an octave.
pub(super) fn range(width: f64, columns: usize) -> Option<(f64, f64)> {
    let low = (1.0 / (16.0 * width)).max(2.0 / columns as f64);
    let high = (4.0 / width).min(0.25);
    (high >= 2.0 * low).then_some((low, high))
}

/// Follows patterns along a face.
pub(super) struct Follower<'a> {
    face: &'a Face,
    seen: Scalogram,
    /// Columns in which the rate hardly changes: a quarter diameter.
    block: usize,
}

impl<'a> Follower<'a> {
    /// Looks over a face that is `width` columns wide; `None` where it is too short for any pattern.
    pub(super) fn new(face: &'a Face, width: f64) -> Option<Self> {
        let (low, high) = range(width, face.columns)?;
        let block = (width / 4.0).round().max(1.0) as usize;
        Some(Self { face, seen: scalogram(face, low, high), block })
    }

    /// The strongest component of either sense.
    pub(super) fn strongest(&self) -> Track {
        let paths = [0, 1].map(|side| path(&self.seen.power[side], self.face.columns, &self.face.usable, self.block));
        let side = if self.power(&paths[1], 1) > self.power(&paths[0], 0) { 1 } else { 0 };
        let mut track = self.along(&paths[side], side);
        let weights = row_weights(self.face);
        for _ in 0..3 {
            refine(self.face, &weights, &mut track, 1.0);
        }
        track
    }

    /// A component whose band is known per column, with its phase read from `beside`.
    pub(super) fn known(&self, bands: &[usize], beside: &Face) -> Track {
        let side = if self.power(bands, 1) > self.power(bands, 0) { 1 } else { 0 };
        let mut track = self.along(bands, side);
        let weights = vec![1.0; beside.rows];
        for _ in 0..3 {
            refine(beside, &weights, &mut track, 1.0);
        }
        track
    }

    fn power(&self, bands: &[usize], side: usize) -> f64 {
        let usable = (0..self.face.columns).filter(|c| self.face.usable[*c]);
        usable.map(|c| f64::from(self.seen.power[side][bands[c]][c])).sum()
    }

    fn along(&self, bands: &[usize], side: usize) -> Track {
        let rates: Vec<f64> = bands.iter().map(|i| self.seen.rates[*i].ln()).collect();
        let rate: Vec<f64> = super::smooth::gaussian(&rates, self.block as f64 * 2.0).iter().map(|v| v.exp()).collect();
        let mut phase = Vec::with_capacity(rate.len());
        let mut at = 0.0;
        for r in &rate {
            phase.push(at);
            at += TAU * r;
        }
        let log_sense_ratio = (self.power(bands, side) / self.power(bands, 1 - side).max(1e-30)).ln();
        Track { sense: if side == 0 { 1.0 } else { -1.0 }, phase, rate, log_sense_ratio }
    }
}

/// Moves the phase to that of the pattern itself.
fn refine(face: &Face, weights: &[f64], track: &mut Track, repeats: f64) {
    let n = face.columns;
    let mean_rate = track.rate.iter().sum::<f64>() / n as f64;
    // Rows are brought to one phase by their own mean phase against the middle, from the whole strand.
    let mut sums = vec![Complex::new(0.0f64, 0.0); n];
    for plane in &face.planes {
        let back: Vec<Complex<f64>> = track.phase.iter().map(|p| Complex::from_polar(1.0, -p)).collect();
        let rows: Vec<Vec<Complex<f64>>> =
            plane.chunks_exact(n).map(|row| row.iter().zip(&back).map(|(v, b)| b * f64::from(*v)).collect()).collect();
        // Cross spectrum with a slowly varying reference: the sum over rows so far.
        let local: Vec<Vec<Complex<f64>>> = rows.iter().map(|z| smooth_complex(z, repeats / mean_rate)).collect();
        let middle = face.rows / 2;
        let mut turn = vec![Complex::new(1.0, 0.0); face.rows];
        for step in [-1i64, 1] {
            let mut r = middle as i64;
            let mut angle = 0.0;
            loop {
                let next = r + step;
                if next < 0 || next >= face.rows as i64 {
                    break;
                }
                let cross: Complex<f64> =
                    local[next as usize].iter().zip(&local[r as usize]).map(|(a, b)| a * b.conj()).sum();
                angle += cross.arg();
                turn[next as usize] = Complex::from_polar(1.0, -angle);
                r = next;
            }
        }
        for r in 0..face.rows {
            for (s, v) in sums.iter_mut().zip(&rows[r]) {
                *s += v * turn[r] * weights[r];
            }
        }
    }
    let slow = smooth_complex(&sums, repeats / mean_rate);
    let mut last = 0.0;
    let mut offset = 0.0;
    let mut residual = Vec::with_capacity(n);
    for (i, z) in slow.iter().enumerate() {
        let a = z.arg();
        if i > 0 {
            let mut d = a - last;
            d -= TAU * (d / TAU).round();
            offset += d;
        } else {
            offset = a;
        }
        last = a;
        residual.push(offset);
    }
    for (p, r) in track.phase.iter_mut().zip(&residual) {
        *p += r;
    }
    for i in 0..n {
        let (a, b) = (i.saturating_sub(1), (i + 1).min(n - 1));
        track.rate[i] = ((track.phase[b] - track.phase[a]) / (b - a).max(1) as f64 / TAU).max(1e-6);
    }
}

pub(super) fn smooth_complex(z: &[Complex<f64>], sigma: f64) -> Vec<Complex<f64>> {
    let parts = [z.iter().map(|v| v.re).collect(), z.iter().map(|v| v.im).collect()];
    let [re, im] = super::smooth::gaussian_each(parts, sigma);
    re.into_iter().zip(im).map(|(a, b)| Complex::new(a, b)).collect()
}

/// Mean amplitude of the component `ratio` per row and plane over the usable columns, and the mean power of the noise
/// in such a mean.
pub(super) fn lines(face: &Face, track: &Track, ratio: f64) -> Vec<Vec<Complex<f64>>> {
    let n = face.columns;
    // Per phase, not per length: each repeat counts alike.
    let turns: Vec<Complex<f64>> = track
        .phase
        .iter()
        .zip(&track.rate)
        .zip(&face.usable)
        .map(|((p, rate), u)| if *u { Complex::from_polar(*rate, -ratio * p) } else { Complex::new(0.0, 0.0) })
        .collect();
    let weight: f64 = track.rate.iter().zip(&face.usable).filter(|(_, u)| **u).map(|(r, _)| *r).sum();
    face.planes
        .iter()
        .map(|plane| {
            plane
                .chunks_exact(n)
                .map(|row| {
                    let sum: Complex<f64> = row.iter().zip(&turns).map(|(v, t)| t * f64::from(*v)).sum();
                    if weight > 0.0 { sum / weight } else { sum }
                })
                .collect()
        })
        .collect()
}
