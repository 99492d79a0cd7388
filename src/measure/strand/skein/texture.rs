//! Where the picture is full of fine structure, by a sparse look at it: the cheap test of what lies there.

use rayon::prelude::*;

use crate::base::colour::luma;
use crate::base::geometry::{Image, Point, Region};
use crate::base::raster::Raster;

/// Cells along the picture's longer side.
const CELLS_LONGER_SIDE: usize = 64;

/// Samples along the side of a cell. 64 samples tell a deviation to 9 %.
const SAMPLES: usize = 8;

/// Side of the square of pixels averaged to one sample: noise falls to a third, strands 8 px wide still show.
const SAMPLE_PX: usize = 3;

/// Added to the mean luma. Black cloth (luma 10 to 20) deviates by 2 to 3 through noise and weave alone; with this it stays
/// under a tenth.
const DARK_LUMA: f32 = 24.0;

/// Relative deviation of luma in each cell of a grid over a region.
#[derive(Debug, Clone)]
pub(in super::super) struct Texture {
    /// Side of a cell, px of the photo.
    pub(in super::super) side_px: usize,
    /// Top-left pixel of the first cell.
    pub(in super::super) origin: (usize, usize),
    /// Standard deviation over mean, one a cell.
    pub(in super::super) relative: Raster<f32>,
}

impl Texture {
    /// Looks at `region` (clamped to the picture); `None` where it is smaller than a few cells of 24 px.
    pub(in super::super) fn of(picture: &Raster<[u8; 3]>, region: Option<&Region>) -> Option<Self> {
        let (x0, y0, x1, y1) = bounds(picture, region)?;
        let (width, height) = (x1 - x0, y1 - y0);
        let side = (width.max(height) / CELLS_LONGER_SIDE).max(SAMPLES * SAMPLE_PX);
        let (columns, rows) = (width / side, height / side);
        if columns < 3 || rows < 3 {
            return None;
        }
        let mut relative = Raster::filled(columns, rows, 0.0f32);
        relative.samples_mut().par_chunks_mut(columns).enumerate().for_each(|(row, out)| {
            for (column, cell) in out.iter_mut().enumerate() {
                *cell = deviation(picture, x0 + column * side, y0 + row * side, side);
            }
        });
        Some(Self { side_px: side, origin: (x0, y0), relative })
    }

    /// Part of the cells with at least this relative deviation.
    pub(in super::super) fn part_above(&self, least: f32) -> f64 {
        let cells = self.relative.samples();
        cells.iter().filter(|v| **v >= least).count() as f64 / cells.len().max(1) as f64
    }

    /// Connected areas of cells of at least this deviation that are three cells across somewhere, as regions, one cell
    /// larger all round. Cells with their middles where structure is `known` are in none.
    pub(in super::super) fn blocks_above(&self, least: f32, known: &dyn Fn(Point<Image>) -> bool) -> Vec<Region> {
        let (columns, rows) = (self.relative.width(), self.relative.height());
        let dense = |x: isize, y: isize| {
            x >= 0 && y >= 0 && self.relative.get(x as usize, y as usize).is_some_and(|v| v >= least)
        };
        // A cell whose eight neighbours are dense: strands, ticks and edges are thinner.
        let mut core = Raster::filled(columns, rows, false);
        for y in 0..rows as isize {
            for x in 0..columns as isize {
                let all = (-1..=1).all(|dy| (-1..=1).all(|dx| dense(x + dx, y + dy)));
                let cell = (x as usize, y as usize);
                core.set(cell.0, cell.1, all && !known(self.middle_of(cell)));
            }
        }
        let mut out = Vec::new();
        for y in 0..rows {
            for x in 0..columns {
                if core.get(x, y) == Some(true) {
                    let cells = flood(&mut core, x, y);
                    out.push(self.region_of(&cells));
                }
            }
        }
        out
    }

    /// Middle of a cell.
    fn middle_of(&self, cell: (usize, usize)) -> Point<Image> {
        let at = |cell: usize, origin: usize| origin as f64 + (cell as f64 + 0.5) * self.side_px as f64;
        Point::new(at(cell.0, self.origin.0), at(cell.1, self.origin.1))
    }

    /// The region around core cells: they, the ring of dense cells around them and one more.
    fn region_of(&self, cells: &[(usize, usize)]) -> Region {
        let fold = |f: fn(&(usize, usize)) -> usize| {
            cells.iter().map(f).fold((usize::MAX, 0), |(low, high), v| (low.min(v), high.max(v)))
        };
        let ((left, right), (top, bottom)) = (fold(|c| c.0), fold(|c| c.1));
        let side = self.side_px as f64;
        let at = |cell: usize, origin: usize, shift: f64| origin as f64 + (cell as f64 + shift) * side;
        Region {
            min: Point::<Image>::new(at(left, self.origin.0, -2.0), at(top, self.origin.1, -2.0)),
            max: Point::<Image>::new(at(right, self.origin.0, 3.0), at(bottom, self.origin.1, 3.0)),
        }
    }
}

/// Region clamped to the picture, as first and one past the last pixel; `None` where nothing is left.
pub(in super::super) fn bounds(
    picture: &Raster<[u8; 3]>,
    region: Option<&Region>,
) -> Option<(usize, usize, usize, usize)> {
    let (width, height) = (picture.width(), picture.height());
    let clamp = |v: f64, most: usize| (v.max(0.0) as usize).min(most);
    let (x0, y0, x1, y1) = region.map_or((0, 0, width, height), |r| {
        (
            clamp(r.min.x.ceil(), width),
            clamp(r.min.y.ceil(), height),
            clamp(r.max.x.floor() + 1.0, width),
            clamp(r.max.y.floor() + 1.0, height),
        )
    });
    (x1 > x0 && y1 > y0).then_some((x0, y0, x1, y1))
}

fn flood(core: &mut Raster<bool>, x: usize, y: usize) -> Vec<(usize, usize)> {
    let mut cells = vec![(x, y)];
    core.set(x, y, false);
    let mut next = 0;
    while let Some(&(x, y)) = cells.get(next) {
        next += 1;
        for (nx, ny) in [(x.wrapping_sub(1), y), (x + 1, y), (x, y.wrapping_sub(1)), (x, y + 1)] {
            if core.get(nx, ny) == Some(true) {
                core.set(nx, ny, false);
                cells.push((nx, ny));
            }
        }
    }
    cells
}

fn deviation(picture: &Raster<[u8; 3]>, x0: usize, y0: usize, side: usize) -> f32 {
    let (mut sum, mut squares) = (0.0f32, 0.0f32);
    for j in 0..SAMPLES {
        let y = y0 + j * side / SAMPLES;
        for i in 0..SAMPLES {
            let x = x0 + i * side / SAMPLES;
            let mut value = 0.0f32;
            for dy in 0..SAMPLE_PX {
                value += picture.row(y + dy)[x..x + SAMPLE_PX].iter().map(|p| luma(*p)).sum::<f32>();
            }
            let value = value / (SAMPLE_PX * SAMPLE_PX) as f32;
            sum += value;
            squares += value * value;
        }
    }
    let n = (SAMPLES * SAMPLES) as f32;
    let mean = sum / n;
    (squares / n - mean * mean).max(0.0).sqrt() / (mean + DARK_LUMA)
}
