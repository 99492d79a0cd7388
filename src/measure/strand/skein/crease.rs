//! The crease between two strands: the darkest smooth line near where it is expected.

use crate::base::raster::Raster;

/// Cost of one row aside between neighbouring columns, in units of relative darkness: a step must be earned by a twentieth
/// of the body's brightness in one column. At nothing the line jumps to every dark fibre; at several times this it cuts
/// through the bumps of the plies.
const STEP_COST: f32 = 0.05;

/// Added to the body's luma where it divides: the noise of dark 8-bit pictures.
const DARK_LUMA: f32 = 8.0;

/// Row of the darkest smooth line, per column, to part of a row.
///
/// Dynamic programming (as for seams and live wires) over the rows within `reach` of `expected`; the cost is the sample
/// over `body`, `away` times the square of the distance from the expected place as a part of `reach`, and
/// [`STEP_COST`]. The minimum's parabola gives the part of a row. `expected` must have an entry a column.
pub(in super::super) fn darkest_line(
    luma: &Raster<f32>,
    expected: &[f64],
    reach: usize,
    body: f32,
    away: f32,
) -> Vec<f64> {
    let (columns, rows) = (luma.width(), luma.height());
    if columns == 0 || rows == 0 || expected.len() != columns {
        return expected.to_vec();
    }
    let count = 2 * reach + 1;
    let row_of = |column: usize, k: usize| {
        (expected[column].round() as isize + k as isize - reach as isize).clamp(0, rows as isize - 1) as usize
    };
    let sample = |column: usize, row: usize| luma.samples()[row * columns + column];
    let scale = 1.0 / (body + DARK_LUMA);
    let mut cost = vec![0.0f32; count];
    let mut next = vec![0.0f32; count];
    let mut from = vec![0i8; count * columns];
    for c in 0..columns {
        for k in 0..count {
            let off = (k as f32 - reach as f32) / reach.max(1) as f32;
            let here = sample(c, row_of(c, k)) * scale + away * off * off;
            let mut best = (cost[k], 0i8);
            if k > 0 && cost[k - 1] + STEP_COST < best.0 {
                best = (cost[k - 1] + STEP_COST, -1);
            }
            if k + 1 < count && cost[k + 1] + STEP_COST < best.0 {
                best = (cost[k + 1] + STEP_COST, 1);
            }
            next[k] = best.0 + here;
            from[c * count + k] = best.1;
        }
        std::mem::swap(&mut cost, &mut next);
    }
    let mut k = (0..count).min_by(|a, b| cost[*a].total_cmp(&cost[*b])).unwrap_or(reach);
    let mut out = vec![0.0; columns];
    for c in (0..columns).rev() {
        let row = row_of(c, k);
        out[c] = row as f64;
        if row > 0 && row + 1 < rows {
            let (a, b, d) = (sample(c, row - 1), sample(c, row), sample(c, row + 1));
            let bend = a - 2.0 * b + d;
            if bend > 1e-4 * (body + 1e-3) {
                out[c] += f64::from((a - d) / (2.0 * bend)).clamp(-0.5, 0.5);
            }
        }
        k = k.saturating_add_signed(isize::from(from[c * count + k])).min(count - 1);
    }
    out
}
