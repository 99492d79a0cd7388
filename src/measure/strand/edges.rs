//! Core edges: first the split of each cross-section into yarn and ground that its pixels make most likely, joined
//! along the strand by dynamic programming; then, to a fraction of a pixel, the half height of the profile across that split.

use rayon::prelude::*;

use super::band::Band;
use super::centre_line::smooth_values;
use super::likelihood::Features;
use super::step_fit::StepFit;
use crate::base::raster::Raster;
use crate::base::stats::median;

/// One edge of the body in each column.
#[derive(Debug, Clone, Default)]
pub(super) struct EdgeLine {
    /// Row of the edge, fractions allowed.
    pub(super) rows: Vec<f64>,
    /// Standard uncertainty from noise, rows.
    pub(super) u: Vec<f64>,
    /// Height of the step over its noise.
    pub(super) clarity: Vec<f64>,
    /// Blur that the step shows, as the standard deviation of a Gaussian, rows.
    pub(super) blur: Vec<f64>,
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
pub(super) fn split(ratio: &Raster<f32>, features: &Features, side: Side, rough: &[f64], diameter: f64) -> Vec<f64> {
    let reach = (0.35 * diameter).max(4.0).round() as isize;
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

/// Half height across the split, in the mixture of lightness and colour that separates the two sides best.
///
/// The profile is a running median over a lock's length of the columns, laid along the split: where half of the columns
/// show yarn and half show ground, the median turns from one to the other, which is the core edge by definition. Hairs,
/// which cover less than half, leave it alone; a mean would move by their cover.
fn half_heights(band: &Band, side: Side, line: &[f64], diameter: f64) -> EdgeLine {
    let guard = (0.05 * diameter).clamp(2.0, 6.0).round() as usize;
    let columns = band.columns();
    let zone = (0.16 * diameter).clamp(3.0, 40.0).round() as usize;
    let middle = guard + zone;
    let taps = 2 * middle + 1;
    let half = (0.5 * LOCK_DIAMETERS * diameter).max(3.0).round() as usize;
    let smooth = smooth_values(line, 0.1 * diameter);
    // Profiles run from inside to outside whatever the side.
    let outward = if side == Side::Left { -1.0 } else { 1.0 };
    let planes: Vec<Raster<f32>> = band
        .planes
        .iter()
        .map(|plane| {
            let mut along = Raster::filled(columns, taps, 0.0f32);
            for tap in 0..taps {
                for (column, (out, row)) in along.row_mut(tap).iter_mut().zip(&smooth).enumerate() {
                    *out = between_rows(plane, column, row + outward * (tap as f64 - middle as f64));
                }
            }
            along
        })
        .collect();
    // Knots a quarter of the window apart, joined linearly.
    let stride = (half / 2).max(1);
    let mut knots: Vec<(usize, Crossing)> = Vec::new();
    let mut column = 0;
    while column < columns {
        let (a, b) = (column.saturating_sub(half), (column + half + 1).min(columns));
        knots.push((column, half_height(&planes, a, b, guard, zone)));
        column += stride;
    }
    let mut out = EdgeLine::default();
    let mut k = 0;
    for (column, row) in smooth.iter().enumerate() {
        while k + 2 < knots.len() && knots[k + 1].0 <= column {
            k += 1;
        }
        let Some((a, b)) = knots.get(k).zip(knots.get(k + 1).or_else(|| knots.get(k))) else { break };
        let t = if b.0 > a.0 { ((column - a.0) as f64 / (b.0 - a.0) as f64).min(1.0) } else { 0.0 };
        let mix = |f: &dyn Fn(&Crossing) -> f64| f(&a.1) + (f(&b.1) - f(&a.1)) * t;
        out.rows.push(row + outward * mix(&|c| c.offset));
        out.u.push(mix(&|c| c.u));
        out.clarity.push(mix(&|c| c.clarity));
        out.blur.push(mix(&|c| c.blur));
    }
    out
}

/// One edge to a fraction of a row: half heights first, then a blurred step between ramps about them.
pub(super) fn refine(band: &Band, side: Side, line: &[f64], diameter: f64) -> EdgeLine {
    let mut out = half_heights(band, side, line, diameter);
    let sigma = crate::base::stats::quantile(&out.blur, 0.25).unwrap_or(1.0).clamp(0.8, 2.5);
    // Long enough to tell a ramp from the step and to correct a split that took a crease for the edge.
    let half_taps = (0.3 * diameter).clamp(8.0, 12.0).round() as usize;
    // The split may be a sixth of a small strand off; after one round the edge is known to about the blur.
    for guess in [3.0, 1.5] {
        let Some(fit) = StepFit::new(half_taps, sigma, guess) else { return out };
        fit_steps(band, side, &mut out, diameter, &fit);
    }
    out
}

/// Moves an edge line to where the steps lie.
fn fit_steps(band: &Band, side: Side, line: &mut EdgeLine, diameter: f64, fit: &StepFit) {
    let outward = if side == Side::Left { -1.0 } else { 1.0 };
    let base = smooth_values(&line.rows, 0.1 * diameter);
    let columns = band.columns().min(base.len());
    let half = (0.5 * LOCK_DIAMETERS * diameter).max(3.0).round() as usize;
    let stride = (half / 2).max(1);
    let starts: Vec<usize> = (0..columns).step_by(stride).collect();
    let knots: Vec<(f64, f64)> = starts
        .par_iter()
        .map(|column| {
            let (a, b) = (column.saturating_sub(half), (column + half + 1).min(columns));
            let found = across(band, &base[a..b], a, outward, fit.half_taps).and_then(|profile| fit.place(&profile));
            found.map_or((0.0, line.u[*column].max(1.0)), |f| (f.offset, f.u))
        })
        .collect();
    // One lock whose fit ran away does not count against its neighbours.
    let steady: Vec<f64> = (0..knots.len())
        .map(|i| {
            let (a, b) = (i.saturating_sub(2), (i + 3).min(knots.len()));
            median(&knots[a..b].iter().map(|k| k.0).collect::<Vec<_>>()).unwrap_or(0.0)
        })
        .collect();
    for column in 0..columns {
        let k = (column / stride).min(knots.len().saturating_sub(1));
        let next = (k + 1).min(knots.len().saturating_sub(1));
        let t = (column % stride) as f64 / stride as f64;
        line.rows[column] = base[column] + outward * (steady[k] + (steady[next] - steady[k]) * t);
        line.u[column] = knots[k].1;
    }
}

/// Darker over brighter side from which on light alone does not tell body from shadow.
const EVEN_LIGHT: f32 = 0.2;

/// Light below which a pixel's colour is mostly noise, relative to the ground.
const COLOUR_FLOOR: f32 = 0.08;

/// Median profile of a lock's columns across the edge, from inside to outside, in the mixture of lightness and colour
/// that separates the two sides best, scaled so that the step is about 1 high; `None` where the sides do not differ.
fn across(band: &Band, rows: &[f64], first: usize, outward: f64, half_taps: usize) -> Option<Vec<f64>> {
    let taps = 2 * half_taps + 1;
    let quarter = (half_taps / 2).max(2);
    let mut samples = vec![[0.0f32; 3]; taps * rows.len()];
    for (i, row) in rows.iter().enumerate() {
        for tap in 0..taps {
            let at = row + outward * (tap as f64 - half_taps as f64);
            samples[tap * rows.len() + i] =
                std::array::from_fn(|c: usize| between_rows(&band.planes[c], first + i, at));
        }
    }
    let light = |part: &[[f32; 3]]| part.iter().map(|s| s[0]).sum::<f32>() / part.len().max(1) as f32;
    let (inner, outer) = (light(&samples[..quarter * rows.len()]), light(&samples[(taps - quarter) * rows.len()..]));
    if inner.min(outer) > EVEN_LIGHT * inner.max(outer) {
        // Body and shadow are about as bright: what tells them apart is colour relative to the pixel's own light, in
        // which fibres and shade cancel and shadow on the card has none. Beside a bright card that ratio would lean
        // towards the brighter side of a mixed pixel, and plain light tells the two apart.
        for [l, r, b] in &mut samples {
            let own = 1.0 / (l.max(0.0) + COLOUR_FLOOR);
            (*r, *b) = (*r * own, *b * own);
        }
    }
    let moments = |from: usize, to: usize, c: usize| {
        let part = &samples[from * rows.len()..to * rows.len()];
        let n = part.len().max(1) as f32;
        let mean = part.iter().map(|s| s[c]).sum::<f32>() / n;
        (mean, part.iter().map(|s| (s[c] - mean).powi(2)).sum::<f32>() / n)
    };
    let mut weight = [0.0f32; 3];
    let mut height = 0.0f32;
    for (c, w) in weight.iter_mut().enumerate() {
        let (inner, outer) = (moments(0, quarter, c), moments(taps - quarter, taps, c));
        *w = (inner.0 - outer.0) / (0.5 * (inner.1 + outer.1) + 1e-5);
        height += *w * (inner.0 - outer.0);
    }
    if height <= 0.0 {
        return None;
    }
    let mut values = Vec::with_capacity(rows.len());
    let profile = (0..taps)
        .map(|tap| {
            values.clear();
            let part = &samples[tap * rows.len()..(tap + 1) * rows.len()];
            values.extend(part.iter().map(|s| (weight[0] * s[0] + weight[1] * s[1] + weight[2] * s[2]) / height));
            let n = values.len();
            f64::from(*values.select_nth_unstable_by(n / 2, f32::total_cmp).1)
        })
        .collect();
    Some(profile)
}

/// Length over which the edge is averaged, diameters: about one fibre lock.
const LOCK_DIAMETERS: f64 = 0.4;

/// Where a profile crosses half height.
#[derive(Debug, Clone, Copy)]
struct Crossing {
    /// Outwards from the middle tap, rows.
    offset: f64,
    /// Standard uncertainty, rows.
    u: f64,
    /// Height of the step over the spread of single pixels.
    clarity: f64,
    /// Spread of the step, rows.
    blur: f64,
}

fn half_height(planes: &[Raster<f32>], from: usize, to: usize, guard: usize, zone: usize) -> Crossing {
    let middle = guard + zone;
    let taps = 2 * middle + 1;
    let mut weight = [0.0f32; 3];
    let (mut step, mut noise) = (0.0f32, 0.0f32);
    for (plane, w) in planes.iter().zip(&mut weight) {
        let moments = |rows: std::ops::Range<usize>| {
            let (mut s, mut q, mut n) = (0.0f32, 0.0f32, 0.0f32);
            for row in rows {
                for v in plane.row(row).get(from..to).unwrap_or(&[]) {
                    s += v;
                    q += v * v;
                    n += 1.0;
                }
            }
            (s / n.max(1.0), (q / n.max(1.0) - (s / n.max(1.0)).powi(2)).max(0.0))
        };
        let ((m_in, v_in), (m_out, v_out)) = (moments(0..zone), moments(middle + guard + 1..taps));
        let v = 0.5 * (v_in + v_out) + 1e-5;
        *w = (m_in - m_out) / v;
        step += *w * (m_in - m_out);
        noise += *w * *w * v;
    }
    let clarity = f64::from(step / noise.sqrt().max(1e-12));
    let mut values = Vec::with_capacity(to - from);
    let profile: Vec<f64> = (0..taps)
        .map(|tap| {
            values.clear();
            let rows: Vec<&[f32]> = planes.iter().map(|p| p.row(tap).get(from..to).unwrap_or(&[])).collect();
            if let [a, b, c] = rows[..] {
                values.extend((0..a.len()).map(|i| weight[0] * a[i] + weight[1] * b[i] + weight[2] * c[i]));
            }
            let n = values.len();
            if n == 0 { 0.0 } else { f64::from(*values.select_nth_unstable_by(n / 2, f32::total_cmp).1) }
        })
        .collect();
    let inner = median(&profile[..zone]).unwrap_or(0.0);
    // Shadow and fringe deepen towards the body: what lies behind the edge is the outer zone's line carried on to it, not
    // its mean; though not beyond a third of the way from its mean to the body's level.
    let outer = line_through(&profile, middle + guard + 1, taps);
    let limit_outer = outer.1 + (inner - outer.1) / 3.0;
    let level = |tap: usize| {
        let carried = outer.1 + outer.2 * (tap as f64 - outer.0);
        0.5 * (inner + if inner > outer.1 { carried.clamp(outer.1, limit_outer) } else { outer.1 })
    };
    // Among crossings from inside to outside the one nearest to the split.
    let mut best: Option<f64> = None;
    for k in 0..taps - 1 {
        let (a, b) = (profile[k] - level(k), profile[k + 1] - level(k + 1));
        if a > 0.0 && b <= 0.0 {
            let at = k as f64 + a / (a - b) - middle as f64;
            if best.is_none_or(|x| at.abs() < x.abs()) {
                best = Some(at);
            }
        }
    }
    // Without a clear step the split itself is the better guess.
    let trust = clarity * clarity / (clarity * clarity + 0.25);
    let limit = guard as f64 + 1.0;
    let offset = trust * best.unwrap_or(0.0).clamp(-limit, limit);
    // A step of clarity q blurred over about two rows is placed to 2 / q rows per independent column.
    let u = (2.0 / clarity.max(0.2) / ((to - from) as f64 / 2.0).max(1.0).sqrt()).min(middle as f64);
    // A Gaussian step of height h and blur s is steepest with h / (s sqrt(2 pi)).
    let steepest = profile.windows(2).map(|w| w[0] - w[1]).fold(0.0, f64::max);
    let height = (inner - outer.1).abs();
    let blur = if steepest > 0.0 { height / steepest / std::f64::consts::TAU.sqrt() } else { middle as f64 };
    Crossing { offset, u, clarity, blur }
}

/// Least-squares line through part of a profile: middle tap, value there, slope.
fn line_through(profile: &[f64], from: usize, to: usize) -> (f64, f64, f64) {
    let part = profile.get(from..to).unwrap_or(&[]);
    let n = part.len().max(1) as f64;
    let middle = from as f64 + (n - 1.0) / 2.0;
    let mean = part.iter().sum::<f64>() / n;
    let (mut up, mut down) = (0.0, 0.0);
    for (i, v) in part.iter().enumerate() {
        let x = (from + i) as f64 - middle;
        up += x * (v - mean);
        down += x * x;
    }
    (middle, mean, if down > 0.0 { up / down } else { 0.0 })
}

/// Sample between two rows of a column, rows clamped to the border.
fn between_rows(plane: &Raster<f32>, column: usize, row: f64) -> f32 {
    let row = row.clamp(0.0, plane.height().saturating_sub(1) as f64);
    let first = row.floor();
    let (a, b) = (plane.clamped(column as isize, first as isize), plane.clamped(column as isize, first as isize + 1));
    a + (b - a) * (row - first) as f32
}
