//! Luma of the photo, halved again and again: ticks are looked for where they are one or two pixels wide.

use std::ops::{Add, Div, Sub};

use rayon::prelude::*;

use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;

/// Weights of red, green and blue in 256ths. Source: ITU-R BT.601.
const WEIGHTS: [u32; 3] = [77, 150, 29];

/// Luma averaged over squares of 2^level pixels.
#[derive(Debug, Clone)]
pub(super) struct Level {
    /// Squares are 2^level px wide.
    pub(super) level: u32,
    /// Code values, 0 to 255.
    pub(super) luma: Raster<u8>,
}

impl Level {
    /// The photo's own pixels.
    pub(super) fn full(rgb: &Raster<[u8; 3]>) -> Self {
        let samples = rgb.samples().par_iter().map(|p| weighted(p.map(u32::from)) as u8).collect();
        let luma = Raster::from_samples(rgb.width(), rgb.height(), samples);
        Self { level: 0, luma: luma.unwrap_or_else(|| Raster::filled(0, 0, 0)) }
    }

    /// The photo at half its size, without the detour over the full one.
    pub(super) fn half(rgb: &Raster<[u8; 3]>) -> Self {
        let (width, height) = (rgb.width() / 2, rgb.height() / 2);
        let mut luma = Raster::filled(width, height, 0u8);
        if width > 0 {
            luma.samples_mut().par_chunks_mut(width).enumerate().for_each(|(y, row)| {
                let (upper, lower) = (rgb.row(2 * y), rgb.row(2 * y + 1));
                for ((out, a), b) in row.iter_mut().zip(upper.as_chunks::<2>().0).zip(lower.as_chunks::<2>().0) {
                    let sums: [u32; 3] = std::array::from_fn(|c| {
                        u32::from(a[0][c]) + u32::from(a[1][c]) + u32::from(b[0][c]) + u32::from(b[1][c])
                    });
                    *out = ((sums[0] * WEIGHTS[0] + sums[1] * WEIGHTS[1] + sums[2] * WEIGHTS[2] + 512) >> 10) as u8;
                }
            });
        }
        Self { level: 1, luma }
    }

    /// Half the size of this one.
    pub(super) fn halved(&self) -> Self {
        let (width, height) = (self.luma.width() / 2, self.luma.height() / 2);
        let mut luma = Raster::filled(width, height, 0u8);
        if width > 0 {
            luma.samples_mut().par_chunks_mut(width).enumerate().for_each(|(y, row)| {
                let (upper, lower) = (self.luma.row(2 * y), self.luma.row(2 * y + 1));
                for ((out, a), b) in row.iter_mut().zip(upper.as_chunks::<2>().0).zip(lower.as_chunks::<2>().0) {
                    *out = ((u32::from(a[0]) + u32::from(a[1]) + u32::from(b[0]) + u32::from(b[1]) + 2) >> 2) as u8;
                }
            });
        }
        Self { level: self.level + 1, luma }
    }

    /// Dark for light: ticks that are lighter than their ground are looked for as dark ones are.
    pub(super) fn negative(&self) -> Self {
        let samples = self.luma.samples().iter().map(|v| 255 - v).collect();
        let luma = Raster::from_samples(self.luma.width(), self.luma.height(), samples);
        Self { level: self.level, luma: luma.unwrap_or_else(|| Raster::filled(0, 0, 0)) }
    }

    /// Pixels of the photo per pixel here.
    pub(super) fn factor(&self) -> f64 {
        f64::from(1u32 << self.level)
    }

    /// Where a point of this level lies in the photo.
    pub(super) fn image_from_level(&self, x: f64, y: f64) -> Point<Image> {
        let k = self.factor();
        Point::new(x * k + (k - 1.0) / 2.0, y * k + (k - 1.0) / 2.0)
    }
}

fn weighted(rgb: [u32; 3]) -> u32 {
    (rgb[0] * WEIGHTS[0] + rgb[1] * WEIGHTS[1] + rgb[2] * WEIGHTS[2] + 128) >> 8
}

/// How much darker ink is than its ground, in parts of the ground's light (`dark` false: how much lighter, in parts of its own). In
/// parts, because a shadow darkens ink and paper alike. 8 code values are added so that noise in black does not count.
pub(super) fn depth<T>(dark: bool, ground: T, ink: T) -> T
where
    T: Copy + Add<Output = T> + Sub<Output = T> + Div<Output = T> + From<f32>,
{
    let (deep, light) = if dark { (ground - ink, ground) } else { (ink - ground, ink) };
    deep / (light + T::from(8.0))
}

/// Luma (0 to 255) between the photo's pixels, bilinear; `None` outside.
pub(super) fn luma_at(rgb: &Raster<[u8; 3]>, x: f64, y: f64) -> Option<f32> {
    let (width, height) = (rgb.width(), rgb.height());
    if !(x >= 0.0 && y >= 0.0 && x <= width as f64 - 1.0 && y <= height as f64 - 1.0) {
        return None;
    }
    // No picture has 2^32 columns, and fewer bits are converted faster.
    let (x0, y0) = (x as u32 as usize, y as u32 as usize);
    let (x1, y1) = ((x0 + 1).min(width - 1), (y0 + 1).min(height - 1));
    let (fx, fy) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
    let mean = |y: usize| {
        let row = rgb.row(y);
        sum_f32(row[x0]) * (1.0 - fx) + sum_f32(row[x1]) * fx
    };
    let (top, bottom) = (mean(y0), mean(y1));
    Some((top * (1.0 - fy) + bottom * fy) * (1.0 / 256.0))
}

/// 256 times the luma.
fn sum_f32(p: [u8; 3]) -> f32 {
    let [r, g, b] = p.map(i32::from);
    (r * 77 + g * 150 + b * 29) as f32
}
