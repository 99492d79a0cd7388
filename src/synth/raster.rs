//! Which ply each sample of a tile shows: facets drawn with a depth buffer.

use super::mesh::{Band, Corner, Mesh, TILE};

/// What a sample shows.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hit {
    /// Depth, mm; infinite where no yarn is.
    pub(super) depth: f32,
    /// Which tube of the mesh.
    pub(super) tube: u32,
    /// Station, with fraction.
    pub(super) station: f32,
    /// Angle around the ply, radians.
    pub(super) phi: f32,
}

pub(super) const NOTHING: Hit = Hit { depth: f32::INFINITY, tube: u32::MAX, station: 0.0, phi: 0.0 };

/// The samples of one tile: `per` samples per pixel and axis, placed so that no two of a pixel share a row or a column
/// (otherwise edges along the picture's axes would jump by a whole sample).
#[derive(Debug)]
pub(super) struct Samples {
    pub(super) per: usize,
    pub(super) side: usize,
    pub(super) hits: Vec<Hit>,
    origin: [f64; 2],
}

impl Samples {
    /// Empty samples of the tile whose first pixel is (x, y).
    pub(super) fn new(x: usize, y: usize, per: usize) -> Self {
        let side = TILE * per;
        Self { per, side, hits: vec![NOTHING; side * side], origin: [x as f64 - 0.5, y as f64 - 0.5] }
    }

    /// Offset of a sample within its cell, in cells.
    fn shift(&self, other_axis: usize) -> f32 {
        ((other_axis % self.per) as f32 + 0.5) / self.per as f32
    }

    /// Where a sample lies, px.
    pub(super) fn place(&self, column: usize, row: usize) -> [f64; 2] {
        let per = self.per as f64;
        [
            self.origin[0] + (column as f64 + f64::from(self.shift(row))) / per,
            self.origin[1] + (row as f64 + f64::from(self.shift(column))) / per,
        ]
    }

    /// Draws all bands of the tile.
    pub(super) fn draw(&mut self, mesh: &Mesh, bands: &[Band]) {
        for band in bands {
            let Some(tube) = mesh.tubes.get(band.tube) else { continue };
            let n = tube.around;
            let (Some(near), Some(far)) = (
                tube.corners.get(band.ring * n..(band.ring + 1) * n),
                tube.corners.get((band.ring + 1) * n..(band.ring + 2) * n),
            ) else {
                continue;
            };
            let (Some(a), Some(b)) = (tube.rings.get(band.ring), tube.rings.get(band.ring + 1)) else { continue };
            let (a, b) = (*a as f32, *b as f32);
            let turn = std::f32::consts::TAU / n as f32;
            for j in 0..n {
                let next = (j + 1) % n;
                let (p, q) = (j as f32 * turn, (j + 1) as f32 * turn);
                let corners = [near[j], far[j], far[next], near[next]].map(|c| self.to_cells(c));
                let tube = band.tube as u32;
                self.facet([corners[0], corners[1], corners[2]], [[a, p], [b, p], [b, q]], tube);
                self.facet([corners[0], corners[2], corners[3]], [[a, p], [b, q], [a, q]], tube);
            }
        }
    }

    fn to_cells(&self, c: Corner) -> Corner {
        let per = self.per as f32;
        [(c[0] - self.origin[0] as f32) * per, (c[1] - self.origin[1] as f32) * per, c[2]]
    }

    /// One triangle; `marks` are station and angle at its corners.
    fn facet(&mut self, c: [Corner; 3], marks: [[f32; 2]; 3], tube: u32) {
        let side = self.side as f32;
        let low = |axis: usize| c[0][axis].min(c[1][axis]).min(c[2][axis]);
        let high = |axis: usize| c[0][axis].max(c[1][axis]).max(c[2][axis]);
        let (x0, x1, y0, y1) = (low(0), high(0), low(1), high(1));
        // Also false for corners that are no numbers.
        if !(x1 >= 0.0 && y1 >= 0.0 && x0 < side && y0 < side) {
            return;
        }
        let area = (c[1][0] - c[0][0]) * (c[2][1] - c[0][1]) - (c[2][0] - c[0][0]) * (c[1][1] - c[0][1]);
        if area.abs() < 1e-12 {
            return;
        }
        let inverse = 1.0 / area;
        let last = self.side - 1;
        let rows = (y0 - 1.0).max(0.0) as usize..=(y1 as usize).min(last);
        for row in rows {
            let shift = self.shift(row);
            let columns = (x0 - 1.0).max(0.0) as usize..=(x1 as usize).min(last);
            for column in columns {
                let x = column as f32 + shift;
                let y = row as f32 + self.shift(column);
                let u = ((x - c[0][0]) * (c[2][1] - c[0][1]) - (c[2][0] - c[0][0]) * (y - c[0][1])) * inverse;
                let v = ((c[1][0] - c[0][0]) * (y - c[0][1]) - (x - c[0][0]) * (c[1][1] - c[0][1])) * inverse;
                let w = 1.0 - u - v;
                if u < -1e-4 || v < -1e-4 || w < -1e-4 {
                    continue;
                }
                let depth = w * c[0][2] + u * c[1][2] + v * c[2][2];
                if let Some(hit) = self.hits.get_mut(row * self.side + column)
                    && depth < hit.depth
                {
                    let mark = |i: usize| w * marks[0][i] + u * marks[1][i] + v * marks[2][i];
                    *hit = Hit { depth, tube, station: mark(0), phi: mark(1) };
                }
            }
        }
    }
}
