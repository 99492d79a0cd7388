//! The straightened strand: the heart. It serves twist, overlay, report and the eye.

use rayon::prelude::*;

use super::Station;
use crate::base::colour::LINEAR_OF_SRGB;
use crate::base::raster::Raster;

/// A piece of yarn laid straight: column `i` is station `i`; row `middle_row + d` lies `d` rows from the centre line
/// along the station's normal.
#[derive(Debug, Clone)]
pub struct Strip {
    /// Linear light, 0 to 1.
    pub rgb: Raster<[f32; 3]>,
    /// The row on the centre line.
    pub middle_row: f64,
    /// Distance between rows, px of the photo; the same as the distance between stations.
    pub step_px: f64,
}

impl Strip {
    /// Straightens `picture` along `stations`, `half_width_px` to either side; bilinear sampling in linear light.
    #[must_use]
    pub fn straighten(picture: &Raster<[u8; 3]>, stations: &[Station], step_px: f64, half_width_px: f64) -> Self {
        let half_rows = (half_width_px / step_px).ceil().max(1.0) as usize;
        let rows = 2 * half_rows + 1;
        let table = &*LINEAR_OF_SRGB;
        let mut rgb = Raster::filled(stations.len(), rows, [0.0f32; 3]);
        if !stations.is_empty() && !picture.samples().is_empty() {
            let columns = stations.len();
            rgb.samples_mut().par_chunks_mut(columns).enumerate().for_each(|(row, out)| {
                let offset = (row as f64 - half_rows as f64) * step_px;
                for (sample, station) in out.iter_mut().zip(stations) {
                    let p = station.centre + station.normal * offset;
                    *sample = picture.bilinear_through(p.x, p.y, table);
                }
            });
        }
        Self { rgb, middle_row: half_rows as f64, step_px }
    }
}
