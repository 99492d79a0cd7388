//! A smaller copy of the picture, for finding; measuring goes back to the full one.

use rayon::prelude::*;

use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;

/// The picture averaged over squares of `factor` x `factor` pixels.
#[derive(Debug, Clone)]
pub struct Reduced {
    /// Side of a square, px of the photo.
    pub factor: usize,
    /// Mean code values of each whole square (a rest at the right and lower border is left out).
    pub rgb: Raster<[u8; 3]>,
}

impl Reduced {
    /// Averages the picture; `factor` of 0 counts as 1. A picture smaller than one square gives an empty raster.
    #[must_use]
    pub fn of(picture: &Raster<[u8; 3]>, factor: usize) -> Self {
        let factor = factor.max(1);
        if factor == 1 {
            return Self { factor, rgb: picture.clone() };
        }
        let (width, height) = (picture.width() / factor, picture.height() / factor);
        let mut rgb = Raster::filled(width, height, [0u8; 3]);
        let area = (factor * factor) as u32;
        if width > 0 {
            rgb.samples_mut().par_chunks_mut(width).enumerate().for_each(|(y, row)| {
                // Down the squares first: bytes side by side, many at a time.
                let mut down = vec![0u32; 3 * factor * width];
                for dy in 0..factor {
                    let source = picture.row(y * factor + dy).as_flattened();
                    down.iter_mut().zip(source).for_each(|(sum, code)| *sum += u32::from(*code));
                }
                for (out, square) in row.iter_mut().zip(down.chunks_exact(3 * factor)) {
                    let mut sum = [0u32; 3];
                    for pixel in square.as_chunks::<3>().0 {
                        sum.iter_mut().zip(pixel).for_each(|(s, v)| *s += v);
                    }
                    *out = sum.map(|s| ((s + area / 2) / area) as u8);
                }
            });
        }
        Self { factor, rgb }
    }

    /// Where a point of the reduced picture lies in the photo: the middle of square (0, 0) is at `(factor - 1) / 2`.
    #[must_use]
    pub fn image_from_reduced(&self, x: f64, y: f64) -> Point<Image> {
        let (k, shift) = (self.factor as f64, (self.factor as f64 - 1.0) / 2.0);
        Point::new(x * k + shift, y * k + shift)
    }

    /// Where a point of the photo lies in the reduced picture.
    #[must_use]
    pub fn reduced_from_image(&self, p: Point<Image>) -> (f64, f64) {
        let (k, shift) = (self.factor as f64, (self.factor as f64 - 1.0) / 2.0);
        ((p.x - shift) / k, (p.y - shift) / k)
    }
}
