//! What was measured as lines and places in the photo's own pixels, for a page that draws it over the photo and lets a
//! person touch it. The same marks as on the overlay, and besides them what can be chosen: every piece, every ruler.

use serde::Serialize;

use super::marks::{self, Mark, Shape};
use crate::base::geometry::{Image, Point};
use crate::figures::Report;
use crate::measure::photo::Photo;
use crate::measure::pipeline::{Evidence, Request};
use crate::measure::strand::Strand;

/// x and y, px of the photo as displayed, to a tenth.
pub type At = [f64; 2];

/// Everything that a page draws over a photo.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sketch {
    /// Width of the photo as displayed, px.
    pub width_px: usize,
    /// Its height, px.
    pub height_px: usize,
    /// Every piece of yarn found, chosen or not.
    pub pieces: Vec<PieceShown>,
    /// Every ruler and ruler card found, chosen or not.
    pub rulers: Vec<RulerShown>,
    /// What is drawn, in the order of painting.
    pub marks: Vec<MarkShown>,
}

/// A piece of yarn that can be chosen.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PieceShown {
    /// Its number.
    pub number: u32,
    /// Whether it is measured.
    pub chosen: bool,
    /// Its centre line.
    pub line: Vec<At>,
    /// Its usual width, px.
    pub width_px: f64,
}

/// A ruler or ruler card that can be chosen.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RulerShown {
    /// Its number.
    pub number: u32,
    /// Whether the scale comes from it.
    pub chosen: bool,
    /// Whether it is a ruler card.
    pub card: bool,
    /// The area that it covers, a polygon.
    pub area: Vec<At>,
}

/// One mark: a meaning, and a shape of one of these kinds: `line` (open), `outline` (closed), `strokes` (pairs of ends),
/// `dot`, `ring` (with a radius), `badge` and `word` (with a text).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MarkShown {
    /// The meaning's name, in lower case with hyphens.
    pub meaning: &'static str,
    /// The kind of shape.
    pub shape: &'static str,
    /// Its points.
    pub points: Vec<At>,
    /// Radius of a ring, px.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub radius_px: Option<f64>,
    /// What a badge or word says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
}

/// px of a page on which the whole photo is seen: marks are as fine as that page shows them.
const PAGE_PX: f64 = 1600.0;

/// What a page draws over the photo.
#[must_use]
pub fn sketch(photo: &Photo, request: &Request, report: &Report, evidence: &Evidence) -> Sketch {
    let (width_px, height_px) = (photo.rgb.width(), photo.rgb.height());
    let fine_px = width_px.max(height_px) as f64 / PAGE_PX;
    let cards = evidence.scale.cards.iter().map(|card| RulerShown {
        number: card.number,
        chosen: card.chosen,
        card: true,
        area: all(&card.outline),
    });
    let rulers = evidence
        .scale
        .rulers
        .iter()
        .filter(|ruler| !cards_own(evidence, ruler.number))
        .map(|ruler| RulerShown { number: ruler.number, chosen: ruler.chosen, card: false, area: all(&ruler.area) });
    Sketch {
        width_px,
        height_px,
        pieces: evidence.strands.pieces.iter().map(|piece| shown(piece, fine_px)).collect(),
        rulers: cards.chain(rulers).collect(),
        marks: marks::on_photo(request, report, evidence, fine_px).into_iter().map(mark).collect(),
    }
}

/// Whether a ruler is an edge of a card, which is chosen as a whole.
fn cards_own(evidence: &Evidence, number: u32) -> bool {
    evidence.scale.cards.iter().any(|card| card.number == number)
}

fn shown(piece: &Strand, fine_px: f64) -> PieceShown {
    let every = ((4.0 * fine_px / piece.step_px.max(1e-3)).round() as usize).max(1);
    let centres: Vec<Point<Image>> = piece.stations.iter().step_by(every).map(|s| s.centre).collect();
    PieceShown {
        number: piece.number,
        chosen: piece.chosen,
        line: all(&centres),
        width_px: tenth(marks::usual_width(piece)),
    }
}

fn mark(mark: Mark) -> MarkShown {
    let plain = |shape, points: &[Point<Image>]| (shape, all(points), None, None);
    let (shape, points, radius_px, text) = match mark.shape {
        Shape::Line(points) => plain("line", &points),
        Shape::Outline(points) => plain("outline", &points),
        Shape::Hatch(strokes) => plain("strokes", strokes.as_flattened()),
        Shape::Dot(at) => plain("dot", &[at]),
        Shape::Ring(at, radius) => ("ring", all(&[at]), Some(tenth(radius)), None),
        Shape::Badge(at, text) => ("badge", all(&[at]), None, Some(text)),
        Shape::Word(at, text) => ("word", all(&[at]), None, Some(text)),
    };
    MarkShown { meaning: mark.meaning.name(), shape, points, radius_px, text }
}

fn all(points: &[Point<Image>]) -> Vec<At> {
    points.iter().filter(|p| p.is_finite()).map(|p| [tenth(p.x), tenth(p.y)]).collect()
}

fn tenth(px: f64) -> f64 {
    (px * 10.0).round() / 10.0
}
