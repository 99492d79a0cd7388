//! Where in the picture something alternates as regularly as a millimetre scale: single scan lines in four directions,
//! far enough apart to be cheap and close enough that some of them run along any scale.
//!
//! On each line the extremes of brightness are followed with hysteresis; a stretch where they follow each other at equal
//! distances with equal contrast is a [`Run`]. A scale's clock track is 3 mm high (full card), so a line at 22.5 degrees or
//! less to it crosses at least 7 of its marks, and no scale lies further from one of the four directions than that.

use rayon::prelude::*;

use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;

/// Distance of neighbouring scan lines in parts of the picture's longer side. On a phone's picture of 4000 px that is
/// 16 px: the clock track of a card at the far end of its range (6 px/mm) is 18 px high there.
const LINES_ALONG_LONG_SIDE: usize = 252;

/// Least alternation that counts, in code values: a fifth of what black ink on white paper shows at a quarter of its
/// contrast, three standard deviations of a dim phone picture's noise averaged over two pixels.
const LEAST_SWING: u8 = 24;

/// Least extremes in a run: nine are four and a half marks.
const LEAST_EXTREMES: usize = 9;

/// A regular stretch of one scan line.
#[derive(Debug, Clone, Copy)]
pub(super) struct Run {
    /// First extreme.
    pub(super) from: Point<Image>,
    /// Last extreme.
    pub(super) to: Point<Image>,
    /// How many extremes, dark and light.
    pub(super) extremes: usize,
    /// Mean difference between neighbouring extremes over the mean of the light ones, code values: print has most.
    pub(super) modulation: f64,
}

impl Run {
    /// Distance from dark to dark along the scan line, px.
    pub(super) fn period_px(&self) -> f64 {
        self.from.distance(self.to) * 2.0 / (self.extremes - 1) as f64
    }
    /// Its middle.
    pub(super) fn middle(&self) -> Point<Image> {
        self.from.lerp(self.to, 0.5)
    }
}

/// All runs of the picture, in a fixed order.
pub(super) fn runs(picture: &Raster<[u8; 3]>) -> Vec<Run> {
    let (width, height) = (picture.width(), picture.height());
    let spacing = (width.max(height) / LINES_ALONG_LONG_SIDE).clamp(5, 64);
    if width < 4 * spacing || height < 4 * spacing {
        return Vec::new();
    }
    let mut found: Vec<Run> = (spacing / 2..height - 1)
        .step_by(spacing)
        .collect::<Vec<_>>()
        .into_par_iter()
        .flat_map_iter(|y| {
            let (a, b) = (picture.row(y), picture.row(y + 1));
            let line: Vec<u8> = a.iter().zip(b).map(|(a, b)| a[1] / 2 + b[1] / 2).collect();
            let mut out = Vec::new();
            follow(&line, |i| Point::new(i, y as f64 + 0.5), &mut out);
            out
        })
        .collect();
    let crossing = Crossing::gather(picture, spacing);
    let others: Vec<Run> = (0..crossing.lines.len())
        .into_par_iter()
        .flat_map_iter(|i| {
            let mut out = Vec::new();
            let line = &crossing.lines[i];
            follow(&line.samples, |t| Point::new(line.x0 + line.dx * t, line.y0 + t), &mut out);
            out
        })
        .collect();
    found.extend(others);
    found
}

/// The upright and the two diagonal scan lines, gathered in one pass over the rows.
struct Crossing {
    lines: Vec<Line>,
}

/// Samples at `(x0 + dx t, y0 + t)` for t = 0, 1, ...
struct Line {
    x0: f64,
    y0: f64,
    dx: f64,
    samples: Vec<u8>,
}

impl Crossing {
    fn gather(picture: &Raster<[u8; 3]>, spacing: usize) -> Self {
        let (width, height) = (picture.width(), picture.height());
        let columns: Vec<usize> = (spacing / 2..width - 1).step_by(spacing).collect();
        // Diagonals meet row y at x = c + y and x = c - y; `c` in steps that keep them `spacing` apart.
        let step = (spacing as f64 * std::f64::consts::SQRT_2).round() as usize;
        let diagonals = (width + height) / step;
        let falling = |j: usize| (j * step) as isize - height as isize;
        let mut lines: Vec<Line> = columns
            .iter()
            .map(|x| Line { x0: *x as f64 + 0.5, y0: 0.0, dx: 0.0, samples: Vec::with_capacity(height) })
            .chain((0..diagonals).map(|j| {
                let c = falling(j);
                let y0 = (-c).max(0);
                Line { x0: (c + y0) as f64 + 0.5, y0: y0 as f64, dx: 1.0, samples: Vec::new() }
            }))
            .chain((0..diagonals).map(|j| {
                let c = (j * step) as isize;
                let y0 = (c - width as isize + 2).max(0);
                Line { x0: (c - y0) as f64 + 0.5, y0: y0 as f64, dx: -1.0, samples: Vec::new() }
            }))
            .collect();
        let (upright, slanted) = lines.split_at_mut(columns.len());
        let (down, up) = slanted.split_at_mut(diagonals);
        let last = width as isize - 2;
        for y in 0..height {
            let row = picture.row(y);
            let mean = |x: usize| row[x][1] / 2 + row[x + 1][1] / 2;
            for (line, x) in upright.iter_mut().zip(&columns) {
                line.samples.push(mean(*x));
            }
            let y = y as isize;
            let first = ((-y - falling(0)).max(0) as usize).div_ceil(step);
            for (j, line) in down.iter_mut().enumerate().skip(first) {
                let x = falling(j) + y;
                if x > last {
                    break;
                }
                line.samples.push(mean(x as usize));
            }
            let first = (y as usize).div_ceil(step);
            for (j, line) in up.iter_mut().enumerate().skip(first) {
                let x = (j * step) as isize - y;
                if x > last {
                    break;
                }
                line.samples.push(mean(x as usize));
            }
        }
        Self { lines }
    }
}

/// One extreme of brightness along a line.
#[derive(Debug, Clone, Copy)]
pub(super) struct Extreme {
    /// Where, in samples.
    pub(super) at: f32,
    /// Its code value.
    pub(super) value: u8,
}

fn follow(line: &[u8], place: impl Fn(f64) -> Point<Image>, out: &mut Vec<Run>) {
    regular_stretches(line, &mut |extremes| {
        if let (Some(first), Some(last)) = (extremes.first(), extremes.last()) {
            out.push(Run {
                from: place(f64::from(first.at)),
                to: place(f64::from(last.at)),
                extremes: extremes.len(),
                modulation: modulation(extremes),
            });
        }
    });
}

fn modulation(extremes: &[Extreme]) -> f64 {
    let (mut swing, mut light) = (0.0, 0.0);
    for pair in extremes.windows(2) {
        let [a, b] = [pair[0].value, pair[1].value].map(f64::from);
        swing += (a - b).abs();
        light += a.max(b);
    }
    swing / light.max(1.0)
}

/// Samples looked at together.
const BLOCK: usize = 32;

/// Follows the extremes along a line and hands out each of its regular stretches.
pub(super) fn regular_stretches(line: &[u8], out: &mut impl FnMut(&[Extreme])) {
    let mut chain = Chain::default();
    let Some(first) = line.first() else { return };
    let mut rising = true;
    let (mut best, mut best_at, mut turned_at) = (*first, 0usize, 0usize);
    let mut i = 0;
    while let Some(&v) = line.get(i) {
        // Plain ground is most of a picture: where nothing goes further and nothing turns, it is passed over block by block.
        if i % BLOCK == 0
            && let Some(block) = line.get(i..i + BLOCK)
        {
            let (low, high) = block.iter().fold((u8::MAX, 0), |(low, high), v| (low.min(*v), high.max(*v)));
            let quiet = if rising {
                high <= best && best - low < LEAST_SWING
            } else {
                low >= best && high - best < LEAST_SWING
            };
            if quiet {
                i += BLOCK;
                continue;
            }
        }
        let (further, turned) = if rising {
            (v > best, best.saturating_sub(v) >= LEAST_SWING)
        } else {
            (v < best, v.saturating_sub(best) >= LEAST_SWING)
        };
        if further {
            (best, best_at) = (v, i);
        } else if turned {
            let at = middle_of_extreme(&line[turned_at..i], best_at - turned_at) + turned_at as f32;
            chain.push(Extreme { at, value: best }, out);
            rising = !rising;
            (best, best_at, turned_at) = (v, i, i);
        }
        i += 1;
    }
    chain.finish(out);
}

/// Middle of what lies within half the least swing of an extreme. A mark that is many pixels wide is flat, and which of
/// its pixels is the darkest is the noise's choice; its flanks are not.
fn middle_of_extreme(part: &[u8], best_at: usize) -> f32 {
    let Some(best) = part.get(best_at) else { return best_at as f32 };
    let near = |v: &u8| v.abs_diff(*best) < LEAST_SWING / 2;
    let from = part.iter().position(near).unwrap_or(best_at);
    let to = part.iter().rposition(near).unwrap_or(best_at);
    (from + to) as f32 / 2.0
}

/// The regular stretch under way.
#[derive(Default)]
struct Chain {
    extremes: Vec<Extreme>,
    period: f32,
    swing: f32,
}

impl Chain {
    fn push(&mut self, next: Extreme, out: &mut impl FnMut(&[Extreme])) {
        if let [.., before, last] = self.extremes.as_slice() {
            let (last, period, half) = (*last, next.at - before.at, next.at - last.at);
            let swing = (f32::from(next.value) - f32::from(last.value)).abs();
            if self.extremes.len() == 2 {
                self.period = period;
                self.swing = swing;
            }
            // Neighbouring periods of a scale differ by a pixel of sampling each side and a per cent of perspective;
            // dark and light share a period half and half, give or take blur, ink and sampling.
            let tolerance = 0.2 * self.period + 1.0;
            let regular = (period - self.period).abs() <= tolerance
                && half >= 0.25 * period - 0.5
                && half <= 0.75 * period + 0.5
                && period >= 3.5
                && swing >= 0.45 * self.swing
                && swing <= 2.2 * self.swing;
            if regular {
                self.period += 0.25 * (period - self.period);
                self.swing += 0.25 * (swing - self.swing);
            } else {
                self.finish(out);
                self.extremes.push(last);
            }
        }
        self.extremes.push(next);
    }

    fn finish(&mut self, out: &mut impl FnMut(&[Extreme])) {
        if self.extremes.len() >= LEAST_EXTREMES {
            out(&self.extremes);
        }
        self.extremes.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A grating of `period` px under `turn` degrees inside a band of `half_height` px.
    fn grating(period: f64, turn: f64, half_height: f64) -> Raster<[u8; 3]> {
        let (sin, cos) = turn.to_radians().sin_cos();
        let mut picture = Raster::filled(900, 700, [220u8; 3]);
        for y in 0..700 {
            for x in 0..900 {
                let (dx, dy) = (x as f64 - 450.0, y as f64 - 350.0);
                let (u, v) = (dx * cos + dy * sin, dy * cos - dx * sin);
                if v.abs() < half_height && u.abs() < 200.0 {
                    let wave = 120.0 + 80.0 * (u / period * std::f64::consts::TAU).cos();
                    picture.set(x, y, [wave as u8; 3]);
                }
            }
        }
        picture
    }

    #[test]
    fn a_scale_is_met_whichever_way_it_lies() {
        for turn in (0..180).step_by(9) {
            let period = 9.0;
            let found = runs(&grating(period, f64::from(turn), 1.5 * period));
            assert!(!found.is_empty(), "{turn} degrees");
            for run in &found {
                assert!(
                    (run.period_px() / period - 1.0).abs() < 0.2 || run.period_px() < 1.5 * period,
                    "{turn}: {run:?}"
                );
            }
        }
    }

    /// A close photo: marks 17 px wide and as far apart, flat, with grain. Which pixel is the darkest is chance there.
    #[test]
    fn wide_marks_with_grain_stay_one_regular_stretch() {
        let line: Vec<u8> = (0..1360u32)
            .map(|i| {
                let grain = (i.wrapping_mul(2_654_435_761) >> 16) as u8 & 7;
                grain + if i / 17 % 2 == 0 { 210 } else { 30 }
            })
            .collect();
        let mut found = Vec::new();
        regular_stretches(&line, &mut |extremes| found.push(extremes.len()));
        // 80 plateaus; the last is not left again.
        assert_eq!(found, [79]);
    }

    #[test]
    fn plain_paper_and_a_single_edge_give_nothing() {
        let mut picture = Raster::filled(900, 700, [200u8; 3]);
        assert!(runs(&picture).is_empty());
        for y in 0..350 {
            picture.row_mut(y).fill([20; 3]);
        }
        assert!(runs(&picture).is_empty());
    }
}
