//! HEIC, where it is built in. The decoder turns and mirrors the picture itself, as the container says; the EXIF block's
//! own orientation is a copy of that, and applying it too would turn twice.

use std::path::Path;

use heifer::heifer_isobmff::HeifFile;

use super::decode::{over_white, raster_of_bytes, within};
use super::error::PhotoError;
use super::facts::CameraFacts;
use super::orientation::Orientation;
use super::{Limits, room};
use crate::base::raster::Raster;

/// Whether the bytes begin as HEIC does. Source: ISO/IEC 23008-12, B.4: the brands of pictures coded as HEVC.
pub(super) fn is_heic(bytes: &[u8]) -> bool {
    let brand = bytes.get(8..12).unwrap_or_default();
    bytes.get(4..8) == Some(b"ftyp") && [&b"heic"[..], b"heix", b"heim", b"heis", b"mif1"].contains(&brand)
}

/// The picture as displayed, in sRGB, and what its metadata say.
pub(super) fn decode(path: &Path, bytes: &[u8], limits: &Limits) -> Result<(CameraFacts, Raster<[u8; 3]>), PhotoError> {
    let damaged = |detail: String| PhotoError::Damaged { file: path.to_owned(), detail: format!("HEIC: {detail}") };
    let file = HeifFile::parse(bytes).map_err(|e| damaged(e.to_string()))?;
    let size = file.image_size(file.primary_id).map_err(|e| damaged(e.to_string()))?;
    let (width, height) = size.ok_or_else(|| damaged("no size in its header".to_owned()))?;
    let (width, height) = (u64::from(width), u64::from(height));
    within(path, limits, width, height)?;
    // Four bytes a pixel come out, and the codec holds its own planes of two bytes a sample meanwhile.
    room::check(path, limits, width, height, width.saturating_mul(height).saturating_mul(10))?;
    let options = heifer::Options {
        max_threads: rayon::current_num_threads(),
        max_pixels: u64::from(limits.max_megapixels).max(1) * 1_000_000,
    };
    let picture = heifer::decode_srgb_rgba8(bytes, &options).map_err(|e| damaged(e.to_string()))?;
    let exif = file.exif(file.primary_id).ok().flatten();
    let camera = exif.map(|block| CameraFacts::of_exif(&block)).unwrap_or_default();
    let (width, height) = (picture.width, picture.height);
    let shown = image::RgbaImage::from_raw(width, height, picture.data)
        .map(|rgba| over_white(image::DynamicImage::ImageRgba8(rgba)).into_raw())
        .and_then(|rgb| raster_of_bytes(width as usize, height as usize, rgb))
        .ok_or_else(|| damaged("fewer pixels than its header says".to_owned()))?;
    Ok((CameraFacts { orientation: Orientation::default(), ..camera }, shown))
}
