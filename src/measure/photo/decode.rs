//! From bytes to pixels: strict, and never more memory than the limits allow.

use std::io::Cursor;
use std::path::Path;

use image::codecs::webp::WebPDecoder;
use image::{ColorType, ImageDecoder, ImageError, ImageFormat};

use super::error::PhotoError;
use super::facts::CameraFacts;
use super::file::bytes_of;
use super::{Limits, Photo, jpeg, png, room, tiff};
use crate::base::raster::Raster;

/// Reads and decodes a photo.
///
/// # Errors
/// Every [`PhotoError`]; a truncated or damaged file is one, never half a picture.
pub fn read(path: &Path, limits: &Limits) -> Result<Photo, PhotoError> {
    decode(path, bytes_of(path, path, limits)?, limits)
}

/// Decodes a photo's bytes; `path` only names it.
///
/// # Errors
/// Every [`PhotoError`] but those about the file itself.
pub fn decode(path: &Path, bytes: Vec<u8>, limits: &Limits) -> Result<Photo, PhotoError> {
    if bytes.is_empty() {
        return Err(PhotoError::Empty { file: path.to_owned() });
    }
    let (camera, stored) = if jpeg::is_jpeg(&bytes) {
        let segments = jpeg::walk(&bytes);
        let facts = segments.exif.map(CameraFacts::of_exif).unwrap_or_default();
        let camera = CameraFacts { coding_u: segments.coding_u, ..facts };
        (camera, jpeg::decode(path, &bytes, &segments, limits)?)
    } else if let Some(read) = heic(path, &bytes, limits) {
        read?
    } else {
        let stored = decode_other(path, &bytes, limits)?;
        let camera = CameraFacts { pictures: stored.pictures, ..CameraFacts::of_file(&bytes, stored.page) };
        (camera, stored.rgb)
    };
    drop(bytes);
    Ok(Photo {
        name: path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned(),
        rgb: camera.orientation.apply(stored),
        camera,
    })
}

/// A picture and what its metadata say.
type Decoded = (CameraFacts, Raster<[u8; 3]>);

/// HEIC, where it is built in; `None` for any other file.
#[cfg(feature = "heic")]
fn heic(path: &Path, bytes: &[u8], limits: &Limits) -> Option<Result<Decoded, PhotoError>> {
    super::heic::is_heic(bytes).then(|| super::heic::decode(path, bytes, limits))
}

/// HEIC is not built in.
#[cfg(not(feature = "heic"))]
fn heic(_path: &Path, _bytes: &[u8], _limits: &Limits) -> Option<Result<Decoded, PhotoError>> {
    None
}

/// Checks a size that a header claims.
pub(super) fn within(path: &Path, limits: &Limits, width: u64, height: u64) -> Result<(), PhotoError> {
    if width.saturating_mul(height) > u64::from(limits.max_megapixels) * 1_000_000 {
        return Err(PhotoError::TooLarge { file: path.to_owned(), width, height, limit: limits.max_megapixels });
    }
    Ok(())
}

/// Groups interleaved bytes into pixels.
#[cfg(feature = "heic")]
pub(super) fn raster_of_bytes(width: usize, height: usize, bytes: Vec<u8>) -> Option<Raster<[u8; 3]>> {
    let (pixels, rest) = bytes.as_chunks::<3>();
    if !rest.is_empty() {
        return None;
    }
    Raster::from_samples(width, height, pixels.to_vec())
}

/// A picture as stored, and what the file says of others in it.
pub(super) struct Stored {
    pub(super) rgb: Raster<[u8; 3]>,
    /// Pages or frames in the file, 1 for most.
    pub(super) pictures: u32,
    /// Which of them this is, from 0.
    pub(super) page: u16,
}

fn decode_other(path: &Path, bytes: &[u8], limits: &Limits) -> Result<Stored, PhotoError> {
    match image::guess_format(bytes).ok() {
        Some(ImageFormat::Png) => png::decode(path, bytes, limits),
        Some(ImageFormat::Tiff) => tiff::decode(path, bytes, limits),
        Some(ImageFormat::WebP) => webp(path, bytes, limits),
        _ => Err(PhotoError::UnknownFormat { file: path.to_owned(), advice: advice_for(bytes) }),
    }
}

fn webp(path: &Path, bytes: &[u8], limits: &Limits) -> Result<Stored, PhotoError> {
    let damaged = |detail: String| PhotoError::Damaged { file: path.to_owned(), detail };
    let refused = |error: ImageError| match error {
        ImageError::Limits(_) => PhotoError::TooMuchMemory { file: path.to_owned(), limit: limits.max_megapixels },
        ImageError::Unsupported(what) => PhotoError::Unsupported { file: path.to_owned(), what: what.to_string() },
        other => damaged(other.to_string()),
    };
    // RIFF: the length of what follows the first eight bytes. The decoder stops at the last pixel and does not look.
    let length = bytes.get(4..8).and_then(|b| b.first_chunk::<4>()).map(|b| u64::from(u32::from_le_bytes(*b)));
    if length.is_none_or(|length| length + 8 > bytes.len() as u64) {
        return Err(damaged("it stops before its end".to_owned()));
    }
    let decoder = WebPDecoder::new(Cursor::new(bytes)).map_err(refused)?;
    let (width, height) = decoder.dimensions();
    within(path, limits, u64::from(width), u64::from(height))?;
    let moving = decoder.has_animation();
    // Four bytes a pixel for what is unpacked, and as many for a frame's canvas or a fourth channel.
    let decoders_own = u64::from(width) * u64::from(height) * if moving { 12 } else { 8 };
    room::check(path, limits, u64::from(width), u64::from(height), decoders_own)?;
    let pictures = if moving { frames(bytes).max(1) } else { 1 };
    let (width, height) = (width as usize, height as usize);
    let rgb = if decoder.color_type() == ColorType::Rgba8 {
        let mut rgba = vec![[0u8; 4]; width * height];
        decoder.read_image(rgba.as_flattened_mut()).map_err(refused)?;
        laid_on_white(rgba, width, height)
    } else {
        // Straight into the picture: a copy would double the memory.
        let mut picture = Raster::filled(width, height, [0u8; 3]);
        decoder.read_image(picture.samples_mut().as_flattened_mut()).map_err(refused)?;
        picture
    };
    Ok(Stored { rgb, pictures, page: 0 })
}

/// Frames of an animated WebP. Source: RFC 9649, 2.3 and 2.7: chunks of a name, a length and their content, padded to
/// even lengths; ANMF holds a frame.
fn frames(bytes: &[u8]) -> u32 {
    let (mut at, mut found) = (12usize, 0);
    while let Some([n0, n1, n2, n3, length @ ..]) = bytes.get(at..).and_then(|rest| rest.first_chunk::<8>()) {
        found += u32::from([*n0, *n1, *n2, *n3] == *b"ANMF");
        let length = u32::from_le_bytes(*length) as usize;
        at = at.saturating_add(8).saturating_add(length).saturating_add(length % 2);
    }
    found
}

/// Parts in which a picture with a fourth channel is given back while the one without it is filled.
const PARTS: usize = 16;

/// The picture without its fourth channel. From the end on what has been taken over is given back, so that the two are never
/// in memory whole.
fn laid_on_white(mut rgba: Vec<[u8; 4]>, width: usize, height: usize) -> Raster<[u8; 3]> {
    let mut picture = Raster::filled(width, height, [0u8; 3]);
    let part = rgba.len().div_ceil(PARTS).max(1);
    for out in picture.samples_mut().rchunks_mut(part) {
        let taken = rgba.split_off(rgba.len().saturating_sub(out.len()));
        rgba.shrink_to_fit();
        out.iter_mut().zip(taken).for_each(|(out, pixel)| *out = on_white(pixel));
    }
    picture
}

/// A pixel in front of white paper.
pub(super) fn on_white([r, g, b, a]: [u8; 4]) -> [u8; 3] {
    [r, g, b].map(|c| ((u32::from(c) * u32::from(a) + 255 * (255 - u32::from(a)) + 127) / 255) as u8)
}

/// Eight-bit RGB; what is transparent shows white paper.
#[cfg(feature = "heic")]
pub(super) fn over_white(picture: image::DynamicImage) -> image::RgbImage {
    if !picture.color().has_alpha() {
        return picture.into_rgb8();
    }
    let rgba = picture.into_rgba8();
    image::RgbImage::from_fn(rgba.width(), rgba.height(), |x, y| image::Rgb(on_white(rgba.get_pixel(x, y).0)))
}

fn advice_for(bytes: &[u8]) -> &'static str {
    let heif = bytes.get(4..12).is_some_and(|b| b.starts_with(b"ftyp"));
    if heif {
        "it looks like HEIC or AVIF: export it as JPEG, or set the phone's camera to its most compatible format \
         (HEIC can be built in, see the README)"
    } else {
        "export it as JPEG or PNG"
    }
}
