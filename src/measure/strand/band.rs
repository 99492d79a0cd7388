//! The straightened neighbourhood of a piece, divided by the bare ground's colour: 1 is bare ground, a shadow is grey
//! below 1, yarn is anything else.

use super::Strip;
use crate::base::raster::Raster;

/// Columns between points at which the ground's model is evaluated; it changes over hundreds of pixels.
const GROUND_STRIDE: usize = 32;

/// Ratio planes of a strip: lightness, red less green, blue less green, each relative to the ground's own channels.
#[derive(Debug, Clone)]
pub(super) struct Band {
    /// `planes[c]`: one column a station, one row a step across.
    pub(super) planes: [Raster<f32>; 3],
    /// The row on the centre line.
    pub(super) middle: usize,
}

impl Band {
    /// Divides a strip by the ground. `bare` says its colour, linear light, `[above, below]` at the strip's upper and lower rim
    /// at a station.
    pub(super) fn of(strip: &Strip, stations: usize, bare: &dyn Fn(usize) -> [[f32; 3]; 2]) -> Self {
        let (columns, rows) = (strip.rgb.width(), strip.rgb.height());
        let middle = strip.middle_row as usize;
        // Inverse ground colour at both rims of the band, every few columns.
        let at = (0..stations).step_by(GROUND_STRIDE).chain(stations.checked_sub(1));
        let (low, high): (Vec<[f32; 3]>, Vec<[f32; 3]>) =
            at.map(|i| bare(i).map(|rim| rim.map(|v| 1.0 / v)).into()).unzip();
        let mut planes = [(); 3].map(|()| Raster::filled(columns, rows, 0.0f32));
        let [light, red, blue] = &mut planes;
        for row in 0..rows {
            let across = if rows > 1 { row as f32 / (rows - 1) as f32 } else { 0.5 };
            let knots: Vec<[f32; 3]> =
                low.iter().zip(&high).map(|(a, b)| std::array::from_fn(|c| a[c] + (b[c] - a[c]) * across)).collect();
            let source = strip.rgb.row(row);
            let outputs = light.row_mut(row).iter_mut().zip(red.row_mut(row)).zip(blue.row_mut(row));
            for (column, (sample, ((l, r), b))) in source.iter().zip(outputs).enumerate() {
                let (k, t) = (column / GROUND_STRIDE, (column % GROUND_STRIDE) as f32 / GROUND_STRIDE as f32);
                let (p, q) = (knots[k], knots[(k + 1).min(knots.len() - 1)]);
                let ratio: [f32; 3] = std::array::from_fn(|c| sample[c] * (p[c] + (q[c] - p[c]) * t));
                *l = 0.25 * ratio[0] + 0.5 * ratio[1] + 0.25 * ratio[2];
                *r = ratio[0] - ratio[1];
                *b = ratio[2] - ratio[1];
            }
        }
        Self { planes, middle }
    }

    /// Number of columns.
    pub(super) fn columns(&self) -> usize {
        self.planes[0].width()
    }
}

/// Sample between two rows of a column, rows clamped to the border.
pub(super) fn between_rows(plane: &Raster<f32>, column: usize, row: f64) -> f32 {
    let last = plane.height().saturating_sub(1);
    let row = row.clamp(0.0, last as f64);
    // Not negative: cutting off is rounding down. No band has 2^32 rows, and fewer bits are converted faster.
    let first = row as u32 as usize;
    let (a, b) = (plane.row(first)[column], plane.row((first + 1).min(last))[column]);
    a + (b - a) * (row - first as f64) as f32
}
