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
            let found = if level { in_direction(&turned, angle.tan()) } else { in_direction(luma, 1.0 / angle.tan()) };
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

/// Running sums kept at a time: the longest line and one more.
const SUMS: usize = 64;

/// Strands along lines `y = v + slope x`, |slope| at most 1, of a transposed picture: its rows are the columns `x`. All lines
/// are summed side by side, column by column.
fn in_direction(turned: &Raster<f32>, slope: f64) -> [Vec<Ridge>; 2] {
    let (width, height) = (turned.height(), turned.width());
    let mut out = [Vec::new(), Vec::new()];
    if width < 8 || height < 8 {
        return out;
    }
    let cosine = 1.0 / slope.hypot(1.0);
    let lift = (slope * (width - 1) as f64).max(0.0);
    let lines = height + (slope.abs() * (width - 1) as f64).ceil() as usize;
    let halves = LINES_PX.map(|length| (length * cosine / 2.0).round() as usize);
    let (firsts, lasts): (Vec<f32>, Vec<f32>) =
        (0..lines).map(|line| span(line as f64 - lift, slope, width, height)).unzip();
    // sums[x % SUMS][line]: of the line's samples before x.
    let mut sums = vec![vec![0.0f32; lines]; SUMS];
    let mut sum = vec![0.0f32; lines];
    let mut smooth = vec![f32::NAN; lines];
    let mut means = vec![f32::NAN; lines];
    for x in 0..width {
        // The line `v` passes this column at the row `v + shift`.
        let shift = slope * x as f64 - lift;
        let (whole, part) = (shift.floor(), (shift - shift.floor()) as f32);
        let first = (-shift).ceil().max(0.0) as usize;
        let from = (first as isize + whole as isize).max(0) as usize;
        let column = turned.row(x).get(from..).unwrap_or(&[]);
        let passed = sum.get_mut(first..).unwrap_or_default();
        for ((sum, a), b) in passed.iter_mut().zip(column).zip(column.get(1..).unwrap_or_default()) {
            *sum += a + (b - a) * part;
        }
        if let Some((sum, last)) = column.len().checked_sub(1).and_then(|i| passed.get_mut(i)).zip(column.last()) {
            *sum += last;
        }
        sums[(x + 1) % SUMS].copy_from_slice(&sum);
        for (half, out) in halves.iter().zip(&mut out) {
            // Every column whose line ends here; at the last one all that are left.
            let ends = x.saturating_sub(*half)..if x + 1 == width { width } else { (x + 1).saturating_sub(*half) };
            for at in ends.filter(|at| at.is_multiple_of(STRIDE_PX) && (x + 1 == width || at + half == x)) {
                let start = at.saturating_sub(*half);
                let (before, after) = (&sums[start % SUMS], &sums[(x + 1) % SUMS]);
                // Whole numbers all of them; as such many lines are averaged at a time.
                let (start, at, end, least) = (start as f32, at as f32, x as f32, 6.0 * *half as f32);
                let spans = firsts.iter().zip(&lasts);
                for (((mean, before), after), (first, last)) in means.iter_mut().zip(before).zip(after).zip(spans) {
                    let from = if start > *first { start } else { *first };
                    let steps = (if end < *last { end } else { *last }) - from;
                    let seen = (5.0 * steps >= least) & (at >= *first) & (at <= *last);
                    *mean = if seen { (after - before) / (steps + 1.0) } else { f32::NAN };
                }
                across(&means, &mut smooth, f64::from(at), cosine, |x, v| v - lift + slope * x, out);
            }
        }
    }
    out
}

/// First and last column in which a line from `start` with a slope lies in the picture.
fn span(start: f64, slope: f64, width: usize, height: usize) -> (f32, f32) {
    let (mut first, mut last) = (0.0f64, (width - 1) as f64);
    if slope.abs() > 1e-12 {
        let (a, b) = (-start / slope, ((height - 1) as f64 - start) / slope);
        first = first.max(a.min(b)).ceil();
        last = last.min(a.max(b)).floor();
    } else if start < 0.0 || start > (height - 1) as f64 {
        last = -1.0;
    }
    (first as f32, last as f32)
}

/// Strands across the lines at column `x`, appended to `out`; `row_of` gives the row of the picture from column and line.
fn across(
    means: &[f32],
    smooth: &mut [f32],
    x: f64,
    cosine: f64,
    row_of: impl Fn(f64, f64) -> f64,
    out: &mut Vec<Ridge>,
) {
    for (s, m) in smooth.iter_mut().skip(1).zip(means.windows(3)) {
        *s = (m[0] + 2.0 * m[1] + m[2]) / 4.0;
    }
    let minima: Vec<(f64, f32)> = smooth
        .windows(3)
        .enumerate()
        .filter(|(_, w)| w[1] < w[0] && w[1] <= w[2])
        .map(|(i, w)| {
            let bend = w[0] - 2.0 * w[1] + w[2];
            ((i + 1) as f64 + f64::from((w[0] - w[2]) / (2.0 * bend)), w[1])
        })
        .collect();
    strands_between(&minima, smooth, cosine, |v, width, contrast| {
        out.push(Ridge { x, y: row_of(x, v), angle: 0.0, width, contrast });
    });
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
