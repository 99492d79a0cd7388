//! What the finder says of a card in the picture, with its evidence.

use super::plane_map::PlaneMap;
use super::{RulerSeen, RulerUnit, TickSeen};
use crate::base::geometry::{Image, Point};
use crate::card::label::Label;
use crate::card::layout::{CardSize, EdgeSide};
use crate::figures::words::Warning;

/// One mark of a card, as seen.
#[derive(Debug, Clone, Copy)]
pub struct CardMark {
    /// Where its middle line crosses the middle of the clock track.
    pub at: Point<Image>,
    /// Its outer end, towards the card's edge.
    pub foot: Point<Image>,
    /// Its inner end.
    pub tip: Point<Image>,
    /// Which edge it belongs to.
    pub side: EdgeSide,
    /// Its number, mm from the scale's zero.
    pub number: usize,
    /// Distance from where the fit puts it, along the scale, px.
    pub residual_px: f64,
    /// Whether the fit used it.
    pub used: bool,
}

/// What became of a card's label.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LabelRead {
    /// The card carries none, or its place is out of the picture.
    None,
    /// Read.
    Read(Label),
    /// There is a code that could not be read.
    Unread,
}

/// A card in the picture.
#[derive(Debug, Clone)]
pub struct CardSeen {
    /// Its number in the overlay, from 1.
    pub number: u32,
    /// Whether the scale comes from it.
    pub chosen: bool,
    /// Which card.
    pub size: CardSize,
    /// Whether the picture is a mirror image: S and Z are then swapped in it.
    pub mirrored: bool,
    /// From picture to plane, mm as they measure on the print.
    pub map: PlaneMap,
    /// Tilt of the camera against the card's normal, and its standard uncertainty, degree.
    pub tilt_deg: (f64, f64),
    /// Its marks.
    pub marks: Vec<CardMark>,
    /// How many bits of its codes were read at the marks' places, and how many of them wrongly.
    pub bits: (usize, usize),
    /// Residuals that a flat card does not have: their size, mm. `None` where the card is flat as far as can be seen.
    pub bent_mm: Option<f64>,
    /// Its label.
    pub label: LabelRead,
    /// Its outline, clipped to the picture.
    pub outline: Vec<Point<Image>>,
    /// The areas of its two coded scales, marks and figures, clipped to the picture.
    pub scale_areas: Vec<(EdgeSide, Vec<Point<Image>>)>,
    /// What else is printed on it and is no yarn, clipped to the picture: inch scale, grey steps, label, and the four
    /// borders of the dark field.
    pub printed_areas: Vec<Vec<Point<Image>>>,
    /// The field of bare paper and the field printed dark, on which yarn is laid, clipped to the picture.
    pub fields: [Vec<Point<Image>>; 2],
}

impl CardSeen {
    /// Its two scales as rulers, for whoever asks what lies where.
    #[must_use]
    pub fn as_rulers(&self) -> Vec<RulerSeen> {
        self.scale_areas
            .iter()
            .map(|(side, area)| RulerSeen {
                number: self.number,
                chosen: self.chosen,
                unit: Some(RulerUnit::Mm),
                ticks: self
                    .marks
                    .iter()
                    .filter(|m| m.side == *side)
                    .map(|m| TickSeen { foot: m.foot, tip: m.tip, place_mm: m.used.then_some(m.number as f64) })
                    .collect(),
                area: area.clone(),
            })
            .collect()
    }

    /// Sample and person, where the label was read.
    #[must_use]
    pub fn label_line(&self) -> Option<String> {
        match &self.label {
            LabelRead::Read(label) => Some(label.line()),
            LabelRead::None | LabelRead::Unread => None,
        }
    }

    /// What a person ought to know about this card before believing the figures.
    #[must_use]
    pub fn warnings(&self) -> Vec<Warning> {
        let mut out = Vec::new();
        let mut warn = |code: &str, message: String| out.push(Warning { code: code.to_owned(), message });
        if self.mirrored {
            warn(
                "mirrored-photo",
                "The ruler card is seen as in a mirror, so S and Z are swapped in this photo; turn off the camera's mirroring."
                    .to_owned(),
            );
        }
        if let Some(mm) = self.bent_mm {
            warn(
                "card-bent",
                format!(
                    "The ruler card is not flat: its marks lie up to {mm:.1} mm off a plane's; lay it on a flat, firm ground."
                ),
            );
        }
        if self.label == LabelRead::Unread {
            warn(
                "label-unread",
                "The ruler card carries a label that could not be read; state it with --label.".to_owned(),
            );
        }
        out
    }
}
