//! Measures each mark of a card to a small part of a pixel where a map expects it.
//!
//! Across a mark (along the scale): the phase of the grating's fundamental over one pitch, in linear light. It uses every
//! pixel, and neither ink that spreads nor blur moves it. Along a mark: the middle between its two ends at half height; ink
//! and blur move both ends outwards alike, and the middle stays.

use super::plane_map::PlaneMap;
use crate::base::colour::LINEAR_OF_SRGB;
use crate::base::geometry::{Card, Image, Point};
use crate::base::raster::Raster;
use crate::base::units::Mm;
use crate::card::layout::{CardLayout, CodedEdge, EdgeSide};

/// A card as it lies in the picture: a mirrored picture shows the mirrored card, so that the plane keeps x right and y down.
#[derive(Debug, Clone)]
pub(super) struct Lie {
    /// The card.
    pub(super) layout: CardLayout,
    /// Whether the picture is a mirror image.
    pub(super) mirrored: bool,
}

impl Lie {
    /// The point of the plane where a point of the card lies; its own inverse.
    pub(super) fn plane(&self, p: Point<Card>) -> Point<Card> {
        if self.mirrored { Point::new(self.layout.width - p.x, p.y) } else { p }
    }
    /// Where mark `k` (fractions allowed) is seen, `depth` inwards from its edge.
    pub(super) fn place(&self, map: &PlaneMap, side: EdgeSide, k: f64, depth: f64) -> Point<Image> {
        map.image_from_card(self.plane(self.layout.edge(side).point(k, depth)), Mm(0.0))
    }
}

/// One mark as measured.
#[derive(Debug, Clone)]
pub(super) struct MarkMeasured {
    /// Which edge.
    pub(super) side: EdgeSide,
    /// Its number.
    pub(super) number: usize,
    /// Points on its middle line.
    pub(super) on_middle_line: Vec<Point<Image>>,
    /// A point at the middle between its ends, and the depth of that, mm.
    pub(super) between_ends: Option<(Point<Image>, f64)>,
    /// Its contrast against the paper beside it, linear light.
    pub(super) contrast: f64,
}

/// Linear green light at a point, bilinear; `None` outside.
fn light(picture: &Raster<[u8; 3]>, p: Point<Image>) -> Option<f64> {
    if !picture.holds(p.x, p.y) {
        return None;
    }
    let table = &*LINEAR_OF_SRGB;
    let (x, y) = (p.x as usize, p.y as usize);
    let (x1, y1) = ((x + 1).min(picture.width() - 1), (y + 1).min(picture.height() - 1));
    let (fx, fy) = ((p.x - x as f64) as f32, (p.y - y as f64) as f32);
    let (above, below) = (picture.row(y), picture.row(y1));
    let value = |pixel: [u8; 3]| table[usize::from(pixel[1])];
    let top = value(above[x]) * (1.0 - fx) + value(above[x1]) * fx;
    let bottom = value(below[x]) * (1.0 - fx) + value(below[x1]) * fx;
    Some(f64::from(top * (1.0 - fy) + bottom * fy))
}

/// All marks of one edge that can be measured near where `map` expects them.
pub(super) fn measure(
    picture: &Raster<[u8; 3]>,
    map: &PlaneMap,
    lie: &Lie,
    side: EdgeSide,
    every: usize,
) -> Vec<MarkMeasured> {
    let edge = lie.layout.edge(side);
    let mut marks: Vec<MarkMeasured> = (0..edge.marks())
        .step_by(every.max(1))
        .filter_map(|k| one(picture, &Local::of(map, lie, edge, k)?, edge, k))
        .collect();
    // A mark under yarn or glare is far weaker than most: in light, a third of the median.
    let contrasts: Vec<f64> = marks.iter().map(|m| m.contrast).collect();
    let median = crate::base::stats::median(&contrasts).unwrap_or(0.0);
    marks.retain(|m| m.contrast > 0.33 * median);
    marks
}

/// The map about one mark, to first order: over 10 mm perspective bends it by less than is measured, and each measured
/// point is stated in the picture, where it was seen.
struct Local {
    /// Middle of the clock track on the mark's middle line.
    middle: Point<Image>,
    /// One mm along the scale.
    along_scale: Point<Image>,
    /// One mm inwards along the mark, in the clock track; and what each further mm adds.
    inwards: Point<Image>,
    bend: Point<Image>,
    clock: f64,
}

impl Local {
    fn of(map: &PlaneMap, lie: &Lie, edge: &CodedEdge, k: usize) -> Option<Self> {
        let clock = (edge.tracks.clock_from + edge.tracks.clock_to) / 2.0;
        let at = |k: f64, depth: f64| lie.place(map, edge.side, k, depth);
        let k = k as f64;
        let middle = at(k, clock);
        let along_scale = at(k + 0.5, clock) - at(k - 0.5, clock);
        let (outer, inner) = (at(k, clock - 4.0), at(k, clock + 4.0));
        let inwards = (inner - outer) * (1.0 / 8.0);
        let bend = (inner + outer - middle * 2.0) * (1.0 / 32.0);
        (middle.is_finite() && along_scale.length() > 2.0).then_some(Self { middle, along_scale, inwards, bend, clock })
    }
    /// `u` mm along the scale from the mark's middle line, at a depth.
    fn at(&self, u: f64, depth: f64) -> Point<Image> {
        let v = depth - self.clock;
        self.middle + self.along_scale * u + self.inwards * v + self.bend * (v * v)
    }
}

fn one(picture: &Raster<[u8; 3]>, local: &Local, edge: &CodedEdge, k: usize) -> Option<MarkMeasured> {
    let t = &edge.tracks;
    let height = t.clock_to - t.clock_from;
    // Clear of the track's ends by a fifth of it: there the mark may end.
    let (u, contrast) = phase(picture, local, 0.0, t.clock_from + 0.2 * height, t.clock_to - 0.2 * height)?;
    let (u, contrast) = if u.abs() > 0.12 {
        phase(picture, local, u, t.clock_from + 0.2 * height, t.clock_to - 0.2 * height)?
    } else {
        (u, contrast)
    };
    if u.abs() > 0.42 {
        return None;
    }
    let mut on_middle_line = vec![local.at(u, local.clock)];
    if edge.bit(k) == Some(true) {
        let height = t.clock_from - t.code_from;
        let (from, to) = (t.code_from + 0.2 * height, t.clock_from - 0.2 * height);
        // The neighbours may lack their parts here, so this mark alone is a stroke in a gap; its contrast is greater.
        if let Some((v, c)) = phase(picture, local, u, from, to)
            && (v - u).abs() < 0.15
            && c > 0.6 * contrast
        {
            on_middle_line.push(local.at(v, (from + to) / 2.0));
        }
    }
    // Figures stand close behind every tenth mark.
    let between_ends = if k.is_multiple_of(10) { None } else { middle_between_ends(picture, local, edge, k, u) };
    Some(MarkMeasured { side: edge.side, number: k, on_middle_line, between_ends, contrast })
}

/// Middle of the mark by the phase of the fundamental over one pitch about `guess`, averaged between two depths; and the
/// contrast, linear light. `None` where too little shows.
fn phase(picture: &Raster<[u8; 3]>, local: &Local, guess: f64, from: f64, to: f64) -> Option<(f64, f64)> {
    let px_along = local.along_scale.length();
    let px_across = local.inwards.length() * (to - from);
    let columns = ((px_along * 1.5).ceil() as usize).clamp(12, 40);
    let rows = (px_across.ceil() as usize).clamp(2, 10);
    let mut profile = vec![0.0f64; columns];
    for (i, sum) in profile.iter_mut().enumerate() {
        let u = guess + (i as f64 + 0.5) / columns as f64 - 0.5;
        for j in 0..rows {
            *sum += light(picture, local.at(u, from + (to - from) * (j as f64 + 0.5) / rows as f64))?;
        }
        *sum /= rows as f64;
    }
    // Uneven light: the straight line through the paper at both ends is divided out.
    let end = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    let few = (columns / 10).max(1);
    let (left, right) = (end(&profile[..few]), end(&profile[columns - few..]));
    let (mut sine, mut cosine) = (0.0, 0.0);
    let mut darkest = f64::INFINITY;
    for (i, value) in profile.iter().enumerate() {
        let x = (i as f64 + 0.5) / columns as f64;
        let paper = left + (right - left) * x;
        if paper <= 0.004 {
            return None;
        }
        let dark = 1.0 - value / paper;
        let angle = (x - 0.5) * std::f64::consts::TAU;
        sine += dark * angle.sin();
        cosine += dark * angle.cos();
        darkest = darkest.min(value - paper);
    }
    let (sine, cosine) = (sine * 2.0 / columns as f64, cosine * 2.0 / columns as f64);
    let paper = (left + right) / 2.0;
    // Half of full contrast's 2/pi would be 0.3; blur of a quarter pitch leaves 0.18.
    (cosine > 0.08).then(|| (guess + sine.atan2(cosine) / std::f64::consts::TAU, paper * sine.hypot(cosine)))
}

/// The point midway between the mark's two ends, and its depth on the card.
fn middle_between_ends(
    picture: &Raster<[u8; 3]>,
    local: &Local,
    edge: &CodedEdge,
    k: usize,
    u: f64,
) -> Option<(Point<Image>, f64)> {
    let (outer, inner) = edge.extent(k);
    // Far enough beyond both ends to see paper, not as far as the figures.
    const BEYOND_MM: f64 = 0.9;
    let (from, to) = (outer - BEYOND_MM, inner + BEYOND_MM);
    let px = local.inwards.length();
    let samples = (((to - from) * px * 1.5).ceil() as usize).clamp(16, 400);
    let depth = |i: f64| from + (to - from) * i / (samples as f64 - 1.0);
    let mut dark = Vec::with_capacity(samples);
    for i in 0..samples {
        let d = depth(i as f64);
        let mark = (light(picture, local.at(u - 0.1, d))?
            + light(picture, local.at(u, d))?
            + light(picture, local.at(u + 0.1, d))?)
            / 3.0;
        let paper = (light(picture, local.at(u - 0.5, d))? + light(picture, local.at(u + 0.5, d))?) / 2.0;
        dark.push(if paper > 0.004 { 1.0 - mark / paper } else { 0.0 });
    }
    let inside: Vec<f64> =
        (0..samples).filter(|i| (outer + 0.6..=inner - 0.6).contains(&depth(*i as f64))).map(|i| dark[i]).collect();
    let full = crate::base::stats::median(&inside)?;
    if full < 0.2 {
        return None;
    }
    // From the middle outwards to where half of it is left.
    let half = full / 2.0;
    let middle = ((outer + inner) / 2.0 - from) / (to - from) * (samples as f64 - 1.0);
    let start = middle.round() as usize;
    let up = (start + 1..samples).find(|i| dark[*i] < half)?;
    let down = (0..start).rev().find(|i| dark[*i] < half)?;
    let crossing = |below: usize, above: usize| {
        let (a, b) = (dark[below], dark[above]);
        below as f64 + (above as f64 - below as f64) * (half - a) / (b - a)
    };
    let (outer_seen, inner_seen) = (depth(crossing(down, down + 1)), depth(crossing(up, up - 1)));
    if (outer_seen - outer).abs() > 0.7 || (inner_seen - inner).abs() > 0.7 {
        return None;
    }
    Some((local.at(u, (outer_seen + inner_seen) / 2.0), (outer + inner) / 2.0))
}
