//! Sheets of paper with cards on them, crop marks round each, and what is needed to check the print.

use super::face::face;
use super::label::Label;
use super::layout::{BANK_CARD_MM, BANK_CARD_RADIUS_MM, CardLayout, CardSize};
use super::shapes::{Anchor, Drawing, Rect, Shape};

/// Length of the line that is to be measured after printing, mm.
pub const CHECK_LINE_MM: f64 = 100.0;

/// Paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    /// 210 x 297 mm. Source: ISO 216.
    A4,
    /// 8.5 x 11 in, 215.9 x 279.4 mm. Source: ANSI/ASME Y14.1 (from memory).
    Letter,
}

impl Paper {
    /// Width and height, upright, mm.
    #[must_use]
    pub fn size_mm(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0, 297.0),
            Self::Letter => (215.9, 279.4),
        }
    }
}

/// White border that cheap printers cannot print on, mm: 5 mm is common practice, no source; one more for luck.
const BORDER_MM: f64 = 6.0;
/// Space between cards, mm: room for two crop marks.
const GAP_MM: f64 = 8.0;
/// Height kept for the check line and its text, mm.
const CHECK_MM: f64 = 17.0;
/// Grey of crop marks and the outline: plainly there, and no mark of the scale.
const HELP_GREY: u8 = 110;

/// How many cards of this size one sheet takes: columns, rows.
#[must_use]
pub fn cards_on(paper: Paper, size: CardSize) -> (usize, usize) {
    let (layout, (width, height)) = (CardLayout::of(size), paper.size_mm());
    let fit = |room: f64, card: f64| ((room + GAP_MM) / (card + GAP_MM)).floor().max(1.0) as usize;
    (fit(width - 2.0 * BORDER_MM, layout.width), fit(height - 2.0 * BORDER_MM - CHECK_MM, layout.height))
}

/// The sheets for these cards (`None`: a card without a label), in order, as many to a sheet as it takes.
#[must_use]
pub fn sheets(paper: Paper, size: CardSize, labels: &[Option<Label>]) -> Vec<Drawing> {
    let (columns, rows) = cards_on(paper, size);
    labels.chunks(columns * rows).map(|page| sheet(paper, size, page, columns)).collect()
}

fn sheet(paper: Paper, size: CardSize, labels: &[Option<Label>], columns: usize) -> Drawing {
    let (layout, (width, height)) = (CardLayout::of(size), paper.size_mm());
    let columns = columns.min(labels.len()).max(1);
    let rows = labels.len().div_ceil(columns);
    let all_cards = columns as f64 * (layout.width + GAP_MM) - GAP_MM;
    // A lone card stands lower: the sheet has room.
    let top = if rows == 1 { BORDER_MM + 12.0 } else { BORDER_MM + 1.0 };
    let mut shapes = Vec::new();
    for (i, label) in labels.iter().enumerate() {
        let x = (width - all_cards) / 2.0 + (i % columns) as f64 * (layout.width + GAP_MM);
        let y = top + (i / columns) as f64 * (layout.height + GAP_MM);
        crop_marks(&mut shapes, Rect::new(x, y, layout.width, layout.height));
        shapes.extend(face(&layout, label.as_ref()).into_iter().map(|shape| shape.moved(x, y)));
    }
    let used = top + rows as f64 * (layout.height + GAP_MM) - GAP_MM;
    check_block(&mut shapes, width, used + 7.0, height - BORDER_MM);
    Drawing { width, height, shapes }
}

/// Two strokes at each corner, outside the card, pointing along its edges.
fn crop_marks(shapes: &mut Vec<Shape>, card: Rect) {
    let (length, away, width) = (2.5, 0.8, 0.15);
    let mut rects = Vec::new();
    for x in [card.x, card.right()] {
        rects.push(Rect::new(x - width / 2.0, card.y - away - length, width, length));
        rects.push(Rect::new(x - width / 2.0, card.bottom() + away, width, length));
    }
    for y in [card.y, card.bottom()] {
        rects.push(Rect::new(card.x - away - length, y - width / 2.0, length, width));
        rects.push(Rect::new(card.right() + away, y - width / 2.0, length, width));
    }
    shapes.push(Shape::Fill { rects, grey: HELP_GREY });
}

/// The 100 mm line with what to do about it, and the bank card's outline where there is room for it.
fn check_block(shapes: &mut Vec<Shape>, page_width: f64, top: f64, bottom: f64) {
    let middle = page_width / 2.0;
    let line = Rect::new(middle - CHECK_LINE_MM / 2.0, top + 2.0, CHECK_LINE_MM, 0.3);
    shapes.push(Shape::rect(line, 0));
    // The line ends at the outer sides of its two end strokes, so that a ruler is laid from side to side.
    let end = |x: f64| Rect::new(x, line.y - 1.7, 0.3, 3.7);
    shapes.push(Shape::Fill { rects: vec![end(line.x), end(line.right() - 0.3)], grey: 0 });
    let text = |shapes: &mut Vec<Shape>, y: f64, text: &str| {
        shapes.push(Shape::text(middle, y, Anchor::Middle, 3.0, text));
    };
    text(shapes, line.y + 6.2, "Print at 100 % (actual size). This line, end to end, must measure 100.0 mm.");
    text(shapes, line.y + 10.4, "Where it does not, tell the program what it measures: --printed-length 98.5, say.");
    let (width, height) = BANK_CARD_MM;
    let y = line.y + 16.0;
    if y + height + 6.0 > bottom {
        return;
    }
    let rect = Rect::new(middle - width / 2.0, y, width, height);
    shapes.push(Shape::Outline { rect, radius: BANK_CARD_RADIUS_MM, width: 0.2, grey: HELP_GREY });
    text(shapes, y + height / 2.0 - 1.5, "A bank card (85.60 x 53.98 mm)");
    text(shapes, y + height / 2.0 + 3.0, "must just fill this outline.");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_stays_inside_the_printable_area() {
        for paper in [Paper::A4, Paper::Letter] {
            for size in [CardSize::Full, CardSize::Small] {
                let (columns, rows) = cards_on(paper, size);
                for n in [1, columns * rows] {
                    let page = &sheets(paper, size, &vec![None; n])[0];
                    for shape in &page.shapes {
                        let rects = match shape {
                            Shape::Fill { rects, .. } => rects.clone(),
                            Shape::Outline { rect, .. } => vec![*rect],
                            Shape::Text { at, .. } => vec![Rect::new(at.x, at.y, 0.0, 0.0)],
                        };
                        for r in rects {
                            assert!(r.x >= 4.0 && r.y >= 3.0, "{paper:?} {size:?}: {r:?}");
                            assert!(r.right() <= page.width - 4.0 && r.bottom() <= page.height - 4.0, "{r:?}");
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn several_cards_go_on_a_sheet() {
        assert_eq!(cards_on(Paper::A4, CardSize::Full), (1, 2));
        assert_eq!(cards_on(Paper::Letter, CardSize::Full), (1, 2));
        assert_eq!(cards_on(Paper::A4, CardSize::Small), (2, 4));
        assert_eq!(sheets(Paper::Letter, CardSize::Small, &vec![None; 9]).len(), 2);
    }

    #[test]
    fn a_lone_card_comes_with_the_bank_cards_outline_on_both_papers() {
        for paper in [Paper::A4, Paper::Letter] {
            for size in [CardSize::Full, CardSize::Small] {
                let page = &sheets(paper, size, &[None])[0];
                assert!(page.shapes.iter().any(|s| matches!(s, Shape::Outline { .. })));
            }
        }
    }
}
