//! First stage: a file's bytes become a picture as displayed, and what its metadata say.

mod decode;
mod error;
mod facts;
mod file;
#[cfg(feature = "heic")]
mod heic;
mod jpeg;
mod orientation;
mod png;
mod reduced;
mod room;
mod tiff;

use crate::base::raster::Raster;

pub use decode::{decode, read};
pub use error::PhotoError;
pub use facts::{CameraFacts, TakenAt};
pub use file::bytes_of;
pub use orientation::Orientation;
pub use reduced::Reduced;

/// Bounds on memory and time, checked from the header before anything is decoded. A picture at the limit takes about eight
/// bytes a pixel, whatever its format; one whose format needs more is refused from fewer pixels on.
#[derive(Debug, Clone, Copy)]
pub struct Limits {
    /// Largest picture, in millions of pixels.
    pub max_megapixels: u32,
    /// Largest file, in bytes.
    pub max_bytes: u64,
}

impl Default for Limits {
    fn default() -> Self {
        // 200 megapixels is the largest phone sensor sold; at 3 bytes a pixel it takes 600 MB.
        Self { max_megapixels: 200, max_bytes: 512 << 20 }
    }
}

/// A decoded photo as displayed: EXIF orientation is applied.
#[derive(Debug, Clone)]
pub struct Photo {
    /// File name without its folder, not escaped.
    pub name: String,
    /// sRGB code values.
    pub rgb: Raster<[u8; 3]>,
    /// What the metadata say about time and camera.
    pub camera: CameraFacts,
}

impl Photo {
    /// The middle of the picture, where the lens's axis is taken to pass, px.
    #[must_use]
    pub fn middle(&self) -> (f64, f64) {
        ((self.rgb.width() as f64 - 1.0) / 2.0, (self.rgb.height() as f64 - 1.0) / 2.0)
    }
}
