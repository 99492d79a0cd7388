//! Things of many kinds that are no yarn: what they are, where they lie, and which of them a pixel may show.

use super::scene::{Albedo, RulerSpec};
use super::shade::Light;

/// What a thing is. Tubes are round, bands are flat, rounds are discs and rings about the first point of their course.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ThingKind {
    /// Tube: smooth, as an electric cable.
    Cable,
    /// Tube: braided cord.
    Cord,
    /// Tube: bright metal.
    Wire,
    /// Tube: peeled or barked stick.
    Stick,
    /// Tube: corrugated.
    Pipe,
    /// Tube: with a screw's thread.
    Screw,
    /// Tube: beads on a string.
    Beads,
    /// Tube: a finger, its nail at the far end.
    Finger,
    /// Tube: a pin, thin at its far end.
    Pin,
    /// Tube: six-sided, sharpened at its near end.
    Pencil,
    /// Band: shiny, with woven edges.
    Ribbon,
    /// Band: with slanting stripes.
    Tape,
    /// Band: paper, blank.
    Paper,
    /// Band: paper with print.
    Print,
    /// Band: paper with bars of many widths.
    Bars,
    /// Band: a ruler.
    Ruler,
    /// Band: a leaf.
    Leaf,
    /// Round: a coin.
    Coin,
    /// Round: a button with holes.
    Button,
    /// Round: a ring, as of rubber.
    Ring,
    /// Round: a patch of shadow, thrown by something out of the picture.
    Shade,
}

/// What lies at a place, as labels say it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The table or a cloth.
    Ground,
    /// A ruler's body.
    Ruler,
    /// A card or paper.
    Card,
    /// Anything else.
    Other,
}

/// A thing.
#[derive(Debug, Clone, PartialEq)]
pub struct Thing {
    /// What it is.
    pub kind: ThingKind,
    /// Its course: a curve from the first point to the third that bends towards the second (Bezier, second degree), mm.
    pub course: [[f64; 2]; 3],
    /// Width or diameter, mm.
    pub width_mm: f64,
    /// Thickness of bands, mm.
    pub thick_mm: f64,
    /// Colour.
    pub colour: Albedo,
    /// Second colour.
    pub accent: Albedo,
    /// How shiny, 0 to 1.
    pub gloss: f64,
    /// Seed of its pattern.
    pub seed: u64,
    /// Whether it lies on the yarn.
    pub over: bool,
    /// What is printed on a ruler.
    pub ruler: Option<RulerSpec>,
}

impl ThingKind {
    /// What labels call it; `None` for what is no thing at all.
    #[must_use]
    pub fn label(self) -> Option<Kind> {
        match self {
            Self::Ruler => Some(Kind::Ruler),
            Self::Paper | Self::Print | Self::Bars => Some(Kind::Card),
            Self::Shade => None,
            _ => Some(Kind::Other),
        }
    }
    /// Whether it is flat and runs along its course.
    #[must_use]
    pub fn is_band(self) -> bool {
        matches!(self, Self::Ribbon | Self::Tape | Self::Paper | Self::Print | Self::Bars | Self::Ruler | Self::Leaf)
    }
    /// Whether it lies about one point.
    #[must_use]
    pub fn is_round(self) -> bool {
        matches!(self, Self::Coin | Self::Button | Self::Ring | Self::Shade)
    }
}

/// Parts of a bent course.
const PARTS: usize = 40;

/// A thing as laid out.
#[derive(Debug)]
pub(super) struct Laid<'a> {
    pub(super) thing: &'a Thing,
    /// Points of its course with their arc lengths.
    points: Vec<[f64; 3]>,
    pub(super) half: f64,
    pub(super) length: f64,
    /// Where its shadow falls: how far the outline is moved, and how soft it is.
    pub(super) shift: [f64; 2],
    pub(super) soft: f64,
}

/// A place against a course: along it, to its left, both in mm, and the course's direction there.
#[derive(Debug, Clone, Copy)]
pub(super) struct Against {
    pub(super) along: f64,
    pub(super) left: f64,
    pub(super) direction: [f64; 2],
}

/// Parts of a thing that a tile may show.
#[derive(Debug, Clone, Copy)]
pub(super) struct Part {
    pub(super) thing: usize,
    first: usize,
    last: usize,
}

impl<'a> Laid<'a> {
    pub(super) fn of(thing: &'a Thing, light: &Light) -> Self {
        let [a, b, c] = thing.course;
        let bent = ((a[0] + c[0]) / 2.0 - b[0]).hypot((a[1] + c[1]) / 2.0 - b[1]) > 1e-6;
        let parts = if bent { PARTS } else { 1 };
        let mut points: Vec<[f64; 3]> = Vec::with_capacity(parts + 1);
        for i in 0..=parts {
            let t = i as f64 / parts as f64;
            let weights = [(1.0 - t) * (1.0 - t), 2.0 * t * (1.0 - t), t * t];
            let place: [f64; 2] = std::array::from_fn(|k| weights[0] * a[k] + weights[1] * b[k] + weights[2] * c[k]);
            let s = points.last().map_or(0.0, |p| p[2] + (place[0] - p[0]).hypot(place[1] - p[1]));
            points.push([place[0], place[1], s]);
        }
        let length = points.last().map_or(0.0, |p| p[2]);
        let half = thing.width_mm / 2.0;
        let high = if thing.kind.is_band() || thing.kind.is_round() { thing.thick_mm } else { half };
        let slope = 1.0 / light.towards.z.max(0.2);
        let shift = [light.towards.x * slope * high, light.towards.y * slope * high];
        let soft = (2.0 * light.softness * high * slope + 0.15 * high).max(0.02);
        Self { thing, points, half, length, shift, soft }
    }

    /// How far from its course it is felt, mm.
    fn reach(&self) -> f64 {
        self.half + self.shift[0].hypot(self.shift[1]) + self.soft
    }

    /// Its parts within `radius` of a place, mm.
    pub(super) fn near(&self, number: usize, x: f64, y: f64, radius: f64) -> Option<Part> {
        let reach = radius + self.reach();
        if self.thing.kind.is_round() {
            let [cx, cy] = self.thing.course[0];
            return (length(x - cx, y - cy) < reach).then_some(Part { thing: number, first: 0, last: 0 });
        }
        let touched = |i: &usize| to_part(&self.points[*i], &self.points[*i + 1], x, y).1 < reach * reach;
        let mut near = (0..self.points.len() - 1).filter(touched);
        let first = near.next()?;
        Some(Part { thing: number, first, last: near.next_back().unwrap_or(first) })
    }

    /// A place against the nearest of a tile's parts.
    pub(super) fn against(&self, part: &Part, x: f64, y: f64) -> Against {
        if self.thing.kind.is_round() {
            let [cx, cy] = self.thing.course[0];
            let (dx, dy) = (x - cx, y - cy);
            let away = length(dx, dy).max(1e-12);
            return Against { along: dy.atan2(dx), left: away, direction: [dy / away, -dx / away] };
        }
        let mut best = (part.first, 0.0, f64::MAX);
        for i in part.first..=part.last {
            let (t, away) = to_part(&self.points[i], &self.points[i + 1], x, y);
            if away < best.2 {
                best = (i, t, away);
            }
        }
        let (a, b) = (&self.points[best.0], &self.points[best.0 + 1]);
        let size = (b[2] - a[2]).max(1e-12);
        let direction = [(b[0] - a[0]) / size, (b[1] - a[1]) / size];
        let (dx, dy) = (x - a[0], y - a[1]);
        // Beyond its ends the course goes on straight; within, a place belongs to the foot on its nearest part.
        let t = match (best.0 == 0, best.0 + 2 == self.points.len()) {
            (true, true) => (dx * direction[0] + dy * direction[1]) / size,
            (true, false) => ((dx * direction[0] + dy * direction[1]) / size).min(1.0),
            (false, true) => ((dx * direction[0] + dy * direction[1]) / size).max(0.0),
            _ => best.1,
        };
        let left = direction[0] * dy - direction[1] * dx;
        let foot = [a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t];
        let away = length(x - foot[0], y - foot[1]);
        Against { along: a[2] + t * size, left: away.copysign(left), direction }
    }

    /// Corners of a straight band: at its start on the right and left, at its end on the left and right.
    pub(super) fn corners(&self) -> [[f64; 2]; 4] {
        let [a, _, c] = self.thing.course;
        let length = (c[0] - a[0]).hypot(c[1] - a[1]).max(1e-9);
        let (dx, dy) = ((c[0] - a[0]) / length, (c[1] - a[1]) / length);
        let corner = |p: [f64; 2], side: f64| [p[0] - dy * side * self.half, p[1] + dx * side * self.half];
        [corner(a, 1.0), corner(c, 1.0), corner(c, -1.0), corner(a, -1.0)]
    }
}

/// Without the care that `hypot` takes of very large numbers, which costs more than the rest.
pub(super) fn length(x: f64, y: f64) -> f64 {
    (x * x + y * y).sqrt()
}

/// Share along a part of the foot of a place on it, and the squared distance.
fn to_part(a: &[f64; 3], b: &[f64; 3], x: f64, y: f64) -> (f64, f64) {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let t = (((x - a[0]) * dx + (y - a[1]) * dy) / (dx * dx + dy * dy).max(1e-12)).clamp(0.0, 1.0);
    (t, (x - a[0] - t * dx).powi(2) + (y - a[1] - t * dy).powi(2))
}
