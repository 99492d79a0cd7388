//! Rows of parallel bars that stand side by side: where a ruler may be.

use super::segments::Segment;
use crate::base::geometry::{Image, Point};

/// Bars side by side, in order; `right` of each bar is its `along` turned a quarter.
#[derive(Debug, Clone)]
pub(super) struct Row {
    /// The bars.
    pub(super) bars: Vec<Segment>,
    /// Whether they are darker than their ground.
    pub(super) dark: bool,
}

/// A grid of cells for finding neighbours.
struct Cells {
    size: f64,
    columns: usize,
    rows: usize,
    of: Vec<Vec<u32>>,
}

impl Cells {
    fn new(segments: &[Segment], width: f64, height: f64, size: f64) -> Self {
        let columns = (width / size).ceil().max(1.0) as usize + 1;
        let rows = (height / size).ceil().max(1.0) as usize + 1;
        let mut cells = Self { size, columns, rows, of: vec![Vec::new(); columns * rows] };
        for (i, s) in segments.iter().enumerate() {
            let at = cells.index(s.centre);
            cells.of[at].push(i as u32);
        }
        cells
    }

    fn index(&self, p: Point<Image>) -> usize {
        let x = ((p.x / self.size).max(0.0) as usize).min(self.columns - 1);
        let y = ((p.y / self.size).max(0.0) as usize).min(self.rows - 1);
        y * self.columns + x
    }
}

/// How far away the next bar may stand, in lengths of the bar. Centimetre ticks of which only the last 0.7 mm show, at
/// the photo's border, are fifteen lengths apart.
const FARTHEST_IN_LENGTHS: f64 = 16.0;

/// Links each bar to the nearest one on either side that is parallel to it and level with it, where both agree on being
/// each other's nearest, and returns the chains of at least `fewest` bars, longest first.
pub(super) fn find_rows(segments: &[Segment], dark: bool, width: usize, height: usize, fewest: usize) -> Vec<Row> {
    if segments.is_empty() {
        return Vec::new();
    }
    let size = 32.0f64.max((width.max(height)) as f64 / 64.0);
    let cells = Cells::new(segments, width as f64, height as f64, size);
    let next: Vec<[Option<u32>; 2]> = (0..segments.len()).map(|i| neighbours(i, segments, &cells)).collect();
    // `right` of a bar flips where its sense flips at the level direction, so sides are told apart by position.
    let mut linked = vec![[None; 2]; segments.len()];
    for (i, sides) in next.iter().enumerate() {
        for (side, other) in sides.iter().enumerate() {
            if let Some(j) = other
                && next[*j as usize].contains(&Some(i as u32))
            {
                linked[i][side] = Some(*j);
            }
        }
    }
    let mut used = vec![false; segments.len()];
    let mut rows = Vec::new();
    for start in 0..segments.len() {
        if used[start] {
            continue;
        }
        used[start] = true;
        let mut chain = vec![start];
        for side in [1, 0] {
            let mut at = start;
            let mut step = linked[start][side];
            while let Some(j) = step {
                let j = j as usize;
                if used[j] {
                    break;
                }
                used[j] = true;
                chain.push(j);
                step = linked[j].iter().flatten().copied().find(|k| *k as usize != at);
                at = j;
            }
            if side == 1 {
                chain.reverse();
            }
        }
        if chain.len() >= fewest {
            rows.push(Row { bars: chain.iter().map(|i| segments[*i]).collect(), dark });
        }
    }
    rows.sort_by_key(|r| std::cmp::Reverse(r.bars.len()));
    rows
}

/// The nearest level and parallel bar on the left and on the right.
fn neighbours(i: usize, segments: &[Segment], cells: &Cells) -> [Option<u32>; 2] {
    let a = segments[i];
    let right = a.along.quarter_turn();
    let reach = FARTHEST_IN_LENGTHS * 2.0 * a.half_length;
    let mut nearest = [(reach, None); 2];
    // Rings of cells outwards, so that the search ends as soon as both sides have one nearer than the next ring.
    let rings = (reach / cells.size).ceil() as isize;
    let (cx, cy) = ((a.centre.x / cells.size) as isize, (a.centre.y / cells.size) as isize);
    for ring in 0..=rings {
        let safe = (ring as f64 - 1.0) * cells.size;
        if nearest.iter().all(|(d, j)| j.is_some() && *d < safe) {
            break;
        }
        for y in cy - ring..=cy + ring {
            if y < 0 || y as usize >= cells.rows {
                continue;
            }
            let whole = (y - cy).abs() == ring;
            let step = if whole || ring == 0 { 1 } else { 2 * ring };
            let mut x = cx - ring;
            while x <= cx + ring {
                if x >= 0 && (x as usize) < cells.columns {
                    for &j in &cells.of[y as usize * cells.columns + x as usize] {
                        consider(&a, right, &segments[j as usize], j, &mut nearest, i);
                    }
                }
                x += step;
            }
        }
    }
    nearest.map(|(_, j)| j)
}

fn consider(a: &Segment, right: Point<Image>, b: &Segment, j: u32, nearest: &mut [(f64, Option<u32>); 2], i: usize) {
    if j as usize == i {
        return;
    }
    let offset = b.centre - a.centre;
    let across = offset.dot(right);
    let side = usize::from(across > 0.0);
    let distance = across.abs();
    if distance >= nearest[side].0 || distance < 1.5 * a.width.min(b.width) {
        return;
    }
    // Level: they overlap along their length by at least two fifths of the shorter one.
    let level = offset.dot(a.along);
    let low = (-a.half_length).max(level - b.half_length);
    let high = a.half_length.min(level + b.half_length);
    if high - low < 0.8 * a.half_length.min(b.half_length) {
        return;
    }
    // Parallel: 3 degrees of fanning and lens, and what a bar of that many widths can tell of its direction.
    let tolerance = 0.05 + 0.25 * (a.width / a.half_length).max(b.width / b.half_length).min(1.2);
    if a.along.cross(b.along).abs() > tolerance.sin() {
        return;
    }
    nearest[side] = (distance, Some(j));
}
