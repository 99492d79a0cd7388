//! The block's brightness on lines across it, parted into wraps.

use super::super::Wraps;
use super::block::{Block, LEAST_COLOUR, fit};
use crate::base::colour::luma;
use crate::base::raster::Raster;
use crate::base::stats::{median, standard_deviation};

/// Samples per pitch on a line across.
const PER_PITCH: f64 = 24.0;

/// Distance between lines, and half the length along the wraps over which each averages, pitches.
const LINE_STEP: f64 = 1.5;

/// How far beyond the outermost strands found the flanks are looked for, pitches.
const BEYOND: f64 = 3.5;

/// Least part of the lines that must tell the same number.
const AGREEING: f64 = 0.6;

/// Lines below which all must: three of four or five easily tell the same wrong number of a yarn whose plies look like wraps.
const FEW_LINES: usize = 6;

/// Cost of a wrap that is wider or narrower than the pitch: the square of the relative difference times this. At 0.6 two
/// wraps taken for one (difference 1) cost a crease of contrast 0.6, more than any; a wrap split in two costs 0.3, more
/// than the deepest groove between plies, averaged over three pitches, shows.
const STIFFNESS: f64 = 0.6;

/// The creases and flanks of one line across, `u`, in order: one more than there are wraps.
#[derive(Debug, Clone)]
struct Across {
    v: f64,
    bounds: Vec<f64>,
}

/// The block parted into wraps: bound `i` is `u = at + slope v`.
#[derive(Debug, Clone)]
pub(super) struct Parted {
    bounds: Vec<(f64, f64)>,
    /// Standard uncertainty of one bound at the middle, px.
    u_px: f64,
    from: f64,
    to: f64,
}

impl Parted {
    /// Number of wraps.
    pub(super) fn wraps(&self) -> usize {
        self.bounds.len().saturating_sub(1)
    }

    /// Middle of wrap `i` at `v`.
    pub(super) fn centre(&self, i: usize, v: f64) -> Option<f64> {
        let (a, b) = (self.bounds.get(i)?, self.bounds.get(i + 1)?);
        Some((a.0 + b.0) / 2.0 + (a.1 + b.1) / 2.0 * v)
    }

    /// Width of wrap `i` at `v`, from bound to bound.
    pub(super) fn width(&self, i: usize, v: f64) -> Option<f64> {
        let (a, b) = (self.bounds.get(i)?, self.bounds.get(i + 1)?);
        Some(b.0 - a.0 + (b.1 - a.1) * v)
    }

    /// First and last `v` at which the wraps are seen.
    pub(super) fn extent(&self) -> (f64, f64) {
        (self.from, self.to)
    }

    /// The centres on the middle line.
    pub(super) fn counted(&self, block: &Block) -> Wraps {
        let v = (self.from + self.to) / 2.0;
        let centres =
            (0..self.wraps()).filter_map(|i| self.centre(i, v)).map(|u| block.image_from_block(u, v)).collect();
        // The outermost wraps are taken to be as wide as the others: one in ten wide or narrow, half of it in the centre.
        let flank = 0.1 * block.pitch_px / 2.0;
        Wraps { centres, u_px: (self.u_px.powi(2) + 2.0 * flank * flank).sqrt() }
    }
}

/// Parts the block; `None` where its flanks do not stand out from the ground, or the lines do not agree.
pub(super) fn part(picture: &Raster<[u8; 3]>, block: &Block) -> Option<Parted> {
    let pitch = block.pitch_px;
    let lines = ((block.ends.1 - block.ends.0) / (LINE_STEP * pitch)).floor() as usize;
    let middle = (block.ends.0 + block.ends.1) / 2.0;
    let found: Vec<Across> = (0..lines)
        .map(|k| middle + (k as f64 - (lines as f64 - 1.0) / 2.0) * LINE_STEP * pitch)
        .filter_map(|v| part_line(picture, block, v))
        .collect();
    let counts: Vec<f64> = found.iter().map(|a| a.bounds.len() as f64).collect();
    let count = median(&counts)?.round() as usize;
    let agreeing: Vec<&Across> = found.iter().filter(|a| a.bounds.len() == count).collect();
    let wanted = if lines < FEW_LINES { 1.0 } else { AGREEING };
    if count < 2 || agreeing.len() < 3 || (agreeing.len() as f64) < wanted * lines as f64 {
        return None;
    }
    let mut bounds = Vec::with_capacity(count);
    let mut residuals = Vec::new();
    for i in 0..count {
        let points: Vec<(f64, f64)> = agreeing.iter().filter_map(|a| Some((a.v, *a.bounds.get(i)?))).collect();
        let line = fit(&points);
        residuals.extend(points.iter().map(|(v, u)| u - line.0 - line.1 * v));
        bounds.push(line);
    }
    let u_px = standard_deviation(&residuals)? / (agreeing.len() as f64).sqrt();
    set_outer(&mut bounds);
    let (from, to) = (agreeing.first()?.v - pitch, agreeing.last()?.v + pitch);
    Some(Parted { bounds, u_px, from, to })
}

/// Sets the outermost bounds a median width from the creases next to them. The flanks tell how many wraps there are, but a
/// shadow on the ground beside the last one would widen it.
fn set_outer(bounds: &mut [(f64, f64)]) {
    let n = bounds.len();
    let inner = bounds.get(1..n.saturating_sub(1)).unwrap_or_default();
    let widths = |f: fn(&(f64, f64)) -> f64| median(&inner.windows(2).map(|p| f(&p[1]) - f(&p[0])).collect::<Vec<_>>());
    if let (Some(at), Some(slope)) = (widths(|b| b.0), widths(|b| b.1)) {
        bounds[0] = (bounds[1].0 - at, bounds[1].1 - slope);
        bounds[n - 1] = (bounds[n - 2].0 + at, bounds[n - 2].1 + slope);
    }
}

/// Mean colour along the wraps, over `LINE_STEP` pitches to either side of `v`.
fn profile(
    picture: &Raster<[u8; 3]>,
    block: &Block,
    v: f64,
    from: f64,
    count: usize,
    step: f64,
) -> Option<Vec<[f64; 3]>> {
    let reach = LINE_STEP * block.pitch_px;
    let taps = (reach * 2.0 / 2.0).ceil().clamp(4.0, 64.0) as usize;
    (0..count)
        .map(|i| {
            let u = from + i as f64 * step;
            let mut sum = [0.0f64; 3];
            let mut seen = 0.0;
            for k in 0..=taps {
                let dv = reach * (2.0 * k as f64 / taps as f64 - 1.0);
                let p = block.image_from_block(u + block.aside(u, dv), v + dv);
                let (x, y) = (p.x.round(), p.y.round());
                if x >= 0.0
                    && y >= 0.0
                    && let Some(rgb) = picture.get(x as usize, y as usize)
                {
                    for (s, c) in sum.iter_mut().zip(rgb) {
                        *s += f64::from(c);
                    }
                    seen += 1.0;
                }
            }
            (seen > 0.0).then(|| sum.map(|s| s / seen))
        })
        .collect()
}

fn part_line(picture: &Raster<[u8; 3]>, block: &Block, v: f64) -> Option<Across> {
    let pitch = block.pitch_px;
    let step = pitch / PER_PITCH;
    let low = block.flanks.0 + block.aside(block.flanks.0, v) - BEYOND * pitch;
    let high = block.flanks.1 + block.aside(block.flanks.1, v) + BEYOND * pitch;
    let count = ((high - low) / step).ceil() as usize + 1;
    let colours = profile(picture, block, v, low, count, step)?;
    // The yarn's colour: median over the strands found.
    let inner = (BEYOND * PER_PITCH) as usize;
    let strands = colours.get(inner..count.checked_sub(inner)?)?;
    let yarn: [f64; 3] =
        std::array::from_fn(|c| median(&strands.iter().map(|p| p[c]).collect::<Vec<_>>()).unwrap_or(0.0));
    let left = flank(&colours[..inner + 1], yarn, true)?;
    let right = flank(&colours[count - inner - 1..], yarn, false)? + (count - inner - 1) as f64;
    let light: Vec<f64> = colours.iter().map(|c| f64::from(luma(c.map(|v| v.round() as u8)))).collect();
    let smooth = super::super::skein::smoothed(&light, 0.06 * PER_PITCH);
    let bounds = creases(&smooth, left, right)?;
    Some(Across { v, bounds: bounds.into_iter().map(|i| low + i * step).collect() })
}

/// Where the yarn ends and the ground begins: half way between their colours, first seen from the yarn's side, at a part
/// of a sample; `None` where the two are alike.
fn flank(colours: &[[f64; 3]], yarn: [f64; 3], yarn_last: bool) -> Option<f64> {
    let n = colours.len();
    // Outermost pitch and a half: ground.
    let outer = (1.5 * PER_PITCH) as usize;
    let ground_samples = if yarn_last { colours.get(..outer)? } else { colours.get(n.checked_sub(outer)?..)? };
    let ground: [f64; 3] =
        std::array::from_fn(|c| median(&ground_samples.iter().map(|p| p[c]).collect::<Vec<_>>()).unwrap_or(0.0));
    let axis: [f64; 3] = std::array::from_fn(|c| yarn[c] - ground[c]);
    let length = axis.iter().map(|a| a * a).sum::<f64>();
    if length.sqrt() < LEAST_COLOUR {
        return None;
    }
    let part = |i: usize| (0..3).map(|c| (colours[i][c] - ground[c]) * axis[c]).sum::<f64>() / length;
    // Below half at once, and on the mean over a pitch: a crease before dark ground is narrower, a ruler's tick beside the
    // yarn interrupts the ground.
    let (at_once, stay) = ((0.15 * PER_PITCH) as usize, PER_PITCH as usize);
    let at = |k: usize| if yarn_last { n - 1 - k } else { k };
    for k in 1..n.checked_sub(stay)? {
        let mean = (k..k + stay).map(|j| part(at(j))).sum::<f64>() / stay as f64;
        if mean < 0.4 && (k..k + at_once).all(|j| part(at(j)) < 0.5) {
            let (inside, outside) = (part(at(k - 1)), part(at(k)));
            let t = if inside > outside { ((inside - 0.5) / (inside - outside)).clamp(0.0, 1.0) } else { 0.5 };
            let from = (k - 1) as f64 + t;
            return Some(if yarn_last { (n - 1) as f64 - from } else { from });
        }
    }
    None
}

/// The flanks and the creases between them: the sequence of minima of brightness, at distances near the pitch, of least
/// cost (dynamic programming over all minima and any number of wraps).
fn creases(light: &[f64], left: f64, right: f64) -> Option<Vec<f64>> {
    let (first, last) = (left.ceil() as usize, right.floor() as usize);
    let inside = light.get(first..=last)?;
    let body = median(inside)? + 8.0;
    let mut nodes: Vec<(f64, f64)> = vec![(left, 0.0)];
    let reach = (0.5 * PER_PITCH) as usize;
    for i in first + 2..last.saturating_sub(1) {
        let (a, b, c) = (light[i - 1], light[i], light[i + 1]);
        if b < a && b <= c {
            let before = light[i.saturating_sub(reach)..i].iter().copied().fold(f64::MIN, f64::max);
            let after = light[i + 1..(i + 1 + reach).min(light.len())].iter().copied().fold(f64::MIN, f64::max);
            let depth = (before.min(after) - b) / body;
            nodes.push((i as f64 + (a - c) / (2.0 * (a - 2.0 * b + c)), depth));
        }
    }
    nodes.push((right, 0.0));
    let mut best: Vec<(f64, usize)> = vec![(f64::INFINITY, 0); nodes.len()];
    best[0].0 = 0.0;
    for j in 1..nodes.len() {
        for i in 0..j {
            let wide = (nodes[j].0 - nodes[i].0) / PER_PITCH;
            if (0.45..=1.8).contains(&wide) && best[i].0.is_finite() {
                let cost = best[i].0 + STIFFNESS * (wide - 1.0).powi(2) - nodes[j].1;
                if cost < best[j].0 {
                    best[j] = (cost, i);
                }
            }
        }
    }
    if !best.last()?.0.is_finite() {
        return None;
    }
    let mut out = Vec::new();
    let mut at = nodes.len() - 1;
    loop {
        out.push(nodes[at].0);
        if at == 0 {
            break;
        }
        at = best[at].1;
    }
    out.reverse();
    Some(out)
}
