//! A picture as displayed becomes a JPEG file as a camera stores it, with EXIF.

use super::scene::SensorSpec;
use crate::base::raster::Raster;

/// Why a picture could not be encoded.
#[derive(Debug, thiserror::Error)]
#[error("a picture of {width} x {height} px could not be written as JPEG: {source}")]
pub struct EncodeError {
    /// Width as stored, px.
    pub width: usize,
    /// Height as stored, px.
    pub height: usize,
    /// What the encoder says.
    pub source: jpeg_encoder::EncodingError,
}

/// The place in the stored picture of a place in the displayed one. Sizes are those of the displayed picture.
///
/// Source: TIFF 6.0, "Orientation": the value says which side of the scene the stored first row and column are.
pub(super) fn stored_place(orientation: u8, width: f64, height: f64, x: f64, y: f64) -> [f64; 2] {
    let (right, bottom) = (width - 1.0 - x, height - 1.0 - y);
    match orientation {
        2 => [right, y],
        3 => [right, bottom],
        4 => [x, bottom],
        5 => [y, x],
        6 => [y, right],
        7 => [bottom, right],
        8 => [bottom, x],
        _ => [x, y],
    }
}

/// Whether width and height change places in the file.
pub(super) fn lies_sideways(orientation: u8) -> bool {
    (5..=8).contains(&orientation)
}

fn as_stored(shown: &Raster<[u8; 3]>, orientation: u8) -> Raster<[u8; 3]> {
    if orientation == 1 {
        return shown.clone();
    }
    let (width, height) = (shown.width(), shown.height());
    let (w, h) = if lies_sideways(orientation) { (height, width) } else { (width, height) };
    let mut out = Raster::filled(w, h, [0; 3]);
    for y in 0..height {
        for (x, pixel) in shown.row(y).iter().enumerate() {
            let [u, v] = stored_place(orientation, width as f64, height as f64, x as f64, y as f64);
            out.set(u as usize, v as usize, *pixel);
        }
    }
    out
}

/// Encodes the picture as the sensor's specification says.
///
/// # Errors
/// Fails where a side is 0 or above 65535 px.
pub fn encode(shown: &Raster<[u8; 3]>, sensor: &SensorSpec) -> Result<Vec<u8>, EncodeError> {
    let stored = as_stored(shown, sensor.orientation);
    let sampling =
        if sensor.half_colour { jpeg_encoder::SamplingFactor::R_4_2_0 } else { jpeg_encoder::SamplingFactor::R_4_4_4 };
    let exif = exif(sensor, stored.width() as u32, stored.height() as u32);
    encode_as(&stored, sensor.jpeg_quality, sampling, Some(&exif))
}

/// Encodes a picture as it is to be stored.
pub(super) fn encode_as(
    stored: &Raster<[u8; 3]>,
    quality: u8,
    sampling: jpeg_encoder::SamplingFactor,
    exif: Option<&[u8]>,
) -> Result<Vec<u8>, EncodeError> {
    let (width, height) = (stored.width(), stored.height());
    let fail = |source| EncodeError { width, height, source };
    let mut bytes = Vec::new();
    let mut encoder = jpeg_encoder::Encoder::new(&mut bytes, quality.clamp(1, 100));
    encoder.set_sampling_factor(sampling);
    if let Some(exif) = exif {
        encoder.add_exif_metadata(exif).map_err(fail)?;
    }
    let side = |v: usize| u16::try_from(v).unwrap_or(0);
    encoder
        .encode(stored.samples().as_flattened(), side(width), side(height), jpeg_encoder::ColorType::Rgb)
        .map_err(fail)?;
    Ok(bytes)
}

/// A field of an EXIF directory.
enum Field {
    Short(u16),
    Long(u32),
    Text(String),
    Ratio(u32, u32),
}

/// The EXIF block. Source: JEITA CP-3451 (Exif 2.3) over TIFF 6.0, little-endian.
fn exif(sensor: &SensorSpec, width: u32, height: u32) -> Vec<u8> {
    let mut main = vec![(0x0112, Field::Short(u16::from(sensor.orientation)))];
    main.push((0x011a, Field::Ratio(72, 1)));
    main.push((0x011b, Field::Ratio(72, 1)));
    main.push((0x0128, Field::Short(2)));
    if let Some(taken) = &sensor.taken {
        main.push((0x0132, Field::Text(taken.clone())));
    }
    let mut detail = Vec::new();
    if let Some(taken) = &sensor.taken {
        detail.push((0x9003, Field::Text(taken.clone())));
    }
    detail.push((0xa002, Field::Long(width)));
    detail.push((0xa003, Field::Long(height)));
    if let Some(focal) = sensor.focal_35mm {
        detail.push((0xa405, Field::Short(focal)));
    }
    // The detail directory follows the main one, which ends with the pointer to it.
    let main_size = 2 + 12 * (main.len() + 1) + 4;
    let main_extra: usize = main.iter().map(|(_, f)| extra(f)).sum();
    let start = 8 + main_size + main_extra;
    main.push((0x8769, Field::Long(start as u32)));
    let mut out = b"II*\0\x08\0\0\0".to_vec();
    directory(&mut out, &main);
    directory(&mut out, &detail);
    out
}

/// Bytes that a field needs beyond the four in its entry.
fn extra(field: &Field) -> usize {
    match field {
        Field::Short(_) | Field::Long(_) => 0,
        Field::Text(text) => (text.len() + 1).next_multiple_of(2),
        Field::Ratio(..) => 8,
    }
}

fn directory(out: &mut Vec<u8>, fields: &[(u16, Field)]) {
    let mut later = Vec::new();
    let begin = out.len() + 2 + 12 * fields.len() + 4;
    out.extend((fields.len() as u16).to_le_bytes());
    for (tag, field) in fields {
        let (kind, count, value) = match field {
            Field::Short(v) => (3u16, 1u32, u32::from(*v)),
            Field::Long(v) => (4, 1, *v),
            Field::Text(text) => (2, text.len() as u32 + 1, (begin + later.len()) as u32),
            Field::Ratio(..) => (5, 1, (begin + later.len()) as u32),
        };
        match field {
            Field::Text(text) => {
                later.extend(text.bytes());
                later.extend(std::iter::repeat_n(0, extra(field) - text.len()));
            }
            Field::Ratio(a, b) => {
                later.extend(a.to_le_bytes());
                later.extend(b.to_le_bytes());
            }
            _ => {}
        }
        out.extend(tag.to_le_bytes());
        out.extend(kind.to_le_bytes());
        out.extend(count.to_le_bytes());
        out.extend(value.to_le_bytes());
    }
    out.extend([0; 4]);
    out.extend(later);
}
