//! The rim that fibres close about the plies add to a strand's body, for labels: the strip between the plies' outline
//! and the core's edge, drawn in the picture's plane.

use super::edges::{Seen, Silhouette};
use super::mesh::TILE;
use super::raster::Samples;
use super::render::NO_STRAND;

/// One field of the strip: its corners in px, and its depth, mm.
#[derive(Debug, Clone, Copy)]
struct Field {
    corners: [[f64; 2]; 4],
    depth: f64,
    strand: u16,
}

/// All fields, and which of them each tile may show.
#[derive(Debug)]
pub(super) struct Fringe {
    fields: Vec<Field>,
    tiles: Vec<Vec<usize>>,
}

impl Fringe {
    pub(super) fn of(silhouettes: &[Silhouette], columns: usize, tiles: usize) -> Self {
        let mut fringe = Self { fields: Vec::new(), tiles: vec![Vec::new(); tiles] };
        for (number, lines) in silhouettes.iter().enumerate() {
            for pair in lines.stations.windows(2) {
                let [Some(a), Some(b)] = pair else { continue };
                for side in 0..2 {
                    if a.core[side] > a.plies[side] || b.core[side] > b.plies[side] {
                        fringe.add(Field::between(a, b, side, number as u16), columns);
                    }
                }
            }
        }
        fringe
    }

    fn add(&mut self, field: Field, columns: usize) {
        let rows = self.tiles.len() / columns.max(1);
        let [low, high] = field.bounds();
        let tile = |v: f64| (v / TILE as f64).floor();
        let (x0, y0, x1, y1) = (tile(low[0] - 1.0), tile(low[1] - 1.0), tile(high[0] + 1.0), tile(high[1] + 1.0));
        if !(x1 >= 0.0 && y1 >= 0.0 && x0 < columns as f64 && y0 < rows as f64) {
            return;
        }
        for row in y0.max(0.0) as usize..=(y1 as usize).min(rows - 1) {
            for column in x0.max(0.0) as usize..=(x1 as usize).min(columns - 1) {
                self.tiles[row * columns + column].push(self.fields.len());
            }
        }
        self.fields.push(field);
    }

    /// For each sample of a tile the strand whose rim it shows; empty where the tile has none.
    pub(super) fn draw(&self, tile: usize, drawn: &Samples) -> Vec<u16> {
        let Some(list) = self.tiles.get(tile).filter(|l| !l.is_empty()) else { return Vec::new() };
        let mut rim = vec![NO_STRAND; drawn.hits.len()];
        let [left, top] = drawn.place(0, 0);
        let (per, last) = (drawn.per as f64, drawn.side - 1);
        for field in list.iter().filter_map(|i| self.fields.get(*i)) {
            let [low, high] = field.bounds();
            let cell = |v: f64, origin: f64| (v - origin) * per;
            let (x0, x1) = (cell(low[0], left) - 1.0, cell(high[0], left) + 1.0);
            let (y0, y1) = (cell(low[1], top) - 1.0, cell(high[1], top) + 1.0);
            if x1 < 0.0 || y1 < 0.0 {
                continue;
            }
            for row in y0.max(0.0) as usize..=(y1 as usize).min(last) {
                for column in x0.max(0.0) as usize..=(x1 as usize).min(last) {
                    let at = row * drawn.side + column;
                    if field.holds(drawn.place(column, row))
                        && drawn.hits.get(at).is_some_and(|h| f64::from(h.depth) > field.depth)
                    {
                        rim[at] = field.strand;
                    }
                }
            }
        }
        rim
    }
}

impl Field {
    fn between(a: &Seen, b: &Seen, side: usize, strand: u16) -> Self {
        let sign = if side == 0 { 1.0 } else { -1.0 };
        let at =
            |s: &Seen, away: f64| [s.centre[0] + sign * s.normal[0] * away, s.centre[1] + sign * s.normal[1] * away];
        // From a little within the outline, so that no sample falls between.
        let from = |s: &Seen| 0.97 * s.plies[side];
        Self {
            corners: [at(a, from(a)), at(b, from(b)), at(b, b.core[side]), at(a, a.core[side])],
            depth: 0.5 * (a.depth + b.depth),
            strand,
        }
    }

    fn bounds(&self) -> [[f64; 2]; 2] {
        let fold = |f: fn(f64, f64) -> f64, from: f64| {
            std::array::from_fn(|k| self.corners.iter().map(|c| c[k]).fold(from, f))
        };
        [fold(f64::min, f64::MAX), fold(f64::max, f64::MIN)]
    }

    /// Whether a place lies on the inner side of all four sides, whichever way round they run.
    fn holds(&self, p: [f64; 2]) -> bool {
        let turn = |i: usize| {
            let (a, b) = (self.corners[i], self.corners[(i + 1) % 4]);
            (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])
        };
        let turns = [turn(0), turn(1), turn(2), turn(3)];
        turns.iter().all(|t| *t >= 0.0) || turns.iter().all(|t| *t <= 0.0)
    }
}
