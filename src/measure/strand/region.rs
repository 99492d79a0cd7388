//! Regions of a mask: connected pixels, how deep each lies, parts without appendages, and the longest path through a part.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use image::{GrayImage, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};

use super::standing::around;
use crate::base::raster::Raster;

/// The pixels of each thing (neighbours at corners belong together), things and pixels in reading order.
pub(super) fn components(mask: &Raster<bool>) -> Vec<Vec<usize>> {
    let (Ok(width), Ok(height)) = (u32::try_from(mask.width()), u32::try_from(mask.height())) else {
        return Vec::new();
    };
    let raw = mask.samples().iter().map(|set| u8::from(*set)).collect();
    let Some(picture) = GrayImage::from_raw(width, height, raw) else { return Vec::new() };
    let labels = connected_components(&picture, Connectivity::Eight, Luma([0]));
    let mut all: Vec<Vec<usize>> = Vec::new();
    for (i, label) in labels.into_raw().into_iter().enumerate() {
        let Some(thing) = label.checked_sub(1) else { continue };
        let thing = thing as usize;
        if all.len() <= thing {
            all.resize_with(thing + 1, Vec::new);
        }
        if let Some(pixels) = all.get_mut(thing) {
            pixels.push(i);
        }
    }
    all
}

/// The same of the pixels of one thing, in reading order, that are `left` in a mask.
pub(super) fn components_of(mask: &Raster<bool>, left: &[usize]) -> Vec<Vec<usize>> {
    let (width, height) = (mask.width(), mask.height());
    let mut all: Vec<Vec<usize>> = Vec::new();
    let mut seen = Raster::filled(width, height, false);
    for start in left {
        if seen.samples()[*start] {
            continue;
        }
        let mut thing = connected(mask, &mut seen, *start);
        thing.sort_unstable();
        all.push(thing);
    }
    all
}

/// The pixels of a mask that hang together with one of them, nearest first; marks them as seen.
fn connected(mask: &Raster<bool>, seen: &mut Raster<bool>, start: usize) -> Vec<usize> {
    let (width, height) = (mask.width(), mask.height());
    seen.samples_mut()[start] = true;
    let mut part = vec![start];
    let mut next = 0;
    while let Some(&i) = part.get(next) {
        next += 1;
        for j in around(i, width, height) {
            if mask.samples()[j] && !seen.samples()[j] {
                seen.samples_mut()[j] = true;
                part.push(j);
            }
        }
    }
    part
}

/// Depth of each pixel inside its thing: chamfer distance (3-4 mask, G. Borgefors 1986) to the nearest pixel outside, px.
/// The picture's border does not count as outside.
#[derive(Debug)]
pub(super) struct Depth {
    values: Vec<f32>,
    low: (usize, usize),
    width: usize,
}

impl Depth {
    /// Depth of a pixel.
    pub(super) fn at(&self, i: usize, picture_width: usize) -> f32 {
        let (x, y) = (i % picture_width, i / picture_width);
        self.values.get((y + 1 - self.low.1) * self.width + x + 1 - self.low.0).copied().unwrap_or(0.0)
    }
}

/// The depths of one thing of a mask.
pub(super) fn depths(mask: &Raster<bool>, thing: &[usize]) -> Depth {
    let width = mask.width();
    let (mut low, mut high) = ((usize::MAX, usize::MAX), (0, 0));
    for i in thing {
        let (x, y) = (i % width, i / width);
        low = (low.0.min(x), low.1.min(y));
        high = (high.0.max(x), high.1.max(y));
    }
    let (w, h) = (high.0 - low.0 + 3, high.1 - low.1 + 3);
    let mut d = vec![0.0f32; w * h];
    for i in thing {
        d[(i / width + 1 - low.1) * w + i % width + 1 - low.0] = f32::MAX;
    }
    // Beyond the picture the thing goes on.
    for y in 0..h {
        for x in 0..w {
            let (px, py) = (x + low.0, y + low.1);
            if px == 0 || py == 0 || px > mask.width() || py > mask.height() {
                d[y * w + x] = f32::MAX;
            }
        }
    }
    let (near, far) = (1.0f32, 4.0f32 / 3.0);
    for y in 1..h - 1 {
        for x in 1..w - 1 {
            let i = y * w + x;
            let best = (d[i - 1] + near).min(d[i - w] + near).min(d[i - w - 1] + far).min(d[i - w + 1] + far);
            d[i] = d[i].min(best);
        }
    }
    for y in (1..h - 1).rev() {
        for x in (1..w - 1).rev() {
            let i = y * w + x;
            let best = (d[i + 1] + near).min(d[i + w] + near).min(d[i + w + 1] + far).min(d[i + w - 1] + far);
            d[i] = d[i].min(best);
        }
    }
    Depth { values: d, low, width: w }
}

/// Half width, as a part of the picture's longer side, from which on a thing is no yarn but a piece of table or of something
/// lying there.
const FAR_TOO_WIDE: f64 = 0.05;

/// The parts of a thing without thin appendages. Of something far too wide the appendages may be the yarn that runs into it:
/// they are things of their own, from `least` pixels on. `longest` is the picture's longer side.
pub(super) fn parts_of(
    mask: &Raster<bool>,
    thing: &[usize],
    depth: &Depth,
    longest: f64,
    least: f64,
) -> Vec<Vec<usize>> {
    let Some(typical) = typical_depth(mask.width(), thing, depth) else { return Vec::new() };
    // The layer is 0.4 of the typical half width.
    let mut parts = opened(mask, thing, depth, 0.4 * typical);
    if f64::from(typical) < FAR_TOO_WIDE * longest {
        return parts;
    }
    let mut rest = Raster::filled(mask.width(), mask.height(), false);
    thing.iter().for_each(|i| rest.samples_mut()[*i] = true);
    parts.iter().flatten().for_each(|i| rest.samples_mut()[*i] = false);
    for appendage in components(&rest) {
        if appendage.len() as f64 >= least {
            let depth = depths(&rest, &appendage);
            parts.extend(parts_of(&rest, &appendage, &depth, longest, least));
        }
    }
    parts
}

/// Half width of a thing: a line of width w has depths 1..w/2; the 85th percentile over all its pixels is close to it.
fn typical_depth(width: usize, thing: &[usize], depth: &Depth) -> Option<f32> {
    let mut all: Vec<f32> = thing.iter().map(|i| depth.at(*i, width)).collect();
    let at = all.len() * 85 / 100;
    (at < all.len()).then(|| *all.select_nth_unstable_by(at, f32::total_cmp).1)
}

/// The thing without its thin appendages (ticks and printed lines that touch it): what survives taking away a layer and
/// putting it back, as connected parts.
fn opened(mask: &Raster<bool>, thing: &[usize], depth: &Depth, layer: f32) -> Vec<Vec<usize>> {
    let (width, height) = (mask.width(), mask.height());
    if layer <= 1.0 {
        return vec![thing.to_vec()];
    }
    let mut kept = Raster::filled(width, height, false);
    let mut queue: BinaryHeap<(Reverse<u32>, usize)> = BinaryHeap::new();
    let quantise = |v: f32| (v * 12.0) as u32;
    for i in thing {
        if depth.at(*i, width) > layer {
            kept.samples_mut()[*i] = true;
        }
    }
    for i in thing {
        if kept.samples()[*i] && around(*i, width, height).any(|j| mask.samples()[j] && !kept.samples()[j]) {
            queue.push((Reverse(0), *i));
        }
    }
    let reach = quantise(layer);
    while let Some((Reverse(cost), i)) = queue.pop() {
        for j in around(i, width, height) {
            let next = cost + if j / width == i / width || j % width == i % width { 12 } else { 16 };
            if mask.samples()[j] && !kept.samples()[j] && next <= reach {
                kept.samples_mut()[j] = true;
                queue.push((Reverse(next), j));
            }
        }
    }
    let mut seen = Raster::filled(width, height, false);
    let mut parts = Vec::new();
    for start in thing {
        if !kept.samples()[*start] || seen.samples()[*start] {
            continue;
        }
        parts.push(connected(&kept, &mut seen, *start));
    }
    parts
}

/// Length of a step from a pixel to a neighbour, px.
pub(super) fn step(i: usize, j: usize, width: usize) -> f64 {
    if i / width == j / width || i % width == j % width { 1.0 } else { std::f64::consts::SQRT_2 }
}

/// The path between the two pixels of the part that are farthest from each other, kept near the middle.
pub(super) fn longest_path(part: &[usize], depth: &Depth, width: usize) -> Vec<usize> {
    let Some(first) = part.first() else { return Vec::new() };
    let (from_first, _) = spread(part, depth, width, *first);
    let farthest = |costs: &[u32]| (0..part.len()).max_by_key(|k| (costs[*k], Reverse(*k))).unwrap_or(0);
    let one = part[farthest(&from_first)];
    let (from_one, back) = spread(part, depth, width, one);
    let mut at = farthest(&from_one);
    let mut path = vec![part[at]];
    while let Some(before) = back[at] {
        at = before;
        path.push(part[at]);
    }
    path
}

/// Dijkstra's distances over the part, where the middle is cheap: a step costs more the shallower it is.
fn spread(part: &[usize], depth: &Depth, width: usize, from: usize) -> (Vec<u32>, Vec<Option<usize>>) {
    // Place of each pixel in `part`, through the depth grid.
    let mut place = vec![u32::MAX; depth.values.len()];
    let slot = |i: usize| (i / width + 1 - depth.low.1) * depth.width + i % width + 1 - depth.low.0;
    for (k, i) in part.iter().enumerate() {
        place[slot(*i)] = k as u32;
    }
    let deepest = part.iter().map(|i| depth.at(*i, width)).fold(1.0f32, f32::max);
    let mut costs = vec![u32::MAX; part.len()];
    let mut back = vec![None; part.len()];
    let mut queue = BinaryHeap::new();
    let start = place[slot(from)] as usize;
    costs[start] = 0;
    queue.push((Reverse(0u32), start));
    let offsets: [isize; 8] = {
        let w = depth.width as isize;
        [-1, 1, -w, w, -w - 1, -w + 1, w - 1, w + 1]
    };
    while let Some((Reverse(cost), k)) = queue.pop() {
        if cost > costs[k] {
            continue;
        }
        let here = slot(part[k]) as isize;
        for (n, offset) in offsets.iter().enumerate() {
            let Some(&j) = usize::try_from(here + offset).ok().and_then(|s| place.get(s)) else { continue };
            if j == u32::MAX {
                continue;
            }
            let j = j as usize;
            let length = if n < 4 { 100.0 } else { 141.4 };
            let shallow = 1.0 + 2.0 * (1.0 - depth.at(part[j], width).min(deepest) / deepest);
            let next = cost.saturating_add((length * shallow) as u32);
            if next < costs[j] {
                costs[j] = next;
                back[j] = Some(k);
                queue.push((Reverse(next), j));
            }
        }
    }
    for cost in &mut costs {
        if *cost == u32::MAX {
            *cost = 0;
        }
    }
    (costs, back)
}
