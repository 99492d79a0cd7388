//! A picture lying on the table in place of a pattern, as cloth, wood or print.

use std::sync::Arc;

use super::scene::Albedo;
use crate::base::colour::{LINEAR_OF_SRGB, srgb_of_linear};
use crate::base::raster::Raster;

/// A picture at full size and at halves of it, so that any pixel's mean is near at hand.
#[derive(Debug, Clone, PartialEq)]
pub struct GroundPicture {
    levels: Vec<Raster<[u8; 3]>>,
}

/// Where and how large a picture lies.
#[derive(Debug, Clone, PartialEq)]
pub struct PictureSpec {
    /// The picture.
    pub picture: Arc<GroundPicture>,
    /// Side of one of its pixels, mm.
    pub px_mm: f64,
    /// Place of its top-left corner, mm; beyond its borders it goes on as in a mirror.
    pub corner: [f64; 2],
    /// Turn, degrees.
    pub turn_deg: f64,
    /// Factor on its light.
    pub gain: Albedo,
}

impl GroundPicture {
    /// From sRGB code values; `None` for a picture without pixels.
    #[must_use]
    pub fn new(picture: Raster<[u8; 3]>) -> Option<Self> {
        if picture.width() == 0 || picture.height() == 0 {
            return None;
        }
        let mut levels = vec![picture];
        while let Some(last) = levels.last()
            && last.width().min(last.height()) >= 2
        {
            let half = halved(last);
            levels.push(half);
        }
        Some(Self { levels })
    }

    /// Linear light at a place of the picture at full size, px, over an area of `size` px a side.
    fn mean(&self, x: f64, y: f64, size: f64) -> Albedo {
        let level = size.max(1.0).log2();
        let below = (level.floor() as usize).min(self.levels.len() - 1);
        let above = (below + 1).min(self.levels.len() - 1);
        let (a, b) = (self.at(below, x, y), self.at(above, x, y));
        let t = (level - below as f64).clamp(0.0, 1.0);
        std::array::from_fn(|c| a[c] + (b[c] - a[c]) * t)
    }

    fn at(&self, level: usize, x: f64, y: f64) -> Albedo {
        let raster = &self.levels[level];
        let scale = (1u64 << level) as f64;
        let (x, y) = ((x + 0.5) / scale - 0.5, (y + 0.5) / scale - 0.5);
        let (cx, cy) = (x.floor(), y.floor());
        let (wx, wy) = (x - cx, y - cy);
        let pixel = |i: f64, j: f64| {
            let (i, j) = (mirrored(i as i64, raster.width()), mirrored(j as i64, raster.height()));
            raster.row(j)[i].map(|v| f64::from(LINEAR_OF_SRGB[usize::from(v)]))
        };
        let (a, b, c, d) = (pixel(cx, cy), pixel(cx + 1.0, cy), pixel(cx, cy + 1.0), pixel(cx + 1.0, cy + 1.0));
        std::array::from_fn(|k| {
            let top = a[k] + (b[k] - a[k]) * wx;
            let bottom = c[k] + (d[k] - c[k]) * wx;
            top + (bottom - top) * wy
        })
    }
}

impl PictureSpec {
    /// Linear light at a place of the table, mm, over a pixel of `size` mm a side.
    pub(super) fn colour(&self, x: f64, y: f64, size: f64) -> Albedo {
        let (sine, cosine) = self.turn_deg.to_radians().sin_cos();
        let (x, y) = (x - self.corner[0], y - self.corner[1]);
        let (u, v) = (x * cosine + y * sine, x * sine - y * cosine);
        let light = self.picture.mean(u / self.px_mm, v / self.px_mm, size / self.px_mm);
        std::array::from_fn(|c| light[c] * self.gain[c])
    }
}

/// Place in 0..size of a place beyond, as in mirrors at both borders.
fn mirrored(i: i64, size: usize) -> usize {
    let size = size as i64;
    let at = i.rem_euclid(2 * size);
    if at < size { at as usize } else { (2 * size - 1 - at) as usize }
}

fn halved(from: &Raster<[u8; 3]>) -> Raster<[u8; 3]> {
    let (width, height) = (from.width() / 2, from.height() / 2);
    let mut out = Raster::filled(width, height, [0; 3]);
    for y in 0..height {
        let (above, below) = (from.row(2 * y), from.row(2 * y + 1));
        for (x, to) in out.row_mut(y).iter_mut().enumerate() {
            let four = [above[2 * x], above[2 * x + 1], below[2 * x], below[2 * x + 1]];
            *to = std::array::from_fn(|c| {
                srgb_of_linear(four.iter().map(|p| LINEAR_OF_SRGB[usize::from(p[c])]).sum::<f32>() / 4.0)
            });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A checkerboard of one pixel is, over a large area, as light as the mean of its fields.
    #[test]
    fn small_fields_are_averaged_in_light() {
        let mut board = Raster::filled(64, 64, [0u8; 3]);
        for y in 0..64 {
            for x in 0..64 {
                if (x + y) % 2 == 0 {
                    board.set(x, y, [255; 3]);
                }
            }
        }
        let picture = GroundPicture::new(board).expect("it has pixels");
        let [r, ..] = picture.mean(31.7, 20.2, 8.0);
        assert!((r - 0.5).abs() < 0.01, "{r}");
        let [sharp, ..] = picture.mean(30.0, 20.0, 0.5);
        assert!((sharp - 1.0).abs() < 1e-6, "{sharp}");
        // Mirrored at its border: the pixel before the first is the first again.
        assert_eq!(picture.at(0, -1.0, 5.0), picture.at(0, 0.0, 5.0));
    }
}
