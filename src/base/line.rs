//! Lines through the picture: smoothing, equal steps, normals.

use super::geometry::{Image, Point};
use super::stats::median_of_sorted;

/// A line smoothed by a Gaussian of `sigma` points, ends held by reflection through the end points.
#[must_use]
pub fn smoothed(line: &[Point<Image>], sigma: f64) -> Vec<Point<Image>> {
    let xs = smooth_values(&line.iter().map(|p| p.x).collect::<Vec<_>>(), sigma);
    let ys = smooth_values(&line.iter().map(|p| p.y).collect::<Vec<_>>(), sigma);
    xs.into_iter().zip(ys).map(|(x, y)| Point::new(x, y)).collect()
}

/// Values smoothed by three box means in a row (near a Gaussian: central limit), ends continued by reflection through
/// the end value, so that a slope stays a slope.
#[must_use]
pub fn smooth_values(values: &[f64], sigma: f64) -> Vec<f64> {
    // Three boxes of half width h have the variance ((2h + 1)^2 - 1) / 4.
    let half = (((4.0 * sigma * sigma + 1.0).sqrt() - 1.0) / 2.0).round() as usize;
    let half = half.min(values.len().saturating_sub(1) / 2);
    let mut now = values.to_vec();
    if half == 0 || now.len() < 3 {
        return now;
    }
    for _ in 0..3 {
        let n = now.len();
        let (first, last) = (now[0], now[n - 1]);
        let extended: Vec<f64> = (1..=half)
            .rev()
            .map(|i| 2.0 * first - now[i.min(n - 1)])
            .chain(now.iter().copied())
            .chain((1..=half).map(|i| 2.0 * last - now[(n - 1).saturating_sub(i)]))
            .collect();
        let window = 2 * half + 1;
        let mut sum: f64 = extended.iter().take(window).sum();
        for i in 0..n {
            now[i] = sum / window as f64;
            if i + 1 < n {
                sum += extended[i + window] - extended[i];
            }
        }
    }
    now
}

/// The value at a place (0 or more) of a list, its first element at 0: linear from one element to the next, the last one beyond the
/// end; 0 of an empty list.
#[must_use]
pub fn between(values: &[f64], at: f64) -> f64 {
    let Some(last) = values.len().checked_sub(1) else { return 0.0 };
    let k = (at as usize).min(last);
    let (a, b) = (values[k], values[(k + 1).min(last)]);
    a + (b - a) * at.fract()
}

/// Median of the known values within `half` places, taken every `stride` places and joined linearly.
#[must_use]
pub fn running_median(values: &[Option<f64>], half: usize, stride: usize) -> Vec<Option<f64>> {
    // Neighbouring windows share most of their values: they stay sorted, and few come and go.
    let mut sorted: Vec<f64> = Vec::with_capacity(2 * half + 1);
    let place = |sorted: &[f64], value: f64| sorted.partition_point(|v| v.total_cmp(&value).is_lt());
    let (mut from, mut to) = (0, 0);
    let knots: Vec<Option<f64>> = (0..values.len())
        .step_by(stride)
        .map(|i| {
            let (next_from, next_to) = (i.saturating_sub(half), (i + half + 1).min(values.len()));
            for gone in values[from..next_from.min(to)].iter().flatten() {
                let at = place(&sorted, *gone);
                sorted.remove(at);
            }
            for come in values[to.max(next_from)..next_to].iter().flatten() {
                let at = place(&sorted, *come);
                sorted.insert(at, *come);
            }
            (from, to) = (next_from, next_to);
            median_of_sorted(&sorted)
        })
        .collect();
    (0..values.len())
        .map(|i| {
            let (k, t) = (i / stride, (i % stride) as f64 / stride as f64);
            let (a, b) = (knots.get(k).copied().flatten()?, knots.get(k + 1).copied().flatten());
            Some(b.map_or(a, |b| a + (b - a) * t))
        })
        .collect()
}

/// A place on a line and its unit normal: the tangent turned a quarter turn clockwise on the screen.
#[derive(Debug, Clone, Copy)]
pub struct Step {
    /// The place.
    pub centre: Point<Image>,
    /// The normal.
    pub normal: Point<Image>,
}

/// The line at equal steps, by linear interpolation (the line is smooth and dense); normals from central differences.
#[must_use]
pub fn at_equal_steps(line: &[Point<Image>], step_px: f64) -> Vec<Step> {
    let mut along = vec![0.0];
    for w in line.windows(2) {
        along.push(along.last().copied().unwrap_or(0.0) + w[0].distance(w[1]));
    }
    let Some(&length) = along.last() else { return Vec::new() };
    let count = (length / step_px).floor() as usize + 1;
    let mut centres = Vec::with_capacity(count);
    let mut i = 0;
    for k in 0..count {
        let s = k as f64 * step_px;
        while i + 2 < along.len() && along[i + 1] < s {
            i += 1;
        }
        let Some((a, b)) = line.get(i).zip(line.get(i + 1)) else { break };
        let span = along[i + 1] - along[i];
        let t = if span > 0.0 { ((s - along[i]) / span).clamp(0.0, 1.0) } else { 0.0 };
        centres.push(a.lerp(*b, t));
    }
    // Tangents over a reach of a few steps, so that the interpolation's corners do not show.
    let reach = 4;
    (0..centres.len())
        .filter_map(|k| {
            let (a, b) = (k.saturating_sub(reach), (k + reach).min(centres.len() - 1));
            let tangent = (centres[b] - centres[a]).unit()?;
            Some(Step { centre: centres[k], normal: tangent.quarter_turn() })
        })
        .collect()
}
