//! From the photo to the rulers in it.

use super::division::{self, Division};
use super::luma::Level;
use super::pose::{self, LensPrior, Place, Pose, PoseFit, Sighting};
use super::rows::{self, Row};
use super::segments;
use super::ticks::{self, TickRow};
use super::{RulerUnit, ScaleParams};
use crate::base::raster::Raster;

/// A ruler that was found and read.
#[derive(Debug, Clone)]
pub(super) struct Ruler {
    /// Its ticks.
    pub(super) row: TickRow,
    /// What they divide.
    pub(super) division: Division,
}

/// Looks for rulers, on the photo at half size first, then smaller, then at full size.
pub(super) fn find_rulers(rgb: &Raster<[u8; 3]>, unit: Option<RulerUnit>, _params: &ScaleParams) -> Vec<Ruler> {
    let mut rulers: Vec<Ruler> = Vec::new();
    let half = Level::half(rgb);
    let quarter = half.halved();
    let eighth = quarter.halved();
    let mut rows: Vec<Row> = Vec::new();
    for level in [&half, &quarter, &eighth] {
        let bars = segments::find_segments(level);
        let found = rows::find_rows(&bars, rgb.width(), rgb.height(), 5);
        rows.extend(found.into_iter().take(8));
    }
    rows.sort_by_key(|r| std::cmp::Reverse(r.bars.len()));
    for row in rows.iter().take(10) {
        if let Some(ruler) = read(rgb, row, unit) {
            rulers.push(ruler);
            break;
        }
    }
    rulers
}

fn read(rgb: &Raster<[u8; 3]>, row: &Row, unit: Option<RulerUnit>) -> Option<Ruler> {
    let mut row = ticks::measure(rgb, row, true)?;
    let division = division::divide(rgb, &mut row, unit)?;
    Some(Ruler { row, division })
}

/// Fits the camera's pose to a ruler.
pub(super) fn pose_of(ruler: &Ruler, lens: &LensPrior) -> Option<PoseFit> {
    let mm = ruler.division.mm_per_step?;
    let (row, reading) = (&ruler.row, &ruler.division.reading);
    let mut sightings = Vec::new();
    let levels = reading.pattern.levels();
    for tick in &row.ticks {
        let x = f64::from(tick.number - reading.phase) * mm;
        let (low, high) = tick.seen;
        let (scatter, count) = tick.scatter;
        // Rows of the band share pixels and blur: a third of them count.
        let sigma_px = (scatter / (count as f64 / 3.0).max(1.0).sqrt()).hypot(0.06);
        for part in [0.15, 0.85] {
            let at = tick.at(&row.frame, low + (high - low) * part);
            sightings.push(Sighting { at, place: Place::X(x), sigma_px });
        }
        if let Some(s) = tick.tip {
            let level = reading.pattern.level(tick.number - reading.phase);
            sightings.push(Sighting { at: tick.at(&row.frame, s), place: Place::YLevel(level), sigma_px: 0.4 });
        }
        if let Some(s) = tick.foot {
            sightings.push(Sighting { at: tick.at(&row.frame, s), place: Place::YLevel(levels), sigma_px: 1.0 });
        }
    }
    let zero = row.lattice.curve.at(f64::from(reading.phase));
    let origin = row.frame.image_from_frame(zero, 0.0);
    let along = row.frame.image_from_frame(zero + 1.0, 0.0) - origin;
    let px_per_mm = row.lattice.curve.step(f64::from(reading.phase)).abs() / mm;
    let start = Pose::straight_down(origin, along, px_per_mm, lens);
    let mut start_levels: Vec<f64> = vec![0.0; levels + 1];
    for (level, length) in start_levels.iter_mut().zip(&reading.lengths) {
        *level = if length.is_nan() { 0.0 } else { length / px_per_mm };
    }
    pose::fit(&sightings, &start_levels, &start, lens)
}
