//! A strand laid straight for the eye: so many rows to a diameter that plies show, and no more.

use crate::base::geometry::{Image, Point};
use crate::base::line::{Step, at_equal_steps};
use crate::base::raster::Raster;

/// Rows of a strip. Beside a strand whose width was guessed right lie 1.1 diameters of ground to either side; guessed a third
/// too small, there are 0.7.
pub const ROWS: usize = 64;

/// Rows to the width that was guessed. Two plies at 45 degrees repeat every 30 columns then, fibres of a twentieth of the
/// diameter are a row wide.
pub const ROWS_PER_DIAMETER: f64 = 20.0;

/// Columns come in multiples of this: four halvings in the net.
pub const COLUMN_MULTIPLE: usize = 16;

/// Fewest columns from which anything can be told: three diameters.
pub const LEAST_COLUMNS: usize = 48;

/// A strand laid straight.
#[derive(Debug, Clone)]
pub struct EyeStrip {
    /// Mean code values over each cell, 0 to 255; `ROWS` high.
    pub rgb: Raster<[u8; 3]>,
    /// Centre and normal of each column, in the photo. Row `r` lies `(r - (ROWS - 1) / 2) * step_px` along the normal.
    pub steps: Vec<Step>,
    /// Distance of neighbouring rows and columns, px of the photo.
    pub step_px: f64,
}

impl EyeStrip {
    /// Lays the strand along `line` straight, whose width is about `diameter_px`; `None` where it is too short.
    #[must_use]
    pub fn lay(picture: &Raster<[u8; 3]>, line: &[Point<Image>], diameter_px: f64) -> Option<Self> {
        let step_px = diameter_px / ROWS_PER_DIAMETER;
        let usable = step_px > 0.0 && step_px.is_finite() && !picture.samples().is_empty();
        let mut steps = if usable { at_equal_steps(line, step_px) } else { Vec::new() };
        steps.truncate(steps.len() / COLUMN_MULTIPLE * COLUMN_MULTIPLE);
        if steps.len() < LEAST_COLUMNS {
            return None;
        }
        // A cell wider than a pixel takes the mean of samples a pixel apart or less, or fine patterns would alias.
        let per = step_px.ceil().max(1.0) as usize;
        let shifts: Vec<f64> = (0..per).map(|k| ((k as f64 + 0.5) / per as f64 - 0.5) * step_px).collect();
        let middle = (ROWS - 1) as f64 / 2.0;
        let mut rgb = Raster::filled(steps.len(), ROWS, [0u8; 3]);
        for row in 0..ROWS {
            let across = (row as f64 - middle) * step_px;
            for (out, step) in rgb.row_mut(row).iter_mut().zip(&steps) {
                let tangent = step.normal.quarter_turn() * -1.0;
                let mut sum = [0.0f32; 3];
                for dy in &shifts {
                    for dx in &shifts {
                        let p = step.centre + step.normal * (across + dy) + tangent * *dx;
                        let code = picture.bilinear_through(p.x, p.y, &CODES);
                        sum.iter_mut().zip(code).for_each(|(s, v)| *s += v);
                    }
                }
                *out = sum.map(|s| (s / (per * per) as f32).round() as u8);
            }
        }
        Some(Self { rgb, steps, step_px })
    }

    /// Distance of a row from the centre line along the normal, px of the photo.
    #[must_use]
    pub fn across_px(&self, row: f64) -> f64 {
        (row - (ROWS - 1) as f64 / 2.0) * self.step_px
    }
}

/// Code values as they are.
static CODES: [f32; 256] = {
    let mut codes = [0.0; 256];
    let mut i = 0;
    while i < 256 {
        codes[i] = i as f32;
        i += 1;
    }
    codes
};
