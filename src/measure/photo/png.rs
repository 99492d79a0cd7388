//! PNG: row by row into the picture, so that 16 bits and a fourth channel cost no memory; what it carries beside the
//! pixels (texts, a colour profile, all of which may unpack to any size) is left packed.

use std::io::Cursor;
use std::path::Path;

use png::{BitDepth, ColorType, Decoder, DecodingError, Transformations};

use super::decode::{Stored, on_white, within};
use super::error::PhotoError;
use super::{Limits, room};
use crate::base::raster::Raster;

/// What the decoder may hold beside a row: a chunk's head, a palette, tables.
const TABLES: usize = 1 << 20;

/// Decodes; the size in the header is checked before memory is taken.
pub(super) fn decode(path: &Path, bytes: &[u8], limits: &Limits) -> Result<Stored, PhotoError> {
    let damaged = |detail: String| PhotoError::Damaged { file: path.to_owned(), detail };
    let refused = |error: DecodingError| match error {
        DecodingError::LimitsExceeded => {
            PhotoError::TooMuchMemory { file: path.to_owned(), limit: limits.max_megapixels }
        }
        other => damaged(other.to_string()),
    };
    let Some((width, height)) = size(bytes) else { return Err(damaged("no size in its header".to_owned())) };
    within(path, limits, u64::from(width), u64::from(height))?;
    if !ends(bytes) {
        return Err(damaged("it stops before its end".to_owned()));
    }
    // The decoder keeps this row and the one before it, packed and unpacked; a sample has at most four channels of two
    // bytes.
    let rows = 4 * 8 * u64::from(width);
    room::check(path, limits, u64::from(width), u64::from(height), rows)?;
    let allowed = usize::try_from(rows).unwrap_or(usize::MAX).saturating_add(TABLES);
    let mut decoder = Decoder::new_with_limits(Cursor::new(bytes), png::Limits { bytes: allowed });
    decoder.set_ignore_text_chunk(true);
    decoder.set_ignore_iccp_chunk(true);
    decoder.set_transformations(Transformations::EXPAND);
    let mut reader = decoder.read_info().map_err(refused)?;
    let pictures = reader.info().animation_control.map_or(1, |a| a.num_frames.max(1));
    let (colours, depth) = reader.output_color_type();
    let width = width as usize;
    let mut rgb = Raster::filled(width, height as usize, [0u8; 3]);
    let mut unpacked = vec![[0u8; 3]; width];
    let mut y = 0;
    while let Some(row) = reader.next_interlaced_row().map_err(refused)? {
        if let png::InterlaceInfo::Adam7(place) = row.interlace() {
            let count = show(row.data(), colours, depth, &mut unpacked);
            let part = unpacked.get(..count).unwrap_or_default().as_flattened();
            png::expand_interlaced_row(rgb.samples_mut().as_flattened_mut(), 3 * width, part, place, 24);
        } else if y < rgb.height() {
            show(row.data(), colours, depth, rgb.row_mut(y));
            y += 1;
        }
    }
    Ok(Stored { rgb, pictures, page: 0 })
}

/// Width and height. Source: PNG (ISO/IEC 15948), 11.2.2: the first chunk is IHDR and begins with them.
fn size(bytes: &[u8]) -> Option<(u32, u32)> {
    let head = bytes.get(12..24)?.strip_prefix(b"IHDR")?;
    let [w3, w2, w1, w0, h3, h2, h1, h0] = *head.first_chunk::<8>()?;
    Some((u32::from_be_bytes([w3, w2, w1, w0]), u32::from_be_bytes([h3, h2, h1, h0])))
}

/// Whether the chunks reach a whole IEND; decoders stop at the last pixel and do not look. Source: PNG (ISO/IEC 15948),
/// 5.3: length, type, data, checksum.
fn ends(bytes: &[u8]) -> bool {
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

/// A row's samples as pixels in front of white paper; how many there were.
fn show(row: &[u8], colours: ColorType, depth: BitDepth, out: &mut [[u8; 3]]) -> usize {
    if depth == BitDepth::Sixteen {
        // To the nearest of eight bits: 65535 / 255 = 257.
        let wide = row.as_chunks::<2>().0.iter().map(|b| ((u32::from(u16::from_be_bytes(*b)) + 128) / 257) as u8);
        lay(wide, colours, out)
    } else {
        lay(row.iter().copied(), colours, out)
    }
}

fn lay(mut samples: impl Iterator<Item = u8>, colours: ColorType, out: &mut [[u8; 3]]) -> usize {
    let mut count = 0;
    let mut next = || samples.next();
    for pixel in out {
        let shown = match colours {
            ColorType::Grayscale => next().map(|g| [g; 3]),
            ColorType::GrayscaleAlpha => next().zip(next()).map(|(g, a)| on_white([g, g, g, a])),
            ColorType::Rgba => match (next(), next(), next(), next()) {
                (Some(r), Some(g), Some(b), Some(a)) => Some(on_white([r, g, b, a])),
                _ => None,
            },
            // A palette was made into these.
            ColorType::Rgb | ColorType::Indexed => match (next(), next(), next()) {
                (Some(r), Some(g), Some(b)) => Some([r, g, b]),
                _ => None,
            },
        };
        let Some(shown) = shown else { break };
        *pixel = shown;
        count += 1;
    }
    count
}
