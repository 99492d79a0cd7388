//! The ticks of one row, measured in the photo's own pixels.

use super::frame::{Feet, Frame};
use super::lattice::{self, Lattice};
use super::luma::{depth, luma_at};
use super::rows::Row;
use super::strip::{self, Band, Track};
use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;
use crate::base::stats::{median, quantile};

/// One tick. Coordinates are those of the row's frame.
#[derive(Debug, Clone)]
pub(super) struct Tick {
    /// Its whole number along the row.
    pub(super) number: i32,
    /// X of its axis as a function of s: value at s = 0 and slope.
    pub(super) axis: (f64, f64),
    /// Scatter of the axis' points, px, and their count.
    pub(super) scatter: (f64, usize),
    /// s where it begins, on the side of the feet; `None` where the photo's edge or something else cuts it.
    pub(super) foot: Option<f64>,
    /// s where it ends; `None` likewise.
    pub(super) tip: Option<f64>,
    /// The part of it that was followed, s.
    pub(super) seen: (f64, f64),
    /// Its width, px.
    pub(super) width: f64,
}

impl Tick {
    /// The point of its axis at s.
    pub(super) fn at(&self, frame: &Frame, s: f64) -> Point<Image> {
        frame.image_from_frame(self.axis.0 + self.axis.1 * s, s)
    }
}

/// A row of ticks that stand at equal steps.
#[derive(Debug, Clone)]
pub(super) struct TickRow {
    /// Its coordinates.
    pub(super) frame: Frame,
    /// Its ticks, by number; no two with the same.
    pub(super) ticks: Vec<Tick>,
    /// Place along X by number.
    pub(super) lattice: Lattice,
    /// Median width of a tick, px.
    pub(super) width: f64,
    /// Median relative contrast.
    pub(super) contrast: f64,
    /// Whether ticks are darker than the ground.
    pub(super) dark: bool,
    /// How far to a tick's side the ground is looked up, px.
    pub(super) reach: usize,
}

impl TickRow {
    /// Whether the ticks stand as evenly as printed or engraved ones do: within 2 % of their step and half a pixel, and
    /// on at least a third of the places from the first to the last.
    pub(super) fn is_even(&self) -> bool {
        let [first, .., last] = self.ticks.as_slice() else { return false };
        let places = (last.number - first.number + 1) as usize;
        self.lattice.spread < 0.02 + 0.5 / self.lattice.step && 3 * self.ticks.len() >= places
    }

    /// Whether there is nothing but ground between neighbouring ticks, in three quarters of the places looked at. Yarn,
    /// cloth, wood and brushes have bars that stand as evenly as ticks, but no clean ground between them.
    pub(super) fn is_clean(&self, rgb: &Raster<[u8; 3]>) -> bool {
        let (mut clean, mut looked) = (0, 0);
        for pair in self.ticks.windows(2) {
            let [a, b] = pair else { continue };
            if b.number != a.number + 1 {
                continue;
            }
            let (low, high) = (a.seen.0.max(b.seen.0), a.seen.1.min(b.seen.1));
            for part in [0.2, 0.5, 0.8] {
                let s = low + (high - low) * part;
                let (xa, xb) = (a.axis.0 + a.axis.1 * s, b.axis.0 + b.axis.1 * s);
                // From clear of one tick to clear of the next: blur carries two pixels of it, however thin it is.
                let clear = (self.width.max(2.0) / (xb - xa).abs().max(1.0)).clamp(0.1, 0.4);
                let values: Vec<f64> = (0..=8)
                    .filter_map(|i| {
                        let t = clear + (1.0 - 2.0 * clear) * f64::from(i) / 8.0;
                        let p = self.frame.image_from_frame(xa + (xb - xa) * t, s);
                        luma_at(rgb, p.x, p.y).map(f64::from)
                    })
                    .collect();
                // The outermost eighths may be noise.
                let (Some(darkest), Some(lightest)) = (quantile(&values, 0.12), quantile(&values, 0.88)) else {
                    continue;
                };
                looked += 1;
                // What differs by less than half of a tick's own contrast is light, shade or grain of the ground.
                clean += usize::from(depth(true, lightest, darkest) < 0.5 * self.contrast);
            }
        }
        looked >= 3 && 4 * clean >= 3 * looked
    }
}

/// How far along its line a row is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Span {
    /// Where its bars stand: enough to see whether they are ticks.
    Bars,
    /// Through the whole photo.
    Photo,
}

/// Measures the row whose bars were found; `None` where they do not stand at equal steps.
pub(super) fn measure(rgb: &Raster<[u8; 3]>, row: &Row, feet: Feet, span: Span) -> Option<TickRow> {
    let dark = row.dark;
    let frame = Frame::of_row(row, feet)?;
    let lengths: Vec<f64> = row.bars.iter().map(|b| 2.0 * b.half_length).collect();
    let (typical, longest) = (median(&lengths)?, lengths.iter().copied().fold(0.0, f64::max));
    let bar_width = median(&row.bars.iter().map(|b| b.width).collect::<Vec<_>>())?;
    let mut at: Vec<f64> = row.bars.iter().map(|b| frame.frame_from_image(b.centre).0).collect();
    at.sort_by(f64::total_cmp);
    let gaps: Vec<f64> = at.windows(2).map(|w| w[1] - w[0]).collect();
    let nearest = quantile(&gaps, 0.2)?;
    let span = match (span, at.as_slice()) {
        (Span::Bars, [first, .., last]) => Some((first - nearest, last + nearest)),
        _ => None,
    };
    // Two sides must lie on the ground: beyond the tick's own edge and its blur, before the next tick.
    let reach = (bar_width * 1.2).ceil().max(2.0).min((nearest * 0.5).floor().max(2.0)) as usize;
    let sizes = Sizes { typical, longest, reach };
    // The line through the feet of a few bars leads astray by a tick's length at the photo's other end.
    let (from_s, to_s) = sizes.band(1.0);
    let first = Band::of(rgb, &frame, (from_s, to_s), sizes.step_s(), span);
    let contrast = contrast_of_bars(&first, &frame, row, reach, dark)?;
    in_frame(rgb, frame, sizes, contrast, dark, span, Some(first))
}

impl TickRow {
    /// The same row measured again in the frame that its ticks show: bow and fanning are now known, and ticks farther out
    /// come in.
    pub(super) fn again(&self, rgb: &Raster<[u8; 3]>) -> Option<Self> {
        let feet: Vec<_> = self.ticks.iter().map(|t| t.at(&self.frame, t.foot.unwrap_or(t.seen.0))).collect();
        let tips: Vec<_> = self.ticks.iter().map(|t| t.at(&self.frame, t.tip.unwrap_or(t.seen.1))).collect();
        let lengths: Vec<f64> = feet.iter().zip(&tips).map(|(f, t)| f.distance(*t)).collect();
        let sizes = Sizes {
            typical: median(&lengths)?,
            longest: lengths.iter().copied().fold(0.0, f64::max),
            reach: self.reach,
        };
        in_frame(rgb, Frame::of_ticks(&feet, &tips)?, sizes, self.contrast, self.dark, None, None)
    }
}

/// Lengths of the ticks, as far as they are known, px, and how far beside them the ground is.
#[derive(Debug, Clone, Copy)]
struct Sizes {
    typical: f64,
    longest: f64,
    reach: usize,
}

impl Sizes {
    /// From before the feet to beyond the tips. The inch is 3 to 3.5 times as long as its sixteenth; the centimetre 2 to
    /// 2.5 times as long as the millimetre. `before`, in lengths: how far off the feet may be.
    fn band(self, before: f64) -> (f64, f64) {
        (-before * self.typical, (1.35 * self.longest).max(3.8 * self.typical))
    }

    fn step_s(self) -> f64 {
        (self.typical / 18.0).max(1.0)
    }
}

fn in_frame(
    rgb: &Raster<[u8; 3]>,
    frame: Frame,
    sizes: Sizes,
    contrast: f64,
    dark: bool,
    span: Option<(f64, f64)>,
    first: Option<Band>,
) -> Option<TickRow> {
    let Sizes { typical, reach, .. } = sizes;
    let step_s = sizes.step_s();
    let (from_s, mut to_s) = sizes.band(if first.is_some() { 1.0 } else { 0.5 });
    let mut band = first.unwrap_or_else(|| Band::of(rgb, &frame, (from_s, to_s), step_s, span));
    let mut tracks;
    let mut tries = 0;
    loop {
        tracks = strip::follow(&band, reach, (0.4 * contrast) as f32, dark);
        // A tick that runs out of the band has an unknown length, and with it the pattern: look farther.
        let cut = tracks.iter().filter(|t| t.extent().0 < 0.4 * typical && t.extent().1 > to_s - 3.0 * step_s);
        tries += 1;
        if cut.count() < 2 || tries == 3 || span.is_some() {
            break;
        }
        to_s *= 1.7;
        band = Band::of(rgb, &frame, (from_s, to_s), step_s, span);
    }
    // What stands on the line of the feet, upright: within 3 degrees of the frame's own direction, more where that was told
    // by a few bars of some twenty pixels.
    let upright = 0.06 + 1.2 / typical;
    let standing: Vec<&Track> = tracks
        .iter()
        .filter(|t| {
            let (low, high) = t.extent();
            low < 0.4 * typical && high - low >= 0.2 * typical && t.line(0.0).1.abs() < upright
        })
        .collect();
    let places: Vec<f64> = standing.iter().map(|t| t.line(0.0).0).collect();
    let step = lattice::common_step(&places)?;
    let lattice = lattice::number(&places, step)?;
    let mut ticks: Vec<Tick> = Vec::new();
    for (track, number) in standing.iter().zip(&lattice.numbers) {
        let Some(number) = *number else { continue };
        let tick = tick_of(rgb, &frame, track, number, reach, step_s, dark);
        match ticks.iter_mut().find(|t| t.number == number) {
            // One tick seen in two parts: the longer stands for it.
            Some(same) if same.seen.1 - same.seen.0 < tick.seen.1 - tick.seen.0 => *same = tick,
            Some(_) => {}
            None => ticks.push(tick),
        }
    }
    ticks.sort_by_key(|t| t.number);
    let width = median(&ticks.iter().map(|t| t.width).collect::<Vec<_>>())?;
    Some(TickRow { frame, ticks, lattice, width, contrast, dark, reach })
}

/// Median contrast at the middles of the bars.
fn contrast_of_bars(band: &Band, frame: &Frame, row: &Row, reach: usize, dark: bool) -> Option<f64> {
    let mut seen = Vec::new();
    let mut line = Vec::new();
    for bar in &row.bars {
        let (x, s) = frame.frame_from_image(bar.centre);
        let r = ((s - band.first_s) / band.step_s).round();
        if r < 0.0 || r as usize >= band.luma.height() {
            continue;
        }
        band.contrast(r as usize, reach, dark, &mut line);
        let i = (x - band.first_x).round();
        let near = (-2..=2).filter_map(|d| line.get((i as isize + d).max(0) as usize)).copied();
        seen.push(f64::from(near.filter(|c| !c.is_nan()).fold(0.0, f32::max)));
    }
    median(&seen).filter(|c| *c > 0.05)
}

/// Axis and ends of one tick.
fn tick_of(
    rgb: &Raster<[u8; 3]>,
    frame: &Frame,
    track: &Track,
    number: i32,
    reach: usize,
    step_s: f64,
    dark: bool,
) -> Tick {
    // The blurred ends lean towards whatever is there: they do not count for the axis.
    let (low, high) = track.extent();
    let trim = (0.08 * (high - low)).max(step_s);
    let inner = Track {
        points: track.points.iter().copied().filter(|(s, _)| *s >= low + trim && *s <= high - trim).collect(),
        ..*track
    };
    let followed = if inner.points.len() >= 3 { &inner } else { track };
    let (x0, slope, scatter) = followed.line(0.0);
    let axis = (x0, slope);
    let end = |from: f64, sign: f64| end_of(rgb, frame, axis, from, sign, reach, (high - low) / 2.0, step_s, dark);
    Tick {
        number,
        axis,
        scatter: (scatter, followed.points.len()),
        foot: end(low, -1.0),
        tip: end(high, 1.0),
        seen: (low, high),
        width: track.width,
    }
}

/// Relative contrast of the axis at s, mean over three places across it; `None` outside the photo.
fn depth_at(rgb: &Raster<[u8; 3]>, frame: &Frame, axis: (f64, f64), s: f64, reach: usize, dark: bool) -> Option<f64> {
    let x = axis.0 + axis.1 * s;
    let value = |x: f64| {
        let p = frame.image_from_frame(x, s);
        luma_at(rgb, p.x, p.y).map(f64::from)
    };
    let (left, right) = (value(x - reach as f64)?, value(x + reach as f64)?);
    let middle = (value(x - 0.5)? + value(x)? + value(x + 0.5)?) / 3.0;
    Some(depth(dark, if dark { left.min(right) } else { left.max(right) }, middle))
}

/// Where the contrast falls to half of what it is inside, going from `from` by `sign`: a blurred straight end lies at half
/// height. `None` at the photo's edge, and where the fall takes longer than blur would.
#[expect(clippy::too_many_arguments, reason = "one closure's worth of context, used twice")]
fn end_of(
    rgb: &Raster<[u8; 3]>,
    frame: &Frame,
    axis: (f64, f64),
    from: f64,
    sign: f64,
    reach: usize,
    half_length: f64,
    step_s: f64,
    dark: bool,
) -> Option<f64> {
    let inside: Vec<f64> = (1..=8)
        .filter_map(|i| {
            let back = (f64::from(i) / 8.0 * half_length).max(step_s);
            depth_at(rgb, frame, axis, from - sign * back, reach, dark)
        })
        .collect();
    let half = median(&inside)? / 2.0;
    let mut s = from - sign * 2.0 * step_s;
    let mut before = depth_at(rgb, frame, axis, s, reach, dark)?;
    let limit = 5.0 * step_s + 6.0;
    let mut gone = 0.0;
    while gone < limit {
        let next = depth_at(rgb, frame, axis, s + sign, reach, dark)?;
        if before >= half && next < half {
            // Two pixels on it must still be gone, or this was a speck.
            let beyond = depth_at(rgb, frame, axis, s + 3.0 * sign, reach, dark)?;
            if beyond < half {
                return Some(s + sign * (before - half) / (before - next).max(1e-9));
            }
        }
        before = next;
        s += sign;
        gone += 1.0;
    }
    None
}
