//! From the photo to the rulers in it.

use super::division::{self, Division, Pattern};
use super::frame::{Feet, Frame};
use super::lattice;
use super::luma::Level;
use super::pose::{self, LensPrior, Place, Pose, PoseFit, Sighting};
use super::rows::{self, Row};
use super::segments;
use super::ticks::{self, Span, Tick, TickRow};
use super::{RulerSeen, RulerUnit, ScaleParams, TickSeen};
use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;
use crate::base::stats::{median, quantile};

/// A ruler that was found and read.
#[derive(Debug, Clone)]
pub(super) struct Ruler {
    /// Its ticks.
    pub(super) row: TickRow,
    /// What they divide.
    pub(super) division: Division,
}

/// Rulers, or a hint why there are none.
#[derive(Debug, Clone)]
pub(super) struct Found {
    /// The rulers, that with the most ticks first.
    pub(super) rulers: Vec<Ruler>,
    /// Whether nothing in the photo is sharp.
    pub(super) blurred: bool,
}

/// Looks for rulers, on the photo at half size first, then smaller; at full size only where nothing was found.
pub(super) fn find_rulers(rgb: &Raster<[u8; 3]>, unit: Option<RulerUnit>, params: &ScaleParams) -> Found {
    let half = Level::half(rgb);
    let quarter = half.halved();
    let eighth = quarter.halved();
    let rulers = on_levels(rgb, &[&half, &quarter, &eighth], unit, params);
    if !rulers.is_empty() {
        return Found { rulers, blurred: false };
    }
    Found { rulers: on_levels(rgb, &[&Level::full(rgb)], unit, params), blurred: is_blurred(&quarter) }
}

/// Whether even the sharpest edges of the photo are soft: of the range of brightness over twelve pixels across an edge (at
/// a quarter of the size), the middle two hold erf(1 / (sqrt(2) sigma)) under a Gaussian blur of sigma. 0.45 is a sigma of
/// 1.7, 7 pixels of the photo: millimetre ticks of a close photo, 30 pixels apart, keep a third of their contrast. The
/// range, not the difference between the ends: across stripes of about twelve pixels that one tells nothing.
fn is_blurred(quarter: &Level) -> bool {
    let mut sharpness = Vec::new();
    for y in (0..quarter.luma.height()).step_by(2) {
        for window in quarter.luma.row(y).windows(13) {
            let (low, high) = window.iter().fold((u8::MAX, u8::MIN), |(low, high), v| (low.min(*v), high.max(*v)));
            let range = f64::from(high - low);
            if range >= 20.0 {
                sharpness.push(f64::from(window[7].abs_diff(window[5])) / range);
            }
        }
    }
    sharpness.len() >= 50 && quantile(&sharpness, 0.98).is_some_and(|s| s < 0.45)
}

/// Reads the longest rows of bars of these levels.
fn on_levels(rgb: &Raster<[u8; 3]>, levels: &[&Level], unit: Option<RulerUnit>, params: &ScaleParams) -> Vec<Ruler> {
    let mut rows: Vec<Row> = Vec::new();
    for level in levels {
        for (dark, level) in [(true, *level), (false, &level.negative())] {
            let found = segments::find_segments(level);
            rows.extend(rows::find_rows(&found, dark, rgb.width(), rgb.height(), params.fewest_bars));
        }
    }
    rows.sort_by_key(|r| std::cmp::Reverse(r.bars.len()));
    let mut rulers: Vec<Ruler> = Vec::new();
    let mut tried = 0;
    for row in &rows {
        if tried == params.most_rows {
            break;
        }
        // Beside a ruler that is read, only rows of some length are worth a look.
        let short = rulers.iter().any(|r| r.division.unit.is_some() && row.bars.len() < SECOND_RULER_BARS);
        let held = short || rulers.iter().any(|r| r.division.unit.is_some() && r.holds(row));
        if held || !looks_even(row) {
            continue;
        }
        tried += 1;
        rulers.extend(read(rgb, row, unit));
    }
    rulers.sort_by_key(|r| std::cmp::Reverse(r.row.ticks.len()));
    rulers
}

/// Fewest bars of a second ruler: a centimetre's worth of millimetres.
const SECOND_RULER_BARS: usize = 10;

/// Whether bars stand on a line at whole multiples of a step, most of them: cheap, before anything is measured. The
/// threads of woven tables form rows, too, but neither even ones nor on a line.
fn looks_even(row: &Row) -> bool {
    let check = || {
        let frame = Frame::of_row(row, Feet::OnTheStraighterSide)?;
        let mut at: Vec<f64> =
            row.bars.iter().map(|b| frame.frame_from_image(b.ends()[0].lerp(b.ends()[1], 0.5)).0).collect();
        at.sort_by(f64::total_cmp);
        let step = lattice::common_step(&at)?;
        let numbered = lattice::number(&at, step)?;
        let count = numbered.numbers.iter().flatten().count();
        let length = 2.0 * median(&row.bars.iter().map(|b| b.half_length).collect::<Vec<_>>())?;
        // A bar's place is known to about a tenth of its width, its end to about its width.
        let width = median(&row.bars.iter().map(|b| b.width).collect::<Vec<_>>())?;
        let in_line = Frame::straying_of(row)? < 0.12 * length + 0.5 * width;
        Some(count >= 4 && 4 * count >= 3 * at.len() && numbered.spread < 0.1 && in_line)
    };
    check().unwrap_or(false)
}

impl Ruler {
    /// Whether most bars of the row stand on this ruler's ticks and numerals.
    fn holds(&self, row: &Row) -> bool {
        let (low, high) = self.extent_x();
        let (bottom, top) = self.extent_s();
        let inside = row.bars.iter().filter(|b| {
            let (x, s) = self.row.frame.frame_from_image(b.centre);
            x >= low && x <= high && s >= bottom && s <= top
        });
        2 * inside.count() > row.bars.len()
    }

    /// X from the first to the last tick, with half a numeral to either side.
    fn extent_x(&self) -> (f64, f64) {
        let first = self.row.ticks.first().map_or(0.0, |t| t.axis.0);
        let last = self.row.ticks.last().map_or(0.0, |t| t.axis.0);
        let margin = self.division.numerals.map_or(self.row.lattice.step, |n| n.height);
        (first.min(last) - margin, first.max(last) + margin)
    }

    /// s from the feet to the far end of the numerals, or of the longest tick.
    fn extent_s(&self) -> (f64, f64) {
        let end = |t: &Tick| self.division.reading.end_of_longest(&self.row, t).or(t.tip).unwrap_or(t.seen.1);
        let tip = self.row.ticks.iter().map(end).fold(0.0, f64::max);
        let foot = self.row.ticks.iter().map(|t| t.foot.unwrap_or(t.seen.0)).fold(0.0, f64::min);
        (foot, tip + self.division.numerals.map_or(self.row.width, |n| 1.15 * n.far))
    }

    /// x of the first and last tick on the plane, mm; `None` where the unit is unclear.
    pub(super) fn extent_mm(&self) -> Option<(f64, f64)> {
        let mm = self.division.mm_per_step?;
        let at = |t: &Tick| f64::from(t.number - self.division.reading.phase) * mm;
        Some((at(self.row.ticks.first()?), at(self.row.ticks.last()?)))
    }

    /// x half-way between neighbouring ticks, mm.
    pub(super) fn between_ticks_mm(&self) -> Vec<f64> {
        let mm = self.division.mm_per_step.unwrap_or(1.0);
        let half_way = |t: &Tick| (f64::from(t.number - self.division.reading.phase) + 0.5) * mm;
        self.row.ticks.iter().map(half_way).collect()
    }

    /// X in the middle of the row, and s of feet and far end of the numerals.
    pub(super) fn middle_s(&self) -> (f64, f64, f64) {
        let ((low, high), (bottom, top)) = (self.extent_x(), self.extent_s());
        ((low + high) / 2.0, bottom, top)
    }

    /// The point of the photo with these coordinates along the row.
    pub(super) fn point_at(&self, x: f64, s: f64) -> Point<Image> {
        self.row.frame.image_from_frame(x, s)
    }

    /// Outline of ticks and numerals.
    pub(super) fn area(&self) -> Vec<Point<Image>> {
        let ((low, high), (bottom, top)) = (self.extent_x(), self.extent_s());
        // The line of the feet is bent: eight pieces follow it to a fraction of a pixel.
        let at = |i: i32, s: f64| self.row.frame.image_from_frame(low + (high - low) * f64::from(i) / 8.0, s);
        (0..=8).map(|i| at(i, bottom)).chain((0..=8).rev().map(|i| at(i, top))).collect()
    }

    /// What the overlay shows of it.
    pub(super) fn seen(&self, number: u32, chosen: bool) -> RulerSeen {
        let place = |t: &Tick| Some(f64::from(t.number - self.division.reading.phase) * self.division.mm_per_step?);
        let ticks = self.row.ticks.iter().map(|t| TickSeen {
            foot: t.at(&self.row.frame, t.foot.unwrap_or(t.seen.0)),
            tip: t.at(&self.row.frame, t.tip.unwrap_or(t.seen.1)),
            place_mm: place(t),
        });
        RulerSeen { number, chosen, unit: self.division.unit, ticks: ticks.collect(), area: self.area() }
    }
}

fn read(rgb: &Raster<[u8; 3]>, row: &Row, unit: Option<RulerUnit>) -> Option<Ruler> {
    let one = read_from(rgb, row, Feet::OnTheStraighterSide, unit);
    if one.as_ref().is_some_and(|r| r.division.reading.pattern != Pattern::Plain) {
        return one;
    }
    let other = read_from(rgb, row, Feet::OnTheOther, unit);
    if other.as_ref().is_some_and(|r| r.division.reading.pattern != Pattern::Plain) { other } else { one.or(other) }
}

/// Fewest bars that are worth a look where the ground between them is not clean: what repeats after eight or ten ticks must show
/// it twice.
const UNCLEAN_BARS: usize = 16;

fn read_from(rgb: &Raster<[u8; 3]>, bars: &Row, feet: Feet, unit: Option<RulerUnit>) -> Option<Ruler> {
    // Most rows are no rulers: a look at where the bars stand shows it.
    let near = ticks::measure(rgb, bars, feet, Span::Bars).filter(TickRow::is_even)?;
    if bars.bars.len() < UNCLEAN_BARS && !near.is_clean(rgb) {
        return None;
    }
    let mut row = ticks::measure(rgb, bars, feet, Span::Photo)?;
    // Each look has more to go on than the one before, bow and fanning among it; where it fails, that one stands.
    for _ in 0..3 {
        let better = row.again(rgb).filter(|b| b.ticks.len() >= row.ticks.len() && (b.is_even() || !row.is_even()));
        let Some(better) = better else { break };
        let grown = 10 * better.ticks.len() > 11 * row.ticks.len();
        row = better;
        if !grown && row.is_even() {
            break;
        }
    }
    if !row.is_even() {
        return None;
    }
    let division = division::divide(rgb, &mut row, unit);
    Some(Ruler { division: division?, row })
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
    pose::fit(&sightings, &start_levels, &start, lens).map(PoseFit::widened)
}
