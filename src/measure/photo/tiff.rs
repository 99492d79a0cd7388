//! TIFF: strip by strip or tile by tile into the picture, whatever a sample is made of; of several pages the first that
//! is no reduced copy.

use std::io::Cursor;
use std::path::Path;

use tiff::decoder::{Decoder, DecodingResult};
use tiff::tags::{CompressionMethod, Tag};
use tiff::{ColorType, TiffError};

use super::decode::{Stored, on_white, within};
use super::error::PhotoError;
use super::{Limits, jpeg, room};
use crate::base::raster::Raster;

type Reader<'a> = Decoder<Cursor<&'a [u8]>>;

/// Decodes; sizes in the file are checked before memory is taken.
pub(super) fn decode(path: &Path, bytes: &[u8], limits: &Limits) -> Result<Stored, PhotoError> {
    let file = Named { path, limits };
    let mut reader = Decoder::new(Cursor::new(bytes)).map_err(|e| file.refused(e))?;
    let (page, pictures) = choose(&mut reader).map_err(|e| file.refused(e))?;
    let (width, height) = reader.dimensions().map_err(|e| file.refused(e))?;
    within(path, limits, u64::from(width), u64::from(height))?;
    let layout = Layout::of(&mut reader, &file)?;
    // What is packed as JPEG is unpacked whole before it is copied.
    let chunk = layout.bytes_of_chunk().saturating_mul(if layout.jpeg { 2 } else { 1 });
    room::check(path, limits, u64::from(width), u64::from(height), chunk)?;
    if layout.jpeg && !jpegs_fit(&mut reader, bytes, &layout) {
        return Err(file.damaged("a part of it claims to be larger than its place"));
    }
    let most = usize::try_from(chunk).unwrap_or(usize::MAX);
    let mut allowed = tiff::decoder::Limits::default();
    allowed.decoding_buffer_size = most;
    allowed.intermediate_buffer_size = most.max(allowed.intermediate_buffer_size);
    let mut reader = reader.with_limits(allowed);
    let mut rgb = Raster::filled(width as usize, height as usize, [0u8; 3]);
    for plane in 0..layout.planes {
        for index in 0..layout.across * layout.down {
            let at = layout.place(index, plane, width as usize, height as usize);
            let number = u32::try_from(plane * layout.across * layout.down + index).unwrap_or(u32::MAX);
            let samples = reader.read_chunk(number).map_err(|e| file.refused(e))?;
            fill(&mut rgb, &layout, &at, &samples).map_err(|wrong| match wrong {
                Wrong::Short => file.damaged("fewer pixels than its header says"),
                Wrong::Unsupported(what) => file.unsupported(what.to_owned()),
            })?;
        }
    }
    Ok(Stored { rgb, pictures, page: u16::try_from(page).unwrap_or(u16::MAX) })
}

/// The file, for errors.
struct Named<'a> {
    path: &'a Path,
    limits: &'a Limits,
}

impl Named<'_> {
    fn damaged(&self, detail: &str) -> PhotoError {
        PhotoError::Damaged { file: self.path.to_owned(), detail: detail.to_owned() }
    }

    fn unsupported(&self, what: String) -> PhotoError {
        PhotoError::Unsupported { file: self.path.to_owned(), what }
    }

    fn refused(&self, error: TiffError) -> PhotoError {
        match error {
            TiffError::UnsupportedError(what) => self.unsupported(format!("a TIFF with a feature ({what})")),
            TiffError::LimitsExceeded => {
                PhotoError::TooMuchMemory { file: self.path.to_owned(), limit: self.limits.max_megapixels }
            }
            other => self.damaged(&other.to_string()),
        }
    }
}

/// Goes to the first page that is no reduced copy; its number and how many pages there are beside copies and masks.
///
/// Source: TIFF 6.0, "NewSubfileType": bit 0 marks a reduced copy, bit 2 a mask. Not every writer marks its small copy, so
/// a page with a quarter of the largest one's pixels or less (half its sides) is one too.
fn choose(reader: &mut Reader<'_>) -> Result<(usize, u32), TiffError> {
    let mut pages: Vec<(usize, u64)> = Vec::new();
    let mut index = 0;
    loop {
        let (width, height) = reader.dimensions()?;
        let kind = reader.find_tag_unsigned::<u32>(Tag::NewSubfileType).ok().flatten().unwrap_or(0);
        if kind & 0b101 == 0 {
            pages.push((index, u64::from(width) * u64::from(height)));
        }
        // What follows a page and cannot be read is no reason to refuse the page.
        if !reader.more_images() || reader.next_image().is_err() {
            break;
        }
        index += 1;
    }
    let largest = pages.iter().map(|(_, pixels)| *pixels).max().unwrap_or(0);
    let chosen = pages.iter().find(|(_, pixels)| pixels.saturating_mul(4) > largest).map_or(0, |(index, _)| *index);
    reader.seek_to_image(chosen)?;
    Ok((chosen, u32::try_from(pages.len()).unwrap_or(u32::MAX).max(1)))
}

/// What the fourth sample of a pixel, or the second of grey, does to it.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Last {
    /// There is none.
    Nothing,
    /// Transparency.
    Alpha,
    /// Transparency, with which the colours are multiplied already.
    AssociatedAlpha,
    /// Black ink; the others are cyan, magenta and yellow.
    Black,
    /// Something else, which is passed over.
    Other,
}

/// How the pixels lie in the file.
struct Layout {
    /// Bits of a sample.
    bits: u8,
    /// Samples of a pixel that lie together.
    together: usize,
    /// 1, or as many as a pixel has samples where each lies in a plane of its own.
    planes: usize,
    /// 1 for grey, 3 for colours.
    colours: usize,
    last: Last,
    /// Size of a strip or tile, px.
    chunk: (usize, usize),
    across: usize,
    down: usize,
    /// Whether the chunks are packed as JPEG.
    jpeg: bool,
}

/// Where a chunk goes.
struct Place {
    left: usize,
    top: usize,
    width: usize,
    height: usize,
    /// The sample that it holds, where each lies in a plane of its own.
    plane: usize,
}

impl Layout {
    fn of(reader: &mut Reader<'_>, file: &Named<'_>) -> Result<Self, PhotoError> {
        let kind = reader.colortype().map_err(|e| file.refused(e))?;
        let number = |reader: &mut Reader<'_>, tag| reader.find_tag_unsigned::<u32>(tag).ok().flatten();
        let extra = reader.find_tag_unsigned_vec::<u16>(Tag::ExtraSamples).ok().flatten();
        // Source: TIFF 6.0, "ExtraSamples": 1 associated alpha, 2 unassociated, 0 unspecified. A fourth sample that is not
        // told is alpha by custom.
        let last = match extra.as_deref().and_then(<[u16]>::first) {
            Some(1) => Last::AssociatedAlpha,
            Some(0) => Last::Other,
            _ => Last::Alpha,
        };
        let (colours, last, samples) = match kind {
            ColorType::Gray(_) => (1, Last::Nothing, 1),
            ColorType::GrayA(_) => (1, last, 2),
            ColorType::Multiband { num_samples: 2, .. } if extra.is_some() => (1, last, 2),
            ColorType::RGB(_) => (3, Last::Nothing, 3),
            ColorType::RGBA(_) => (3, last, 4),
            ColorType::CMYK(_) => (3, Last::Black, 4),
            ColorType::Palette(_) => return Err(file.unsupported("a TIFF with a palette".to_owned())),
            ColorType::YCbCr(_) => return Err(file.unsupported("a TIFF in YCbCr".to_owned())),
            other => return Err(file.unsupported(format!("a TIFF of {other:?}"))),
        };
        // Source: TIFF 6.0, "SampleFormat": 1 unsigned (as where it is not told), 2 signed, 3 floating point, 4 undefined.
        let bits = kind.bit_depth();
        let format = reader.find_tag_unsigned_vec::<u16>(Tag::SampleFormat).ok().flatten();
        match (format.as_deref().and_then(<[u16]>::first).copied().unwrap_or(1), bits) {
            (1 | 4, 8 | 16 | 32 | 64) | (3, 16 | 32 | 64) => {}
            (1 | 4, 1 | 2 | 4) if samples == 1 => {}
            (format, bits) => {
                let name = match format {
                    1 | 4 => "unsigned",
                    2 => "signed",
                    3 => "floating-point",
                    _ => "unknown",
                };
                return Err(file.unsupported(format!("a TIFF with {name} samples of {bits} bits")));
            }
        }
        // 2: each sample in a plane of its own (TIFF 6.0, "PlanarConfiguration").
        let apart = number(reader, Tag::PlanarConfiguration) == Some(2);
        let jpeg = number(reader, Tag::Compression) == Some(u32::from(CompressionMethod::ModernJPEG.to_u16()));
        let (width, height) = reader.dimensions().map_err(|e| file.refused(e))?;
        let (w, h) = reader.chunk_dimensions();
        if w == 0 || h == 0 {
            return Err(file.damaged("strips or tiles without a size"));
        }
        Ok(Self {
            bits,
            together: if apart { 1 } else { samples },
            planes: if apart { samples } else { 1 },
            colours,
            last,
            // A strip may claim more rows than the picture has.
            chunk: (w as usize, h.min(height).max(1) as usize),
            across: width.div_ceil(w) as usize,
            down: height.div_ceil(h) as usize,
            jpeg,
        })
    }

    /// Bytes of an unpacked chunk.
    fn bytes_of_chunk(&self) -> u64 {
        let samples = (self.chunk.0 as u64).saturating_mul(self.chunk.1 as u64).saturating_mul(self.together as u64);
        samples.saturating_mul(u64::from(self.bits).div_ceil(8))
    }

    fn place(&self, index: usize, plane: usize, width: usize, height: usize) -> Place {
        let (left, top) = (index % self.across * self.chunk.0, index / self.across * self.chunk.1);
        Place {
            left,
            top,
            width: self.chunk.0.min(width.saturating_sub(left)),
            height: self.chunk.1.min(height.saturating_sub(top)),
            plane,
        }
    }
}

/// Whether every JPEG inside is no larger than its strip or tile: its decoder takes what its own header says. Sizes may be
/// rounded up to whole blocks of 16 px.
fn jpegs_fit(reader: &mut Reader<'_>, bytes: &[u8], layout: &Layout) -> bool {
    let list = |reader: &mut Reader<'_>, strips, tiles| {
        let read = |reader: &mut Reader<'_>, tag| reader.find_tag_unsigned_vec::<u64>(tag).ok().flatten();
        read(reader, strips).or_else(|| read(reader, tiles)).unwrap_or_default()
    };
    let offsets = list(reader, Tag::StripOffsets, Tag::TileOffsets);
    let lengths = list(reader, Tag::StripByteCounts, Tag::TileByteCounts);
    let most = (layout.chunk.0.next_multiple_of(16), layout.chunk.1.next_multiple_of(16));
    offsets.iter().zip(&lengths).all(|(offset, length)| {
        let range = usize::try_from(*offset).ok().zip(usize::try_from(offset.saturating_add(*length)).ok());
        let part = range.and_then(|(from, to)| bytes.get(from..to)).unwrap_or_default();
        let size = jpeg::walk(part).size;
        size.is_none_or(|(w, h)| usize::from(w) <= most.0 && usize::from(h) <= most.1)
    })
}

/// Why a chunk cannot be shown.
enum Wrong {
    Short,
    Unsupported(&'static str),
}

/// Puts a chunk in its place, each sample to the nearest of eight bits.
fn fill(rgb: &mut Raster<[u8; 3]>, layout: &Layout, at: &Place, samples: &DecodingResult) -> Result<(), Wrong> {
    match samples {
        DecodingResult::U8(v) if layout.bits < 8 => {
            // Several to a byte, the first in the high bits; rows begin at whole bytes.
            let (bits, most) = (usize::from(layout.bits), (1u16 << layout.bits) - 1);
            let row = (at.width * bits).div_ceil(8);
            put(rgb, layout, at, |y, i| {
                let byte = u16::from(*v.get(y * row + i * bits / 8)?);
                let code = (byte >> (8 - bits - i * bits % 8)) & most;
                Some((code * 255 / most) as u8)
            })
        }
        DecodingResult::U8(v) => put_all(rgb, layout, at, v, |s| s),
        DecodingResult::U16(v) => put_all(rgb, layout, at, v, |s| ((u32::from(s) + 128) / 257) as u8),
        DecodingResult::U32(v) => put_all(rgb, layout, at, v, |s| unit(f64::from(s) / f64::from(u32::MAX))),
        DecodingResult::U64(v) => put_all(rgb, layout, at, v, |s| unit(s as f64 / u64::MAX as f64)),
        // Floating point has no largest value of its own; by custom 0 is black and 1 is white.
        DecodingResult::F16(v) => put_floats(rgb, layout, at, v, |s| f64::from(s.to_f32())),
        DecodingResult::F32(v) => put_floats(rgb, layout, at, v, f64::from),
        DecodingResult::F64(v) => put_floats(rgb, layout, at, v, |s| s),
        DecodingResult::I8(_) | DecodingResult::I16(_) | DecodingResult::I32(_) | DecodingResult::I64(_) => {
            Err(Wrong::Unsupported("a TIFF with signed samples"))
        }
    }
}

/// 0 to 1 as a code value.
fn unit(share: f64) -> u8 {
    (share * 255.0).round() as u8
}

fn put_floats<T: Copy>(
    rgb: &mut Raster<[u8; 3]>,
    layout: &Layout,
    at: &Place,
    samples: &[T],
    value: impl Fn(T) -> f64,
) -> Result<(), Wrong> {
    if samples.iter().any(|s| !(0.0..=1.0).contains(&value(*s))) {
        return Err(Wrong::Unsupported("a TIFF with floating-point samples outside 0 to 1"));
    }
    put_all(rgb, layout, at, samples, |s| unit(value(s)))
}

fn put_all<T: Copy>(
    rgb: &mut Raster<[u8; 3]>,
    layout: &Layout,
    at: &Place,
    samples: &[T],
    code: impl Fn(T) -> u8,
) -> Result<(), Wrong> {
    let row = at.width * layout.together;
    put(rgb, layout, at, |y, i| samples.get(y * row + i).map(|s| code(*s)))
}

/// `code` gives the sample number `i` of row `y` of the chunk.
fn put(
    rgb: &mut Raster<[u8; 3]>,
    layout: &Layout,
    at: &Place,
    code: impl Fn(usize, usize) -> Option<u8>,
) -> Result<(), Wrong> {
    for y in 0..at.height {
        let Some(row) = rgb.row_mut(at.top + y).get_mut(at.left..at.left + at.width) else { return Err(Wrong::Short) };
        for (x, pixel) in row.iter_mut().enumerate() {
            for s in 0..layout.together {
                let sample = code(y, x * layout.together + s).ok_or(Wrong::Short)?;
                set(pixel, layout, at.plane + s, sample);
            }
        }
    }
    Ok(())
}

/// Takes over sample number `which` of a pixel; they come in order.
fn set(pixel: &mut [u8; 3], layout: &Layout, which: usize, sample: u8) {
    let ink = layout.last == Last::Black;
    if which < layout.colours {
        let sample = if ink { 255 - sample } else { sample };
        match pixel.get_mut(which) {
            Some(channel) if layout.colours == 3 => *channel = sample,
            _ => *pixel = [sample; 3],
        }
        return;
    }
    if which > layout.colours {
        return;
    }
    let [r, g, b] = *pixel;
    *pixel = match layout.last {
        Last::Alpha => on_white([r, g, b, sample]),
        Last::AssociatedAlpha => pixel.map(|c| c.saturating_add(255 - sample)),
        // Ink lets through what the black leaves.
        Last::Black => pixel.map(|c| ((u32::from(c) * u32::from(255 - sample) + 127) / 255) as u8),
        Last::Nothing | Last::Other => *pixel,
    };
}
