//! Where everything lies on a card, in millimetres: origin at the top-left corner of the upright card, x right, y down.
//!
//! Along the top and the bottom edge runs a millimetre scale. From the edge inwards each scale has three tracks:
//! the *code* track, where a mark is present for a 1 and absent for a 0 (see [`super::codes`]); the *clock* track, where
//! every millimetre has its mark; and the *reading* track, into which every fifth mark reaches a little and every tenth
//! further, as people know from rulers, with figures beyond. All parts of one millimetre's mark join into one stroke.

use super::codes;
use super::shapes::Rect;
use crate::base::geometry::{Card, Point};
use crate::base::units::MM_PER_INCH;

/// Width of a millimetre mark, mm. Half the pitch: the grating's fundamental, which survives blur longest, is then as
/// strong as it can be (2/pi of full contrast), and ink that spreads by a tenth of a millimetre leaves both mark and gap.
pub const MARK_WIDTH_MM: f64 = 0.5;

/// The bank card's outline: 85.60 x 53.98 mm. Source: ISO/IEC 7810, ID-1.
pub const BANK_CARD_MM: (f64, f64) = (85.60, 53.98);

/// Radius of its corners, mm; the standard allows 2.88 to 3.48. Source: ISO/IEC 7810.
pub const BANK_CARD_RADIUS_MM: f64 = 3.18;

/// Which card.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum CardSize {
    /// 148 x 100 mm, about a postcard.
    Full,
    /// 85.60 x 53.98 mm, a bank card, for close-ups of thin yarn.
    Small,
}

/// Which long edge.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum EdgeSide {
    /// The upper one.
    Top,
    /// The lower one.
    Bottom,
}

/// Depths of a scale's tracks, mm inwards from the card's edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tracks {
    /// Where the code track begins.
    pub code_from: f64,
    /// Where the code track ends and the clock track begins.
    pub clock_from: f64,
    /// Where the clock track ends.
    pub clock_to: f64,
    /// How far each fifth mark reaches.
    pub five_to: f64,
    /// How far each tenth mark reaches.
    pub ten_to: f64,
    /// The far side of the figures.
    pub figures_to: f64,
}

/// One coded scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CodedEdge {
    /// Which edge it runs along.
    pub side: EdgeSide,
    /// x of the 0 mm mark's middle.
    pub zero_x: f64,
    /// y of the card's edge.
    pub edge_y: f64,
    /// Depths of its tracks.
    pub tracks: Tracks,
    /// Its bits, `0` and `1`, one a mark.
    pub code: &'static str,
}

impl CodedEdge {
    /// How many marks it has.
    #[must_use]
    pub fn marks(&self) -> usize {
        self.code.len()
    }
    /// The bit of mark `k`; `None` beyond the scale.
    #[must_use]
    pub fn bit(&self, k: usize) -> Option<bool> {
        self.code.as_bytes().get(k).map(|b| *b == b'1')
    }
    /// The point on mark `k`'s middle line, `depth` mm inwards from the card's edge.
    #[must_use]
    pub fn point(&self, k: f64, depth: f64) -> Point<Card> {
        let y = match self.side {
            EdgeSide::Top => self.edge_y + depth,
            EdgeSide::Bottom => self.edge_y - depth,
        };
        Point::new(self.zero_x + k, y)
    }
    /// The depths between which mark `k` is printed.
    #[must_use]
    pub fn extent(&self, k: usize) -> (f64, f64) {
        let outer = if self.bit(k) == Some(true) { self.tracks.code_from } else { self.tracks.clock_from };
        let inner = match k {
            _ if k.is_multiple_of(10) => self.tracks.ten_to,
            _ if k.is_multiple_of(5) => self.tracks.five_to,
            _ => self.tracks.clock_to,
        };
        (outer, inner)
    }
    /// The rectangle of mark `k`.
    #[must_use]
    pub fn mark(&self, k: usize) -> Rect {
        let (outer, inner) = self.extent(k);
        let (a, b) = (self.point(k as f64, outer), self.point(k as f64, inner));
        Rect::new(a.x - MARK_WIDTH_MM / 2.0, a.y.min(b.y), MARK_WIDTH_MM, inner - outer)
    }
    /// The rectangle that marks and figures fill.
    #[must_use]
    pub fn area(&self) -> Rect {
        let (a, b) = (self.point(-0.5, 0.0), self.point(self.marks() as f64 - 0.5, self.tracks.figures_to));
        Rect::new(a.x, a.y.min(b.y), b.x - a.x, (b.y - a.y).abs())
    }
}

/// The plain inch scale along the left edge, read downwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InchScale {
    /// x of the ticks' outer ends.
    pub x: f64,
    /// y of its zero.
    pub zero_y: f64,
    /// How many sixteenths of an inch it has.
    pub sixteenths: u32,
}

/// A whole card.
#[derive(Debug, Clone, PartialEq)]
pub struct CardLayout {
    /// Which.
    pub size: CardSize,
    /// Width, mm.
    pub width: f64,
    /// Height, mm.
    pub height: f64,
    /// The top and the bottom scale.
    pub edges: [CodedEdge; 2],
    /// The inch scale.
    pub inch: InchScale,
    /// Bare paper, for dark yarn.
    pub light_field: Rect,
    /// Printed dark, for light yarn.
    pub dark_field: Rect,
    /// Grey steps: place and sRGB code value.
    pub greys: Vec<(Rect, u8)>,
    /// Where the label's QR code stands, its quiet zone included.
    pub qr: Rect,
    /// Where the label stands in letters.
    pub letters: Rect,
}

/// sRGB code value of the dark field. Not black: yarn's own shadow and dark hairs still show against it, it takes half the
/// ink, and it stays well apart from the marks' black.
pub const DARK_FIELD_CODE: u8 = 52;

impl CardLayout {
    /// The card of this size.
    #[must_use]
    pub fn of(size: CardSize) -> Self {
        match size {
            CardSize::Full => Self::full(),
            CardSize::Small => Self::small(),
        }
    }

    fn full() -> Self {
        let (width, height) = (148.0, 100.0);
        let tracks =
            Tracks { code_from: 2.0, clock_from: 5.0, clock_to: 8.0, five_to: 9.2, ten_to: 10.4, figures_to: 13.4 };
        let edge = |side, edge_y, code| CodedEdge { side, zero_x: 4.0, edge_y, tracks, code };
        Self {
            size: CardSize::Full,
            width,
            height,
            edges: [edge(EdgeSide::Top, 0.0, codes::FULL_TOP), edge(EdgeSide::Bottom, height, codes::FULL_BOTTOM)],
            inch: InchScale { x: 1.8, zero_y: 18.25, sixteenths: 40 },
            light_field: Rect::new(13.0, 14.5, 100.0, 34.0),
            dark_field: Rect::new(13.0, 51.5, 100.0, 34.0),
            greys: grey_steps(Rect::new(117.0, 78.5, 27.0, 7.0)),
            qr: Rect::new(114.4, 13.6, 29.25, 29.25),
            letters: Rect::new(117.0, 43.2, 27.0, 33.0),
        }
    }

    fn small() -> Self {
        let (width, height) = BANK_CARD_MM;
        let tracks =
            Tracks { code_from: 1.4, clock_from: 3.8, clock_to: 6.2, five_to: 7.1, ten_to: 8.0, figures_to: 10.2 };
        let edge = |side, edge_y, code| CodedEdge { side, zero_x: 2.8, edge_y, tracks, code };
        Self {
            size: CardSize::Small,
            width,
            height,
            edges: [edge(EdgeSide::Top, 0.0, codes::SMALL_TOP), edge(EdgeSide::Bottom, height, codes::SMALL_BOTTOM)],
            inch: InchScale { x: 1.4, zero_y: 14.29, sixteenths: 16 },
            light_field: Rect::new(9.6, 10.6, 53.4, 15.6),
            dark_field: Rect::new(9.6, 27.8, 53.4, 15.6),
            greys: grey_steps(Rect::new(65.6, 40.0, 16.8, 3.4)),
            qr: Rect::new(64.0, 10.3, 18.0, 18.0),
            letters: Rect::new(65.6, 28.4, 16.8, 11.0),
        }
    }

    /// The edge on this side.
    #[must_use]
    pub fn edge(&self, side: EdgeSide) -> &CodedEdge {
        match side {
            EdgeSide::Top => &self.edges[0],
            EdgeSide::Bottom => &self.edges[1],
        }
    }

    /// The card's corners: top-left, top-right, bottom-right, bottom-left.
    #[must_use]
    pub fn corners(&self) -> [Point<Card>; 4] {
        Rect::new(0.0, 0.0, self.width, self.height).corners()
    }

    /// What is printed besides the coded scales and may be taken for the edge of something: the inch scale, the grey steps,
    /// the label, and the four borders of the dark field, half a millimetre to either side.
    #[must_use]
    pub fn printed_areas(&self) -> Vec<Rect> {
        const HALF: f64 = 0.5;
        let (inch, dark) = (&self.inch, &self.dark_field);
        let mut areas = vec![
            Rect::new(inch.x - 0.4, inch.zero_y - 1.2, 8.0, f64::from(inch.sixteenths) * MM_PER_INCH / 16.0 + 2.0),
            self.qr,
            self.letters,
        ];
        areas.extend(self.greys.iter().map(|(place, _)| *place));
        for y in [dark.y, dark.bottom()] {
            areas.push(Rect::new(dark.x - HALF, y - HALF, dark.width + 2.0 * HALF, 2.0 * HALF));
        }
        for x in [dark.x, dark.right()] {
            areas.push(Rect::new(x - HALF, dark.y - HALF, 2.0 * HALF, dark.height + 2.0 * HALF));
        }
        areas
    }
}

/// Five equal steps from black to near white, side by side. Nominal code values: a printer does not keep them, the
/// order it does; the paper itself is the white step.
fn grey_steps(strip: Rect) -> Vec<(Rect, u8)> {
    let step = strip.width / 5.0;
    [0u8, 64, 118, 170, 216]
        .iter()
        .enumerate()
        .map(|(i, code)| (Rect::new(strip.x + step * i as f64, strip.y, step, strip.height), *code))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_fill_the_edges_and_marks_stay_on_the_card() {
        for size in [CardSize::Full, CardSize::Small] {
            let card = CardLayout::of(size);
            for edge in &card.edges {
                for k in 0..edge.marks() {
                    let mark = edge.mark(k);
                    assert!(mark.x > 1.0 && mark.right() < card.width - 1.0);
                    assert!(mark.y > 1.0 && mark.bottom() < card.height - 1.0);
                }
            }
        }
    }

    #[test]
    fn printed_parts_do_not_overlap() {
        for size in [CardSize::Full, CardSize::Small] {
            let card = CardLayout::of(size);
            let mut parts = card.printed_areas();
            // The dark field's borders, last of all, overlap at its corners.
            parts.truncate(parts.len() - 4);
            parts.extend([card.light_field, card.dark_field, card.edges[0].area(), card.edges[1].area()]);
            for (i, a) in parts.iter().enumerate() {
                for b in &parts[i + 1..] {
                    let apart = a.right() <= b.x + 1e-9
                        || b.right() <= a.x + 1e-9
                        || a.bottom() <= b.y + 1e-9
                        || b.bottom() <= a.y + 1e-9;
                    assert!(apart, "{size:?}: {a:?} overlaps {b:?}");
                }
            }
        }
    }

    #[test]
    fn the_small_card_is_a_bank_card() {
        // Source: ISO/IEC 7810, ID-1: 85.60 x 53.98 mm.
        let card = CardLayout::of(CardSize::Small);
        assert_eq!((card.width, card.height), (85.60, 53.98));
    }
}
