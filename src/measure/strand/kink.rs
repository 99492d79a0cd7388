//! Kinks: closed loops and doublings that stand off a strand.
//!
//! A kink reaches farther from the strand than what is as clear as the yarn does elsewhere beside it, over a stretch no longer than a
//! few diameters. A wave of the whole strand carries its edges with it, and a neighbour or a strand that crosses goes on
//! beyond what a kink could reach.

use super::ground::Ground;
use super::{LeftOutWhy, Station, Strand};
use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;
use crate::base::stats::{median, quantile};

/// How far from the strand's edge is looked, diameters. The loop of a snarl is some three to four diameters across (a
/// smaller one jams, a larger one falls open). Common practice, no source.
const LOOKED: f64 = 6.0;

/// How far a kink reaches beyond what its neighbourhood does, diameters: the strand itself must fit beside it.
const STANDS_OFF: f64 = 1.2;

/// Length along the strand that a kink takes, diameters: two strands side by side at most half hidden, and a loop laid flat.
const FOOT: [f64; 2] = [0.8, 8.0];

/// Area beyond the usual reach, square diameters: a hair or a tuft of fluff has less.
const LEAST_AREA: f64 = 1.2;

/// Pixels of the reduced picture across a strand from which on its loops are told from tufts of hair, two or three pixels wide.
const LEAST_PIXELS: f64 = 6.0;

/// Part of the strand's own difference from the ground that a kink has: it is the same yarn. A soft shadow, which also stands out
/// and often reaches as far, has a tenth of it, veins of a table and stains are fainter than the yarn as well.
const AS_CLEAR: f64 = 0.6;

/// Stations left out on either side of a kink, diameters; one so near to what is left out for another reason is not told from it.
const KEPT_CLEAR: f64 = 2.0;

/// Finds the kinks of a piece, where its pixels show them, and leaves out the stations beside them. `things` is what stands out from the ground, on the
/// reduced picture.
pub(super) fn mark(piece: &mut Strand, ground: &Ground, things: &Raster<bool>) {
    let Some(diameter) = median(&piece.stations.iter().map(Station::width_px).collect::<Vec<_>>()) else { return };
    let pixel = ground.reduced.factor as f64;
    if diameter < LEAST_PIXELS * pixel || piece.stations.is_empty() {
        return;
    }
    let stride = ((pixel / piece.step_px).round() as usize).max(1);
    let places: Vec<usize> = (0..piece.stations.len()).step_by(stride).collect();
    let between = stride as f64 * piece.step_px;
    let own = median(&places.iter().map(|i| difference(ground, piece.stations[*i].centre)).collect::<Vec<_>>());
    let clear = as_clear(things, ground, AS_CLEAR * own.unwrap_or(0.0));
    let things = &thick_parts(&clear, THICK * diameter / pixel);
    let margin = (2.0 * diameter / between) as usize;
    let beside = (KEPT_CLEAR * diameter / piece.step_px) as usize;
    let last = piece.stations.len() - 1;
    let mut found: Vec<(usize, usize)> = Vec::new();
    for side in [-1.0, 1.0] {
        let looks: Vec<Look> =
            places.iter().map(|i| look(&piece.stations[*i], side, diameter, pixel, ground, things)).collect();
        let reaches: Vec<f64> = looks.iter().map(|l| l.reach).collect();
        let areas: Vec<f64> = looks.iter().map(|l| l.covered).collect();
        let (Some(usual), Some(cover)) = (quantile(&reaches, 0.6), median(&areas)) else { continue };
        let stands = |l: &Look| l.reach > usual + STANDS_OFF * diameter;
        for (from, to) in runs(&looks, &stands, (0.5 * diameter / between) as usize) {
            let part = &looks[from..=to];
            let length = (to - from + 1) as f64 * between / diameter;
            let area = part.iter().map(|l| (l.covered - cover).max(0.0)).sum::<f64>() * between / diameter.powi(2);
            let goes_on = part.iter().any(|l| l.reach > (LOOKED - 0.5) * diameter);
            let inside = from > margin && to + margin < looks.len();
            // Ruler marks, the card's rim, what lies beside the card and cut ends stand off the strand as well, and reach along it.
            let around = places[from].saturating_sub(beside)..=(places[to] + beside).min(last);
            let clear = piece.stations[around].iter().all(|s| s.left_out.is_none());
            if (FOOT[0]..=FOOT[1]).contains(&length) && area >= LEAST_AREA && !goes_on && inside && clear {
                found.push((places[from], places[to]));
            }
        }
    }
    found.sort_unstable();
    // A loop that lies across its strand is seen on both sides.
    found.dedup_by(|later, earlier| {
        let same = later.0 <= earlier.1;
        earlier.1 = earlier.1.max(if same { later.1 } else { earlier.1 });
        same
    });
    piece.kinks = Some(found.iter().map(|(from, to)| piece.stations[(from + to) / 2].centre).collect());
    for (from, to) in found {
        for station in &mut piece.stations[from.saturating_sub(beside)..=(to + beside).min(last)] {
            station.left_out.get_or_insert(LeftOutWhy::Kink);
        }
    }
}

/// Half of the side of the square that a thing must fill, diameters: the strand's own thickness, not a hair's.
const THICK: f64 = 0.35;

/// Part of that square: a round strand's border and a hole beside it leave the rest.
const FILLED: f64 = 0.75;

/// Pixels around which things fill a square of half side `half`, by a summed-area table (F. C. Crow, SIGGRAPH 1984).
fn thick_parts(things: &Raster<bool>, half: f64) -> Raster<bool> {
    let (width, height) = (things.width(), things.height());
    let half = half.round().max(1.0) as usize;
    let mut sums = vec![0u32; (width + 1) * (height + 1)];
    for y in 0..height {
        let mut along = 0;
        for (x, set) in things.row(y).iter().enumerate() {
            along += u32::from(*set);
            sums[(y + 1) * (width + 1) + x + 1] = sums[y * (width + 1) + x + 1] + along;
        }
    }
    let mut out = Raster::filled(width, height, false);
    for y in 0..height {
        let (top, bottom) = (y.saturating_sub(half), (y + half + 1).min(height));
        for (x, o) in out.row_mut(y).iter_mut().enumerate() {
            let (left, right) = (x.saturating_sub(half), (x + half + 1).min(width));
            let at = |v: usize, u: usize| sums[v * (width + 1) + u];
            let filled = at(bottom, right) + at(top, left) - at(top, right) - at(bottom, left);
            *o = f64::from(filled) >= FILLED * ((bottom - top) * (right - left)) as f64;
        }
    }
    out
}

/// What stands out beside one station.
#[derive(Debug, Clone, Copy)]
struct Look {
    /// Distance from the usual edge to the farthest of it, px.
    reach: f64,
    /// Length of it along the normal, px.
    covered: f64,
}

fn look(station: &Station, side: f64, diameter: f64, pixel: f64, ground: &Ground, things: &Raster<bool>) -> Look {
    // Not the local edge, which climbs into a loop's foot and draws the centre along: a diameter from the edge opposite.
    let opposite = if side > 0.0 { station.left } else { station.right };
    let edge = opposite.offset_px + side * diameter;
    let stands_out = |p: Point<Image>| {
        let (x, y) = ground.reduced.reduced_from_image(p);
        x >= 0.0 && y >= 0.0 && things.get(x.round() as usize, y.round() as usize).unwrap_or(false)
    };
    let mut look = Look { reach: 0.0, covered: 0.0 };
    let steps = (LOOKED * diameter / pixel) as usize;
    for k in 1..=steps {
        let off = k as f64 * pixel;
        // A loop may hold bare ground; what lies beyond a wider gap is another thing.
        if off - look.reach > 2.5 * diameter {
            break;
        }
        let p = station.centre + station.normal * (edge + side * off);
        if stands_out(p) {
            look.reach = off;
            look.covered += pixel;
        }
    }
    look
}

/// How much a point differs from the ground.
fn difference(ground: &Ground, p: Point<Image>) -> f64 {
    let (x, y) = ground.reduced.reduced_from_image(p);
    difference_at(ground, x.round().max(0.0) as usize, y.round().max(0.0) as usize)
}

fn difference_at(ground: &Ground, x: usize, y: usize) -> f64 {
    let d = ground.difference.get(x, y).unwrap_or([0.0; 3]);
    d.iter().map(|v| f64::from(*v).powi(2)).sum::<f64>().sqrt()
}

/// What differs from the ground by as much as `least`.
fn as_clear(things: &Raster<bool>, ground: &Ground, least: f64) -> Raster<bool> {
    let mut out = things.clone();
    for y in 0..out.height() {
        for (x, set) in out.row_mut(y).iter_mut().enumerate() {
            *set = *set && difference_at(ground, x, y) >= least;
        }
    }
    out
}

/// First and last index of each run in which `wanted` holds, gaps of up to `bridged` closed.
fn runs(looks: &[Look], wanted: &dyn Fn(&Look) -> bool, bridged: usize) -> Vec<(usize, usize)> {
    let mut out: Vec<(usize, usize)> = Vec::new();
    for (i, l) in looks.iter().enumerate() {
        if !wanted(l) {
            continue;
        }
        match out.last_mut() {
            Some((_, to)) if i - *to <= bridged + 1 => *to = i,
            _ => out.push((i, i)),
        }
    }
    out
}
