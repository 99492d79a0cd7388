//! Coordinates along a row of ticks: X along the line of their feet, s along the ticks, both in pixels of the photo.

use super::rows::Row;
use crate::base::geometry::{Image, Point};
use crate::base::stats::{median, robust_deviation, weighted_line, weighted_mean};

/// On which side of a row of bars its feet are taken to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Feet {
    /// Where the ends lie on one line the better.
    OnTheStraighterSide,
    /// On the other.
    OnTheOther,
}

/// The line of the feet (bent by the lens: a parabola) and the direction of the ticks along it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    /// X = 0, s = 0.
    origin: Point<Image>,
    /// Unit vector of growing X.
    along: Point<Image>,
    /// Sag of the line of the feet: offset towards the tips at X is `bend * X^2`, 1/px.
    bend: f64,
    /// Angle of the ticks from `along`, clockwise on the screen, at X = 0, radians.
    angle: f64,
    /// Its change along X, radians/px.
    fanning: f64,
}

impl Frame {
    /// The point with these coordinates.
    pub(super) fn image_from_frame(&self, x: f64, s: f64) -> Point<Image> {
        let foot = self.origin + self.along * x + self.along.quarter_turn() * (self.bend * x * x);
        foot + self.tick_direction(x) * s
    }

    /// Unit vector from foot to tip at X.
    pub(super) fn tick_direction(&self, x: f64) -> Point<Image> {
        let (sin, cos) = (self.angle + self.fanning * x).sin_cos();
        self.along * cos + self.along.quarter_turn() * sin
    }

    /// Coordinates of a point: X, s.
    pub(super) fn frame_from_image(&self, p: Point<Image>) -> (f64, f64) {
        let offset = p - self.origin;
        let (u, v) = (offset.dot(self.along), offset.dot(self.along.quarter_turn()));
        let (mut x, mut s) = (u, v);
        // Fixed point: the ticks are within some 25 degrees of square to the line, and fan by a few degrees over its length.
        for _ in 0..8 {
            let (sin, cos) = (self.angle + self.fanning * x).sin_cos();
            s = (v - self.bend * x * x) / sin;
            x = u - s * cos;
        }
        (x, s)
    }

    /// The frame of a row of bars. The feet are the ends that lie on one line the better, or the other ends, if so told:
    /// where only the shortest ticks were linked, both ends lie on lines.
    pub(super) fn of_row(row: &Row, feet: Feet) -> Option<Self> {
        let (low, high) = ends_of(row)?;
        let (l, h) = (line_through(&low)?, line_through(&high)?);
        let (feet, tips, line) = if (l.straying <= h.straying) == (feet == Feet::OnTheStraighterSide) {
            (low, high, l)
        } else {
            (high, low, h)
        };
        Self::through(&feet, &tips, line, Detail::Straight)
    }

    /// The frame of ticks whose feet and tips are given.
    pub(super) fn of_ticks(feet: &[Point<Image>], tips: &[Point<Image>]) -> Option<Self> {
        Self::through(feet, tips, line_through(feet)?, Detail::Bent)
    }

    /// How far the ends on the straighter side stray from their line, px: a row of ticks has feet.
    pub(super) fn straying_of(row: &Row) -> Option<f64> {
        let (low, high) = ends_of(row)?;
        Some(line_through(&low)?.straying.min(line_through(&high)?.straying))
    }

    fn through(feet: &[Point<Image>], tips: &[Point<Image>], line: Line, detail: Detail) -> Option<Self> {
        let mut along = line.along;
        // Tips lie clockwise of X, so that (X, s) is turned but never mirrored against the picture.
        let side: f64 = feet.iter().zip(tips).map(|(f, t)| along.cross(*t - *f)).sum();
        if side < 0.0 {
            along = along * -1.0;
        }
        let across = along.quarter_turn();
        let mut pairs: Vec<(f64, f64, f64)> = feet
            .iter()
            .zip(tips)
            .map(|(f, t)| {
                let d = *t - *f;
                ((*f - line.origin).dot(along), d.dot(across).atan2(d.dot(along)), d.length())
            })
            .collect();
        pairs.retain(|(_, a, l)| a.is_finite() && *l > 0.0);
        if detail == Detail::Straight {
            let angle = median(&pairs.iter().map(|p| p.1).collect::<Vec<_>>())?;
            return Some(Self { origin: line.origin, along, bend: 0.0, angle, fanning: 0.0 });
        }
        let (angle, fanning) = robust_line(&pairs)?;
        let bows: Vec<(f64, f64)> =
            feet.iter().map(|f| ((*f - line.origin).dot(along), (*f - line.origin).dot(across))).collect();
        let (origin_shift, turn, bend) = parabola(&bows, line.spread);
        let origin = line.origin + across * origin_shift;
        let turned = (along + across * turn).unit()?;
        Some(Self { origin, along: turned, bend, angle: angle - turn.atan(), fanning })
    }
}

/// What a frame is made to follow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Detail {
    /// A straight line of feet, parallel ticks: a few short bars tell no more, and what they seem to tell of bow and fanning
    /// would lead far astray at the photo's other end.
    Straight,
    /// Bow and fanning too.
    Bent,
}

/// Points of the photo.
type Points = Vec<Point<Image>>;

/// The bars' ends on either side.
fn ends_of(row: &Row) -> Option<(Points, Points)> {
    let first = row.bars.first()?;
    let sorted = row.bars.iter().map(|bar| {
        let [a, b] = bar.ends();
        if bar.along.dot(first.along) < 0.0 { (b, a) } else { (a, b) }
    });
    Some(sorted.unzip())
}

#[derive(Debug, Clone, Copy)]
struct Line {
    origin: Point<Image>,
    along: Point<Image>,
    /// Robust deviation of the points from it, px.
    spread: f64,
    /// Mean distance of the points from it, far ones counted as the tenth farthest, px. Tips of the shortest ticks lie on
    /// a line as well as all feet do, but the tips of the others do not lie on it.
    straying: f64,
}

/// Line with the least median distance, over all pairs of a sparse choice of the points (least median of squares;
/// Rousseeuw 1984), then refitted to what lies near.
fn line_through(points: &[Point<Image>]) -> Option<Line> {
    let n = points.len();
    let step = n.div_ceil(24);
    let chosen: Vec<Point<Image>> = points.iter().copied().step_by(step).collect();
    let mut best: Option<Line> = None;
    for (i, a) in chosen.iter().enumerate() {
        for b in chosen.iter().skip(i + 1) {
            let Some(along) = (*b - *a).unit() else { continue };
            let off: Vec<f64> = chosen.iter().map(|p| (*p - *a).cross(along).abs()).collect();
            // The 60 % quantile rather than the median, so that a line through half the points does not win by chance.
            let spread = crate::base::stats::quantile(&off, 0.6)?;
            if best.is_none_or(|l| spread < l.spread) {
                best = Some(Line { origin: *a, along, spread, straying: 0.0 });
            }
        }
    }
    let line = best?;
    let near = 3.0 * line.spread + 1.0;
    let kept: Vec<Point<Image>> =
        points.iter().copied().filter(|p| (*p - line.origin).cross(line.along).abs() <= near).collect();
    let count = kept.len() as f64;
    let middle = kept.iter().fold(Point::new(0.0, 0.0), |s, p| s + *p) * (1.0 / count.max(1.0));
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for p in &kept {
        let d = *p - middle;
        xx += d.x * d.x;
        xy += d.x * d.y;
        yy += d.y * d.y;
    }
    let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
    let along = Point::new(angle.cos(), angle.sin());
    let off: Vec<f64> = points.iter().map(|p| (*p - middle).cross(along)).collect();
    let distances: Vec<f64> = off.iter().map(|o| o.abs()).collect();
    let far = crate::base::stats::quantile(&distances, 0.9)?;
    let straying = distances.iter().map(|d| d.min(far)).sum::<f64>() / n as f64;
    Some(Line { origin: middle, along, spread: robust_deviation(&off)?.max(median(&off)?.abs()), straying })
}

/// Weighted robust straight line through (x, y, weight): value at 0 and slope. A slope only where five points or more
/// speak for it.
fn robust_line(points: &[(f64, f64, f64)]) -> Option<(f64, f64)> {
    let mut kept: Vec<(f64, f64, f64)> = points.to_vec();
    let mut fit = (median(&kept.iter().map(|p| p.1).collect::<Vec<_>>())?, 0.0);
    for _ in 0..4 {
        let off: Vec<f64> = points.iter().map(|p| p.1 - fit.0 - fit.1 * p.0).collect();
        let limit = 3.0 * robust_deviation(&off)? + 1e-3;
        kept = points.iter().zip(&off).filter(|(_, o)| o.abs() <= limit).map(|(p, _)| *p).collect();
        let squared = kept.iter().map(|(x, y, w)| (*x, *y, w * w));
        fit = match weighted_line(squared.clone()).filter(|_| kept.len() >= 5) {
            Some(line) => line,
            None => (weighted_mean(squared.map(|(_, y, w)| (y, w)))?, 0.0),
        };
    }
    Some(fit)
}

/// Robust parabola `y = a + b x + c x^2`; the plain line (zeros) where fewer than 8 points speak for it.
fn parabola(points: &[(f64, f64)], spread: f64) -> (f64, f64, f64) {
    if points.len() < 8 {
        return (0.0, 0.0, 0.0);
    }
    let mut fit = nalgebra::Vector3::zeros();
    let reach = points.iter().map(|p| p.0.abs()).fold(1.0, f64::max);
    for round in 0..4 {
        let limit = if round == 0 { 6.0 * spread + 2.0 } else { 3.0 * spread + 1.0 };
        let mut normal = nalgebra::Matrix3::zeros();
        let mut right = nalgebra::Vector3::zeros();
        let mut kept = 0;
        for (x, y) in points {
            let t = x / reach;
            let terms = nalgebra::Vector3::new(1.0, t, t * t);
            if (y - fit.dot(&terms)).abs() <= limit {
                normal += terms * terms.transpose();
                right += terms * *y;
                kept += 1;
            }
        }
        if kept < 8 {
            return (0.0, 0.0, 0.0);
        }
        let Some(solved) = normal.cholesky().map(|c| c.solve(&right)) else { return (0.0, 0.0, 0.0) };
        fit = solved;
    }
    (fit.x, fit.y / reach, fit.z / (reach * reach))
}
