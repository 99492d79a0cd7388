//! Numerals beyond the longest ticks: not read, only measured. Their height against the ticks' distance tells
//! centimetres from inches where nothing else does.

use super::division::Reading;
use super::luma::{depth, luma_at};
use super::ticks::{Tick, TickRow};
use crate::base::raster::Raster;
use crate::base::stats::{median, quantile};

/// Numerals beyond the longest ticks, px.
#[derive(Debug, Clone, Copy)]
pub(super) struct Numerals {
    /// Their height along the ticks.
    pub(super) height: f64,
    /// Distance from a tip to their far end.
    pub(super) far: f64,
    /// Whether they stand beyond neighbouring ones of the longest ticks, not beyond every other one only.
    pub(super) on_neighbours: bool,
}

/// Median size of the numerals that stand beyond the longest ticks; `None` unless three agree within a quarter.
pub(super) fn measure(rgb: &Raster<[u8; 3]>, row: &TickRow, reading: &Reading) -> Option<Numerals> {
    let longest = reading.pattern.levels() - 1;
    let pitch = row.lattice.step * f64::from(reading.pattern.period());
    let spans: Vec<(i32, f64, f64)> = row
        .ticks
        .iter()
        .filter(|t| reading.pattern.level(t.number - reading.phase) == longest)
        .filter_map(|t| {
            let (near, far) = span_beyond(rgb, row, t, reading.end_of_longest(row, t)?, pitch)?;
            Some((t.number, near, far))
        })
        .collect();
    let height = median(&spans.iter().map(|(_, near, far)| far - near).collect::<Vec<_>>())?;
    let far = median(&spans.iter().map(|(_, _, far)| *far).collect::<Vec<_>>())?;
    let agreeing = spans.iter().filter(|(_, near, far)| ((far - near) / height - 1.0).abs() < 0.25);
    let agree: Vec<i32> = agreeing.map(|(number, ..)| *number).collect();
    let on_neighbours = agree.windows(2).any(|pair| pair[1] - pair[0] == reading.pattern.period());
    (agree.len() >= 3 && 3 * agree.len() >= 2 * spans.len()).then_some(Numerals { height, far, on_neighbours })
}

/// Whether numerals stand beyond the second longest ticks as they do beyond the longest: then both are whole units, and
/// what made some of them look longer is print that touches them. Parts of a unit are not numbered (common practice, no
/// source).
pub(super) fn on_the_next_level_too(rgb: &Raster<[u8; 3]>, row: &TickRow, reading: &Reading) -> bool {
    let numbered = |level: usize| {
        let (with, all) = numbered_of_level(rgb, row, reading, level);
        with >= 2 && 3 * with >= 2 * all
    };
    let longest = reading.pattern.levels() - 1;
    longest > 0 && numbered(longest - 1) && numbered(longest)
}

/// Whether the one longest tick in view is numbered and none of the next length is, two of them at least: then it stands for a
/// whole unit.
pub(super) fn on_the_only_longest(rgb: &Raster<[u8; 3]>, row: &TickRow, reading: &Reading) -> bool {
    let longest = reading.pattern.levels() - 1;
    if longest == 0 || reading.seen[longest] != 1 {
        return false;
    }
    let (below, of_below) = numbered_of_level(rgb, row, reading, longest - 1);
    numbered_of_level(rgb, row, reading, longest) == (1, 1) && below == 0 && of_below >= 2
}

/// How many ticks of a level have print beyond them, and how many there are whose ends were seen.
fn numbered_of_level(rgb: &Raster<[u8; 3]>, row: &TickRow, reading: &Reading, level: usize) -> (usize, usize) {
    let pitch = row.lattice.step * f64::from(reading.pattern.period());
    let of_level = row.ticks.iter().filter(|t| reading.pattern.level(t.number - reading.phase) == level);
    of_level.filter_map(|t| Some((t, t.tip?))).fold((0, 0), |(with, all), (t, tip)| {
        (with + usize::from(span_beyond(rgb, row, t, tip, pitch).is_some()), all + 1)
    })
}

/// Near and far end of what is printed straight beyond a tick, px from where it ends, at `tip`. The search goes as far as half
/// the distance of the numbered ticks: numerals are never taller, or they would touch.
fn span_beyond(rgb: &Raster<[u8; 3]>, row: &TickRow, tick: &Tick, tip: f64, pitch: f64) -> Option<(f64, f64)> {
    let half_width = 0.2 * pitch;
    let rows = 96;
    let step = 0.6 * pitch / f64::from(rows);
    let columns = 64;
    let clear = 1.5 * row.width.max(step);
    let mut inked = Vec::new();
    for r in 0..rows {
        let s = tip + clear + f64::from(r) * step;
        let mut values = Vec::new();
        for c in 0..=columns {
            let x = tick.axis.0 + tick.axis.1 * s + half_width * (2.0 * f64::from(c) / f64::from(columns) - 1.0);
            let p = row.frame.image_from_frame(x, s);
            values.push(f64::from(luma_at(rgb, p.x, p.y)?));
        }
        // Ground: the paper's own brightness in this row; ink as deep as half of the ticks' own contrast.
        let (ground, ink) = if row.dark {
            (quantile(&values, 0.8)?, quantile(&values, 0.0)?)
        } else {
            (quantile(&values, 0.2)?, quantile(&values, 1.0)?)
        };
        inked.push(depth(row.dark, ground, ink) > 0.5 * row.contrast);
    }
    let start = inked.iter().position(|i| *i)?;
    let end = start + inked[start..].iter().position(|i| !*i)?;
    Some((clear + start as f64 * step, clear + end as f64 * step))
}
