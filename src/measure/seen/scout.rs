//! Where is yarn? The whole photo, reduced, and what the scout says of each part of it.

use std::sync::LazyLock;

use super::net::{Net, logistic};
use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;
use crate::measure::photo::Reduced;

/// The net halves the picture five times.
const MULTIPLE: usize = 32;

static NET: LazyLock<Option<Net>> = LazyLock::new(|| Net::of(include_bytes!("weights/scout.onnx")));

/// The photo averaged over whole squares so that it fits.
#[must_use]
pub fn reduced(picture: &Raster<[u8; 3]>) -> Reduced {
    Reduced::of(picture, Reduced::whole_factor(picture.width(), picture.height()))
}

/// What lies at a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Table, cloth.
    Ground,
    /// A ruler.
    Ruler,
    /// Card or paper.
    Card,
    /// Any other thing.
    Thing,
}

/// What the scout says of a cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Probability, or share, of yarn's body.
    pub body: f32,
    /// Likeliest of what else lies there.
    pub kind: Kind,
    /// Which way a strand runs: cosine and sine of twice its angle against the picture's x axis, clockwise.
    pub way: [f32; 2],
    /// Width of the strand, cells.
    pub width: f32,
}

/// The scout's map.
#[derive(Debug, Clone)]
pub struct Map {
    /// One cell for so many pixels of the photo, each way.
    pub cell_px: f64,
    /// The cells.
    pub cells: Raster<Cell>,
}

impl Map {
    /// Looks at a photo; `None` where it is too small to be looked at.
    #[must_use]
    pub fn of(picture: &Raster<[u8; 3]>) -> Option<Self> {
        let small = reduced(picture);
        let (width, height) = (small.rgb.width(), small.rgb.height());
        if width < MULTIPLE || height < MULTIPLE {
            return None;
        }
        // The last row and column go on beyond the picture.
        let (wide, high) = (width.next_multiple_of(MULTIPLE), height.next_multiple_of(MULTIPLE));
        let mut samples = Vec::with_capacity(3 * wide * high);
        for channel in 0..3 {
            for y in 0..high {
                let row = small.rgb.row(y.min(height - 1));
                samples.extend((0..wide).map(|x| f32::from(row[x.min(width - 1)][channel]) / 255.0));
            }
        }
        let out = NET.as_ref()?.run([3, high, wide], samples)?.into_iter().next()?;
        let (columns, rows) = (wide / 2, high / 2);
        let plane = |k: usize| out.get(k * columns * rows..(k + 1) * columns * rows);
        let planes: Vec<&[f32]> = (0..8).map(plane).collect::<Option<_>>()?;
        let mut cells = Raster::filled(width / 2, height / 2, NOTHING);
        for y in 0..height / 2 {
            for (x, cell) in cells.row_mut(y).iter_mut().enumerate() {
                let at = |k: usize| planes[k][y * columns + x];
                let kind = (1..5).max_by(|a, b| at(*a).total_cmp(&at(*b))).unwrap_or(1);
                *cell = Cell {
                    body: logistic(at(0)),
                    kind: [Kind::Ground, Kind::Ruler, Kind::Card, Kind::Thing][kind - 1],
                    way: [at(5), at(6)],
                    width: at(7).clamp(0.0, 9.0).exp2() / 2.0,
                };
            }
        }
        Some(Self { cell_px: 2.0 * small.factor as f64, cells })
    }

    /// Where a place of the map lies in the photo; cell centres at whole numbers.
    #[must_use]
    pub fn image_of(&self, x: f64, y: f64) -> Point<Image> {
        Point::new((x + 0.5) * self.cell_px - 0.5, (y + 0.5) * self.cell_px - 0.5)
    }

    /// The cell in which a point of the photo lies.
    #[must_use]
    pub fn at(&self, p: Point<Image>) -> Option<Cell> {
        let cell = |v: f64| ((v + 0.5) / self.cell_px).floor();
        let (x, y) = (cell(p.x), cell(p.y));
        (x >= 0.0 && y >= 0.0).then(|| self.cells.get(x as usize, y as usize)).flatten()
    }
}

const NOTHING: Cell = Cell { body: 0.0, kind: Kind::Ground, way: [0.0; 2], width: 0.0 };
