//! What the finder says of a card in the picture, with its evidence.

use super::plane_map::PlaneMap;
use crate::base::geometry::{Image, Point};
use crate::card::label::Label;
use crate::card::layout::{CardSize, EdgeSide};

/// One mark of a card, as seen.
#[derive(Debug, Clone, Copy)]
pub struct CardMark {
    /// Where.
    pub at: Point<Image>,
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
    /// What is printed on it and is no yarn, clipped to the picture: scales, dark field, grey steps, label.
    pub printed_areas: Vec<Vec<Point<Image>>>,
}
