//! Core edges: first the split of each cross-section into yarn and ground that its pixels make most likely, joined
//! along the strand by dynamic programming; then, to a fraction of a pixel, the half height of the profile across that split.

use super::band::Band;
use crate::base::raster::Raster;

/// One edge of the body in each column.
#[derive(Debug, Clone, Default)]
pub(super) struct EdgeLine {
    /// Row of the edge, fractions allowed.
    pub(super) rows: Vec<f64>,
    /// Standard uncertainty from noise, rows.
    pub(super) u: Vec<f64>,
    /// Height of the step over its noise.
    pub(super) clarity: Vec<f64>,
}

/// Which side of the strand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    /// Towards row 0.
    Left,
    /// Towards the last row.
    Right,
}

/// Finds one edge. `ratio` is the log likelihood ratio of yarn over ground, `rough` the edge's rough row per column,
/// `diameter` the rough width in rows.
pub(super) fn split(ratio: &Raster<f32>, side: Side, rough: &[f64], diameter: f64) -> Vec<f64> {
    let reach = (0.35 * diameter).max(4.0).round() as isize;
    let window = (0.1 * diameter).max(2.0).round() as usize;
    let gain = split_gain(ratio, side, rough, reach, window);
    let offsets = best_line(&gain, reach);
    rough.iter().zip(&offsets).map(|(r, s)| r.round() + *s as f64).collect()
}

/// Summed log likelihood ratio of the pixels between the inner end of the reach and each candidate.
fn split_gain(ratio: &Raster<f32>, side: Side, rough: &[f64], reach: isize, window: usize) -> Vec<Vec<f32>> {
    let (columns, rows) = (ratio.width(), ratio.height() as isize);
    let candidates = (2 * reach + 1) as usize;
    let outward = if side == Side::Left { -1 } else { 1 };
    let mut sums = vec![vec![0.0f32; candidates]; columns];
    for (column, sum) in sums.iter_mut().enumerate() {
        let middle = rough[column].round() as isize;
        let mut total = 0.0;
        for k in -reach..=reach {
            let row = (middle + outward * k).clamp(0, rows - 1) as usize;
            total += ratio.samples()[row * columns + column];
            sum[(reach + outward * k) as usize] = total;
        }
    }
    // Mean over the window; neighbours keep their own rough row, which changes slowly.
    let half = window / 2;
    (0..columns)
        .map(|column| {
            let (a, b) = (column.saturating_sub(half), (column + half).min(columns - 1));
            let mut mean = vec![0.0f32; candidates];
            for sum in &sums[a..=b] {
                for (m, s) in mean.iter_mut().zip(sum) {
                    *m += s;
                }
            }
            mean.iter().map(|m| m / (b - a + 1) as f32).collect()
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

/// Half height across the split, in the mixture of lightness and colour that separates the two sides best.
pub(super) fn refine(band: &Band, side: Side, line: &[f64], diameter: f64) -> EdgeLine {
    let (columns, rows) = (band.columns(), band.rows());
    let guard = (0.05 * diameter).clamp(2.0, 6.0).round() as isize;
    let zone = (0.16 * diameter).clamp(3.0, 40.0).round() as isize;
    let reach = guard + zone;
    let taps = (2 * reach + 1) as usize;
    let window = (0.1 * diameter).max(2.0).round() as usize;
    let half = window / 2;
    // Profiles run from inside to outside whatever the side.
    let outward = if side == Side::Left { -1 } else { 1 };
    let mut out = EdgeLine::default();
    let sample = |column: usize, tap: usize, c: usize| {
        let row = line[column] as isize + outward * (tap as isize - reach);
        band.planes[c].samples()[row.clamp(0, rows as isize - 1) as usize * columns + column]
    };
    let mut sums = vec![[[0.0f64; 2]; 3]; taps];
    let shift = |sums: &mut Vec<[[f64; 2]; 3]>, column: usize, sign: f64| {
        for (tap, sum) in sums.iter_mut().enumerate() {
            for (c, s) in sum.iter_mut().enumerate() {
                let v = f64::from(sample(column, tap, c));
                s[0] += sign * v;
                s[1] += sign * v * v;
            }
        }
    };
    for column in 0..half.min(columns) {
        shift(&mut sums, column, 1.0);
    }
    for column in 0..columns {
        if column + half < columns {
            shift(&mut sums, column + half, 1.0);
        }
        if column > half {
            shift(&mut sums, column - half - 1, -1.0);
        }
        let count = ((column + half).min(columns - 1) - column.saturating_sub(half) + 1) as f64;
        let (offset, u, clarity) = half_height(&sums, count, guard as usize, zone as usize);
        out.rows.push(line[column] + outward as f64 * offset);
        out.u.push(u);
        out.clarity.push(clarity);
    }
    out
}

/// Offset (outward positive) of the half height from the middle tap, its uncertainty and the step's clarity.
fn half_height(sums: &[[[f64; 2]; 3]], count: f64, guard: usize, zone: usize) -> (f64, f64, f64) {
    let middle = guard + zone;
    let zone_of = |from: usize, to: usize, c: usize| -> (f64, f64) {
        let n = (to - from) as f64 * count;
        let s: f64 = sums[from..to].iter().map(|t| t[c][0]).sum();
        let q: f64 = sums[from..to].iter().map(|t| t[c][1]).sum();
        (s / n, (q / n - (s / n).powi(2)).max(0.0))
    };
    let mut weight = [0.0f64; 3];
    let (mut inner, mut outer, mut noise) = (0.0, 0.0, 0.0);
    for c in 0..3 {
        let (m_in, v_in) = zone_of(0, zone, c);
        let (m_out, v_out) = zone_of(middle + guard + 1, sums.len(), c);
        let v = 0.5 * (v_in + v_out) + 1e-5;
        weight[c] = (m_in - m_out) / v;
        inner += weight[c] * m_in;
        outer += weight[c] * m_out;
        noise += weight[c] * weight[c] * v;
    }
    let clarity = (inner - outer).abs() / noise.sqrt().max(1e-12);
    let level = 0.5 * (inner + outer);
    let profile: Vec<f64> = sums.iter().map(|t| (0..3).map(|c| weight[c] * t[c][0] / count).sum()).collect();
    // Among crossings from inside to outside the one nearest to the split.
    let mut best: Option<f64> = None;
    for k in 0..profile.len() - 1 {
        let (a, b) = (profile[k] - level, profile[k + 1] - level);
        if a > 0.0 && b <= 0.0 {
            let at = k as f64 + a / (a - b) - middle as f64;
            if best.is_none_or(|x| at.abs() < x.abs()) {
                best = Some(at);
            }
        }
    }
    let offset = best.unwrap_or(0.0).clamp(-(guard as f64) - 1.0, guard as f64 + 1.0);
    // A step of clarity q blurred over about two rows is placed to 1 / q rows per independent sample.
    let u = (2.0 / clarity.max(0.2) / count.sqrt()).min(middle as f64);
    (offset, u, clarity)
}
