//! What the photo's metadata say: time, focal length, orientation. Never a scale: phones write 72 dpi.

use exif::{In, Reader, Tag, Value};

use super::orientation::Orientation;

/// When the photo was taken, as its metadata say it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TakenAt(pub String);

/// What the metadata say about time and camera; each is `None` where they are silent or absurd.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CameraFacts {
    /// RFC 3339 with offset where one is given, else local time without one.
    pub taken_at: Option<String>,
    /// `FocalLengthIn35mmFilm`, mm (1 to 2000). Whether it means the diagonal or the width is not stated by makers.
    pub focal_35mm_mm: Option<f64>,
    /// Resolution written in the file, dots per inch. Never a scale unless the person says so.
    pub written_dpi: Option<f64>,
    /// Orientation, already applied to the picture.
    pub orientation: Orientation,
    /// Standard uncertainty of a shade from lossy coding, as the file's own tables tell it, code values; 0 without any.
    pub coding_u: f64,
    /// Pages or frames in the file, of which the picture is the first full-size one; 0 and 1 where it is the only one.
    pub pictures: u32,
}

impl CameraFacts {
    /// Reads the EXIF block of a whole PNG, TIFF or WebP, of a TIFF what it says of page number `page` (from 0). Damaged or
    /// missing blocks give an empty answer.
    #[must_use]
    pub fn of_file(bytes: &[u8], page: u16) -> Self {
        Self::of(lenient().read_from_container(&mut std::io::Cursor::new(bytes)), In(page))
    }

    /// Reads an EXIF block by itself (what follows `Exif` in a JPEG). A damaged one gives an empty answer.
    #[must_use]
    pub fn of_exif(block: &[u8]) -> Self {
        Self::of(lenient().read_raw(block.to_vec()), In::PRIMARY)
    }

    fn of(block: Result<exif::Exif, exif::Error>, page: In) -> Self {
        let Ok(block) = block.or_else(|error| error.distill_partial_result(|_| {})) else { return Self::default() };
        let number = |tag, page| block.get_field(tag, page).and_then(|f| f.value.get_uint(0));
        Self {
            taken_at: taken_at(&block),
            focal_35mm_mm: number(Tag::FocalLengthIn35mmFilm, In::PRIMARY)
                .map(f64::from)
                .filter(|f| (1.0..=2000.0).contains(f)),
            written_dpi: written_dpi(&block, page),
            orientation: number(Tag::Orientation, page).map_or_else(Orientation::default, Orientation::from_tag),
            pictures: 1,
            coding_u: 0.0,
        }
    }
}

/// A reader that keeps what it could read of a damaged block.
fn lenient() -> Reader {
    let mut reader = Reader::new();
    reader.continue_on_error(true);
    reader
}

fn text(block: &exif::Exif, tag: Tag) -> Option<String> {
    match &block.get_field(tag, In::PRIMARY)?.value {
        Value::Ascii(lines) => String::from_utf8(lines.first()?.clone()).ok(),
        _ => None,
    }
}

/// `YYYY:MM:DD hh:mm:ss` (and an offset such as `+02:00`) as RFC 3339; `None` unless every field is in range.
fn taken_at(block: &exif::Exif) -> Option<String> {
    let stamp = text(block, Tag::DateTimeOriginal).or_else(|| text(block, Tag::DateTime))?;
    let (date, time) = stamp.trim().split_once(' ')?;
    let local: jiff::civil::DateTime = format!("{}T{time}", date.replace(':', "-")).parse().ok()?;
    let offset = text(block, Tag::OffsetTimeOriginal).or_else(|| text(block, Tag::OffsetTime));
    let offset = offset.map(|o| o.trim().to_owned()).filter(|o| {
        let b = o.as_bytes();
        b.len() == 6
            && matches!(b[0], b'+' | b'-')
            && b[3] == b':'
            && [1, 2, 4, 5].iter().all(|i| b[*i].is_ascii_digit())
    });
    Some(format!("{local}{}", offset.unwrap_or_default()))
}

fn written_dpi(block: &exif::Exif, page: In) -> Option<f64> {
    let Value::Rational(values) = &block.get_field(Tag::XResolution, page)?.value else { return None };
    let per_unit = values.first()?.to_f64();
    let unit = block.get_field(Tag::ResolutionUnit, page).and_then(|f| f.value.get_uint(0));
    let dpi = if unit == Some(3) { per_unit * 2.54 } else { per_unit };
    (dpi.is_finite() && (1.0..=100_000.0).contains(&dpi)).then_some(dpi)
}
