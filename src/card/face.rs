//! What is printed on the card's face.

use super::label::{Label, QR_MODULES, QR_QUIET};
use super::layout::{CardLayout, CardSize, CodedEdge, DARK_FIELD_CODE, EdgeSide, InchScale};
use super::shapes::{Anchor, Rect, Shape};
use crate::base::font::text_width;
use crate::base::units::MM_PER_INCH;

/// Grey of what people only read now and then.
const QUIET_GREY: u8 = 90;

/// All shapes of one card, its top-left corner at (0, 0).
#[must_use]
pub fn face(layout: &CardLayout, label: Option<&Label>) -> Vec<Shape> {
    let small = layout.size == CardSize::Small;
    let mut shapes = Vec::new();
    for edge in &layout.edges {
        marks(&mut shapes, edge, if small { 2.2 } else { 2.9 });
    }
    inch_scale(&mut shapes, &layout.inch, small);
    shapes.push(Shape::rect(layout.dark_field, DARK_FIELD_CODE));
    for (place, grey) in &layout.greys {
        shapes.push(Shape::rect(*place, *grey));
    }
    match label {
        Some(label) => labelled(&mut shapes, layout, label),
        None => unlabelled(&mut shapes, layout),
    }
    shapes
}

fn marks(shapes: &mut Vec<Shape>, edge: &CodedEdge, size: f64) {
    shapes.push(Shape::Fill { rects: (0..edge.marks()).map(|k| edge.mark(k)).collect(), grey: 0 });
    // A figure is about 0.73 em high; it stands clear of its mark by a fifth of that.
    let height = 0.73 * size;
    let gap = 0.2 * height;
    for k in (0..edge.marks()).step_by(10) {
        let end = edge.point(k as f64, edge.tracks.ten_to);
        let base = match edge.side {
            EdgeSide::Top => end.y + gap + height,
            EdgeSide::Bottom => end.y - gap,
        };
        shapes.push(Shape::text(end.x, base, Anchor::Middle, size, k.to_string()));
    }
    // The unit stands once, between the first two figures.
    let at = edge.point(5.0, edge.tracks.ten_to);
    let base = match edge.side {
        EdgeSide::Top => at.y + gap + height,
        EdgeSide::Bottom => at.y - gap,
    };
    shapes.push(Shape::text(at.x, base, Anchor::Middle, size * 0.8, "mm"));
}

/// Sixteenths of an inch; halves and whole inches reach further, as on any inch ruler.
fn inch_scale(shapes: &mut Vec<Shape>, scale: &InchScale, small: bool) {
    let y = |i: u32| scale.zero_y + f64::from(i) * MM_PER_INCH / 16.0;
    let reach = |i: u32| match i {
        _ if i.is_multiple_of(16) => 5.2,
        _ if i.is_multiple_of(8) => 4.0,
        _ if i.is_multiple_of(4) => 3.2,
        _ if i.is_multiple_of(2) => 2.4,
        _ => 1.6,
    };
    let width = 0.25;
    let rects = (0..=scale.sixteenths).map(|i| Rect::new(scale.x, y(i) - width / 2.0, reach(i), width)).collect();
    shapes.push(Shape::Fill { rects, grey: 0 });
    let size = if small { 2.2 } else { 2.9 };
    for inch in 0..=scale.sixteenths / 16 {
        let text = if inch == 0 { "in".to_owned() } else { inch.to_string() };
        shapes.push(Shape::text(scale.x + 5.7, y(inch * 16) + 0.27 * size, Anchor::Start, size, text));
    }
}

fn labelled(shapes: &mut Vec<Shape>, layout: &CardLayout, label: &Label) {
    if let Some(qr) = label.qr() {
        let module = layout.qr.width / (QR_MODULES + 2 * QR_QUIET) as f64;
        let (x0, y0) = (layout.qr.x + QR_QUIET as f64 * module, layout.qr.y + QR_QUIET as f64 * module);
        let size = qr.size();
        let mut rects = Vec::new();
        for row in 0..size {
            let mut column = 0;
            while column < size {
                let start = column;
                while column < size && qr.get_module(column, row) {
                    column += 1;
                }
                if column > start {
                    let (x, y) = (x0 + f64::from(start) * module, y0 + f64::from(row) * module);
                    rects.push(Rect::new(x, y, f64::from(column - start) * module, module));
                }
                column += 1;
            }
        }
        shapes.push(Shape::Fill { rects, grey: 0 });
    }
    let code_size = letter_size(layout) * 1.4;
    let area = layout.letters;
    shapes.push(Shape::text(area.x, area.y + code_size * 0.8, Anchor::Start, code_size, label.short_code()));
    let room = area.height - code_size * 1.1;
    // Long names are set smaller until they fit; the last size is still 3.4 pt high.
    let lines = [1.0, 0.85, 0.7, 0.6].into_iter().map(|k| lines(label, letter_size(layout) * k, area.width));
    let Some((size, lines)) = lines.reduce(|best, next| if height(&best) <= room { best } else { next }) else {
        return;
    };
    let mut base = area.y + code_size * 1.1;
    for (line, step) in lines {
        base += step * size;
        shapes.push(Shape::text(area.x, base, Anchor::Start, size, line));
    }
}

/// Lines of text with the step down to each, in units of the size, which comes first.
type Lines = (f64, Vec<(String, f64)>);

fn lines(label: &Label, size: f64, width: f64) -> Lines {
    let mut lines = Vec::new();
    for text in [Some(label.sample()), label.person()].into_iter().flatten() {
        for (i, line) in wrapped(text, size, width).into_iter().enumerate() {
            lines.push((line, if i == 0 { 1.45 } else { 1.2 }));
        }
    }
    (size, lines)
}

fn height((size, lines): &Lines) -> f64 {
    lines.iter().map(|(_, step)| step).sum::<f64>() * size
}

/// Lines to write on by hand.
fn unlabelled(shapes: &mut Vec<Shape>, layout: &CardLayout) {
    let (area, size) =
        (Rect { y: layout.qr.y, height: layout.letters.bottom() - layout.qr.y, ..layout.qr }, letter_size(layout));
    let words = ["sample", "spun by", "date", "fibre", "method"];
    let step = area.height / words.len() as f64;
    for (i, word) in words.iter().enumerate() {
        let y = area.y + step * i as f64;
        shapes.push(Shape::Text {
            at: crate::base::geometry::Point::new(area.x, y + size * 0.8),
            anchor: Anchor::Start,
            size: size * 0.85,
            text: (*word).to_owned(),
            grey: QUIET_GREY,
        });
        shapes.push(Shape::rect(Rect::new(area.x, y + step * 0.86, area.width, 0.12), QUIET_GREY));
    }
}

fn letter_size(layout: &CardLayout) -> f64 {
    match layout.size {
        CardSize::Full => 2.9,
        CardSize::Small => 1.75,
    }
}

/// Lines no wider than `width`, broken at spaces where there are some; at most three, the last cut off with an ellipsis.
fn wrapped(text: &str, size: f64, width: f64) -> Vec<String> {
    let mut lines: Vec<String> = vec![String::new()];
    let fits = |line: &str| text_width(line, size) <= width;
    for word in text.split_whitespace() {
        let joined = match lines.last() {
            Some(line) if !line.is_empty() => format!("{line} {word}"),
            _ => word.to_owned(),
        };
        if fits(&joined) {
            lines.pop();
            lines.push(joined);
            continue;
        }
        if lines.last().is_some_and(String::is_empty) {
            lines.pop();
        }
        // A word wider than the label is broken where it must be.
        let mut rest = String::new();
        for c in word.chars() {
            rest.push(c);
            if !fits(&rest) {
                rest.pop();
                lines.push(std::mem::take(&mut rest));
                rest.push(c);
            }
        }
        lines.push(rest);
    }
    if lines.len() > 3 {
        lines.truncate(3);
        if let Some(last) = lines.last_mut() {
            while !last.is_empty() && !fits(&format!("{last}…")) {
                last.pop();
            }
            last.push('…');
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_names_stay_within_the_label() {
        for size in [CardSize::Full, CardSize::Small] {
            let layout = CardLayout::of(size);
            let label = Label::new(&"Wm".repeat(18), Some("Maximiliane Wollweber-Mühlenhaupt")).unwrap();
            for shape in face(&layout, Some(&label)) {
                if let Shape::Text { at, size, text, anchor: Anchor::Start, .. } = shape {
                    assert!(at.x + text_width(&text, size) <= layout.width - 1.0, "{text}");
                    assert!(at.y <= layout.letters.bottom() + 0.5 || at.x < 20.0, "{text} at {}", at.y);
                }
            }
        }
    }
}
