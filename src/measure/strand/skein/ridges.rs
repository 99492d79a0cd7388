//! Strands side by side at one size of the picture: bright bodies between two dark gaps.
//!
//! Ply bands and fibres are as strong as the gaps between strands, and hardly finer; but they change phase from strand
//! to strand. A mean along a line several strand widths long keeps only what runs straight on: the gaps. Every line in
//! sixteen directions is averaged by running sums over sheared rows; between two neighbouring minima across them lies a
//! strand.

use rayon::prelude::*;

use crate::base::raster::Raster;

/// Directions searched over half a turn. The gap of a strand `w` wide averaged over 6 w at half a step off (5.6 degrees)
/// moves by 0.6 w from end to end: still a minimum.
const DIRECTIONS: usize = 16;

/// Narrowest and widest strand at one level, px of it: an octave, and a little overlap.
const WIDTHS_PX: (f64, f64) = (4.6, 10.5);

/// Lengths of the line mean, px of the level. Six of the middle width: at least four plies pass at usual twist, whose
/// phases average out. Four: for strands that curve more.
const LINES_PX: [f64; 2] = [42.0, 26.0];

/// Distance between the columns looked at, px of the level: half the narrowest strand.
const STRIDE_PX: usize = 3;

/// Least contrast between body and darker gap, of the body. Yarns touching in flat light show some 10 %.
const LEAST_CONTRAST: f64 = 0.05;

/// Added to the body's luma where contrast is taken: the noise of dark 8-bit pictures.
const DARK_LUMA: f64 = 8.0;

/// A short piece of a strand between two gaps, in pixels of the level.
#[derive(Debug, Clone, Copy)]
pub(in super::super) struct Ridge {
    /// Its middle.
    pub(in super::super) x: f64,
    /// Its middle.
    pub(in super::super) y: f64,
    /// Direction of the strand, radians from x towards y, 0 to pi.
    pub(in super::super) angle: f64,
    /// Distance between the gaps.
    pub(in super::super) width: f64,
    /// (body - brighter gap) / body.
    pub(in super::super) contrast: f64,
}

impl Ridge {
    /// Unit vector along the strand.
    pub(in super::super) fn along(&self) -> (f64, f64) {
        (self.angle.cos(), self.angle.sin())
    }
}

/// Every piece of strand in every direction, strongest first, for each of the two lengths of line.
pub(in super::super) fn ridges(luma: &Raster<f32>) -> [Vec<Ridge>; 2] {
    let turned = transposed(luma);
    let found: Vec<[Vec<Ridge>; 2]> = (0..DIRECTIONS)
        .into_par_iter()
        .map(|k| {
            let angle = k as f64 * std::f64::consts::PI / DIRECTIONS as f64;
            let level = angle.sin().abs() <= angle.cos().abs() + 1e-9;
            let found = if level { in_direction(luma, angle.tan()) } else { in_direction(&turned, 1.0 / angle.tan()) };
            found.map(|list| {
                let turn = |r: Ridge| if level { Ridge { angle, ..r } } else { Ridge { x: r.y, y: r.x, angle, ..r } };
                list.into_iter().map(turn).collect()
            })
        })
        .collect();
    let mut all = [Vec::new(), Vec::new()];
    for lists in found {
        for (all, list) in all.iter_mut().zip(lists) {
            all.extend(list);
        }
    }
    for list in &mut all {
        list.sort_by(|a: &Ridge, b: &Ridge| {
            b.contrast
                .total_cmp(&a.contrast)
                .then(a.y.total_cmp(&b.y))
                .then(a.x.total_cmp(&b.x))
                .then(a.angle.total_cmp(&b.angle))
        });
    }
    all
}

fn transposed(luma: &Raster<f32>) -> Raster<f32> {
    let (width, height) = (luma.height(), luma.width());
    let mut out = Raster::filled(width, height, 0.0f32);
    for y in 0..luma.height() {
        for (x, v) in luma.row(y).iter().enumerate() {
            out.samples_mut()[x * width + y] = *v;
        }
    }
    out
}

/// Strands along lines `y = v + slope x`, |slope| at most 1.
fn in_direction(luma: &Raster<f32>, slope: f64) -> [Vec<Ridge>; 2] {
    let (width, height) = (luma.width(), luma.height());
    if width < 8 || height < 8 {
        return [Vec::new(), Vec::new()];
    }
    let cosine = 1.0 / slope.hypot(1.0);
    let lift = (slope * (width - 1) as f64).max(0.0);
    let lines = height + (slope.abs() * (width - 1) as f64).ceil() as usize;
    let halves = LINES_PX.map(|length| (length * cosine / 2.0).round() as usize);
    let columns = (width - 1) / STRIDE_PX + 1;
    // means[line * columns + column]; NaN where too little of the line lies in the picture.
    let mut means = LINES_PX.map(|_| vec![f32::NAN; columns * lines]);
    let mut sums = vec![0.0f32; width + 1];
    for line in 0..lines {
        let start = line as f64 - lift;
        // x for which start + slope x lies in 0..=height - 1.
        let (mut first, mut last) = (0.0f64, (width - 1) as f64);
        if slope.abs() > 1e-12 {
            let (a, b) = (-start / slope, ((height - 1) as f64 - start) / slope);
            first = first.max(a.min(b)).ceil();
            last = last.min(a.max(b)).floor();
        } else if start < 0.0 || start > (height - 1) as f64 {
            continue;
        }
        if last < first {
            continue;
        }
        let (first, last) = (first as usize, last as usize);
        let mut sum = 0.0f32;
        sums[first] = 0.0;
        for x in first..=last {
            let y = (start + slope * x as f64).max(0.0) as f32;
            let y0 = (y as usize).min(height - 2);
            let at = y0 * width + x;
            let (a, b) = (luma.samples()[at], luma.samples()[at + width]);
            sum += a + (b - a) * (y - y0 as f32);
            sums[x + 1] = sum;
        }
        for (half, means) in halves.iter().zip(&mut means) {
            let row = &mut means[line * columns..(line + 1) * columns];
            for (column, mean) in row.iter_mut().enumerate().take(last / STRIDE_PX + 1).skip(first.div_ceil(STRIDE_PX))
            {
                let x = column * STRIDE_PX;
                let (from, to) = (x.saturating_sub(*half).max(first), (x + half).min(last));
                if (to - from) * 5 >= half * 6 {
                    *mean = (sums[to + 1] - sums[from]) / (to + 1 - from) as f32;
                }
            }
        }
    }
    means.map(|means| across(&means, columns, lines, cosine, |x, v| v - lift + slope * x))
}

/// Strands across the lines, at every column; `row_of` gives the row of the picture from column and line.
fn across(means: &[f32], columns: usize, lines: usize, cosine: f64, row_of: impl Fn(f64, f64) -> f64) -> Vec<Ridge> {
    let mut out = Vec::new();
    let mut smooth = vec![f32::NAN; lines];
    let mut minima: Vec<(f64, f32)> = Vec::new();
    for column in 0..columns {
        for (i, s) in smooth.iter_mut().enumerate().take(lines.saturating_sub(1)).skip(1) {
            let at = i * columns + column;
            *s = (means[at - columns] + 2.0 * means[at] + means[at + columns]) / 4.0;
        }
        minima.clear();
        for (i, w) in smooth.windows(3).enumerate() {
            if w[1] < w[0] && w[1] <= w[2] {
                let bend = w[0] - 2.0 * w[1] + w[2];
                minima.push(((i + 1) as f64 + f64::from((w[0] - w[2]) / (2.0 * bend)), w[1]));
            }
        }
        let x = (column * STRIDE_PX) as f64;
        strands_between(&minima, &smooth, cosine, |v, width, contrast| {
            out.push(Ridge { x, y: row_of(x, v), angle: 0.0, width, contrast });
        });
    }
    out
}

/// Pairs of minima that can be the two gaps of one strand.
fn strands_between(minima: &[(f64, f32)], values: &[f32], cosine: f64, mut found: impl FnMut(f64, f64, f64)) {
    for (i, (v1, gap1)) in minima.iter().enumerate() {
        let mut lowest_between = f32::INFINITY;
        for (v2, gap2) in minima.iter().skip(i + 1) {
            let width = (v2 - v1) * cosine;
            if width > WIDTHS_PX.1 {
                break;
            }
            if width >= WIDTHS_PX.0 {
                let (from, to) = ((v1 + 0.25 * (v2 - v1)).round() as usize, (v1 + 0.75 * (v2 - v1)).round() as usize);
                if let Some(body) = values.get(from..=to) {
                    let body = body.iter().sum::<f32>() / body.len() as f32;
                    let gap = gap1.max(*gap2);
                    let contrast = f64::from(body - gap) / (f64::from(body) + DARK_LUMA);
                    // A deep minimum between them parts two strands.
                    if contrast > LEAST_CONTRAST && lowest_between > gap + 0.5 * (body - gap) {
                        found((v1 + v2) / 2.0, width, contrast);
                    }
                }
            }
            lowest_between = lowest_between.min(*gap2);
        }
    }
}
