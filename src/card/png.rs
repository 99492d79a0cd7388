//! A drawing as pixels.

use std::io::Cursor;

use tiny_skia::{Color, FillRule, Paint, PathBuilder, Pixmap, Stroke as PenStroke, Transform};

use super::shapes::{Drawing, Rect, Shape, text_start};
use crate::base::font::{Stroke, text_outline};
use crate::base::raster::Raster;
use crate::base::units::MM_PER_INCH;

/// Largest picture, px: an A4 sheet at 1200 dpi and some.
const MAX_PIXELS: f64 = 150e6;

/// Why a drawing cannot become pixels.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum PngError {
    /// Resolution out of range.
    #[error("{0} dpi is not a resolution that this sheet can be drawn at; use 72 to 1200")]
    Resolution(f64),
    /// The encoder refuses.
    #[error("the picture could not be encoded")]
    Encoding,
}

/// The drawing as greys, `dpi` pixels to the inch, edges anti-aliased.
///
/// # Errors
/// [`PngError::Resolution`] outside 72 to 1200 dpi, or where the picture would be too large.
pub fn raster(drawing: &Drawing, dpi: f64) -> Result<Raster<u8>, PngError> {
    let k = dpi / MM_PER_INCH;
    let (width, height) = ((drawing.width * k).round(), (drawing.height * k).round());
    if !(72.0..=1200.0).contains(&dpi) || width * height > MAX_PIXELS || width < 1.0 || height < 1.0 {
        return Err(PngError::Resolution(dpi));
    }
    let mut map = Pixmap::new(width as u32, height as u32).ok_or(PngError::Resolution(dpi))?;
    map.fill(Color::WHITE);
    let to_pixels = Transform::from_scale(k as f32, k as f32);
    for shape in &drawing.shapes {
        let (path, grey, pen) = match shape {
            Shape::Fill { rects, grey } => (rectangles(rects), *grey, None),
            Shape::Outline { rect, radius, width, grey } => (round_rect(rect, *radius), *grey, Some(*width)),
            Shape::Text { at, anchor, size, text, grey } => {
                (letters(text_start(at.x, *anchor, *size, text), at.y, *size, text), *grey, None)
            }
        };
        let Some(path) = path else { continue };
        let mut paint = Paint::default();
        paint.set_color_rgba8(grey, grey, grey, 255);
        match pen {
            None => map.fill_path(&path, &paint, FillRule::Winding, to_pixels, None),
            Some(width) => {
                let pen = PenStroke { width: width as f32, ..PenStroke::default() };
                map.stroke_path(&path, &paint, &pen, to_pixels, None);
            }
        }
    }
    let greys = map.data().chunks_exact(4).map(|rgba| rgba[0]).collect();
    Raster::from_samples(width as usize, height as usize, greys).ok_or(PngError::Encoding)
}

/// The drawing as a grey PNG that says its resolution (pHYs).
///
/// # Errors
/// As [`raster`]; [`PngError::Encoding`] where the encoder refuses.
pub fn png(drawing: &Drawing, dpi: f64) -> Result<Vec<u8>, PngError> {
    let picture = raster(drawing, dpi)?;
    let mut bytes = Cursor::new(Vec::new());
    image::write_buffer_with_format(
        &mut bytes,
        picture.samples(),
        picture.width() as u32,
        picture.height() as u32,
        image::ExtendedColorType::L8,
        image::ImageFormat::Png,
    )
    .map_err(|_refused| PngError::Encoding)?;
    with_resolution(&bytes.into_inner(), dpi).ok_or(PngError::Encoding)
}

/// Inserts the pHYs chunk behind the header. Source: ISO/IEC 15948 (PNG), 11.3.4.3; the header chunk ends at byte 33.
fn with_resolution(png: &[u8], dpi: f64) -> Option<Vec<u8>> {
    let (header, rest) = png.split_at_checked(33)?;
    let per_metre = (dpi / MM_PER_INCH * 1000.0).round() as u32;
    let mut chunk = b"pHYs".to_vec();
    chunk.extend(per_metre.to_be_bytes());
    chunk.extend(per_metre.to_be_bytes());
    chunk.push(1);
    let mut out = header.to_vec();
    out.extend(9u32.to_be_bytes());
    out.extend(&chunk);
    out.extend(crc32(&chunk).to_be_bytes());
    out.extend(rest);
    Some(out)
}

/// CRC-32 as PNG counts it. Source: ISO/IEC 15948, annex D.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0u32, |crc, b| {
        (0..8).fold(crc ^ u32::from(*b), |c, _| if c & 1 == 1 { (c >> 1) ^ 0xedb8_8320 } else { c >> 1 })
    })
}

fn rectangles(rects: &[Rect]) -> Option<tiny_skia::Path> {
    let mut path = PathBuilder::new();
    for r in rects {
        path.push_rect(tiny_skia::Rect::from_xywh(r.x as f32, r.y as f32, r.width as f32, r.height as f32)?);
    }
    path.finish()
}

fn round_rect(rect: &Rect, radius: f64) -> Option<tiny_skia::Path> {
    let (l, t, r, b, q) = (rect.x as f32, rect.y as f32, rect.right() as f32, rect.bottom() as f32, radius as f32);
    // A quarter circle as a cubic: 4/3 (sqrt(2) - 1) of the radius, right to 0.03 %.
    let k = q * (1.0 - 0.552_284_8);
    let mut path = PathBuilder::new();
    path.move_to(l + q, t);
    path.line_to(r - q, t);
    path.cubic_to(r - k, t, r, t + k, r, t + q);
    path.line_to(r, b - q);
    path.cubic_to(r, b - k, r - k, b, r - q, b);
    path.line_to(l + q, b);
    path.cubic_to(l + k, b, l, b - k, l, b - q);
    path.line_to(l, t + q);
    path.cubic_to(l, t + k, l + k, t, l + q, t);
    path.close();
    path.finish()
}

fn letters(x: f64, y: f64, size: f64, text: &str) -> Option<tiny_skia::Path> {
    let mut path = PathBuilder::new();
    let at = |a: f64, b: f64| ((x + a) as f32, (y + b) as f32);
    for stroke in text_outline(text, size) {
        match stroke {
            Stroke::Move(a, b) => path.move_to(at(a, b).0, at(a, b).1),
            Stroke::Line(a, b) => path.line_to(at(a, b).0, at(a, b).1),
            Stroke::Quad(c, d, a, b) => path.quad_to(at(c, d).0, at(c, d).1, at(a, b).0, at(a, b).1),
            Stroke::Cubic(c, d, e, f, a, b) => {
                path.cubic_to(at(c, d).0, at(c, d).1, at(e, f).0, at(e, f).1, at(a, b).0, at(a, b).1);
            }
        }
    }
    path.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn crc_agrees_with_the_published_check_value() {
        // Source: the CRC-32/ISO-HDLC check value of "123456789" in common catalogues (from memory).
        assert_eq!(crc32(b"123456789"), 0xcbf4_3926);
    }

    #[test]
    fn a_rectangle_covers_its_pixels_and_the_file_says_its_resolution() {
        let drawing =
            Drawing { width: 25.4, height: 25.4, shapes: vec![Shape::rect(Rect::new(2.54, 2.54, 5.08, 2.54), 0)] };
        let picture = raster(&drawing, 100.0).unwrap();
        assert_eq!(picture.samples().iter().map(|v| 255 - usize::from(*v)).sum::<usize>(), 20 * 10 * 255);
        let bytes = png(&drawing, 100.0).unwrap();
        assert_eq!(&bytes[37..41], b"pHYs");
        assert_eq!(u32::from_be_bytes(bytes[41..45].try_into().unwrap()), 3937);
        assert!(image::load_from_memory(&bytes).is_ok());
        assert_eq!(raster(&drawing, 5000.0), Err(PngError::Resolution(5000.0)));
    }
}
