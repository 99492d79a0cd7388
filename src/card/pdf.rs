//! Drawings as PDF pages of exact size.

use krilla::Document;
use krilla::color::luma;
use krilla::geom::{Path, PathBuilder, Point, Rect as PdfRect};
use krilla::metadata::Metadata;
use krilla::num::NormalizedF32;
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule, Stroke};
use krilla::text::{Font, TextDirection};

use super::shapes::{Drawing, Rect, Shape, text_start};
use crate::base::font::FONT_FILE;

/// PDF points in a millimetre. Source: ISO 32000, default user space unit 1/72 in.
const PT_PER_MM: f64 = 72.0 / 25.4;

/// One page a drawing; the font is embedded (a subset), the same drawings give the same bytes.
///
/// `None` where there is no drawing, a page has no size or the writer refuses.
#[must_use]
pub fn pdf(drawings: &[Drawing], title: &str) -> Option<Vec<u8>> {
    if drawings.is_empty() {
        return None;
    }
    let font = Font::new(FONT_FILE.to_vec().into(), 0)?;
    let mut document = Document::new();
    for drawing in drawings {
        let mut page = document.start_page_with(PageSettings::from_wh(pt(drawing.width), pt(drawing.height))?);
        let mut surface = page.surface();
        for shape in &drawing.shapes {
            match shape {
                Shape::Fill { rects, grey } => {
                    let mut path = PathBuilder::new();
                    for Rect { x, y, width, height } in rects {
                        path.push_rect(PdfRect::from_xywh(pt(*x), pt(*y), pt(*width), pt(*height))?);
                    }
                    surface.set_stroke(None);
                    surface.set_fill(Some(fill(*grey)));
                    surface.draw_path(&path.finish()?);
                }
                Shape::Outline { rect, radius, width, grey } => {
                    surface.set_fill(None);
                    surface.set_stroke(Some(Stroke {
                        paint: luma::Color::new(*grey).into(),
                        width: pt(*width),
                        ..Stroke::default()
                    }));
                    surface.draw_path(&round_rect(rect, *radius)?);
                }
                Shape::Text { at, anchor, size, text, grey } => {
                    surface.set_stroke(None);
                    surface.set_fill(Some(fill(*grey)));
                    let start = Point::from_xy(pt(text_start(at.x, *anchor, *size, text)), pt(at.y));
                    surface.draw_text(start, font.clone(), pt(*size), text, false, TextDirection::LeftToRight);
                }
            }
        }
        surface.finish();
        page.finish();
    }
    document.set_metadata(
        Metadata::new().title(title.to_owned()).creator("strandrule".to_owned()).language("en".to_owned()),
    );
    document.finish().ok()
}

fn pt(mm: f64) -> f32 {
    (mm * PT_PER_MM) as f32
}

fn fill(grey: u8) -> Fill {
    Fill { paint: luma::Color::new(grey).into(), opacity: NormalizedF32::ONE, rule: FillRule::NonZero }
}

fn round_rect(rect: &Rect, radius: f64) -> Option<Path> {
    // A quarter circle as a cubic: 4/3 (sqrt(2) - 1) of the radius, right to 0.03 %.
    let k = radius * (1.0 - 0.552_284_8);
    let (l, t, r, b) = (rect.x, rect.y, rect.right(), rect.bottom());
    let mut path = PathBuilder::new();
    path.move_to(pt(l + radius), pt(t));
    path.line_to(pt(r - radius), pt(t));
    path.cubic_to(pt(r - k), pt(t), pt(r), pt(t + k), pt(r), pt(t + radius));
    path.line_to(pt(r), pt(b - radius));
    path.cubic_to(pt(r), pt(b - k), pt(r - k), pt(b), pt(r - radius), pt(b));
    path.line_to(pt(l + radius), pt(b));
    path.cubic_to(pt(l + k), pt(b), pt(l), pt(b - k), pt(l), pt(b - radius));
    path.line_to(pt(l), pt(t + radius));
    path.cubic_to(pt(l), pt(t + k), pt(l + k), pt(t), pt(l + radius), pt(t));
    path.close();
    path.finish()
}
