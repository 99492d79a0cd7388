//! What a drawing consists of: few shapes, in millimetres, y down. The writers turn them into PDF, SVG and pixels.

use crate::base::geometry::{Card, Point};

/// An upright rectangle, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rect {
    /// Left side.
    pub x: f64,
    /// Upper side.
    pub y: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

impl Rect {
    /// A rectangle.
    #[must_use]
    pub const fn new(x: f64, y: f64, width: f64, height: f64) -> Self {
        Self { x, y, width, height }
    }
    /// Right side.
    #[must_use]
    pub fn right(&self) -> f64 {
        self.x + self.width
    }
    /// Lower side.
    #[must_use]
    pub fn bottom(&self) -> f64 {
        self.y + self.height
    }
    /// Top-left, top-right, bottom-right, bottom-left.
    #[must_use]
    pub fn corners(&self) -> [Point<Card>; 4] {
        [
            Point::new(self.x, self.y),
            Point::new(self.right(), self.y),
            Point::new(self.right(), self.bottom()),
            Point::new(self.x, self.bottom()),
        ]
    }
    /// Its middle.
    #[must_use]
    pub fn middle(&self) -> Point<Card> {
        Point::new(self.x + self.width / 2.0, self.y + self.height / 2.0)
    }
    fn moved(self, dx: f64, dy: f64) -> Self {
        Self { x: self.x + dx, y: self.y + dy, ..self }
    }
}

/// Which point of a line of text is given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// Its start.
    Start,
    /// Its middle.
    Middle,
    /// Its end.
    End,
}

/// One shape. `grey` is an sRGB code value: 0 black, 255 white.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// Filled rectangles, painted as one.
    Fill {
        /// The rectangles.
        rects: Vec<Rect>,
        /// Their grey.
        grey: u8,
    },
    /// The outline of a rectangle with round corners.
    Outline {
        /// The rectangle; the line runs along its middle.
        rect: Rect,
        /// Radius of the corners, mm.
        radius: f64,
        /// Width of the line, mm.
        width: f64,
        /// Grey of the line.
        grey: u8,
    },
    /// A line of text.
    Text {
        /// The anchor on the base line.
        at: Point<Card>,
        /// Which point of the text it is.
        anchor: Anchor,
        /// Height of the em, mm.
        size: f64,
        /// The text.
        text: String,
        /// Its grey.
        grey: u8,
    },
}

impl Shape {
    /// A filled rectangle.
    #[must_use]
    pub fn rect(rect: Rect, grey: u8) -> Self {
        Self::Fill { rects: vec![rect], grey }
    }
    /// A line of text.
    #[must_use]
    pub fn text(x: f64, y: f64, anchor: Anchor, size: f64, text: impl Into<String>) -> Self {
        Self::Text { at: Point::new(x, y), anchor, size, text: text.into(), grey: 0 }
    }
    /// The same shape elsewhere.
    #[must_use]
    pub fn moved(self, dx: f64, dy: f64) -> Self {
        match self {
            Self::Fill { rects, grey } => {
                Self::Fill { rects: rects.into_iter().map(|r| r.moved(dx, dy)).collect(), grey }
            }
            Self::Outline { rect, radius, width, grey } => {
                Self::Outline { rect: rect.moved(dx, dy), radius, width, grey }
            }
            Self::Text { at, anchor, size, text, grey } => {
                Self::Text { at: at + Point::new(dx, dy), anchor, size, text, grey }
            }
        }
    }
}

/// A drawing on white paper.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawing {
    /// Width, mm.
    pub width: f64,
    /// Height, mm.
    pub height: f64,
    /// Shapes, the first lowest.
    pub shapes: Vec<Shape>,
}

/// Where a text begins, given its anchor.
pub(super) fn text_start(x: f64, anchor: Anchor, size: f64, text: &str) -> f64 {
    let width = crate::base::font::text_width(text, size);
    match anchor {
        Anchor::Start => x,
        Anchor::Middle => x - width / 2.0,
        Anchor::End => x - width,
    }
}
