//! Where the yarn's body lies in a band, roughly: rows that are neither bare ground nor its shadow.

use super::band::Band;
use crate::base::stats::{median, upper_median};

/// Rough body in one block of columns, rows of the band.
#[derive(Debug, Clone, Copy)]
pub(super) struct RoughBody {
    /// Middle column of the block.
    pub(super) column: f64,
    /// First row of the body.
    pub(super) top: f64,
    /// Last row of the body.
    pub(super) bottom: f64,
}

/// Lightness relative to the ground below which nothing is shadow: sky and card leave at least some tenth of the light
/// under any yarn.
pub(super) const DARKEST_SHADOW: f32 = 0.08;

/// Colour of a shadow: lamp and sky differ by about a tenth between red and blue, and a shadow has only the sky.
pub(super) const SHADOW_TINT: f32 = 0.12;

/// Light added to a tint's own: keeps noise of dark pixels from counting as colour.
pub(super) const OWN_FLOOR: f32 = 0.1;

/// Lightness above which nothing is ground: light thrown back by the yarn adds a few per cent.
const BRIGHTEST_GROUND: f32 = 1.06;

/// How a body's rows are told from bare ones.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum SeenBy {
    /// By half of the greatest evidence: a body that looks about alike all over.
    Amount,
    /// By evidence that the ground does not have, however much: glints or a bright ply beside dark ones.
    Presence,
}

/// Whether bodies keep their place and width from block to block: what does not is the ground's own grain, or single glints.
pub(super) fn steady(bodies: &[RoughBody]) -> bool {
    let jumps = jumps(bodies);
    median(&jumps).is_some_and(|m| m <= STEADY)
}

/// Change of a body's edges from block to block, in widths, up to which it is one body. Blocks overlap by half: edges of one
/// body share half of what they are found from and stay within a fraction of the width; grain does not.
const STEADY: f64 = 0.5;

/// Summed change of both edges from each block to the next, in median widths.
fn jumps(bodies: &[RoughBody]) -> Vec<f64> {
    let width = median(&bodies.iter().map(|b| b.bottom - b.top + 1.0).collect::<Vec<_>>()).unwrap_or(1.0);
    bodies.windows(2).map(|p| ((p[0].top - p[1].top).abs() + (p[0].bottom - p[1].bottom).abs()) / width).collect()
}

/// Body rows per block of `block` columns (half overlapping blocks). `expected` limits the width searched, rows.
///
/// A row's evidence is the median over its pixels of the square of what no shadow has: colour other than the ground's, and change
/// along the strand (texture), both relative to the pixel's own light; a median, so that hairs
/// across a shadow do not count. The body is where the evidence is above a part of
/// its peak.
pub(super) fn rough_bodies(band: &Band, block: usize, seen_by: SeenBy) -> Vec<RoughBody> {
    let (columns, rows) = (band.columns(), band.rows());
    let block = block.clamp(8, columns.max(8));
    let mut bodies = Vec::new();
    let mut start = 0;
    while start < columns {
        let end = (start + block).min(columns);
        if end - start < block / 2 && !bodies.is_empty() {
            break;
        }
        let looks: Vec<(f32, f32)> = (0..rows).map(|row| row_look(band, row, start, end)).collect();
        let evidence: Vec<f32> = looks.iter().map(|look| look.0).collect();
        let found = match seen_by {
            SeenBy::Amount => half_peak(&evidence).map(|core| lit_side(&looks, core)),
            SeenBy::Presence => present(&evidence),
        };
        if let Some((top, bottom)) = found {
            bodies.push(RoughBody { column: (start + end - 1) as f64 / 2.0, top, bottom });
        }
        start += (block / 2).max(1);
    }
    bodies
}

/// A row's evidence and its median lightness.
fn row_look(band: &Band, row: usize, start: usize, end: usize) -> (f32, f32) {
    let [l, r, b] = [0, 1, 2].map(|c: usize| band.planes[c].row(row).get(start..end).unwrap_or(&[]));
    // A hundred samples tell a median to a tenth of its spread.
    let stride = (l.len() / 100).max(1);
    let evidence = (2..l.len().saturating_sub(2)).step_by(stride).map(|i| {
        // The offset keeps noise of dark pixels from counting as texture.
        let own = l[i].max(0.0) + OWN_FLOOR;
        let dark = (DARKEST_SHADOW - l[i]).max(0.0) / 0.1;
        let bright = (l[i] - BRIGHTEST_GROUND).max(0.0);
        let change = 0.5 * (l[i - 2] + l[i + 2] - 2.0 * l[i]) / own;
        let colour = ((r[i] * r[i] + b[i] * b[i]).sqrt() / own - SHADOW_TINT).max(0.0);
        colour * colour + dark * dark + bright * bright + change * change
    });
    let light = l.iter().step_by(stride).copied();
    (upper_median(evidence).unwrap_or(0.0), upper_median(light).unwrap_or(1.0))
}

/// Moves the lit side's edge of a body out to where bare ground begins. A body is often plainer on its lit side, but there
/// is no shadow there that could be taken for it: of the two gaps between core and bare ground, the lit side has the
/// smaller.
fn lit_side(looks: &[(f32, f32)], core: (f64, f64)) -> (f64, f64) {
    let (top, bottom) = (core.0 as usize, core.1 as usize);
    let mut sorted: Vec<f32> = looks.iter().map(|l| l.0).collect();
    sorted.sort_unstable_by(f32::total_cmp);
    let Some((floor, peak)) = sorted.get(sorted.len() / 5).zip(sorted.last()) else { return core };
    let bare = |row: usize| {
        looks.get(row).is_none_or(|(evidence, light)| {
            *evidence < floor + BARE_EVIDENCE * (peak - floor) && (light - 1.0).abs() < BARE_LIGHT
        })
    };
    let up = (0..=top).rev().take_while(|row| !bare(*row)).last().unwrap_or(top);
    let down = (bottom..looks.len()).take_while(|row| !bare(*row)).last().unwrap_or(bottom);
    let (above, below) = (top - up, down - bottom);
    let half = (bottom - top).div_ceil(2);
    if above <= below {
        (if above <= half { up as f64 } else { core.0 }, core.1)
    } else {
        (core.0, if below <= half { down as f64 } else { core.1 })
    }
}

/// Part of the peak evidence, and departure from the ground's light, below which a row is bare.
const BARE_EVIDENCE: f32 = 0.08;
const BARE_LIGHT: f32 = 0.12;

fn half_peak(evidence: &[f32]) -> Option<(f64, f64)> {
    let n = evidence.len();
    if n < 5 {
        return None;
    }
    let smooth: Vec<f32> = (0..n)
        .map(|i| {
            let (a, b) = (i.saturating_sub(1), (i + 1).min(n - 1));
            (evidence[a] + evidence[i] + evidence[b]) / 3.0
        })
        .collect();
    let mut sorted = smooth.clone();
    sorted.sort_unstable_by(f32::total_cmp);
    let floor = sorted[n / 5];
    // The peak by a high order statistic of the best rows, so that one bright line does not set it.
    let peak = sorted[n - 1 - n / 20];
    if peak - floor < 1e-6 {
        return None;
    }
    // Evidence goes with the square of a difference: the amplitude's half is at a quarter, and
    // noise of the dark adds.
    let level = floor + 0.35 * (peak - floor);
    // The run of rows above the level that holds the most evidence; gaps of a row or two are bridged.
    let mut best: Option<(f32, usize, usize)> = None;
    let mut run: Option<(f32, usize, usize)> = None;
    let mut gap = 0;
    for (i, v) in smooth.iter().enumerate() {
        if *v > level {
            let (sum, from, _) = run.unwrap_or((0.0, i, i));
            run = Some((sum + v - floor, from, i));
            gap = 0;
        } else {
            gap += 1;
            if gap > 2 {
                run = None;
            }
        }
        if let Some(r) = run
            && best.is_none_or(|b| r.0 > b.0)
        {
            best = Some(r);
        }
    }
    best.map(|(_, from, to)| (from as f64, to as f64))
}

/// Evidence of a row, over that of the ground's liveliest rows, from which on it is likelier body than ground. It goes with
/// the square of differences, and a median of squares of the ground's own scatters by a factor of two: twice that.
const PRESENT: f32 = 4.0;

/// The run of rows that most likely shows a body: each row's evidence counts for one at most, for or against
/// (largest sum of a run, J. Bentley, Commun. ACM 27 (1984) 865).
fn present(evidence: &[f32]) -> Option<(f64, f64)> {
    let n = evidence.len();
    // The outer quarter on either side is ground: a strip is twice as wide as what was traced, and more.
    let mut outer: Vec<f32> = evidence[..n / 4].iter().chain(&evidence[n - n / 4..]).copied().collect();
    outer.sort_unstable_by(f32::total_cmp);
    let ground = PRESENT * outer.get(outer.len() * 4 / 5)?.max(1e-6);
    let mut best: Option<(f32, usize, usize)> = None;
    let (mut sum, mut from) = (0.0f32, 0);
    for (i, e) in evidence.iter().enumerate() {
        if sum <= 0.0 {
            (sum, from) = (0.0, i);
        }
        sum += (e - ground) / (e + ground);
        if sum > best.map_or(0.0, |b| b.0) {
            best = Some((sum, from, i));
        }
    }
    best.map(|(_, from, to)| (from as f64, to as f64))
}

/// Rough body edges for every column: medians of neighbouring blocks, joined linearly.
pub(super) fn per_column(bodies: &[RoughBody], columns: usize) -> Vec<(f64, f64)> {
    if bodies.is_empty() {
        return Vec::new();
    }
    let median3 = |get: &dyn Fn(&RoughBody) -> f64, i: usize| -> f64 {
        let (a, b) = (i.saturating_sub(2), (i + 2).min(bodies.len() - 1));
        let mut values: Vec<f64> = bodies[a..=b].iter().map(get).collect();
        values.sort_unstable_by(f64::total_cmp);
        values[values.len() / 2]
    };
    let steady: Vec<RoughBody> = (0..bodies.len())
        .map(|i| RoughBody { column: bodies[i].column, top: median3(&|b| b.top, i), bottom: median3(&|b| b.bottom, i) })
        .collect();
    let mut k = 0;
    (0..columns)
        .map(|column| {
            let x = column as f64;
            while k + 2 < steady.len() && steady[k + 1].column < x {
                k += 1;
            }
            let (a, b) = (steady[k], steady[(k + 1).min(steady.len() - 1)]);
            let span = b.column - a.column;
            let t = if span > 0.0 { ((x - a.column) / span).clamp(0.0, 1.0) } else { 0.0 };
            (a.top + (b.top - a.top) * t, a.bottom + (b.bottom - a.bottom) * t)
        })
        .collect()
}
