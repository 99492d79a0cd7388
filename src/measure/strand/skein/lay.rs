//! A path laid straight at a resolution fit for its width, and the two creases beside it.

use super::crease::darkest_line;
use super::levels::Level;
use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;

/// Rows and columns of the laid-out path per strand width.
pub(in super::super) const PER_WIDTH: f64 = 12.0;

/// Half width of the laid-out path, strand widths.
const REACH_WIDTHS: f64 = 1.0;

/// How far from its expected place (half a width off the centre line) a crease is looked for, strand widths: strands
/// that swell with each ply, and widths known to a tenth.
const CREASE_REACH_WIDTHS: f64 = 0.3;

/// A path laid straight: one column a station.
#[derive(Debug, Clone)]
pub(in super::super) struct Laid {
    /// Centre line, equal steps.
    pub(in super::super) centres: Vec<Point<Image>>,
    /// Normals, clockwise of the walking direction on the screen.
    pub(in super::super) normals: Vec<Point<Image>>,
    /// Strand width, px of the photo.
    pub(in super::super) width_px: f64,
    /// Distance between columns and between rows, px of the photo.
    pub(in super::super) step_px: f64,
    /// Luma; the middle row is the centre line.
    pub(in super::super) luma: Raster<f32>,
    /// Row of the crease at negative and positive offset, per column.
    pub(in super::super) creases: [Vec<f64>; 2],
}

impl Laid {
    /// Lays `points` straight and finds the creases; the centre line is moved to their middle, twice.
    pub(in super::super) fn of(levels: &[Level], points: &[Point<Image>], width_px: f64) -> Option<Self> {
        let step = width_px / PER_WIDTH;
        let level = levels.iter().rev().find(|l| l.factor as f64 <= step.max(1.0)).or(levels.first())?;
        let mut line = smooth_line(points, step, 1.0 * width_px)?;
        let mut laid = Self::along(level, &line, width_px, step)?;
        for _ in 0..2 {
            let middle = (laid.luma.height() / 2) as f64;
            let drift: Vec<f64> =
                laid.creases[0].iter().zip(&laid.creases[1]).map(|(a, b)| ((a + b) / 2.0 - middle) * step).collect();
            let drift = smoothed(&drift, 1.2 * PER_WIDTH);
            line = laid.centres.iter().zip(&laid.normals).zip(&drift).map(|((c, n), d)| *c + *n * *d).collect();
            let wide: Vec<f64> = laid.creases[1].iter().zip(&laid.creases[0]).map(|(b, a)| (b - a) * step).collect();
            let width = crate::base::stats::median(&wide)?;
            if !(width > 0.5 * width_px && width < 2.0 * width_px) {
                return None;
            }
            line = smooth_line(&line, step, 0.5 * width_px)?;
            laid = Self::along(level, &line, width, step)?;
        }
        Some(laid)
    }

    fn along(level: &Level, line: &[Point<Image>], width_px: f64, step: f64) -> Option<Self> {
        let columns = line.len();
        if columns < 8 {
            return None;
        }
        let normals: Vec<Point<Image>> = (0..columns)
            .map(|i| {
                let (a, b) = (line[i.saturating_sub(2)], line[(i + 2).min(columns - 1)]);
                (b - a).unit().map(Point::quarter_turn)
            })
            .collect::<Option<_>>()?;
        let half = (REACH_WIDTHS * width_px / step).round() as usize;
        let rows = 2 * half + 1;
        let mut luma = Raster::filled(columns, rows, 0.0f32);
        for row in 0..rows {
            let offset = (row as f64 - half as f64) * step;
            for ((out, c), n) in luma.row_mut(row).iter_mut().zip(line).zip(&normals) {
                *out = level.luma_at(*c + *n * offset);
            }
        }
        let per_width = width_px / step;
        let smooth = along_rows(&luma, 0.12 * per_width);
        let body = mean_of(&smooth, half, 0.2 * per_width);
        let creases = [-0.5, 0.5].map(|side| {
            let expected = vec![half as f64 + side * per_width; columns];
            darkest_line(&smooth, &expected, (CREASE_REACH_WIDTHS * per_width).round() as usize, body, 0.06)
        });
        Some(Self { centres: line.to_vec(), normals, width_px, step_px: step, luma, creases })
    }

    /// Number of columns.
    pub(in super::super) fn columns(&self) -> usize {
        self.centres.len()
    }
}

/// Mean of the rows within `reach` of the middle.
fn mean_of(luma: &Raster<f32>, middle: usize, reach: f64) -> f32 {
    let reach = reach.round() as usize;
    let rows = middle.saturating_sub(reach)..=(middle + reach).min(luma.height() - 1);
    let n = rows.clone().count() * luma.width();
    rows.flat_map(|r| luma.row(r).iter()).sum::<f32>() / n as f32
}

/// Gaussian along the rows, sigma in columns; ends clamped.
pub(in super::super) fn along_rows(luma: &Raster<f32>, sigma: f64) -> Raster<f32> {
    let kernel = gaussian(sigma);
    let reach = kernel.len() / 2;
    let width = luma.width();
    let mut out = Raster::filled(width, luma.height(), 0.0f32);
    for y in 0..luma.height() {
        let source = luma.row(y);
        for (x, o) in out.row_mut(y).iter_mut().enumerate() {
            *o = kernel.iter().enumerate().map(|(i, k)| k * source[(x + i).saturating_sub(reach).min(width - 1)]).sum();
        }
    }
    out
}

fn gaussian(sigma: f64) -> Vec<f32> {
    let reach = (3.0 * sigma).ceil().max(0.0) as isize;
    let weights: Vec<f64> = (-reach..=reach).map(|i| (-0.5 * (i as f64 / sigma.max(1e-9)).powi(2)).exp()).collect();
    let sum: f64 = weights.iter().sum();
    weights.iter().map(|w| (w / sum) as f32).collect()
}

/// Gaussian mean of a list, sigma in entries; the weights beyond the ends are left out.
pub(in super::super) fn smoothed(values: &[f64], sigma: f64) -> Vec<f64> {
    let reach = (3.0 * sigma).ceil() as isize;
    (0..values.len() as isize)
        .map(|i| {
            let (mut sum, mut weight) = (0.0, 0.0);
            for j in (i - reach).max(0)..=(i + reach).min(values.len() as isize - 1) {
                let w = (-0.5 * ((j - i) as f64 / sigma).powi(2)).exp();
                sum += w * values[j as usize];
                weight += w;
            }
            sum / weight
        })
        .collect()
}

/// The line through `points`, resampled at equal steps and smoothed; its ends are mirrored through themselves, so that
/// they stay where they are.
fn smooth_line(points: &[Point<Image>], step: f64, sigma_px: f64) -> Option<Vec<Point<Image>>> {
    let even = resampled(points, step)?;
    let n = even.len() as isize;
    let sigma = sigma_px / step;
    let reach = (3.0 * sigma).ceil() as isize;
    let (first, last) = (*even.first()?, *even.last()?);
    let at = |i: isize| {
        if i < 0 {
            first * 2.0 - even[(-i).min(n - 1) as usize]
        } else if i >= n {
            last * 2.0 - even[(2 * n - 2 - i).max(0) as usize]
        } else {
            even[i as usize]
        }
    };
    let weights: Vec<f64> = (-reach..=reach).map(|j| (-0.5 * (j as f64 / sigma).powi(2)).exp()).collect();
    let total: f64 = weights.iter().sum();
    let smooth: Vec<Point<Image>> = (0..n)
        .map(|i| {
            weights.iter().zip(-reach..=reach).fold(Point::new(0.0, 0.0), |sum, (w, j)| sum + at(i + j) * (*w / total))
        })
        .collect();
    resampled(&smooth, step)
}

fn resampled(points: &[Point<Image>], step: f64) -> Option<Vec<Point<Image>>> {
    let mut out = vec![*points.first()?];
    let mut left = step;
    for pair in points.windows(2) {
        let length = pair[0].distance(pair[1]);
        let mut done = 0.0;
        while length - done >= left {
            done += left;
            out.push(pair[0].lerp(pair[1], done / length));
            left = step;
        }
        left -= length - done;
    }
    (out.len() > 2).then_some(out)
}
