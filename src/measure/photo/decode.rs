//! From bytes to pixels: strict, and never more memory than the limits allow.

use std::io::Cursor;
use std::path::Path;

use image::{ColorType, ImageDecoder, ImageError, ImageFormat, ImageReader};

use super::error::PhotoError;
use super::facts::CameraFacts;
use super::file::bytes_of;
use super::{Limits, Photo, jpeg, room};
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
        (CameraFacts::of_file(&bytes), decode_other(path, &bytes, limits)?)
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
pub(super) fn raster_of_bytes(width: usize, height: usize, bytes: Vec<u8>) -> Option<Raster<[u8; 3]>> {
    let (pixels, rest) = bytes.as_chunks::<3>();
    if !rest.is_empty() {
        return None;
    }
    Raster::from_samples(width, height, pixels.to_vec())
}

fn decode_other(path: &Path, bytes: &[u8], limits: &Limits) -> Result<Raster<[u8; 3]>, PhotoError> {
    let damaged = |detail: String| PhotoError::Damaged { file: path.to_owned(), detail };
    let refused = |error: ImageError| match error {
        ImageError::Limits(_) => PhotoError::TooMuchMemory { file: path.to_owned(), limit: limits.max_megapixels },
        other => damaged(other.to_string()),
    };
    let format = image::guess_format(bytes).ok();
    let Some(format @ (ImageFormat::Png | ImageFormat::Tiff | ImageFormat::WebP)) = format else {
        return Err(PhotoError::UnknownFormat { file: path.to_owned(), advice: advice_for(bytes) });
    };
    if stops_short(format, bytes) {
        return Err(damaged("it stops before its end".to_owned()));
    }
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    let mut bounds = image::Limits::default();
    // The largest pixel has four channels of two bytes; a small picture needs some room for tables too.
    bounds.max_alloc = Some((u64::from(limits.max_megapixels) * 1_000_000 * 8).max(16 << 20));
    reader.limits(bounds);
    let decoder = reader.into_decoder().map_err(refused)?;
    let (width, height) = decoder.dimensions();
    within(path, limits, u64::from(width), u64::from(height))?;
    room::check(path, u64::from(width), u64::from(height), decoder.total_bytes())?;
    if decoder.color_type() == ColorType::Rgb8 {
        // Straight into the picture: a copy would double the memory.
        let mut picture = Raster::filled(width as usize, height as usize, [0u8; 3]);
        decoder.read_image(picture.samples_mut().as_flattened_mut()).map_err(refused)?;
        return Ok(picture);
    }
    if decoder.color_type() == ColorType::Rgba8 {
        let mut rgba = vec![[0u8; 4]; width as usize * height as usize];
        decoder.read_image(rgba.as_flattened_mut()).map_err(refused)?;
        return Ok(laid_on_white(rgba, width as usize, height as usize));
    }
    let picture = image::DynamicImage::from_decoder(decoder).map_err(refused)?;
    let rgb = over_white(picture);
    raster_of_bytes(width as usize, height as usize, rgb.into_raw())
        .ok_or_else(|| damaged("fewer pixels than its header says".to_owned()))
}

/// Whether the container says that more should follow than is there. Decoders stop at the last pixel and do not look.
/// (A TIFF points forwards and backwards; its decoder finds what is missing.)
fn stops_short(format: ImageFormat, bytes: &[u8]) -> bool {
    match format {
        ImageFormat::Png => !png_ends(bytes),
        // RIFF: the length of what follows the first eight bytes.
        ImageFormat::WebP => bytes
            .get(4..8)
            .and_then(|b| b.first_chunk::<4>())
            .is_none_or(|length| u64::from(u32::from_le_bytes(*length)) + 8 > bytes.len() as u64),
        _ => false,
    }
}

/// Whether the chunks reach a whole IEND. Source: PNG (ISO/IEC 15948), 5.3: length, type, data, checksum.
fn png_ends(bytes: &[u8]) -> bool {
    let mut at = 8usize;
    while let Some(head) = bytes.get(at..).and_then(|rest| rest.first_chunk::<8>()) {
        let [l3, l2, l1, l0, kind @ ..] = *head;
        let length = u32::from_be_bytes([l3, l2, l1, l0]) as usize;
        at = at.saturating_add(length).saturating_add(12);
        if &kind == b"IEND" {
            return at <= bytes.len();
        }
    }
    false
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
fn on_white([r, g, b, a]: [u8; 4]) -> [u8; 3] {
    [r, g, b].map(|c| ((u32::from(c) * u32::from(a) + 255 * (255 - u32::from(a)) + 127) / 255) as u8)
}

/// Eight-bit RGB; what is transparent shows white paper.
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
