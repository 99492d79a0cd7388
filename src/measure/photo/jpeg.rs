//! JPEG: its segments are walked first, so that a file which stops before its end is refused whatever a decoder makes
//! of it; then it is decoded strictly, straight into the picture.

use std::path::Path;

use memchr::memchr;
use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

use super::decode::within;
use super::error::PhotoError;
use super::{Limits, room};
use crate::base::raster::Raster;

/// Longest side. The decoder's own cap: with it raised, a tiny file can cost gigabytes.
const MAX_SIDE_PX: u16 = 16_384;

const START_OF_IMAGE: u8 = 0xd8;
const END_OF_IMAGE: u8 = 0xd9;
const START_OF_SCAN: u8 = 0xda;
const QUANTISATION: u8 = 0xdb;
const APPLICATION_1: u8 = 0xe1;
const EXIF_HEAD: &[u8] = b"Exif\0\0";

/// What the walk over the segments finds.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Segments<'a> {
    /// The first EXIF block.
    pub(super) exif: Option<&'a [u8]>,
    /// Width and height that the frame claims, px.
    pub(super) size: Option<(u16, u16)>,
    /// Whether the frame is progressive.
    pub(super) progressive: bool,
    /// Standard uncertainty of a shade from the steps to which the coefficients of brightness are rounded, code values.
    pub(super) coding_u: f64,
    /// A way of coding that is not read.
    pub(super) unread: Option<&'static str>,
    /// Whether the end marker is reached.
    pub(super) complete: bool,
}

/// Whether the bytes begin as a JPEG does.
pub(super) fn is_jpeg(bytes: &[u8]) -> bool {
    bytes.starts_with(&[0xff, START_OF_IMAGE])
}

/// Walks the markers from the start to the end of the image. What follows the end marker (phones append films and
/// depth maps) does not matter.
///
/// Source: ITU-T T.81, B.1: a segment's length counts itself; within a scan 0xff is followed by 0x00 or a restart
/// marker (0xd0 to 0xd7), so anything else there is the next marker.
pub(super) fn walk(bytes: &[u8]) -> Segments<'_> {
    let mut found = Segments::default();
    let mut at = 2;
    while let Some((marker, after)) = next_marker(bytes, at) {
        if marker == END_OF_IMAGE {
            found.complete = true;
            return found;
        }
        if matches!(marker, START_OF_IMAGE | 0x01 | 0xd0..=0xd7) {
            at = after;
            continue;
        }
        let Some([high, low]) = bytes.get(after..).and_then(<[u8]>::first_chunk::<2>) else { return found };
        let length = usize::from(u16::from_be_bytes([*high, *low]));
        let Some(segment) = bytes.get(after + 2..after + length.max(2)) else { return found };
        if marker == APPLICATION_1 && found.exif.is_none() {
            found.exif = segment.strip_prefix(EXIF_HEAD);
        }
        if marker == QUANTISATION {
            found.coding_u = coding_u(segment).unwrap_or(found.coding_u);
        }
        // Frames are 0xc0 to 0xcf without tables (0xc4), extensions (0xc8) and conditioning (0xcc); after the precision
        // stand height and width. Source: ITU-T T.81, B.2.2.
        if let (0xc0..=0xc3 | 0xc5..=0xc7 | 0xc9..=0xcb | 0xcd..=0xcf, None, [bits, h1, h0, w1, w0, ..]) =
            (marker, found.size, segment)
        {
            found.unread = unread(marker, *bits);
            found.size = Some((u16::from_be_bytes([*w1, *w0]), u16::from_be_bytes([*h1, *h0])));
            found.progressive = matches!(marker, 0xc2 | 0xc6 | 0xca | 0xce);
        }
        at = after + length.max(2);
        if marker == START_OF_SCAN {
            at = end_of_scan(bytes, at);
        }
    }
    found
}

/// Coefficients that count, in the order in which a table holds them (T.81, figure A.6): waves of at most one and a half periods
/// a block, 5 px and longer, which place an edge. The loss of finer ones blurs, which is seen and measured.
const COARSE_COEFFICIENTS: usize = 10;

/// Standard uncertainty of a shade from a segment of quantisation tables, if it defines table 0, that of brightness.
///
/// A coefficient is off by its step over the root of twelve; the transform keeps squares, so that each pixel of the 64 has a
/// 64th of their sum. Source: ITU-T T.81, A.3.3 and B.2.4.1.
fn coding_u(segment: &[u8]) -> Option<f64> {
    let mut rest = segment;
    while let Some((head, tables)) = rest.split_first() {
        let bytes = if head >> 4 == 0 { 1 } else { 2 };
        let (table, others) = tables.split_at_checked(64 * bytes)?;
        if head & 0x0f == 0 {
            let steps =
                table.chunks_exact(bytes).map(|step| step.iter().fold(0.0, |all, b| 256.0 * all + f64::from(*b)));
            let squares: f64 = steps.take(COARSE_COEFFICIENTS).map(|step: f64| step * step).sum();
            return Some((squares / 12.0 / 64.0).sqrt());
        }
        rest = others;
    }
    None
}

/// What is not read of the frames that there are. Source: ITU-T T.81, table B.1.
fn unread(marker: u8, bits: u8) -> Option<&'static str> {
    match marker {
        0xc3 | 0xc7 | 0xcb | 0xcf => Some("a lossless JPEG"),
        0xc5 | 0xc6 | 0xcd | 0xce => Some("a hierarchical JPEG"),
        0xc9 | 0xca => Some("a JPEG with arithmetic coding"),
        _ if bits != 8 => Some("a JPEG with samples of more than 8 bits"),
        _ => None,
    }
}

/// The next marker's code and where its segment begins; fill bytes and strays before it are passed over.
fn next_marker(bytes: &[u8], from: usize) -> Option<(u8, usize)> {
    let start = from + memchr(0xff, bytes.get(from..)?)?;
    let code = start + bytes.get(start..)?.iter().position(|b| *b != 0xff)?;
    Some((*bytes.get(code)?, code + 1))
}

/// Where the scan's data stop: at the first marker that is no restart.
fn end_of_scan(bytes: &[u8], from: usize) -> usize {
    let mut at = from;
    while let Some(step) = bytes.get(at..).and_then(|rest| memchr(0xff, rest)) {
        at += step;
        match bytes.get(at + 1) {
            Some(0x00 | 0xd0..=0xd7) => at += 2,
            Some(0xff) => at += 1,
            _ => return at,
        }
    }
    bytes.len()
}

/// Decodes strictly; the size that the walk found is checked before memory is taken.
pub(super) fn decode(
    path: &Path,
    bytes: &[u8],
    segments: &Segments<'_>,
    limits: &Limits,
) -> Result<Raster<[u8; 3]>, PhotoError> {
    let damaged = |detail: String| PhotoError::Damaged { file: path.to_owned(), detail };
    if let Some((width, height)) = segments.size {
        within(path, limits, u64::from(width), u64::from(height))?;
        if width.max(height) > MAX_SIDE_PX {
            return Err(PhotoError::TooLong { file: path.to_owned(), limit: MAX_SIDE_PX });
        }
    }
    if let Some(what) = segments.unread.filter(|_| segments.complete) {
        return Err(PhotoError::Unsupported { file: path.to_owned(), what: what.to_owned() });
    }
    let options = DecoderOptions::default().set_strict_mode(true).jpeg_set_out_colorspace(ColorSpace::RGB);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
    decoder.decode_headers().map_err(|e| damaged(e.to_string()))?;
    let (width, height) = decoder.dimensions().ok_or_else(|| damaged("no size in its header".to_owned()))?;
    within(path, limits, width as u64, height as u64)?;
    if !segments.complete {
        return Err(damaged("it stops before its end".to_owned()));
    }
    // A progressive file's coefficients, two bytes a sample, are all in memory before the first pixel.
    let decoders_own = if segments.progressive { 6 * (width as u64) * (height as u64) } else { 0 };
    room::check(path, limits, width as u64, height as u64, decoders_own)?;
    let mut picture = Raster::filled(width, height, [0u8; 3]);
    let room = picture.samples_mut().as_flattened_mut();
    if decoder.output_buffer_size() != Some(room.len()) {
        let what = "a JPEG whose colours cannot be shown as red, green and blue".to_owned();
        return Err(PhotoError::Unsupported { file: path.to_owned(), what });
    }
    decoder.decode_into(room).map_err(|e| damaged(e.to_string()))?;
    Ok(picture)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Start, an EXIF block, a comment that holds an end marker, a scan with a stuffed byte and a restart, the end.
    const WHOLE: &[u8] = b"\xff\xd8\xff\xc0\x00\x08\x08\x00\x30\x00\x40\x03\xff\xe1\x00\x0aExif\0\0II\xff\xfe\x00\x05\xff\xd9x\xff\xda\x00\x03\x01ab\xff\x00c\xff\xd0d\xff\xff\xd9more";

    #[test]
    fn segments_are_walked_to_the_end_of_the_image() {
        let found = walk(WHOLE);
        assert!(found.complete);
        assert_eq!(found.exif, Some(&b"II"[..]));
        assert_eq!(found.size, Some((64, 48)));
    }

    /// The example table of brightness of ITU-T T.81, K.1: its first ten steps are 16 11 12 14 12 10 16 14 13 14, by hand 1.522.
    #[test]
    fn steps_of_coefficients_tell_how_far_a_shade_is_off() {
        let mut table = vec![16u8, 11, 12, 14, 12, 10, 16, 14, 13, 14];
        table.resize(64, 99);
        let segment = |head: u8, step: &[u8]| [&[head], step].concat();
        let by_hand = 1.522;
        let near = |found: Option<f64>, expected: f64| found.is_some_and(|u| (u - expected).abs() < 1e-3);
        assert!(near(coding_u(&segment(0x00, &table)), by_hand));
        let deep: Vec<u8> = table.iter().flat_map(|s| (u16::from(*s) * 20).to_be_bytes()).collect();
        assert!(near(coding_u(&segment(0x10, &deep)), 20.0 * coding_u(&segment(0, &table)).unwrap()));
        assert!(near(coding_u(&[segment(0x01, &[1; 64]), segment(0x00, &table)].concat()), by_hand));
        assert_eq!(coding_u(&segment(0x01, &table)), None, "the table of colour");
        assert_eq!(coding_u(&segment(0x00, &table[..63])), None);
    }

    #[test]
    fn every_cut_before_the_end_is_incomplete() {
        let end = WHOLE.len() - b"more".len();
        for cut in 0..end {
            assert!(!walk(&WHOLE[..cut]).complete, "cut at {cut}");
        }
        assert!(walk(&WHOLE[..end]).complete);
    }
}
