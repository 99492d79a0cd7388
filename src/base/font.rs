//! The one font in the program: for cards, sheets and overlays.

use std::sync::LazyLock;

use ab_glyph::{Font, FontRef, OutlineCurve};

/// The font file, whole: DejaVu Sans (licence beside it). Latin, Greek, Cyrillic and more.
pub static FONT_FILE: &[u8] = include_bytes!("font/DejaVuSans.ttf");

static FONT: LazyLock<Option<FontRef<'static>>> = LazyLock::new(|| FontRef::try_from_slice(FONT_FILE).ok());

/// A piece of a glyph's outline, in the unit of the size asked for, y down, the text's start on the base line at (0, 0).
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Stroke {
    /// Begin a closed contour here.
    Move(f64, f64),
    /// A straight line to here.
    Line(f64, f64),
    /// A parabola with this control point to here.
    Quad(f64, f64, f64, f64),
    /// A cubic with these control points to here.
    Cubic(f64, f64, f64, f64, f64, f64),
}

/// The first character of `text` that the font cannot show.
#[must_use]
pub fn missing_glyph(text: &str) -> Option<char> {
    let Some(font) = FONT.as_ref() else { return text.chars().next() };
    text.chars().find(|c| font.glyph_id(*c).0 == 0)
}

/// Width of a line of text set `size` high (em), in the unit of `size`; no kerning.
#[must_use]
pub fn text_width(text: &str, size: f64) -> f64 {
    let Some(font) = FONT.as_ref() else { return 0.0 };
    let Some(units) = font.units_per_em() else { return 0.0 };
    text.chars().map(|c| f64::from(font.h_advance_unscaled(font.glyph_id(c)))).sum::<f64>() * size / f64::from(units)
}

/// The outline of a line of text set `size` high (em).
#[must_use]
pub fn text_outline(text: &str, size: f64) -> Vec<Stroke> {
    let mut strokes = Vec::new();
    let Some(font) = FONT.as_ref() else { return strokes };
    let Some(units) = font.units_per_em() else { return strokes };
    let k = size / f64::from(units);
    let mut pen = 0.0;
    for c in text.chars() {
        let glyph = font.glyph_id(c);
        if let Some(outline) = font.outline(glyph) {
            let at = |p: ab_glyph::Point| (pen + f64::from(p.x) * k, -f64::from(p.y) * k);
            let mut last = None;
            for curve in &outline.curves {
                let (from, to, stroke) = match curve {
                    OutlineCurve::Line(a, b) => (a, b, Stroke::Line(at(*b).0, at(*b).1)),
                    OutlineCurve::Quad(a, c, b) => (a, b, Stroke::Quad(at(*c).0, at(*c).1, at(*b).0, at(*b).1)),
                    OutlineCurve::Cubic(a, c, d, b) => {
                        (a, b, Stroke::Cubic(at(*c).0, at(*c).1, at(*d).0, at(*d).1, at(*b).0, at(*b).1))
                    }
                };
                if last != Some(*from) {
                    strokes.push(Stroke::Move(at(*from).0, at(*from).1));
                }
                strokes.push(stroke);
                last = Some(*to);
            }
        }
        pen += f64::from(font.h_advance_unscaled(glyph)) * k;
    }
    strokes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_font_shows_the_letters_of_rosters() {
        assert_eq!(missing_glyph("Åse Żółć Ωmega Пряжа 0123"), None);
        assert_eq!(missing_glyph("a\u{4e00}"), Some('\u{4e00}'));
    }

    #[test]
    fn outlines_stay_within_the_texts_width() {
        let width = text_width("Mmm", 10.0);
        assert!(width > 20.0 && width < 35.0);
        for stroke in text_outline("Mmm", 10.0) {
            if let Stroke::Line(x, y) = stroke {
                assert!((0.0..=width).contains(&x) && (-10.0..=3.0).contains(&y));
            }
        }
    }
}
