//! The numerals beside a row of ticks, read: how many ticks go to one, and whether they read backwards.
//!
//! One digit may be misread, and print beside the ticks need be no scale. What counts is a series: numbers that go up by one for
//! every so many ticks, at one distance from the feet.

use image::{GrayImage, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};

use super::division::Reading;
use super::luma;
use super::strip::Band;
use super::ticks::TickRow;
use crate::base::raster::Raster;
use crate::base::stats::{median, quantile};
use crate::measure::seen::digits::{self, BOX, NONE, SIDE};

/// A series of numerals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Series {
    /// Ticks from one number to the next higher one.
    pub(super) ticks: f64,
    /// Numbers that stand where the series has them.
    pub(super) agreeing: usize,
    /// Whether they can be read in a mirror only.
    pub(super) backwards: bool,
}

/// Ticks to a number as rulers have them: tenths, halves and whole millimetres to a centimetre, or numbered in millimetres; 8ths to
/// 64ths, tenths, 50ths and 100ths to the inch or its tenth.
const TICKS: [f64; 11] = [1.0, 2.0, 4.0, 5.0, 8.0, 10.0, 16.0, 20.0, 32.0, 50.0, 64.0];

/// Numbers of a series that settle it. Two fix its step and its place; by chance a third one agrees once in ten times, and its step
/// is one that rulers have once in three.
pub(super) const SETTLED: usize = 3;

/// Fewest pixels of a digit's height: below, 3, 6, 8 and 9 are the same blob.
const LEAST_PX: f64 = 7.0;

/// A thing as large as a digit, in the straightened picture: its box, and what it may be seen this way round.
struct Blob {
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
    patch: Vec<f32>,
}

/// A number as read: its centre along the row in ticks, its distance from the feet, its value, digits, and how sure (logarithm).
struct Number {
    at: f64,
    off: f64,
    value: i32,
    digits: usize,
    sure: f64,
}

/// Reads the numerals beyond the ticks.
pub(super) fn read(rgb: &Raster<[u8; 3]>, row: &TickRow, reading: &Reading) -> Option<Series> {
    let end = |t: &super::ticks::Tick| reading.end_of_longest(row, t).or(t.tip).unwrap_or(t.seen.1);
    let ends: Vec<f64> = row.ticks.iter().map(end).collect();
    let longest = quantile(&ends, 0.97)?;
    // Ticks are one and a half times to twice as long as numerals are tall: these get some 24 pixels.
    let pitch = (longest / 40.0).max(1.0);
    let blobs = blobs(rgb, row, longest, pitch)?;
    let in_ways = |backwards: bool| -> Vec<(f64, Series)> {
        (0..4)
            .filter_map(|quarters| series_of(&numbers(row, &blobs, (quarters, backwards), pitch), backwards))
            .collect()
    };
    // In a mirror only where nothing can be read otherwise.
    let mut read = in_ways(false);
    if read.iter().all(|(_, series)| series.agreeing < SETTLED) {
        read.extend(in_ways(true));
    }
    read.sort_by(|a, b| b.0.total_cmp(&a.0));
    let (score, best) = *read.first()?;
    // What says otherwise must be 20 times less likely.
    let disputed = read.iter().any(|(s, r)| r.ticks != best.ticks && score - s < 20f64.ln());
    (!disputed).then_some(best)
}

/// Things as large as digits beside the ticks.
fn blobs(rgb: &Raster<[u8; 3]>, row: &TickRow, longest: f64, pitch: f64) -> Option<Vec<Blob>> {
    let (first, last) = (row.ticks.first()?, row.ticks.last()?);
    let margin = longest;
    let (low, high) = (first.axis.0.min(last.axis.0) - margin, first.axis.0.max(last.axis.0) + margin);
    let ink = ink_of(rgb, row, (low, high), (0.0, 3.0 * longest), pitch)?;
    let (width, height) = (ink.width(), ink.height());
    let mut mask = GrayImage::new(width as u32, height as u32);
    for y in 0..height {
        for (x, v) in ink.row(y).iter().enumerate() {
            if *v > 0.5 {
                mask.put_pixel(x as u32, y as u32, Luma([255]));
            }
        }
    }
    let labels = connected_components(&mask, Connectivity::Eight, Luma([0]));
    let mut boxes: std::collections::BTreeMap<u32, [usize; 5]> = std::collections::BTreeMap::new();
    for (x, y, label) in labels.enumerate_pixels().filter(|(_, _, l)| l.0[0] > 0) {
        let b = boxes.entry(label.0[0]).or_insert([usize::MAX, 0, usize::MAX, 0, 0]);
        let (x, y) = (x as usize, y as usize);
        *b = [b[0].min(x), b[1].max(x), b[2].min(y), b[3].max(y), b[4] + 1];
    }
    let largest = 1.2 * longest / pitch;
    let mut found = Vec::new();
    for (label, [left, right, top, bottom, area]) in boxes {
        let (w, h) = ((right - left + 1) as f64, (bottom - top + 1) as f64);
        let side = w.max(h);
        let inside = left > 0 && top > 0 && right + 1 < width && bottom + 1 < height;
        if side < LEAST_PX.max(0.12 * largest) || side > largest || !inside || (area as f64) < 0.12 * w * h {
            continue;
        }
        let scale = side / BOX as f64;
        let (cx, cy) = ((left + right) as f64 / 2.0, (top + bottom) as f64 / 2.0);
        let own = |x: isize, y: isize| {
            let held = |x: isize, y: isize| {
                x >= 0
                    && y >= 0
                    && x < width as isize
                    && y < height as isize
                    && labels.get_pixel(x as u32, y as u32).0[0] == label
            };
            (-1..=1).any(|dy| (-1..=1).any(|dx| held(x + dx, y + dy)))
        };
        let at = |x: isize, y: isize| if own(x, y) { ink.clamped(x, y).min(1.0) } else { 0.0 };
        let mut patch = Vec::with_capacity(SIDE * SIDE);
        for v in 0..SIDE {
            for u in 0..SIDE {
                let off = |i: usize| (i as f64 - (SIDE as f64 - 1.0) / 2.0) * scale;
                let (x, y) = (cx + off(u), cy + off(v));
                let (x0, y0) = (x.floor(), y.floor());
                let (fx, fy) = ((x - x0) as f32, (y - y0) as f32);
                let (x0, y0) = (x0 as isize, y0 as isize);
                let top = at(x0, y0) * (1.0 - fx) + at(x0 + 1, y0) * fx;
                let bottom = at(x0, y0 + 1) * (1.0 - fx) + at(x0 + 1, y0 + 1) * fx;
                patch.push(top * (1.0 - fy) + bottom * fy);
            }
        }
        found.push(Blob {
            left: low + left as f64 * pitch,
            right: low + right as f64 * pitch,
            top: top as f64 * pitch,
            bottom: bottom as f64 * pitch,
            patch,
        });
    }
    // A net's look costs a fifth of a millisecond, and there are four ways round or eight: the forty nearest to each other in height.
    let height = median(&found.iter().map(|b| b.bottom - b.top).collect::<Vec<_>>())?;
    found.sort_by(|a, b| {
        let off = |b: &Blob| ((b.bottom - b.top) / height).ln().abs();
        off(a).total_cmp(&off(b))
    });
    found.truncate(40);
    Some(found)
}

/// The straightened picture as ink, 0 to 1: depth below the ground about it, against the print's own; the ticks left out.
fn ink_of(
    rgb: &Raster<[u8; 3]>,
    row: &TickRow,
    span: (f64, f64),
    (from_s, to_s): (f64, f64),
    pitch: f64,
) -> Option<Raster<f32>> {
    let band = Band::of(rgb, &row.frame, (from_s, to_s), pitch, Some(span));
    // Columns are one pixel of the photo apart: averaged to the rows' pitch.
    let columns = ((span.1 - span.0) / pitch) as usize;
    let mut luma = Raster::filled(columns, band.luma.height(), f32::NAN);
    for y in 0..luma.height() {
        for x in 0..columns {
            let from = (span.0 + (x as f64 - 0.5) * pitch - band.first_x).round();
            let cells = (from.max(0.0) as usize)..((from + pitch.round().max(1.0)).max(0.0) as usize);
            let values = band.luma.row(y).get(cells).unwrap_or(&[]);
            if !values.is_empty() {
                luma.set(x, y, values.iter().sum::<f32>() / values.len() as f32);
            }
        }
    }
    // The ground of each block of 16 from 32 about it: numerals cover less than a third of that.
    const BLOCK: usize = 16;
    let (across, down) = (columns.div_ceil(BLOCK), luma.height().div_ceil(BLOCK));
    let mut grounds = Raster::filled(across, down, f32::NAN);
    for by in 0..down {
        for bx in 0..across {
            let (x0, y0) = ((bx * BLOCK).saturating_sub(BLOCK / 2), (by * BLOCK).saturating_sub(BLOCK / 2));
            let mut values = Vec::new();
            for y in (y0..(y0 + 2 * BLOCK).min(luma.height())).step_by(2) {
                let line = luma.row(y).iter().take((x0 + 2 * BLOCK).min(columns)).skip(x0).step_by(2);
                values.extend(line.filter(|v| !v.is_nan()).map(|v| f64::from(*v)));
            }
            if let Some(ground) = quantile(&values, if row.dark { 0.7 } else { 0.3 }) {
                grounds.set(bx, by, ground as f32);
            }
        }
    }
    let mut depth = Raster::filled(columns, luma.height(), 0.0f32);
    for y in 0..luma.height() {
        for x in 0..columns {
            let (v, ground) =
                (luma.clamped(x as isize, y as isize), grounds.clamped((x / BLOCK) as isize, (y / BLOCK) as isize));
            let d = luma::depth(row.dark, ground, v);
            depth.set(x, y, if d.is_nan() { 0.0 } else { d.max(0.0) });
        }
    }
    for tick in &row.ticks {
        for y in 0..depth.height() {
            let s = from_s + y as f64 * pitch;
            if s > tick.tip.unwrap_or(tick.seen.1).min(tick.seen.1) + pitch {
                break;
            }
            let x = (tick.axis.0 + tick.axis.1 * s - span.0) / pitch;
            let half = (0.6 * row.width / pitch).max(1.0);
            for i in ((x - half).round() as isize)..=((x + half).round() as isize) {
                if i >= 0 && (i as usize) < columns {
                    depth.set(i as usize, y, 0.0);
                }
            }
        }
    }
    // The print's own depth: that of the deepest tenth of what is as deep as the ticks at all.
    let inked: Vec<f64> =
        depth.samples().iter().filter(|d| f64::from(**d) > 0.6 * row.contrast).map(|d| f64::from(*d)).collect();
    let full = quantile(&inked, 0.8)?.max(row.contrast) as f32;
    Some(depth.map(|d| d / full))
}

/// The patch as it looks this way round.
fn turned(patch: &[f32], (quarters, mirrored): (usize, bool)) -> Vec<f32> {
    let last = SIDE - 1;
    let mut out = Vec::with_capacity(SIDE * SIDE);
    for v in 0..SIDE {
        for u in 0..SIDE {
            let u = if mirrored { last - u } else { u };
            let (x, y) = match quarters {
                0 => (u, v),
                1 => (v, last - u),
                2 => (last - u, last - v),
                _ => (last - v, u),
            };
            out.push(patch[y * SIDE + x]);
        }
    }
    out
}

/// Numbers of one way round (quarter turns, and whether in a mirror): digits side by side in the sense in which they are read.
fn numbers(row: &TickRow, blobs: &[Blob], way: (usize, bool), pitch: f64) -> Vec<Number> {
    // The box in the reader's own axes: to the right, and down.
    let seen = |b: &Blob| {
        let (l, r, t, d) = match way.0 {
            0 => (b.left, b.right, b.top, b.bottom),
            1 => (-b.bottom, -b.top, b.left, b.right),
            2 => (-b.right, -b.left, -b.bottom, -b.top),
            _ => (b.top, b.bottom, -b.right, -b.left),
        };
        if way.1 { (-r, -l, t, d) } else { (l, r, t, d) }
    };
    struct Digit {
        side: (f64, f64, f64, f64),
        value: usize,
        sure: f64,
        middle: (f64, f64),
    }
    let mut read: Vec<Digit> = blobs
        .iter()
        .filter_map(|b| {
            let (l, r, t, d) = seen(b);
            // Digits are taller than wide.
            if r - l > 1.1 * (d - t) || d - t < LEAST_PX * pitch {
                return None;
            }
            let said = digits::read(turned(&b.patch, way))?;
            let value = (0..NONE).max_by(|a, b| said[*a].total_cmp(&said[*b]))?;
            // Half as likely as not is no digit.
            (said[value] > -1.1).then_some(Digit {
                side: (l, r, t, d),
                value,
                sure: said[value],
                middle: ((b.left + b.right) / 2.0, (b.top + b.bottom) / 2.0),
            })
        })
        .collect();
    read.sort_by(|a, b| a.side.0.total_cmp(&b.side.0));
    let mut taken = vec![false; read.len()];
    let mut found = Vec::new();
    for i in 0..read.len() {
        if taken[i] {
            continue;
        }
        taken[i] = true;
        let (mut string, mut last) = (vec![i], i);
        for j in i + 1..read.len() {
            let (a, b) = (&read[last], &read[j]);
            let tall = a.side.3 - a.side.2;
            let level = (a.side.3 - b.side.3).abs() < 0.25 * tall && (a.side.2 - b.side.2).abs() < 0.25 * tall;
            let gap = b.side.0 - a.side.1;
            if !taken[j] && level && gap > -0.1 * tall && gap < 0.45 * tall {
                taken[j] = true;
                string.push(j);
                last = j;
            }
        }
        let of = |k: &dyn Fn(&Digit) -> f64| string.iter().map(|i| k(&read[*i])).sum::<f64>() / string.len() as f64;
        if string.len() > 3 {
            continue;
        }
        let (x, s) = (of(&|d| d.middle.0), of(&|d| d.middle.1));
        let Some(at) = ticks_at(row, x) else { continue };
        found.push(Number {
            at,
            off: s,
            value: string.iter().fold(0, |v, i| 10 * v + read[*i].value as i32),
            digits: string.len(),
            sure: string.iter().map(|i| read[*i].sure).sum(),
        });
    }
    found
}

/// X as a number of ticks.
fn ticks_at(row: &TickRow, x: f64) -> Option<f64> {
    let curve = &row.lattice.curve;
    let (first, last) = (f64::from(row.ticks.first()?.number), f64::from(row.ticks.last()?.number));
    let mut n = (first + last) / 2.0;
    for _ in 0..12 {
        let step = curve.step(n);
        n = (n + (x - curve.at(n)) / if step.abs() > 1e-3 { step } else { return None })
            .clamp(first - 50.0, last + 50.0);
    }
    Some(n)
}

/// The series that most numbers agree with, and its score: what each agreeing digit is worth against a blind guess.
fn series_of(numbers: &[Number], backwards: bool) -> Option<(f64, Series)> {
    let mut best: Option<(f64, Series)> = None;
    for (i, a) in numbers.iter().enumerate() {
        for b in &numbers[i + 1..] {
            if a.value == b.value {
                continue;
            }
            let between = (b.at - a.at) / f64::from(b.value - a.value);
            let Some(ticks) = TICKS.iter().copied().find(|t| (between.abs() / t - 1.0).abs() < 0.06) else { continue };
            let (mut score, mut agreeing, mut against) = (0.0, Vec::new(), 0);
            for c in numbers {
                let due = f64::from(a.value) + (c.at - a.at) / (between.signum() * ticks);
                // A numeral stands at its tick or beside it, each a little otherwise.
                if (c.off - a.off).abs() > 0.15 * a.off.max(1.0) {
                    continue;
                }
                if (due - f64::from(c.value)).abs() < 0.2f64.max(0.6 / ticks) {
                    if !agreeing.contains(&c.value) {
                        agreeing.push(c.value);
                        score += c.sure + c.digits as f64 * 10f64.ln();
                    }
                } else if due.round().rem_euclid(10.0) != f64::from(c.value) {
                    // Tenths begin anew at each inch.
                    against += 1;
                }
            }
            if against > if agreeing.len() < SETTLED { 0 } else { agreeing.len() / 2 } {
                continue;
            }
            let series = Series { ticks, agreeing: agreeing.len(), backwards };
            if best.as_ref().is_none_or(|(s, _)| score > *s) {
                best = Some((score, series));
            }
        }
    }
    best
}
