//! Lens, sensor and file of training pictures, from good to bad beyond what phones do.

use super::super::chance::Chance;
use super::super::jpeg::{EncodeError, encode_as};
use super::super::scene::SensorSpec;
use crate::base::colour::luma;
use crate::base::raster::Raster;

/// Colour in the file against brightness.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subsampling {
    /// At full resolution.
    Full,
    /// At half across.
    Half,
    /// At half both ways.
    Quarter,
}

/// What becomes of a picture between sensor and file.
#[derive(Debug, Clone, PartialEq)]
pub struct Finish {
    /// Without colour.
    pub grey: bool,
    /// Levels left of each channel; 256 leaves all.
    pub levels: u16,
    /// Exponent on code values.
    pub gamma: f64,
    /// Slope about middle grey.
    pub contrast: f64,
    /// JPEG quality, 1 to 100.
    pub quality: u8,
    /// Colour.
    pub subsampling: Subsampling,
}

/// Sensor and finish for yarn of an apparent width, px.
pub(super) fn draw(chance: &mut Chance, apparent: f64) -> (SensorSpec, Finish) {
    let quality = match chance.unit() {
        u if u < 0.72 => chance.between(55.0, 97.99),
        u if u < 0.86 => chance.between(30.0, 55.0),
        _ => chance.between(8.0, 30.0),
    } as u8;
    // Beyond a third of the width, blur leaves nothing to be learnt of what it was.
    let worst = (0.33 * apparent).min(14.0);
    let sensor = SensorSpec {
        lens_sigma_px: chance.between(0.35, 1.4),
        defocus_px: if chance.happens(0.25) { chance.log_between(1.2, worst.max(1.3)) } else { 0.0 },
        extra_blur_px: if chance.happens(0.2) {
            chance.between(0.3, 2.5_f64.min(0.12 * apparent).max(0.4))
        } else {
            0.0
        },
        vignette: chance.between(0.0, 0.45),
        noise: chance.log_between(0.3, 14.0),
        sharpening: if chance.happens(0.15) { chance.between(0.8, 2.0) } else { chance.between(0.0, 0.9) },
        exposure: if chance.happens(0.75) { chance.between(0.65, 1.1) } else { chance.log_between(0.2, 1.7) },
        jpeg_quality: quality,
        half_colour: true,
        orientation: 1,
        focal_35mm: None,
        taken: None,
        samples: 4,
    };
    let odd = chance.happens(0.3);
    let finish = Finish {
        grey: chance.happens(0.08),
        levels: if chance.happens(0.06) { chance.log_between(4.0, 24.0) as u16 } else { 256 },
        gamma: if odd { chance.log_between(0.65, 1.5) } else { 1.0 },
        contrast: if odd { chance.log_between(0.5, 1.6) } else { 1.0 },
        quality,
        subsampling: match chance.unit() {
            u if u < 0.62 => Subsampling::Quarter,
            u if u < 0.9 => Subsampling::Full,
            _ => Subsampling::Half,
        },
    };
    (sensor, finish)
}

impl Finish {
    /// The picture as it is handed to the encoder.
    #[must_use]
    pub fn applied(&self, picture: &Raster<[u8; 3]>) -> Raster<[u8; 3]> {
        let steps = f64::from(self.levels.max(2) - 1);
        let table: [u8; 256] = std::array::from_fn(|code| {
            let v = (code as f64 / 255.0).powf(self.gamma);
            let v = (0.5 + (v - 0.5) * self.contrast).clamp(0.0, 1.0);
            ((v * steps).round() / steps * 255.0).round() as u8
        });
        picture.map(|p| {
            let p = if self.grey { [luma(p).round() as u8; 3] } else { p };
            p.map(|v| table[usize::from(v)])
        })
    }

    /// Encodes a picture, upright, without any word about the camera.
    ///
    /// # Errors
    /// Fails where a side is 0 or above 65535 px.
    pub fn encode(&self, picture: &Raster<[u8; 3]>) -> Result<Vec<u8>, EncodeError> {
        let sampling = match self.subsampling {
            Subsampling::Full => jpeg_encoder::SamplingFactor::R_4_4_4,
            Subsampling::Half => jpeg_encoder::SamplingFactor::R_4_2_2,
            Subsampling::Quarter => jpeg_encoder::SamplingFactor::R_4_2_0,
        };
        encode_as(&self.applied(picture), self.quality, sampling, None)
    }
}
