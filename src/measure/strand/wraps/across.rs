//! The block's brightness on lines across it, parted into wraps.

use super::block::{Block, LEAST_COLOUR, MOST_COLOUR, apart, light};
use crate::base::raster::Raster;
use crate::base::stats::{mean, median, vertex};

/// Samples per pitch on a line across.
const PER_PITCH: f64 = 24.0;

/// Most places along a line's width that are averaged.
const MOST_TAPS: f64 = 64.0;

/// How far beyond the outermost strands found the flanks are looked for, pitches.
const BEYOND: f64 = 3.5;

/// Cost of a wrap that is wider or narrower than the pitch: the square of the relative difference times this. At 0.6 two
/// wraps taken for one (difference 1) cost a crease of contrast 0.6, more than any; a wrap split in two costs 0.3, more
/// than the deepest groove between plies, averaged over three pitches, shows.
const STIFFNESS: f64 = 0.6;

/// The creases on one line across, `u`, in order: one fewer than there are wraps.
#[derive(Debug, Clone)]
pub(super) struct Across {
    pub(super) v: f64,
    pub(super) creases: Vec<f64>,
}

/// What parts one wrap from the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Between {
    /// Shade: wraps that touch.
    Shade,
    /// The ground's colour, which dark yarn does not shade into anything darker than itself.
    Ground,
}

/// What is seen on one line across.
#[derive(Debug)]
pub(super) struct Profile {
    v: f64,
    /// First sample, and the distance of two, px.
    from: f64,
    step: f64,
    /// Where the yarn begins and ends, samples.
    flanks: (f64, f64),
    /// Brightness, and how much of each colour is the yarn's, 0 to 255.
    light: Vec<f64>,
    yarn: Vec<f64>,
}

impl Profile {
    /// Along the wraps over `reach_px` to either side of `v`; `None` where no yarn wound side by side begins and ends.
    pub(super) fn at(picture: &Raster<[u8; 3]>, block: &Block, v: f64, reach_px: f64) -> Option<Self> {
        let pitch = block.pitch_px;
        let step = pitch / PER_PITCH;
        let from = block.flanks.0 + block.aside(block.flanks.0, v) - BEYOND * pitch;
        let to = block.flanks.1 + block.aside(block.flanks.1, v) + BEYOND * pitch;
        let count = ((to - from) / step).ceil() as usize + 1;
        let colours = block.profile(picture, v, (reach_px, MOST_TAPS), (from, step, count))?;
        // The yarn's colour: median over the strands found.
        let inner = (BEYOND * PER_PITCH) as usize;
        let yarn = median_colour(colours.get(inner..count.checked_sub(inner)?)?);
        let outer = (OUTER * PER_PITCH) as usize;
        let ground = [median_colour(&colours[..outer]), median_colour(&colours[count - outer..])];
        let left = flank(&colours[..inner + 1], yarn, ground[0], true)?;
        let right = flank(&colours[count - inner - 1..], yarn, ground[1], false)? + (count - inner - 1) as f64;
        let ground = std::array::from_fn(|c| (ground[0][c] + ground[1][c]) / 2.0);
        let share: Vec<f64> = yarn_share(&colours, yarn, ground)?.into_iter().map(|s| s.clamp(0.0, 1.0)).collect();
        // Where their colours are near to each other, shade alone looks like ground.
        let told_apart = apart(&yarn, &ground) >= MOST_COLOUR;
        let covered = mean(share.get(left.ceil() as usize..right as usize)?)?;
        (!told_apart || covered >= COVERED).then(|| Self {
            v,
            from,
            step,
            flanks: (left, right),
            light: light(&colours),
            yarn: share.iter().map(|share| 255.0 * share).collect(),
        })
    }

    /// Parted into wraps by what is between them.
    pub(super) fn across(&self, between: Between) -> Option<Across> {
        let values = match between {
            Between::Shade => &self.light,
            Between::Ground => &self.yarn,
        };
        let smooth = super::super::skein::smoothed(values, 0.06 * PER_PITCH);
        let creases = creases(&smooth, self.flanks.0, self.flanks.1)?;
        let place = |i: &f64| self.from + i * self.step;
        let inner = creases.get(1..creases.len().checked_sub(1)?)?;
        Some(Across { v: self.v, creases: inner.iter().map(place).collect() })
    }
}

/// Least part of the ground that yarn wound side by side covers: farther apart than a third of its width it is laid in passes.
const COVERED: f64 = 0.75;

/// Width of the outermost stretch, pitches: ground.
const OUTER: f64 = 1.5;

fn median_colour(colours: &[[f64; 3]]) -> [f64; 3] {
    std::array::from_fn(|c| median(&colours.iter().map(|p| p[c]).collect::<Vec<_>>()).unwrap_or(0.0))
}

/// How much of each colour is the yarn's and not the ground's, 0 to 1; `None` where the two are alike.
fn yarn_share(colours: &[[f64; 3]], yarn: [f64; 3], ground: [f64; 3]) -> Option<Vec<f64>> {
    let axis: [f64; 3] = std::array::from_fn(|c| yarn[c] - ground[c]);
    let length = axis.iter().map(|a| a * a).sum::<f64>();
    let share = |colour: &[f64; 3]| (0..3).map(|c| (colour[c] - ground[c]) * axis[c]).sum::<f64>() / length;
    (length.sqrt() >= LEAST_COLOUR).then(|| colours.iter().map(share).collect())
}

/// Where the yarn ends and the ground begins: half way between their colours, first seen from the yarn's side, at a part
/// of a sample; `None` where the two are alike.
fn flank(colours: &[[f64; 3]], yarn: [f64; 3], ground: [f64; 3], yarn_last: bool) -> Option<f64> {
    let n = colours.len();
    let part = yarn_share(colours, yarn, ground)?;
    // Below half at once, and on the mean over a pitch: a crease before dark ground is narrower, a ruler's tick beside the
    // yarn interrupts the ground.
    let (at_once, stay) = ((0.15 * PER_PITCH) as usize, PER_PITCH as usize);
    let at = |k: usize| if yarn_last { n - 1 - k } else { k };
    for k in 1..n.checked_sub(stay)? {
        let mean = (k..k + stay).map(|j| part[at(j)]).sum::<f64>() / stay as f64;
        if mean < 0.4 && (k..k + at_once).all(|j| part[at(j)] < 0.5) {
            let (inside, outside) = (part[at(k - 1)], part[at(k)]);
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
            nodes.push((i as f64 + vertex(a, b, c), depth));
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
