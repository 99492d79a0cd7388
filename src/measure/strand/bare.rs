//! The bare ground's colour beside a strand, where the eye says that neither yarn nor hair nor shadow lies.

use super::Strip;
use crate::base::stats::median;
use crate::measure::seen::look::Cover;
use crate::measure::seen::strip::ROWS_PER_DIAMETER;

/// Columns of the eye's strip over which the ground's colour is taken to either side: a diameter and a half, so that grain
/// averages out and uneven light does not.
const REACH_COLUMNS: usize = 30;

/// Share of yarn in a cell from which on it shows no ground.
const NO_YARN: f32 = 0.05;

/// Part of the cells that are least in shadow and least covered by hairs, which count as bare.
const BAREST: f64 = 0.3;

/// Least linear light: what it is divided by.
const DARKEST: f32 = 1e-3;

/// Colour of the bare ground above and below the strand about one of the strip's columns, linear light. `cover` is what the eye
/// says of a column and a row of the strip.
pub(super) fn colours(
    strip: &Strip,
    column: usize,
    diameter: f64,
    cover: &dyn Fn(usize, usize) -> Cover,
) -> [[f32; 3]; 2] {
    let (columns, rows) = (strip.rgb.width(), strip.rgb.height());
    let reach = (REACH_COLUMNS as f64 / ROWS_PER_DIAMETER * diameter).ceil() as usize;
    let (from, to) = (column.saturating_sub(reach), (column + reach).min(columns.saturating_sub(1)));
    let step = (2 * reach / REACH_COLUMNS).max(1);
    let middle = strip.middle_row as usize;
    let side = |range: std::ops::Range<usize>| {
        let mut cells: Vec<(f32, [f32; 3])> = Vec::new();
        for row in range.step_by(step) {
            for at in (from..=to).step_by(step) {
                let seen = cover(at, row);
                if seen.own.max(seen.other) < NO_YARN {
                    cells.push((seen.shadow + seen.hair, strip.rgb.row(row)[at]));
                }
            }
        }
        cells.sort_by(|a, b| a.0.total_cmp(&b.0));
        cells.truncate((BAREST * cells.len() as f64).ceil() as usize);
        let channel = |c: usize| median(&cells.iter().map(|(_, rgb)| f64::from(rgb[c])).collect::<Vec<_>>());
        Some([channel(0)? as f32, channel(1)? as f32, channel(2)? as f32].map(|v| v.max(DARKEST)))
    };
    let (above, below) = (side(0..middle), side(middle + 1..rows));
    // Where something else lies on one side, the ground goes on from the other.
    let either = above.or(below).unwrap_or([1.0; 3]);
    [above.unwrap_or(either), below.unwrap_or(either)]
}
