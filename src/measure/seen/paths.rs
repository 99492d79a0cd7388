//! Paths along strands, followed over the scout's map from cell to cell the way that it says strands run.

use std::collections::HashMap;

use super::scout::{Cell, Map};
use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;
use crate::base::stats::median;

/// A strand's rough course.
#[derive(Debug, Clone)]
pub struct Path {
    /// Along the strand, about one cell apart, px of the photo.
    pub line: Vec<Point<Image>>,
    /// Its width, px of the photo.
    pub width_px: f64,
    /// Mean of what the scout says of body along it.
    pub body: f64,
}

impl Path {
    /// Its length, px of the photo.
    #[must_use]
    pub fn length_px(&self) -> f64 {
        self.line.windows(2).map(|w| w[0].distance(w[1])).sum()
    }
}

/// Body from which on a cell is yarn rather than not, and from which on a path may start.
const YARN: f32 = 0.5;
const START: f32 = 0.7;

/// Body below which a path ends, once it stays below for `GAP` widths: highlights and deep shadows break a strand for less.
const FADED: f32 = 0.3;
const GAP: f64 = 1.5;

/// Cosine of twice the angle by which a strand may run otherwise than the path before it is another strand that crosses.
const SAME_WAY: f64 = 0.5;

/// Cosine of the angle between two headings in one place that are of a path which comes back to itself and not of a loop that crosses.
const SAME_HEADING: f64 = 0.9;

/// How fast a path may turn, radians a width: a strand that bends with a radius of its own width is kinked.
const BEND: f64 = 0.6;

/// Shortest path over its width, and over the map's longer side: crumbs are shorter.
const LEAST_WIDTHS: f64 = 4.0;
const LEAST_PART: f64 = 0.06;

/// A place and a heading on the map, cells.
#[derive(Clone, Copy)]
struct Walker {
    x: f64,
    y: f64,
    /// Unit vector.
    heading: [f64; 2],
}

/// All strands on the map that `allowed` lets be looked for, the most plainly seen first.
#[must_use]
pub fn find(map: &Map, allowed: &dyn Fn(Point<Image>) -> bool) -> Vec<Path> {
    let (columns, rows) = (map.cells.width(), map.cells.height());
    let mut taken = Raster::filled(columns, rows, false);
    let mut starts: Vec<(usize, f32)> = map
        .cells
        .samples()
        .iter()
        .enumerate()
        .filter(|(i, cell)| cell.body >= START && allowed(map.image_of((i % columns) as f64, (i / columns) as f64)))
        .map(|(i, _)| (i, inner(map, i % columns, i / columns)))
        .collect();
    // The same order whatever the sort: equal ones as they are read.
    starts.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let mut paths = Vec::new();
    for (start, _) in starts {
        if taken.samples()[start] {
            continue;
        }
        let (x, y) = ((start % columns) as f64, (start / columns) as f64);
        let Some(mut walk) = Walk::from(map, x, y, allowed) else { continue };
        walk.take(&mut taken);
        let least = (LEAST_WIDTHS * walk.width).max(LEAST_PART * columns.max(rows) as f64);
        if walk.length() >= least && walk.body >= f64::from(YARN) && !walk.mostly_taken {
            let line = walk.points.iter().map(|p| map.image_of(p[0], p[1])).collect();
            paths.push(Path { line, width_px: walk.width * map.cell_px, body: walk.body });
        }
    }
    paths
}

/// Body of a cell and its neighbours: a strand's middle comes before its rim.
fn inner(map: &Map, x: usize, y: usize) -> f32 {
    let mut sum = 0.0;
    for dy in -2isize..=2 {
        for dx in -2isize..=2 {
            sum += map.cells.clamped(x as isize + dx, y as isize + dy).body;
        }
    }
    sum
}

/// A cell by linear interpolation of body, way and width.
fn between(map: &Map, x: f64, y: f64) -> Option<Cell> {
    let (columns, rows) = (map.cells.width() as f64, map.cells.height() as f64);
    if !(x >= -0.5 && y >= -0.5 && x < columns - 0.5 && y < rows - 0.5) {
        return None;
    }
    let (x0, y0) = (x.floor(), y.floor());
    let (fx, fy) = ((x - x0) as f32, (y - y0) as f32);
    let at = |dx: isize, dy: isize| map.cells.clamped(x0 as isize + dx, y0 as isize + dy);
    let corners = [
        (at(0, 0), (1.0 - fx) * (1.0 - fy)),
        (at(1, 0), fx * (1.0 - fy)),
        (at(0, 1), (1.0 - fx) * fy),
        (at(1, 1), fx * fy),
    ];
    let mix = |value: &dyn Fn(&Cell) -> f32| corners.iter().map(|(cell, w)| w * value(cell)).sum::<f32>();
    Some(Cell {
        body: mix(&|c| c.body),
        kind: corners[0].0.kind,
        way: [mix(&|c| c.way[0]), mix(&|c| c.way[1])],
        width: mix(&|c| c.width),
    })
}

/// A walk both ways from a start.
struct Walk {
    points: Vec<[f64; 2]>,
    /// Median width, cells.
    width: f64,
    body: f64,
    mostly_taken: bool,
}

impl Walk {
    fn from(map: &Map, x: f64, y: f64, allowed: &dyn Fn(Point<Image>) -> bool) -> Option<Self> {
        let cell = between(map, x, y)?;
        let angle = f64::from(cell.way[1]).atan2(f64::from(cell.way[0])) / 2.0;
        let heading = [angle.cos(), angle.sin()];
        let mut seen = Vec::new();
        let back = walk(map, Walker { x, y, heading: heading.map(|v| -v) }, allowed, &mut seen);
        let ahead = walk(map, Walker { x, y, heading }, allowed, &mut seen);
        let points: Vec<[f64; 2]> = back.into_iter().rev().chain(ahead.into_iter().skip(1)).collect();
        let widths: Vec<f64> = seen.iter().map(|c| f64::from(c.width)).collect();
        let body = seen.iter().map(|c| f64::from(c.body)).sum::<f64>() / seen.len().max(1) as f64;
        Some(Self { points, width: median(&widths)?.max(1.0), body, mostly_taken: false })
    }

    fn length(&self) -> f64 {
        self.points.windows(2).map(|w| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1])).sum()
    }

    /// Marks what the strand covers, and notes whether another path had most of it.
    fn take(&mut self, taken: &mut Raster<bool>) {
        let reach = (0.75 * self.width).max(1.0);
        let had = |p: &[f64; 2], taken: &Raster<bool>| {
            taken.get(p[0].round().max(0.0) as usize, p[1].round().max(0.0) as usize).unwrap_or(false)
        };
        let before = self.points.iter().filter(|p| had(p, taken)).count();
        self.mostly_taken = 2 * before > self.points.len();
        for p in &self.points {
            for y in (p[1] - reach).ceil().max(0.0) as usize..=(p[1] + reach).floor().max(0.0) as usize {
                for x in (p[0] - reach).ceil().max(0.0) as usize..=(p[0] + reach).floor().max(0.0) as usize {
                    if (x as f64 - p[0]).hypot(y as f64 - p[1]) <= reach {
                        taken.set(x, y, true);
                    }
                }
            }
        }
    }
}

/// Follows a strand one way, a cell at a time, until it fades, leaves the map or comes back to where it was.
fn walk(map: &Map, mut at: Walker, allowed: &dyn Fn(Point<Image>) -> bool, seen: &mut Vec<Cell>) -> Vec<[f64; 2]> {
    let mut points = vec![[at.x, at.y]];
    let mut faded = 0.0;
    // The heading with which each square of four cells was first crossed.
    let mut crossed: HashMap<[i64; 2], [f64; 2]> = HashMap::new();
    let mut last = None;
    // A path longer than the map's outline runs in circles.
    for _ in 0..4 * (map.cells.width() + map.cells.height()) {
        let square = [at.x, at.y].map(|v| (v / 2.0).round() as i64);
        let before = crossed.get(&square).copied();
        // A step is a cell long and may stay in the same square; round a circle it comes back from elsewhere.
        let came_back = before.is_some_and(|h| h[0] * at.heading[0] + h[1] * at.heading[1] > SAME_HEADING)
            && last.is_some_and(|last| last != square);
        if came_back {
            break;
        }
        crossed.entry(square).or_insert(at.heading);
        last = Some(square);
        let (x, y) = (at.x + at.heading[0], at.y + at.heading[1]);
        let Some(cell) = between(map, x, y) else { break };
        if !allowed(map.image_of(x, y)) {
            break;
        }
        let width = f64::from(cell.width).max(1.5);
        faded = if cell.body < FADED { faded + 1.0 } else { 0.0 };
        if faded > GAP * width {
            points.truncate(points.len().saturating_sub(faded as usize));
            break;
        }
        seen.push(cell);
        // Which way the strand runs here, as far as that is its own way and not that of one that crosses.
        let doubled = [at.heading[0].powi(2) - at.heading[1].powi(2), 2.0 * at.heading[0] * at.heading[1]];
        let way = cell.way.map(f64::from);
        let sure = way[0].hypot(way[1]);
        let agrees = (doubled[0] * way[0] + doubled[1] * way[1]) / sure.max(1e-6);
        let mut heading = at.heading;
        if agrees > SAME_WAY && cell.body >= FADED {
            let angle = way[1].atan2(way[0]) / 2.0;
            let mut own = [angle.cos(), angle.sin()];
            if own[0] * heading[0] + own[1] * heading[1] < 0.0 {
                own = own.map(|v| -v);
            }
            let turn = (heading[0] * own[1] - heading[1] * own[0]).clamp(-BEND / width, BEND / width);
            heading = [heading[0] - turn * heading[1], heading[1] + turn * heading[0]];
            let length = heading[0].hypot(heading[1]);
            heading = heading.map(|v| v / length);
        }
        // Back to the middle of what is body across the path, no farther than half the strand.
        let normal = [-heading[1], heading[0]];
        let reach = (0.7 * width).max(1.0);
        let taps = (2.0 * reach).ceil() as i32;
        let (mut sum, mut moment) = (0.0, 0.0);
        for k in -taps..=taps {
            let d = reach * f64::from(k) / f64::from(taps);
            let body = between(map, x + normal[0] * d, y + normal[1] * d).map_or(0.0, |c| f64::from(c.body));
            sum += body;
            moment += body * d;
        }
        let aside = if sum > 0.2 * f64::from(taps) { (0.5 * moment / sum).clamp(-0.5, 0.5) } else { 0.0 };
        at = Walker { x: x + normal[0] * aside, y: y + normal[1] * aside, heading };
        points.push([at.x, at.y]);
    }
    points
}
