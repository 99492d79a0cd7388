//! How far fibres that lie close about the body widen it.
//!
//! A fibre that leaves the body by no more than a tenth of the diameter belongs to it, and the core edge is where fibres of
//! the body, averaged over about a lock of length, block half of the line of sight. The plies' own outline leaves these out.

use super::hair::{Hair, all_of, chance_of};
use super::scene::YarnSpec;
use super::strand::Strand;

/// How far a fibre of the body leaves it at most, diameters.
pub(super) const FARTHEST: f64 = 0.1;

/// Apparent width of the core at every station of one of a scene's strands, seen along the card's normal, mm.
pub(super) fn core_widths(strand: &Strand, number: usize, yarn: &YarnSpec, seed: u64) -> Vec<f64> {
    let outline = strand.outline();
    let sides = widened(strand, &outline, number, yarn, seed);
    outline
        .iter()
        .enumerate()
        .map(|(i, (left, right))| (left - right).max(0.0) + sides.iter().map(|s| s[i]).sum::<f64>())
        .collect()
}

/// How far the core reaches beyond the plies' outline at every station, to the left and to the right, mm.
pub(super) fn widened(
    strand: &Strand,
    outline: &[(f64, f64)],
    number: usize,
    yarn: &YarnSpec,
    seed: u64,
) -> [Vec<f64>; 2] {
    if yarn.hair.per_cm <= 0.0 {
        return [vec![0.0; outline.len()], vec![0.0; outline.len()]];
    }
    let hairs = all_of(strand, yarn, &mut chance_of(seed, number));
    let near: Vec<Hair> = hairs.into_iter().filter(|h| h.farthest <= FARTHEST * yarn.diameter_mm).collect();
    let lock = (0.5 * yarn.diameter_mm / strand.step).round() as usize;
    [1.0, -1.0].map(|side| {
        let edge: Vec<f64> = outline.iter().map(|(left, right)| if side > 0.0 { *left } else { -*right }).collect();
        beyond(&edge, side, &near, yarn, lock)
    })
}

/// How far beyond one edge the fibres cover half, per station, mm; averaged over `lock` stations to either side.
fn beyond(edge: &[f64], side: f64, hairs: &[Hair], yarn: &YarnSpec, lock: usize) -> Vec<f64> {
    let radius = yarn.hair.radius_mm;
    let cell = radius / 2.0;
    let cells = (FARTHEST * yarn.diameter_mm / cell).ceil() as usize + 4;
    let mut covered = vec![false; edge.len() * cells];
    for hair in hairs {
        for pair in hair.places.windows(2) {
            let [a, b] = pair else { continue };
            let steps = a.station.abs_diff(b.station).max(1);
            for k in 0..=steps {
                let t = k as f64 / steps as f64;
                let station = (a.station as f64 + (b.station as f64 - a.station as f64) * t).round() as usize;
                let Some(edge) = edge.get(station) else { continue };
                let out = side * (a.left + (b.left - a.left) * t) - edge;
                let (from, to) = (((out - radius) / cell).round().max(0.0), ((out + radius) / cell).round());
                if to > from {
                    let row = &mut covered[station * cells..(station + 1) * cells];
                    row.iter_mut().take(to as usize).skip(from as usize).for_each(|c| *c = true);
                }
            }
        }
    }
    let mut out = vec![0.0; edge.len()];
    let mut open = vec![true; edge.len()];
    let mut sums = vec![0usize; edge.len() + 1];
    for c in 0..cells {
        for i in 0..edge.len() {
            sums[i + 1] = sums[i] + usize::from(covered[i * cells + c]);
        }
        for i in 0..edge.len() {
            let (first, end) = (i.saturating_sub(lock), (i + lock + 1).min(edge.len()));
            open[i] &= 2 * (sums[end] - sums[first]) >= end - first;
            if open[i] {
                out[i] += cell;
            }
        }
    }
    out
}
