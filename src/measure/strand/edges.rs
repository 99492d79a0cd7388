//! Core edges, first guess: the split of each cross-section into yarn and ground that its pixels make most likely, joined
//! along the strand by dynamic programming.

use super::likelihood::Features;
use crate::base::raster::Raster;

/// One edge of the body in each column.
#[derive(Debug, Clone)]
pub(super) struct EdgeLine {
    /// Row of the edge, fractions allowed.
    pub(super) rows: Vec<f64>,
    /// Standard uncertainty of each row against its neighbours, rows.
    pub(super) u: Vec<f64>,
    /// Standard uncertainty that all rows share, rows.
    pub(super) shared_u: f64,
    /// Blur that the edge shows, as the standard deviation of a Gaussian, rows; `None` where it was not placed.
    pub(super) blur: Option<f64>,
}

/// Which side of the strand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    /// Towards row 0.
    Left,
    /// Towards the last row.
    Right,
}

impl Side {
    /// Which way along a column is away from the body.
    pub(super) fn outward(self) -> f64 {
        if self == Self::Left { -1.0 } else { 1.0 }
    }
}

/// Finds one edge. `ratio` is the log likelihood ratio of yarn over ground, `rough` the edge's rough row per column,
/// `diameter` the rough width in rows, `reach` how
/// far the rough row may be off, rows.
pub(super) fn split(
    ratio: &Raster<f32>,
    features: &Features,
    side: Side,
    rough: &[f64],
    diameter: f64,
    reach: f64,
) -> Vec<f64> {
    let reach = reach.max(4.0).round() as isize;
    let window = (0.1 * diameter).max(2.0).round() as usize;
    let gain = split_gain(ratio, features, side, rough, reach, window, diameter);
    let offsets = best_line(&gain, reach);
    rough.iter().zip(&offsets).map(|(r, s)| r.round() + *s as f64).collect()
}

/// Log likelihood that a distance of half the reach from the rough edge costs.
const ROUGH_WEIGHT: f32 = 1.5;

/// Rows' worth of evidence that a clear step of light or colour counts for.
const STEP_WEIGHT: f32 = 4.0;

/// Most that one pixel may say: neighbours look alike and often err together.
const CLAMP: f32 = 1.0;

/// What an undecided pixel counts for.
const GROUND_PRIOR: f32 = -0.25;

/// Steps of log light and of colour that noise and fibres make by themselves.
const PLAIN_STEP: (f32, f32) = (0.12, 0.03);

/// Summed log likelihood ratio of the pixels between the inner end of the reach and each candidate, and the step of the
/// means just inside and just outside of it: a shadow's own border is soft, the body's is as sharp as the picture.
fn split_gain(
    ratio: &Raster<f32>,
    features: &Features,
    side: Side,
    rough: &[f64],
    reach: isize,
    window: usize,
    diameter: f64,
) -> Vec<Vec<f32>> {
    let (columns, rows) = (ratio.width(), ratio.height() as isize);
    let candidates = (2 * reach + 1) as usize;
    let outward = if side == Side::Left { -1 } else { 1 };
    let arm = (0.06 * diameter).clamp(2.0, 5.0).round() as isize;
    // Per column: summed ratio at each candidate, and running sums of light and colour for the step.
    let span = candidates + 2 * arm as usize;
    let mut region = vec![0.0f32; columns * candidates];
    let mut sums = vec![[0.0f32; 2]; columns * (span + 1)];
    for column in 0..columns {
        let middle = rough[column].round() as isize;
        let at = |k: isize| (middle + outward * k).clamp(0, rows - 1) as usize * columns + column;
        let mut total = 0.0;
        for k in -reach..=reach {
            total += (ratio.samples()[at(k)] + GROUND_PRIOR).clamp(-CLAMP, CLAMP);
            region[column * candidates + (reach + k) as usize] = total;
        }
        let mut sum = [0.0f32; 2];
        for (i, k) in (-reach - arm..=reach + arm).enumerate() {
            sum[0] += features.light.samples()[at(k)];
            sum[1] += features.colour.samples()[at(k)];
            sums[column * (span + 1) + i + 1] = sum;
        }
    }
    // Means over the window; neighbours keep their own rough row, which changes slowly.
    let half = window / 2;
    let mut steps = vec![[0.0f32; 2]; span + 1];
    (0..columns)
        .map(|column| {
            let (a, b) = (column.saturating_sub(half), (column + half).min(columns - 1));
            let count = (b - a + 1) as f32;
            let mut gain = vec![0.0f32; candidates];
            steps.iter_mut().for_each(|s| *s = [0.0; 2]);
            for j in a..=b {
                let from = j * candidates;
                for (m, s) in gain.iter_mut().zip(&region[from..from + candidates]) {
                    *m += s;
                }
                let from = j * (span + 1);
                for (m, s) in steps.iter_mut().zip(&sums[from..from + span + 1]) {
                    m[0] += s[0];
                    m[1] += s[1];
                }
            }
            for (i, g) in gain.iter_mut().enumerate() {
                // Candidate i is the last row inside: place i + arm of the span.
                let (low, mid, high) = (i + 1, i + 1 + arm as usize, i + 1 + 2 * arm as usize);
                let step = |c: usize| {
                    let inner = steps[mid][c] - steps[low][c];
                    let outer = steps[high.min(span)][c] - steps[mid][c];
                    (outer - inner) / (arm as f32 * count)
                };
                let (light, colour) = (step(0) / PLAIN_STEP.0, step(1) / PLAIN_STEP.1);
                let part = (i as f32 - reach as f32) / (0.5 * reach as f32);
                *g = *g / count + STEP_WEIGHT * (1.0 + light * light + colour * colour).ln()
                    - ROUGH_WEIGHT * part * part;
            }
            // Offsets count rows downwards whatever the side.
            if side == Side::Left {
                gain.reverse();
            }
            gain
        })
        .collect()
}

/// The line of greatest summed gain that moves by at most one row from column to column (Viterbi), as offsets.
fn best_line(gain: &[Vec<f32>], reach: isize) -> Vec<isize> {
    let candidates = (2 * reach + 1) as usize;
    let columns = gain.len();
    if columns == 0 {
        return Vec::new();
    }
    // A step of a row costs a little, so that noise does not make the line tremble.
    let step_cost = 0.6f32;
    let mut score = gain[0].clone();
    let mut from: Vec<Vec<i8>> = vec![vec![0; candidates]; columns];
    for column in 1..columns {
        let mut next = vec![f32::MIN; candidates];
        for k in 0..candidates {
            let (mut best, mut which) = (score[k], 0i8);
            if k > 0 && score[k - 1] - step_cost > best {
                (best, which) = (score[k - 1] - step_cost, -1);
            }
            if k + 1 < candidates && score[k + 1] - step_cost > best {
                (best, which) = (score[k + 1] - step_cost, 1);
            }
            next[k] = best + gain[column][k];
            from[column][k] = which;
        }
        score = next;
    }
    let mut k = (0..candidates).max_by(|a, b| score[*a].total_cmp(&score[*b])).unwrap_or(0);
    let mut line = vec![0; columns];
    for column in (0..columns).rev() {
        line[column] = k as isize - reach;
        k = (k as isize + isize::from(from[column][k])).clamp(0, candidates as isize - 1) as usize;
    }
    line
}
