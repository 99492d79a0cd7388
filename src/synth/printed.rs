//! The project's own ruler card as paper and ink.

use crate::base::colour::LINEAR_OF_SRGB;
use crate::base::raster::Raster;
use crate::card::label::Label;
use crate::card::layout::{CardLayout, CardSize};
use crate::card::png::raster;
use crate::card::{Drawing, PngError, Rect, face};

/// Dots per inch at which the face is drawn: 24 to the millimetre, about as fine as the closest photo, and printers do
/// no better.
const DPI: f64 = 600.0;

/// A printed ruler card.
#[derive(Debug, Clone, PartialEq)]
pub struct PrintedCard {
    size: CardSize,
    width_mm: f64,
    height_mm: f64,
    /// Reflectance against the bare paper, 0 to 1.
    face: Raster<f32>,
}

impl PrintedCard {
    /// Prints a card at its true size.
    ///
    /// # Errors
    /// Only where the sheet cannot be drawn, which no size of card provokes.
    pub fn new(size: CardSize, label: Option<&Label>) -> Result<Self, PngError> {
        let layout = CardLayout::of(size);
        let drawing = Drawing { width: layout.width, height: layout.height, shapes: face(&layout, label) };
        // Ink is never quite black.
        let ink = |grey: u8| 0.03 + 0.97 * LINEAR_OF_SRGB[usize::from(grey)];
        Ok(Self { size, width_mm: layout.width, height_mm: layout.height, face: raster(&drawing, DPI)?.map(ink) })
    }
    /// Which card.
    #[must_use]
    pub fn size(&self) -> CardSize {
        self.size
    }
    /// Width and height, mm.
    #[must_use]
    pub fn size_mm(&self) -> (f64, f64) {
        (self.width_mm, self.height_mm)
    }
    /// The two fields that yarn is laid on.
    #[must_use]
    pub fn fields(&self) -> [Rect; 2] {
        let layout = CardLayout::of(self.size);
        [layout.light_field, layout.dark_field]
    }
    /// Mean reflectance of a rectangle on the card: middle from the top-left corner and size, mm.
    pub(super) fn mean(&self, x: f64, y: f64, wide: f64, high: f64) -> f64 {
        let (across, x_weights) = reach(x, wide, self.width_mm, self.face.width());
        let (down, y_weights) = reach(y, high, self.height_mm, self.face.height());
        let (mut sum, mut weight) = (0.0, 0.0);
        for (j, wy) in (down..self.face.height()).zip(&y_weights) {
            for (value, wx) in self.face.row(j).iter().skip(across).zip(&x_weights) {
                sum += f64::from(*value) * wx * wy;
                weight += wx * wy;
            }
        }
        if weight > 0.0 { sum / weight } else { 1.0 }
    }
}

/// First dot of a run of `size` mm about `middle`, and how much of each dot it covers.
fn reach(middle: f64, size: f64, whole: f64, dots: usize) -> (usize, Vec<f64>) {
    let per_mm = dots as f64 / whole;
    let (a, b) = ((middle - size / 2.0) * per_mm, (middle + size / 2.0) * per_mm);
    let (a, b) = (a.clamp(0.0, dots as f64), b.clamp(0.0, dots as f64));
    let first = (a.floor() as usize).min(dots.saturating_sub(1));
    let last = (b.ceil() as usize).clamp(first + 1, dots.max(first + 1));
    let cover = |i: usize| ((i as f64 + 1.0).min(b) - (i as f64).max(a)).max(1e-9);
    (first, (first..last).map(cover).collect())
}
