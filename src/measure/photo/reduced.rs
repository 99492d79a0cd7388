//! A smaller copy of the picture, for finding; measuring goes back to the full one.

use rayon::prelude::*;

use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;

/// Longest side of a picture that is looked at as a whole, px: a strand of 8 pixels in a photo of 12 megapixels is still 2.7 wide. At
/// 1024 what lies between strands close together is taken for yarn.
const WHOLE_SIDE_PX: usize = 1600;

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

    /// Side of the squares over which a picture of `width` x `height` px is averaged to be looked at as a whole.
    #[must_use]
    pub fn whole_factor(width: usize, height: usize) -> usize {
        width.max(height).div_ceil(WHOLE_SIDE_PX).max(1)
    }

    /// Where a point of the photo lies in the reduced picture: the middle of square (0, 0) is at `(factor - 1) / 2`.
    #[must_use]
    pub fn reduced_from_image(&self, p: Point<Image>) -> (f64, f64) {
        let (k, shift) = (self.factor as f64, (self.factor as f64 - 1.0) / 2.0);
        ((p.x - shift) / k, (p.y - shift) / k)
    }
}
