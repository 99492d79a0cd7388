//! The outline of the flat card or ruler: from the ruler outwards over the paper until its colour ends.

use super::find::Ruler;
use super::plane_map::PlaneMap;
use crate::base::geometry::{Card, Image, Point};
use crate::base::raster::Raster;
use crate::base::stats::median;
use crate::base::units::Mm;

/// Distance of the places looked at along the way, mm: half of it is how well an edge is placed.
const STEP_MM: f64 = 0.4;
/// How much a channel may differ from the paper seen so far on the same path: shading over a few millimetres and noise
/// stay below, printed ink, yarn and other surfaces do not.
const PAPER_TOLERANCE: f32 = 0.05;
/// Yarn and its shadow may hide the paper for this far; what does not return to paper after it is not the card, mm.
const FARTHEST_HIDDEN_MM: f64 = 30.0;

/// Outline of the card that carries the ruler, clipped to the picture; `None` where none of its edges shows or it
/// degenerates. The card is taken for a rectangle along the ruler. Edges that are not in the picture, or cannot be told
/// from what lies beyond, are taken to be beyond the picture.
pub(super) fn trace(rgb: &Raster<[u8; 3]>, ruler: &Ruler, map: &PlaneMap) -> Option<Vec<Point<Image>>> {
    let bounds = Bounds::of_picture(rgb, map)?;
    let (first_x, last_x) = ruler.extent_mm()?;
    let middle = ruler.middle_s();
    let card = |p: Point<Image>| map.card_from_image(p, Mm(0.0));
    let foot_y = card(ruler.point_at(middle.0, middle.1))?.y;
    let top_y = card(ruler.point_at(middle.0, middle.2))?.y;
    // Paths between the ticks, so that no ink lies on them.
    let between: Vec<f64> = ruler.between_ticks_mm();
    let stride = between.len().div_ceil(60).max(1);
    let columns: Vec<f64> = between.into_iter().step_by(stride).collect();
    let inward: Vec<(Point<Card>, Point<Card>)> =
        columns.iter().map(|x| (Point::new(*x, top_y + 1.0), Point::new(0.0, 1.0))).collect();
    let outward: Vec<(Point<Card>, Point<Card>)> = columns
        .iter()
        .map(|x| (Point::new(*x, foot_y + 0.4 * (top_y - foot_y).min(4.0)), Point::new(0.0, -1.0)))
        .collect();
    let far = walk(rgb, map, &inward, bounds.max.y - top_y).map_or(bounds.max.y, |d| top_y + 1.0 + d);
    let near = walk(rgb, map, &outward, foot_y - bounds.min.y + 4.0)
        .map_or(bounds.min.y, |d| foot_y + 0.4 * (top_y - foot_y).min(4.0) - d);
    // Paths beside the numerals: between them and the far edge.
    let (low, high) = (top_y + 1.0, far - 1.0);
    let count = 40;
    let rows: Vec<f64> = (0..count).map(|i| low + (high - low) * (f64::from(i) + 0.5) / f64::from(count)).collect();
    let sideways = |x: f64, sign: f64| -> Vec<(Point<Card>, Point<Card>)> {
        rows.iter().map(|y| (Point::new(x, *y), Point::new(sign, 0.0))).collect()
    };
    let right = walk(rgb, map, &sideways(last_x, 1.0), bounds.max.x - last_x).map_or(bounds.max.x, |d| last_x + d);
    let left = walk(rgb, map, &sideways(first_x, -1.0), first_x - bounds.min.x).map_or(bounds.min.x, |d| first_x - d);
    let corners = [(left, near), (right, near), (right, far), (left, far)];
    let mut outline = Vec::new();
    for (i, (x0, y0)) in corners.iter().enumerate() {
        let (x1, y1) = corners[(i + 1) % 4];
        // Sixteen pieces follow the bow that the lens gives an edge.
        for k in 0..16 {
            let t = f64::from(k) / 16.0;
            outline.push(map.image_from_card(Point::new(x0 + (x1 - x0) * t, y0 + (y1 - y0) * t), Mm(0.0)));
        }
    }
    let clipped = clipped_to_picture(&outline, rgb.width(), rgb.height());
    (clipped.len() >= 3 && clipped.iter().all(|p| p.is_finite())).then_some(clipped)
}

/// The part of the plane that the picture shows, mm.
struct Bounds {
    min: Point<Card>,
    max: Point<Card>,
}

impl Bounds {
    fn of_picture(rgb: &Raster<[u8; 3]>, map: &PlaneMap) -> Option<Self> {
        let (w, h) = (rgb.width() as f64 - 1.0, rgb.height() as f64 - 1.0);
        let mut bounds: Option<Self> = None;
        for (x, y) in
            [(0.0, 0.0), (w / 2.0, 0.0), (w, 0.0), (w, h / 2.0), (w, h), (w / 2.0, h), (0.0, h), (0.0, h / 2.0)]
        {
            let p = map.card_from_image(Point::new(x, y), Mm(0.0))?;
            let b = bounds.get_or_insert(Self { min: p, max: p });
            b.min = Point::new(b.min.x.min(p.x), b.min.y.min(p.y));
            b.max = Point::new(b.max.x.max(p.x), b.max.y.max(p.y));
        }
        bounds
    }
}

/// Goes along all paths at once, as far as `reach` mm. Returns how far the paper goes; `None` where it goes on to the
/// end or leaves the picture.
fn walk(rgb: &Raster<[u8; 3]>, map: &PlaneMap, paths: &[(Point<Card>, Point<Card>)], reach: f64) -> Option<f64> {
    let mut paper: Vec<Option<[f32; 3]>> = vec![None; paths.len()];
    // Where most of the paths last saw paper.
    let mut last_paper = 0.0;
    let mut at = 0.0;
    while at <= reach {
        let (mut inside, mut alike) = (0, 0);
        for ((start, direction), known) in paths.iter().zip(&mut paper) {
            let Some(colour) = colour_at(rgb, map, *start + *direction * at) else { continue };
            inside += 1;
            match known {
                None => {
                    *known = Some(colour);
                    alike += 1;
                }
                Some(k) => {
                    let off = (0..3).map(|c| (colour[c] - k[c]).abs() / (k[c] + 8.0)).fold(0.0, f32::max);
                    if off < PAPER_TOLERANCE {
                        alike += 1;
                        for c in 0..3 {
                            k[c] += 0.2 * (colour[c] - k[c]);
                        }
                    }
                }
            }
        }
        if 4 * inside < paths.len() {
            // The picture ends here. Paper until shortly before: the edge is outside.
            return (at - last_paper > 3.0).then_some(last_paper);
        }
        if 2 * alike >= inside {
            last_paper = at;
        } else if at - last_paper > FARTHEST_HIDDEN_MM {
            return Some(last_paper);
        }
        at += STEP_MM;
    }
    (reach - last_paper > 3.0).then_some(last_paper)
}

/// Mean colour of five places within a fifth of a millimetre, each channel the median of them; `None` outside.
fn colour_at(rgb: &Raster<[u8; 3]>, map: &PlaneMap, p: Point<Card>) -> Option<[f32; 3]> {
    let mut channels: [Vec<f64>; 3] = [Vec::new(), Vec::new(), Vec::new()];
    for (dx, dy) in [(0.0, 0.0), (0.15, 0.05), (-0.05, 0.15), (-0.15, -0.05), (0.05, -0.15)] {
        let q = map.image_from_card(Point::new(p.x + dx, p.y + dy), Mm(0.0));
        if !rgb.holds(q.x, q.y) {
            return None;
        }
        let pixel = rgb.get(q.x.round() as usize, q.y.round() as usize)?;
        for (list, value) in channels.iter_mut().zip(pixel) {
            list.push(f64::from(value));
        }
    }
    let mut colour = [0.0; 3];
    for (c, list) in colour.iter_mut().zip(&channels) {
        *c = median(list)? as f32;
    }
    Some(colour)
}

/// The polygon's part inside the picture (Sutherland & Hodgman 1974, edge by edge).
fn clipped_to_picture(polygon: &[Point<Image>], width: usize, height: usize) -> Vec<Point<Image>> {
    let (w, h) = (width as f64 - 1.0, height as f64 - 1.0);
    let inside: [&dyn Fn(Point<Image>) -> f64; 4] = [&|p| p.x, &|p| w - p.x, &|p| p.y, &|p| h - p.y];
    let mut clipped = polygon.to_vec();
    for depth in inside {
        let mut next = Vec::new();
        for (i, a) in clipped.iter().enumerate() {
            let b = clipped[(i + 1) % clipped.len()];
            let (da, db) = (depth(*a), depth(b));
            if da >= 0.0 {
                next.push(*a);
            }
            if (da >= 0.0) != (db >= 0.0) {
                next.push(a.lerp(b, da / (da - db)));
            }
        }
        clipped = next;
    }
    clipped
}
