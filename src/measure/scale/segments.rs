//! Thin dark bars: what a tick looks like where it is one to three pixels wide.

use super::luma::Level;
use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;

/// A thin straight dark bar, in pixels of the photo.
#[derive(Debug, Clone, Copy)]
pub(super) struct Segment {
    /// Its middle.
    pub(super) centre: Point<Image>,
    /// Unit vector along it; of the two senses the one with positive y, or positive x where it lies level.
    pub(super) along: Point<Image>,
    /// Half its length, px.
    pub(super) half_length: f64,
    /// Its width, px.
    pub(super) width: f64,
}

impl Segment {
    /// The end against the sense of `along`, and the other.
    pub(super) fn ends(&self) -> [Point<Image>; 2] {
        [self.centre - self.along * self.half_length, self.centre + self.along * self.half_length]
    }
}

/// Distance from a bar's middle to the two places beside it that must be lighter, pixels of the level. Bars of up to 2.5
/// pixels pass, and rows of bars from 4 pixels apart; wider ones pass on the next level.
const REACH: usize = 2;

/// All bars of one level, in order of their topmost pixel.
pub(super) fn find_segments(level: &Level) -> Vec<Segment> {
    let mut classes = ridge_classes(&level.luma);
    components(&mut classes, level)
}

/// For each pixel 0, or 1 to 4: the direction across which it is darker than both sides.
fn ridge_classes(luma: &Raster<u8>) -> Raster<u8> {
    let (width, height) = (luma.width(), luma.height());
    let mut classes = Raster::filled(width, height, 0u8);
    if width <= 2 * REACH || height <= 2 * REACH {
        return classes;
    }
    let inner = width - 2 * REACH;
    for y in REACH..height - REACH {
        let (up, here, down) = (luma.row(y - REACH), luma.row(y), luma.row(y + REACH));
        let out = &mut classes.row_mut(y)[REACH..REACH + inner];
        let left = &here[..inner];
        let middle = &here[REACH..REACH + inner];
        let right = &here[2 * REACH..2 * REACH + inner];
        let (ul, um, ur) = (&up[..inner], &up[REACH..REACH + inner], &up[2 * REACH..2 * REACH + inner]);
        let (dl, dm, dr) = (&down[..inner], &down[REACH..REACH + inner], &down[2 * REACH..2 * REACH + inner]);
        for i in 0..inner {
            let sides = [left[i].min(right[i]), ul[i].min(dr[i]), um[i].min(dm[i]), ur[i].min(dl[i])];
            let mut best = sides[0];
            let mut class = 1u8;
            for (k, side) in sides.iter().enumerate().skip(1) {
                let more = *side > best;
                class = if more { k as u8 + 1 } else { class };
                best = if more { *side } else { best };
            }
            // A thirty-second of the ground's brightness, and 4 code values, twice the sensor's noise at half size: what is no bar
            // is not straight, or stands in no row.
            let deep = best.saturating_sub(middle[i]) > 4 + (best >> 5);
            out[i] = if deep { class } else { 0 };
        }
    }
    classes
}

/// Groups ridge pixels whose directions agree, and keeps the groups that are thin and straight. What is not is taken apart
/// by direction once more: ticks that stand on a dark line hang together with it as a comb. Consumes the classes.
fn components(classes: &mut Raster<u8>, level: &Level) -> Vec<Segment> {
    let mut found = Vec::new();
    let mut pixels: Vec<(u32, u32)> = Vec::new();
    let mut comb: Vec<(u32, u32)> = Vec::new();
    let mut seen: Vec<u8> = Vec::new();
    for y in 0..classes.height() {
        for x in 0..classes.width() {
            if !matches!(classes.get(x, y), Some(1..=4)) {
                continue;
            }
            seen.clear();
            // Neighbouring directions only, of the four.
            gather(classes, (x, y), &mut pixels, &mut seen, |c, n| (1..=4).contains(&n) && (n + 4 - c) % 4 != 2);
            let segment = segment_of(&pixels, level);
            if segment.is_some() || pixels.len() < COMB_PIXELS {
                found.extend(segment);
                continue;
            }
            comb.clone_from(&pixels);
            for ((px, py), class) in comb.iter().zip(&seen) {
                classes.set(*px as usize, *py as usize, class + 4);
            }
            for (px, py) in &comb {
                let at = (*px as usize, *py as usize);
                if classes.get(at.0, at.1).is_some_and(|c| c > 4) {
                    gather(classes, at, &mut pixels, &mut seen, |c, n| c == n);
                    found.extend(segment_of(&pixels, level));
                }
            }
        }
    }
    found
}

/// Fewest pixels of a comb: a bar and something that it stands on.
const COMB_PIXELS: usize = 10;

/// Collects the pixels that hang together with `start`, with their classes, and clears them. `joins` says whether a pixel
/// of the first class may be followed by one of the second.
fn gather(
    classes: &mut Raster<u8>,
    start: (usize, usize),
    pixels: &mut Vec<(u32, u32)>,
    seen: &mut Vec<u8>,
    joins: impl Fn(u8, u8) -> bool,
) {
    pixels.clear();
    seen.clear();
    let (width, height) = (classes.width(), classes.height());
    let Some(class) = classes.get(start.0, start.1) else { return };
    classes.set(start.0, start.1, 0);
    pixels.push((start.0 as u32, start.1 as u32));
    seen.push(class);
    let mut next = 0;
    while let (Some(&(px, py)), Some(&c)) = (pixels.get(next), seen.get(next)) {
        next += 1;
        let (px, py) = (px as usize, py as usize);
        for ny in py.saturating_sub(1)..=(py + 1).min(height - 1) {
            for nx in px.saturating_sub(1)..=(px + 1).min(width - 1) {
                let Some(n) = classes.get(nx, ny).filter(|n| *n > 0 && joins(c, *n)) else { continue };
                classes.set(nx, ny, 0);
                pixels.push((nx as u32, ny as u32));
                seen.push(n);
            }
        }
    }
}

/// The bar that these pixels form, if they form one.
fn segment_of(pixels: &[(u32, u32)], level: &Level) -> Option<Segment> {
    // A bar of five by one is the least whose direction can be told to some 10 degrees.
    if pixels.len() < 5 {
        return None;
    }
    let n = pixels.len() as f64;
    let (mut sx, mut sy) = (0.0, 0.0);
    for &(x, y) in pixels {
        sx += f64::from(x);
        sy += f64::from(y);
    }
    let (mx, my) = (sx / n, sy / n);
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for &(x, y) in pixels {
        let (dx, dy) = (f64::from(x) - mx, f64::from(y) - my);
        xx += dx * dx;
        xy += dx * dy;
        yy += dy * dy;
    }
    let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
    let (ax, ay) = (angle.cos(), angle.sin());
    let minor = (xx * ay * ay - 2.0 * xy * ax * ay + yy * ax * ax) / n;
    let (mut low, mut high) = (f64::MAX, f64::MIN);
    for &(x, y) in pixels {
        let s = (f64::from(x) - mx) * ax + (f64::from(y) - my) * ay;
        low = low.min(s);
        high = high.max(s);
    }
    let length = high - low + 1.0;
    let width = n / length;
    // Straight: a full bar's spread across is width / sqrt(12); half as much again is allowed for, and pixel noise.
    let straight = minor.sqrt() <= 0.45 * width + 0.35;
    if length < 2.2 * width || length < 4.5 || !straight {
        return None;
    }
    let middle = (low + high) / 2.0;
    let k = level.factor();
    let sign = if ay < 0.0 || (ay == 0.0 && ax < 0.0) { -1.0 } else { 1.0 };
    Some(Segment {
        centre: level.image_from_level(mx + middle * ax, my + middle * ay),
        along: Point::new(ax * sign, ay * sign),
        half_length: length / 2.0 * k,
        width: width * k,
    })
}
