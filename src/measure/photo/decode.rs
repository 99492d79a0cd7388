//! From bytes to pixels: strict, and never more memory than the limits allow.

use std::io::Cursor;
use std::path::Path;

use image::{ImageDecoder, ImageFormat, ImageReader};
use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

use super::error::PhotoError;
use super::facts::CameraFacts;
use super::{Limits, Photo};
use crate::base::raster::Raster;

/// Reads and decodes a photo.
///
/// # Errors
/// Every [`PhotoError`]; a truncated or damaged file is one, never half a picture.
pub fn read(path: &Path, limits: &Limits) -> Result<Photo, PhotoError> {
    let file = || path.to_owned();
    let unreadable = |source| PhotoError::Unreadable { file: file(), source };
    let about = std::fs::metadata(path).map_err(unreadable)?;
    if !about.is_file() {
        return Err(PhotoError::NotAFile { file: file() });
    }
    if about.len() > limits.max_bytes {
        return Err(PhotoError::TooManyBytes { file: file(), bytes: about.len(), limit: limits.max_bytes });
    }
    let bytes = std::fs::read(path).map_err(unreadable)?;
    decode(path, bytes, limits)
}

/// Decodes a photo's bytes; `path` only names it.
///
/// # Errors
/// Every [`PhotoError`] but `Unreadable` and `NotAFile`.
pub fn decode(path: &Path, bytes: Vec<u8>, limits: &Limits) -> Result<Photo, PhotoError> {
    if bytes.is_empty() {
        return Err(PhotoError::Empty { file: path.to_owned() });
    }
    let camera = CameraFacts::of_file(&bytes);
    let stored = if bytes.starts_with(&[0xff, 0xd8]) {
        decode_jpeg(path, &bytes, limits)?
    } else {
        decode_other(path, &bytes, limits)?
    };
    drop(bytes);
    Ok(Photo {
        name: path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned(),
        rgb: camera.orientation.apply(stored),
        camera,
    })
}

fn within(path: &Path, limits: &Limits, width: u64, height: u64) -> Result<(), PhotoError> {
    if width * height > u64::from(limits.max_megapixels) * 1_000_000 {
        return Err(PhotoError::TooLarge { file: path.to_owned(), width, height, limit: limits.max_megapixels });
    }
    Ok(())
}

fn decode_jpeg(path: &Path, bytes: &[u8], limits: &Limits) -> Result<Raster<[u8; 3]>, PhotoError> {
    let damaged = |detail: String| PhotoError::Damaged { file: path.to_owned(), detail };
    // zune-jpeg's own cap of 16384 px a side stays: above it a tiny file can cost gigabytes.
    let options = DecoderOptions::default().set_strict_mode(true).jpeg_set_out_colorspace(ColorSpace::RGB);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
    decoder.decode_headers().map_err(|e| damaged(e.to_string()))?;
    let (width, height) = decoder.dimensions().ok_or_else(|| damaged("no size in its header".to_owned()))?;
    within(path, limits, width as u64, height as u64)?;
    let samples = decoder.decode().map_err(|e| damaged(e.to_string()))?;
    raster_of_bytes(width, height, samples).ok_or_else(|| damaged("fewer pixels than its header says".to_owned()))
}

/// Groups interleaved bytes into pixels.
fn raster_of_bytes(width: usize, height: usize, bytes: Vec<u8>) -> Option<Raster<[u8; 3]>> {
    let (pixels, rest) = bytes.as_chunks::<3>();
    if !rest.is_empty() {
        return None;
    }
    Raster::from_samples(width, height, pixels.to_vec())
}

fn decode_other(path: &Path, bytes: &[u8], limits: &Limits) -> Result<Raster<[u8; 3]>, PhotoError> {
    let damaged = |detail: String| PhotoError::Damaged { file: path.to_owned(), detail };
    let format = image::guess_format(bytes).ok();
    let Some(format @ (ImageFormat::Png | ImageFormat::Tiff | ImageFormat::WebP)) = format else {
        return Err(PhotoError::UnknownFormat { file: path.to_owned(), advice: advice_for(bytes) });
    };
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    let mut bounds = image::Limits::default();
    bounds.max_alloc = Some(u64::from(limits.max_megapixels) * 1_000_000 * 8);
    reader.limits(bounds);
    let decoder = reader.into_decoder().map_err(|e| damaged(e.to_string()))?;
    let (width, height) = decoder.dimensions();
    within(path, limits, u64::from(width), u64::from(height))?;
    let picture = image::DynamicImage::from_decoder(decoder).map_err(|e| damaged(e.to_string()))?;
    let rgb = over_white(picture);
    raster_of_bytes(width as usize, height as usize, rgb.into_raw())
        .ok_or_else(|| damaged("fewer pixels than its header says".to_owned()))
}

/// Eight-bit RGB; what is transparent shows white paper.
fn over_white(picture: image::DynamicImage) -> image::RgbImage {
    if !picture.color().has_alpha() {
        return picture.into_rgb8();
    }
    let rgba = picture.into_rgba8();
    image::RgbImage::from_fn(rgba.width(), rgba.height(), |x, y| {
        let [r, g, b, a] = rgba.get_pixel(x, y).0.map(u32::from);
        image::Rgb([r, g, b].map(|c| ((c * a + 255 * (255 - a) + 127) / 255) as u8))
    })
}

fn advice_for(bytes: &[u8]) -> &'static str {
    let heif = bytes.get(4..12).is_some_and(|b| b.starts_with(b"ftyp"));
    if heif {
        "it looks like HEIC or AVIF: export it as JPEG, or set the phone's camera to its most compatible format"
    } else {
        "export it as JPEG or PNG"
    }
}
