//! Kinks: closed loops and doublings that stand off a strand.
//!
//! A kink reaches farther from the strand than what is as clear as the yarn does elsewhere beside it, over a stretch no longer than a
//! few diameters. A wave of the whole strand carries its edges with it, and a neighbour or a strand that crosses goes on
//! beyond what a kink could reach.

use nalgebra::{Matrix3, Vector3};

use super::{LeftOutWhy, Station, Strand};
use crate::base::colour::LINEAR_OF_SRGB;
use crate::base::raster::Raster;
use crate::base::stats::{median, quantile};
use crate::measure::photo::Reduced;

/// How far from the strand's edge is looked, diameters. The loop of a snarl is some three to four diameters across (a
/// smaller one jams, a larger one falls open). Common practice, no source.
const LOOKED: f64 = 6.0;

/// How far a kink reaches beyond what its neighbourhood does, diameters: the strand itself must fit beside it.
const STANDS_OFF: f64 = 1.2;

/// Length along the strand that a kink takes, diameters: two strands side by side at most half hidden, and a loop laid flat.
const FOOT: [f64; 2] = [0.8, 8.0];

/// Area beyond the usual reach, square diameters: a hair or a tuft of fluff has less.
const LEAST_AREA: f64 = 1.2;

/// Width of a strand, px, from which on its loops are told from tufts of hair, two or three pixels wide.
const LEAST_PIXELS: f64 = 12.0;

/// Cells to a diameter of the strip that is looked at: a hole in a loop and the thickness of the strand itself are several wide.
const CELLS: f64 = 8.0;

/// Where a strand's own colour is taken, parts of its width about its middle, and that of what lies around it, diameters from its
/// edges: rims are lit otherwise, and hairs are dense up to there.
const INSIDE: f64 = 0.7;
const AROUND: [f64; 2] = [0.3, 1.5];

/// Stations left out on either side of a kink, diameters; one so near to what is left out for another reason is not told from it.
const KEPT_CLEAR: f64 = 2.0;

/// Finds the kinks of a piece, where its pixels show them, and leaves out the stations beside them.
pub(super) fn mark(piece: &mut Strand, picture: &Raster<[u8; 3]>) {
    let Some(diameter) = median(&piece.stations.iter().map(Station::width_px).collect::<Vec<_>>()) else { return };
    if diameter < LEAST_PIXELS || piece.stations.is_empty() {
        return;
    }
    let cell = diameter / CELLS;
    let stride = ((cell / piece.step_px).round() as usize).max(1);
    let places: Vec<usize> = (0..piece.stations.len()).step_by(stride).collect();
    let between = stride as f64 * piece.step_px;
    let Some(things) = alike(piece, &places, picture, diameter) else { return };
    let things = &thick_parts(&things, THICK * CELLS);
    let margin = (2.0 * diameter / between) as usize;
    let beside = (KEPT_CLEAR * diameter / piece.step_px) as usize;
    let last = piece.stations.len() - 1;
    let mut found: Vec<(usize, usize)> = Vec::new();
    for side in [-1.0, 1.0] {
        let looks: Vec<Look> =
            places.iter().enumerate().map(|(k, i)| look(&piece.stations[*i], k, side, diameter, things)).collect();
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

/// Half of the side of the square that a thing must fill, diameters: two plies one behind the other are half as thick as side by
/// side.
const THICK: f64 = 0.25;

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

fn look(station: &Station, column: usize, side: f64, diameter: f64, things: &Raster<bool>) -> Look {
    let cell = diameter / CELLS;
    // Not the local edge, which climbs into a loop's foot and draws the centre along: a diameter from the edge opposite.
    let opposite = if side > 0.0 { station.left } else { station.right };
    let edge = opposite.offset_px + side * diameter;
    let mut look = Look { reach: 0.0, covered: 0.0 };
    for k in 1..=(LOOKED * CELLS) as usize {
        let off = k as f64 * cell;
        // A loop may hold bare ground; what lies beyond a wider gap is another thing.
        if off - look.reach > 2.5 * diameter {
            break;
        }
        let row = ((edge + side * off) / cell).round() + middle_row() as f64;
        if row >= 0.0 && things.get(column, row as usize).unwrap_or(false) {
            look.reach = off;
            look.covered += cell;
        }
    }
    look
}

/// Row of the strip on the strand's middle line: a diameter more is seen than is looked at, as the middle may be drawn aside.
fn middle_row() -> usize {
    ((LOOKED + 1.0) * CELLS) as usize
}

/// Cells of a strip around the strand, one column a place, that are more likely of the strand's own colour than of what lies around
/// it, each a normal distribution; `None` where there is too little to tell.
fn alike(piece: &Strand, places: &[usize], picture: &Raster<[u8; 3]>, diameter: f64) -> Option<Raster<bool>> {
    let cell = diameter / CELLS;
    let reduced = Reduced::of(picture, cell as usize);
    let rows = 2 * middle_row() + 1;
    let mut seen = Raster::filled(places.len(), rows, None);
    let (mut inside, mut around) = (Vec::new(), Vec::new());
    for row in 0..rows {
        let across = (row as f64 - middle_row() as f64) * cell;
        for (column, out) in seen.row_mut(row).iter_mut().enumerate() {
            let station = &piece.stations[places[column]];
            let p = station.centre + station.normal * across;
            if !picture.holds(p.x, p.y) {
                continue;
            }
            let (x, y) = reduced.reduced_from_image(p);
            let tone = tone(reduced.rgb.bilinear_through(x, y, &LINEAR_OF_SRGB));
            *out = Some(tone);
            let middle = 0.5 * (station.left.offset_px + station.right.offset_px);
            let beside = (station.left.offset_px - across).max(across - station.right.offset_px) / diameter;
            if (across - middle).abs() < 0.5 * INSIDE * station.width_px() {
                inside.push(tone);
            } else if (AROUND[0]..AROUND[1]).contains(&beside) {
                around.push(tone);
            }
        }
    }
    let (own, other) = (Tones::of(&inside)?, Tones::of(&around)?);
    Some(seen.map(|tone| tone.is_some_and(|tone| own.log_density(tone) > other.log_density(tone))))
}

/// Logarithm of light, and the shares of red and blue in it.
fn tone(rgb: [f32; 3]) -> Vector3<f64> {
    // A hundredth: what lenses and noise add to black.
    let [r, g, b] = rgb.map(|v| f64::from(v) + 0.01);
    let light = 0.25 * r + 0.5 * g + 0.25 * b;
    Vector3::new(light.ln(), r / light, b / light)
}

/// A normal distribution of tones.
struct Tones {
    mean: Vector3<f64>,
    /// Inverse of its covariance, and the logarithm of the root of its determinant.
    precision: Matrix3<f64>,
    log_spread: f64,
}

impl Tones {
    fn of(tones: &[Vector3<f64>]) -> Option<Self> {
        let n = tones.len() as f64;
        if tones.len() < 16 {
            return None;
        }
        let mean = tones.iter().sum::<Vector3<f64>>() / n;
        let scatter = tones.iter().map(|t| (t - mean) * (t - mean).transpose()).sum::<Matrix3<f64>>() / n;
        // A code value of mid-grey is a hundredth of its light.
        let covariance = scatter + Matrix3::identity() * 0.01f64.powi(2);
        Some(Self { mean, precision: covariance.try_inverse()?, log_spread: 0.5 * covariance.determinant().ln() })
    }

    fn log_density(&self, tone: Vector3<f64>) -> f64 {
        let off = tone - self.mean;
        -0.5 * off.dot(&(self.precision * off)) - self.log_spread
    }
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
