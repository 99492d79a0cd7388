//! The picture at halving sizes, so that strands of every width are looked for with one filter.

use rayon::prelude::*;

use super::texture::bounds;
use crate::base::colour::luma;
use crate::base::geometry::{Image, Point, Region};
use crate::base::raster::Raster;
use crate::measure::photo::Reduced;

/// Longer side of the finest level, px.
///
/// Strands of 5 px are found at this size: a two-hundredth of the picture. In photos of skeins they are a hundredth to a
/// twentieth. Twice as large costs four times as much.
const FINEST_SIDE_PX: usize = 1000;

/// Least factor of the finest level: at 2, strands from some 9 px of the photo are found; narrower ones show no twist.
const FINEST_FACTOR: usize = 2;

/// Shorter side of the coarsest level, px: four strands of the greatest width that the filter looks for.
const COARSEST_SIDE_PX: usize = 48;

/// One size of the picture.
#[derive(Debug, Clone)]
pub(in super::super) struct Level {
    /// Side of a pixel, px of the photo.
    pub(in super::super) factor: usize,
    /// Top-left pixel of the photo that it shows.
    pub(in super::super) origin: (usize, usize),
    /// Luma, 0 to 255.
    pub(in super::super) luma: Raster<f32>,
}

impl Level {
    /// Where a point of this level lies in the photo.
    pub(in super::super) fn image_from_level(&self, x: f64, y: f64) -> Point<Image> {
        let (k, shift) = (self.factor as f64, (self.factor as f64 - 1.0) / 2.0);
        Point::new(x * k + shift + self.origin.0 as f64, y * k + shift + self.origin.1 as f64)
    }

    /// Luma at a point of the photo, bilinear, clamped to the border.
    pub(in super::super) fn luma_at(&self, p: Point<Image>) -> f32 {
        let (k, shift) = (self.factor as f64, (self.factor as f64 - 1.0) / 2.0);
        self.luma.bilinear((p.x - self.origin.0 as f64 - shift) / k, (p.y - self.origin.1 as f64 - shift) / k)
    }
}

/// All sizes of the region (the whole picture without one), finest first; empty where it is too small to hold strands
/// side by side.
pub(in super::super) fn levels(picture: &Raster<[u8; 3]>, region: Option<&Region>) -> Vec<Level> {
    let mut out = Vec::new();
    let Some((x0, y0, x1, y1)) = bounds(picture, region) else { return out };
    let factor = (x1 - x0).max(y1 - y0).div_ceil(FINEST_SIDE_PX).max(FINEST_FACTOR);
    let whole = (x0, y0, x1, y1) == (0, 0, picture.width(), picture.height());
    let reduced = if whole { Reduced::of(picture, factor) } else { Reduced::of(&cut(picture, x0, y0, x1, y1), factor) };
    let mut next = Some(Level { factor: reduced.factor, origin: (x0, y0), luma: reduced.rgb.map(luma) });
    while let Some(level) = next {
        if level.luma.width().min(level.luma.height()) < COARSEST_SIDE_PX {
            break;
        }
        next = halved(&level);
        out.push(level);
    }
    out
}

fn cut(picture: &Raster<[u8; 3]>, x0: usize, y0: usize, x1: usize, y1: usize) -> Raster<[u8; 3]> {
    let mut out = Raster::filled(x1 - x0, y1 - y0, [0u8; 3]);
    for y in y0..y1 {
        out.row_mut(y - y0).copy_from_slice(&picture.row(y)[x0..x1]);
    }
    out
}

fn halved(level: &Level) -> Option<Level> {
    let (width, height) = (level.luma.width() / 2, level.luma.height() / 2);
    if width == 0 || height == 0 {
        return None;
    }
    let mut luma = Raster::filled(width, height, 0.0f32);
    luma.samples_mut().par_chunks_mut(width).enumerate().for_each(|(y, row)| {
        let (top, bottom) = (level.luma.row(2 * y), level.luma.row(2 * y + 1));
        for ((out, a), b) in row.iter_mut().zip(top.chunks_exact(2)).zip(bottom.chunks_exact(2)) {
            *out = (a[0] + a[1] + b[0] + b[1]) / 4.0;
        }
    });
    Some(Level { factor: level.factor * 2, origin: level.origin, luma })
}
