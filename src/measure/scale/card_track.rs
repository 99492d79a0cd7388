//! Along a row: where exactly the clock track lies, and its marks one by one, numbered across gaps.

use super::card_rows::Row;
use super::card_scan::regular_stretches;
use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;

/// One mark of the clock track.
#[derive(Debug, Clone, Copy)]
pub(super) struct ClockMark {
    /// Its number along the row from an arbitrary origin.
    pub(super) index: i64,
    /// Its middle.
    pub(super) at: Point<Image>,
    /// Pitch here, px.
    pub(super) pitch_px: f64,
    /// Direction of the mark, a unit vector clockwise (on the screen) of the row's direction.
    pub(super) along: Point<Image>,
}

/// The marks of one row.
#[derive(Debug, Clone)]
pub(super) struct ClockTrack {
    /// Unit vector in which the indices grow.
    pub(super) direction: Point<Image>,
    /// Its marks, index growing.
    pub(super) marks: Vec<ClockMark>,
}

/// Green code value at a point, bilinear; `None` outside.
pub(super) fn green(picture: &Raster<[u8; 3]>, p: Point<Image>) -> Option<f64> {
    if !picture.holds(p.x, p.y) {
        return None;
    }
    let (x, y) = (p.x as usize, p.y as usize);
    let (x1, y1) = ((x + 1).min(picture.width() - 1), (y + 1).min(picture.height() - 1));
    let (fx, fy) = (p.x - x as f64, p.y - y as f64);
    let (above, below) = (picture.row(y), picture.row(y1));
    let value = |pixel: [u8; 3]| f64::from(pixel[1]);
    let top = value(above[x]) * (1.0 - fx) + value(above[x1]) * fx;
    let bottom = value(below[x]) * (1.0 - fx) + value(below[x1]) * fx;
    Some(top * (1.0 - fy) + bottom * fy)
}

/// A skewed ruler over the picture: steps along the row, `v` pitches along its marks.
struct Frame<'a> {
    picture: &'a Raster<[u8; 3]>,
    length: f64,
    step: f64,
    first: f64,
    /// At every step: the point on the row, and one pitch along the marks.
    places: Vec<(Point<Image>, Point<Image>)>,
}

impl Frame<'_> {
    /// px along the row of a step (fractions allowed).
    fn place(&self, i: f64) -> f64 {
        self.first + i * self.step
    }
    /// The nearest step to a place along the row.
    fn nearest(&self, s: f64) -> Option<&(Point<Image>, Point<Image>)> {
        self.places.get((((s - self.first) / self.step).round().max(0.0)) as usize)
    }
    /// Brightness along the row, averaged over `offsets` (pitches along the marks) about `middle(s)`; 0 outside the picture.
    fn profile(&self, middle: impl Fn(f64) -> f64, offsets: &[f64]) -> Vec<u8> {
        let mut line = Vec::with_capacity(self.places.len());
        for (i, (at, pitch)) in self.places.iter().enumerate() {
            let v = middle(self.place(i as f64));
            let (mut sum, mut n) = (0.0, 0.0);
            for offset in offsets {
                if let Some(value) = green(self.picture, *at + *pitch * (v + offset)) {
                    sum += value;
                    n += 1.0;
                }
            }
            line.push(if n > 0.0 { (sum / n).round() as u8 } else { 0 });
        }
        line
    }
}

/// How far beyond the runs of a row its scale is followed, in pitches: yarn and shadow may hide that much.
const BEYOND_PITCHES: f64 = 30.0;

/// The marks along a row; `None` where no clock track shows.
pub(super) fn track(picture: &Raster<[u8; 3]>, row: &Row) -> Option<ClockTrack> {
    let direction = row.direction()?;
    let length = row.from.distance(row.to);
    let least = row.pitch_px.0.min(row.pitch_px.1);
    let step = (least / 7.0).clamp(0.6, 3.0);
    let first = -BEYOND_PITCHES * row.pitch_px.0;
    let count = ((length + BEYOND_PITCHES * row.pitch_px.1 - first) / step) as usize + 1;
    let places = (0..count)
        .map(|i| {
            let s = first + i as f64 * step;
            let t = s / length;
            (row.from + direction * s, row.along_marks(direction, t) * row.pitch(t))
        })
        .collect();
    let frame = Frame { picture, length, step, first, places };
    let (middle, slope) = clock_middle(&frame)?;
    let centre = |s: f64| middle + slope * (s - length / 2.0);
    // The track is 2.4 or 3 pitches high; its middle half is clear of what is beside it.
    let profile = frame.profile(centre, &[-0.75, -0.45, -0.15, 0.15, 0.45, 0.75]);
    let places = stitched(stretches(&profile, &frame));
    let marks: Vec<ClockMark> = places
        .into_iter()
        .filter_map(|(index, s, pitch_px)| {
            let along = row.along_marks(direction, s / length);
            let (_, pitch) = frame.nearest(s)?;
            let at = row.from + direction * s + *pitch * centre(s);
            Some(ClockMark { index, at, pitch_px, along })
        })
        .collect();
    (marks.len() >= 6).then_some(ClockTrack { direction, marks })
}

/// Where across the row the regular track lies: offset (pitches) at the row's middle and its slope per px along it.
fn clock_middle(frame: &Frame<'_>) -> Option<(f64, f64)> {
    const SECTIONS: usize = 12;
    const OFFSETS: usize = 25;
    let offset = |j: usize| (j as f64 - (OFFSETS as f64 - 1.0) / 2.0) * 0.4;
    let mut cover = [[0.0f64; OFFSETS]; SECTIONS];
    (0..OFFSETS).for_each(|j| {
        let profile = frame.profile(|_| offset(j), &[0.0]);
        regular_stretches(&profile, &mut |extremes| {
            for e in extremes {
                let section = (f64::from(e.at) / frame.places.len() as f64 * SECTIONS as f64) as usize;
                cover[section.min(SECTIONS - 1)][j] += 1.0;
            }
        });
    });
    // Middle of the plateau in each section, weighted by how much of it is there.
    let mut points = Vec::new();
    for (i, section) in cover.iter().enumerate() {
        let most = section.iter().copied().fold(0.0, f64::max);
        if most < 6.0 {
            continue;
        }
        let (mut sum, mut weight) = (0.0, 0.0);
        for (j, c) in section.iter().enumerate() {
            let w = (c / most - 0.6).max(0.0);
            sum += w * offset(j);
            weight += w;
        }
        let s = frame.place((i as f64 + 0.5) / SECTIONS as f64 * frame.places.len() as f64) - frame.length / 2.0;
        points.push((s, sum / weight, most));
    }
    // A line through them; once more without those more than a pitch off it.
    let mut line = straight(&points)?;
    for _ in 0..2 {
        let near: Vec<_> = points.iter().copied().filter(|(s, v, _)| (line.0 + line.1 * s - v).abs() < 1.0).collect();
        line = straight(&near)?;
    }
    Some(line)
}

/// Weighted straight line: value at 0 and slope; level when it rests on one section or two.
fn straight(points: &[(f64, f64, f64)]) -> Option<(f64, f64)> {
    let total: f64 = points.iter().map(|p| p.2).sum();
    if total <= 0.0 {
        return None;
    }
    let (s, v) = points.iter().fold((0.0, 0.0), |(s, v), p| (s + p.0 * p.2 / total, v + p.1 * p.2 / total));
    let (mut ss, mut sv) = (0.0, 0.0);
    for p in points {
        ss += p.2 * (p.0 - s).powi(2);
        sv += p.2 * (p.0 - s) * (p.1 - v);
    }
    let slope = if points.len() > 2 && ss > 0.0 { sv / ss } else { 0.0 };
    Some((v - slope * s, slope))
}

/// Dark places of each regular stretch, px along the row.
fn stretches(profile: &[u8], frame: &Frame<'_>) -> Vec<Vec<f64>> {
    let mut all = Vec::new();
    regular_stretches(profile, &mut |extremes| {
        let darker_first = extremes.windows(2).next().is_some_and(|w| w[0].value < w[1].value);
        let dark: Vec<f64> =
            extremes.iter().skip(usize::from(!darker_first)).step_by(2).map(|e| frame.place(f64::from(e.at))).collect();
        if dark.len() >= 4 {
            all.push(dark);
        }
    });
    all
}

/// Numbers the marks across the gaps between stretches: index, place, pitch. Starts from the longest stretch; one whose
/// distance is no whole number of pitches is left out.
fn stitched(stretches: Vec<Vec<f64>>) -> Vec<(i64, f64, f64)> {
    let Some(longest) = (0..stretches.len()).max_by_key(|i| (stretches[*i].len(), usize::MAX - i)) else {
        return Vec::new();
    };
    let mut out: Vec<(i64, f64, f64)> = numbered(&stretches[longest], 0);
    for next in stretches.iter().skip(longest + 1) {
        let (Some(end), Some((_, start))) = (out.last().copied(), next.first().map(|s| ((), *s))) else { break };
        if let Some(step) = whole_steps(start - end.1, end.2, local_pitch(next, false)) {
            out.extend(numbered(next, end.0 + step));
        }
    }
    for next in stretches.iter().take(longest).rev() {
        let (Some(start), Some(end)) = (out.first().copied(), next.last()) else { break };
        if let Some(step) = whole_steps(start.1 - end, start.2, local_pitch(next, true)) {
            let first = start.0 - step - (next.len() as i64 - 1);
            let mut joined = numbered(next, first);
            joined.append(&mut out);
            out = joined;
        }
    }
    out
}

fn numbered(dark: &[f64], first: i64) -> Vec<(i64, f64, f64)> {
    let n = dark.len();
    (0..n)
        .map(|i| {
            let (a, b) = (i.saturating_sub(4), (i + 4).min(n - 1));
            (first + i as i64, dark[i], (dark[b] - dark[a]) / (b - a).max(1) as f64)
        })
        .collect()
}

fn local_pitch(dark: &[f64], at_end: bool) -> f64 {
    let n = dark.len();
    let part = if at_end { &dark[n - n.min(8)..] } else { &dark[..n.min(8)] };
    match part {
        [first, .., last] => (last - first) / (part.len() - 1) as f64,
        _ => 0.0,
    }
}

/// How many pitches a gap is, where that is clear.
fn whole_steps(gap: f64, before: f64, after: f64) -> Option<i64> {
    let pitch = (before + after) / 2.0;
    if !(pitch > 0.0 && gap > 0.0) {
        return None;
    }
    let steps = gap / pitch;
    // Pitches of eight marks are right to about 2 %; their disagreement says how fast the pitch changes.
    let unsure = steps * ((before - after).abs() / pitch * 0.25 + 0.015);
    let whole = steps.round();
    ((steps - whole).abs() < 0.3 && unsure < 0.4 && whole >= 1.0).then_some(whole as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gaps_are_counted_and_unclear_ones_left_out() {
        let a: Vec<f64> = (0..20).map(|i| f64::from(i) * 10.0).collect();
        let b: Vec<f64> = (27..34).map(|i| f64::from(i) * 10.0 + 0.8).collect();
        let c: Vec<f64> = (60..66).map(|i| f64::from(i) * 10.0 + 5.0).collect();
        let marks = stitched(vec![a, b, c]);
        let indices: Vec<i64> = marks.iter().map(|m| m.0).collect();
        assert_eq!(indices, (0..20).chain(27..34).collect::<Vec<_>>());
    }

    #[test]
    fn a_stretch_before_the_longest_counts_backwards() {
        let a: Vec<f64> = (0..5).map(|i| f64::from(i) * 10.0).collect();
        let b: Vec<f64> = (8..30).map(|i| f64::from(i) * 10.0).collect();
        let marks = stitched(vec![a, b]);
        assert_eq!(marks.first().map(|m| m.0), Some(-8));
    }
}
