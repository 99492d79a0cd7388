//! From regular stretches to rows: straight lines along which many of them lie, as along a scale.

use rayon::prelude::*;

use super::card_scan::Run;
use super::card_track::green;
use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;

/// Something like a scale.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row {
    /// One end.
    pub(super) from: Point<Image>,
    /// The other.
    pub(super) to: Point<Image>,
    /// Distance from mark to mark at `from` and at `to`, px.
    pub(super) pitch_px: (f64, f64),
    /// How far the marks at `from` and at `to` are turned from the upright on the row, radians, clockwise on the screen.
    pub(super) lean: (f64, f64),
    /// How much speaks for it: the extremes of its runs, up to [`ENOUGH`] of each, times the square of their modulation.
    pub(super) weight: f64,
}

impl Run {
    /// How much speaks for its being a scale's.
    fn weight(&self) -> f64 {
        self.extremes.min(ENOUGH) as f64 * self.modulation * self.modulation
    }
}

impl Row {
    /// Unit vector from `from` to `to`.
    pub(super) fn direction(&self) -> Option<Point<Image>> {
        (self.to - self.from).unit()
    }
    /// Pitch at a fraction of the way from `from` to `to`.
    pub(super) fn pitch(&self, t: f64) -> f64 {
        let mean = (self.pitch_px.0 + self.pitch_px.1) / 2.0;
        (self.pitch_px.0 + (self.pitch_px.1 - self.pitch_px.0) * t).clamp(0.4 * mean, 2.5 * mean)
    }
    /// Direction of the marks there, a unit vector, clockwise (on the screen) of the row's direction.
    pub(super) fn along_marks(&self, direction: Point<Image>, t: f64) -> Point<Image> {
        let (sin, cos) = (self.lean.0 + (self.lean.1 - self.lean.0) * t).clamp(-0.5, 0.5).sin_cos();
        direction.quarter_turn() * cos + direction * -sin
    }
}

/// A run with the direction across its marks.
#[derive(Debug, Clone, Copy)]
struct Stripes {
    run: Run,
    middle: Point<Image>,
    /// Unit vector across the marks, x not negative.
    across: Point<Image>,
    pitch_px: f64,
}

/// Runs looked at: a card's two scales give 20 to 200, a patterned cloth thousands.
const MOST_RUNS: usize = 6000;

/// Extremes beyond these in one run say no more: a cloth's run may be as long as the picture.
const ENOUGH: usize = 24;

/// Stripes kept after the look at each, the longest first.
const MOST_STRIPES: usize = 500;

/// The rows, the one with most marks first.
pub(super) fn rows(picture: &Raster<[u8; 3]>, mut runs: Vec<Run>, most: usize) -> Vec<Row> {
    runs.sort_by(|a, b| b.weight().total_cmp(&a.weight()));
    runs.truncate(MOST_RUNS);
    let all: Vec<Stripes> = runs.par_iter().filter_map(|run| Stripes::of(picture, run)).collect();
    let mut stripes: Vec<Stripes> = all.iter().copied().filter(|s| s.end_soon(picture)).collect();
    stripes.truncate(MOST_STRIPES);
    let mut rows = Vec::new();
    // A row that fails removes its seed, so this ends.
    let mut tries = 0;
    while stripes.len() > 1 && tries < 80 {
        tries += 1;
        let seed = stripes[0];
        match row_from(&seed, &stripes) {
            Some((row, used)) => {
                rows.push(row);
                let mut at = 0;
                stripes.retain(|_| {
                    at += 1;
                    !used.contains(&(at - 1))
                });
            }
            None => {
                stripes.remove(0);
            }
        }
    }
    rows.sort_by(|a: &Row, b| b.weight.total_cmp(&a.weight));
    rows.truncate(most);
    rows
}

impl Stripes {
    /// The structure tensor of the square of two periods about the run's middle; `None` where it has no one direction.
    fn of(picture: &Raster<[u8; 3]>, run: &Run) -> Option<Self> {
        let middle = run.middle();
        let period = run.period_px();
        let radius = (period * 0.9).max(4.0);
        // Ten to twenty rows and columns are enough for a direction.
        let step = ((radius / 8.0) as isize).max(1);
        let r = radius as isize;
        let (cx, cy) = (middle.x.round() as isize, middle.y.round() as isize);
        if cx - r < 1 || cy - r < 1 || cx + r + 1 >= picture.width() as isize || cy + r + 1 >= picture.height() as isize
        {
            return None;
        }
        let (mut xx, mut xy, mut yy) = (0f64, 0f64, 0f64);
        for y in (cy - r..=cy + r).step_by(step as usize) {
            let [above, here, below] = [y - 1, y, y + 1].map(|y| picture.row(y as usize));
            for x in (cx - r..=cx + r).step_by(step as usize) {
                let x = x as usize;
                let gx = f64::from(here[x + 1][1]) - f64::from(here[x - 1][1]);
                let gy = f64::from(below[x][1]) - f64::from(above[x][1]);
                xx += gx * gx;
                xy += gx * gy;
                yy += gy * gy;
            }
        }
        let coherence = (xx - yy).hypot(2.0 * xy) / (xx + yy).max(1.0);
        let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
        let across = Point::new(angle.cos(), angle.sin());
        let along_line = (run.to - run.from).unit()?;
        let cosine = across.dot(along_line).abs();
        // 0.5: half the gradient's energy in one direction; marks end inside the square, so it is never all of it.
        (coherence > 0.4 && cosine > 0.75).then_some(Self { run: *run, middle, across, pitch_px: period * cosine })
    }
}

impl Stripes {
    /// Whether the stripes are no longer there, or far weaker, three pitches further along them on one side at least: a
    /// scale's marks end there (all but each fifth), a cloth's stripes do not.
    fn end_soon(&self, picture: &Raster<[u8; 3]>) -> bool {
        let along = self.across.quarter_turn();
        let strength = |v: f64| -> f64 {
            let middle = self.middle + along * (v * self.pitch_px);
            let (mut sine, mut cosine) = (0.0, 0.0);
            // Three pitches, eight samples in each.
            for i in 0..24 {
                let u = (f64::from(i) + 0.5) / 8.0 - 1.5;
                let value = green(picture, middle + self.across * (u * self.pitch_px)).unwrap_or(0.0);
                let (s, c) = (u * std::f64::consts::TAU).sin_cos();
                sine += s * value;
                cosine += c * value;
            }
            sine.hypot(cosine)
        };
        let here = strength(0.0);
        strength(3.2) < 0.55 * here || strength(-3.2) < 0.55 * here
    }
}

/// The best row through the seed, and the indices of the runs on it.
fn row_from(seed: &Stripes, all: &[Stripes]) -> Option<(Row, Vec<usize>)> {
    // Tilt of 30 degrees turns marks and scale against each other by up to 8 degrees; the tensor errs by a few more.
    const MOST_SKEW: f64 = 0.26;
    let near: Vec<usize> = (0..all.len())
        .filter(|i| {
            let other = &all[*i];
            let ratio = other.pitch_px / seed.pitch_px;
            let away = other.middle - seed.middle;
            let (along, aside) = (away.dot(seed.across).abs(), away.cross(seed.across).abs());
            other.across.dot(seed.across).abs() > 0.93
                && (0.4..2.5).contains(&ratio)
                && aside < 2.0 * seed.pitch_px + MOST_SKEW * along
        })
        .collect();
    let ends: Vec<Point<Image>> = near.iter().flat_map(|i| [all[*i].run.from, all[*i].run.to]).collect();
    // A run crosses the clock track and, by chance, some of its neighbours: a pitch and a half to either side.
    let on_line = |direction: Point<Image>, stripes: &Stripes| {
        [stripes.run.from, stripes.run.to, stripes.middle]
            .iter()
            .all(|p| (*p - seed.middle).cross(direction).abs() < 2.2 * seed.pitch_px.max(stripes.pitch_px))
            && (stripes.middle - seed.middle).cross(direction).abs() < 1.6 * seed.pitch_px.max(stripes.pitch_px)
    };
    let weight = |direction: Point<Image>| -> usize {
        near.iter().filter(|i| on_line(direction, &all[**i])).map(|i| all[*i].run.extremes).sum()
    };
    let mut best = (weight(seed.across), seed.across);
    let every = (ends.len() / 60).max(1);
    for end in ends.iter().step_by(every) {
        let Some(direction) = (*end - seed.middle).unit() else { continue };
        if end.distance(seed.middle) < 3.0 * seed.pitch_px || direction.dot(seed.across).abs() < 0.95 {
            continue;
        }
        let w = weight(direction);
        if w > best.0 {
            best = (w, direction);
        }
    }
    let used: Vec<usize> = near.iter().copied().filter(|i| on_line(best.1, &all[*i])).collect();
    let members: Vec<&Stripes> = used.iter().map(|i| &all[*i]).collect();
    let row = fitted(&members, best.1, seed)?;
    (members_extremes(&members) >= 14 && row.from.distance(row.to) > 6.0 * seed.pitch_px).then_some((row, used))
}

fn members_extremes(members: &[&Stripes]) -> usize {
    members.iter().map(|s| s.run.extremes).sum()
}

/// The least-squares line through the members' ends, the pitch along it and the marks' mean direction.
fn fitted(members: &[&Stripes], rough: Point<Image>, seed: &Stripes) -> Option<Row> {
    let rough = if rough.dot(seed.across) < 0.0 { rough * -1.0 } else { rough };
    let points: Vec<(Point<Image>, f64)> =
        members.iter().flat_map(|s| [(s.run.from, s.run.extremes as f64), (s.run.to, s.run.extremes as f64)]).collect();
    let total: f64 = points.iter().map(|(_, w)| w).sum();
    let centre = points.iter().fold(Point::new(0.0, 0.0), |sum, (p, w)| sum + *p * (w / total));
    // Slope against the rough direction: sideways on along.
    let normal = rough.quarter_turn();
    let (mut ss, mut sd) = (0.0, 0.0);
    for (p, w) in &points {
        let away = *p - centre;
        let (s, d) = (away.dot(rough), away.dot(normal));
        ss += w * s * s;
        sd += w * s * d;
    }
    // A short row does not know its direction better than its marks do.
    let slope = if ss > 0.0 { (sd / ss).clamp(-0.1, 0.1) } else { 0.0 };
    let direction = (rough + normal * slope).unit()?;
    let along = |p: Point<Image>| (p - centre).dot(direction);
    let (low, high) = points
        .iter()
        .map(|(p, _)| along(*p))
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), s| (l.min(s), h.max(s)));
    // Pitch and lean of the marks as straight lines along the row.
    let samples = |of: &dyn Fn(&Stripes) -> f64| -> Vec<(f64, f64, f64)> {
        members.iter().map(|m| (along(m.middle), of(m), m.run.extremes as f64)).collect()
    };
    let pitch = straight(&samples(&|m| m.pitch_px));
    let lean = straight(&samples(&|m| {
        let sign = if m.across.dot(direction) < 0.0 { -1.0 } else { 1.0 };
        direction.cross(m.across * sign).clamp(-1.0, 1.0).asin()
    }));
    // Over less than a dozen pitches a slope would only be noise.
    let at = |line: (f64, f64, f64, f64), s: f64| {
        let (mean, slope, middle, spread) = line;
        if spread > 6.0 * pitch.0 { mean + slope * (s - middle) } else { mean }
    };
    Some(Row {
        from: centre + direction * low,
        to: centre + direction * high,
        pitch_px: (at(pitch, low).max(0.5 * pitch.0), at(pitch, high).max(0.5 * pitch.0)),
        lean: (at(lean, low), at(lean, high)),
        weight: members.iter().map(|s| s.run.weight()).sum::<f64>()
            * (1.0 - 4.0 * (at(lean, 0.0).abs() - 0.1).clamp(0.0, 0.2)),
    })
}

/// Weighted straight line through (place, value, weight): mean value, slope, mean place, spread of the places.
fn straight(samples: &[(f64, f64, f64)]) -> (f64, f64, f64, f64) {
    let total: f64 = samples.iter().map(|(_, _, w)| w).sum();
    let mean = |of: &dyn Fn(&(f64, f64, f64)) -> f64| samples.iter().map(|s| of(s) * s.2).sum::<f64>() / total;
    let (s, v) = (mean(&|m| m.0), mean(&|m| m.1));
    let spread = mean(&|m| (m.0 - s).powi(2));
    let slope = if spread > 0.0 { mean(&|m| (m.0 - s) * (m.1 - v)) / spread } else { 0.0 };
    (v, slope, s, spread.sqrt())
}
