//! A drawing as SVG, in millimetres; text as outlines, so that every viewer shows the same.

use std::fmt::Write;

use super::shapes::{Drawing, Rect, Shape, text_start};
use crate::base::font::{Stroke, text_outline};

/// The drawing as an SVG document whose user unit is the millimetre. Source: W3C SVG 1.1, 7.7 and 7.10.
#[must_use]
pub fn svg(drawing: &Drawing) -> String {
    let (width, height) = (number(drawing.width), number(drawing.height));
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}mm\" height=\"{height}mm\" viewBox=\"0 0 {width} {height}\">\n\
         <rect width=\"{width}\" height=\"{height}\" fill=\"#ffffff\"/>\n"
    );
    for shape in &drawing.shapes {
        match shape {
            Shape::Fill { rects, grey } => {
                let mut path = String::new();
                for Rect { x, y, width, height } in rects {
                    put(&mut path, "M", &[*x, *y]);
                    put(&mut path, "h", &[*width]);
                    put(&mut path, "v", &[*height]);
                    put(&mut path, "h", &[-width]);
                    path.push('z');
                }
                element(&mut out, &format!("<path d=\"{path}\" fill=\"{}\"/>\n", colour(*grey)));
            }
            Shape::Outline { rect, radius, width, grey } => {
                let [x, y, w, h, r, line] = [rect.x, rect.y, rect.width, rect.height, *radius, *width].map(number);
                element(
                    &mut out,
                    &format!(
                        "<rect x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" rx=\"{r}\" fill=\"none\" stroke=\"{}\" stroke-width=\"{line}\"/>\n",
                        colour(*grey)
                    ),
                );
            }
            Shape::Text { at, anchor, size, text, grey } => {
                let (x, y) = (text_start(at.x, *anchor, *size, text), at.y);
                let mut path = String::new();
                for stroke in text_outline(text, *size) {
                    match stroke {
                        Stroke::Move(a, b) => put(&mut path, "M", &[x + a, y + b]),
                        Stroke::Line(a, b) => put(&mut path, "L", &[x + a, y + b]),
                        Stroke::Quad(c, d, a, b) => put(&mut path, "Q", &[x + c, y + d, x + a, y + b]),
                        Stroke::Cubic(c, d, e, f, a, b) => {
                            put(&mut path, "C", &[x + c, y + d, x + e, y + f, x + a, y + b]);
                        }
                    }
                }
                if !path.is_empty() {
                    element(&mut out, &format!("<path d=\"{path}\" fill=\"{}\"/>\n", colour(*grey)));
                }
            }
        }
    }
    out.push_str("</svg>\n");
    out
}

fn element(out: &mut String, text: &str) {
    out.push_str(text);
}

fn put(path: &mut String, command: &str, values: &[f64]) {
    path.push_str(command);
    for (i, value) in values.iter().enumerate() {
        let separator = if i == 0 { "" } else { " " };
        // Writing to a string does not fail.
        let _ = write!(path, "{separator}{}", number(*value));
    }
}

/// A tenth of a micrometre is enough.
fn number(mm: f64) -> String {
    let text = format!("{mm:.4}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

fn colour(grey: u8) -> String {
    format!("#{grey:02x}{grey:02x}{grey:02x}")
}
