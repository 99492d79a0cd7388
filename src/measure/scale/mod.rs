//! Second stage: from pixels to millimetres on the plane of the card or ruler, with what remains unknown.

mod card_find;
mod card_found;
mod card_label;
mod card_marks;
mod card_read;
mod card_rows;
mod card_scan;
mod card_track;
mod division;
mod find;
mod frame;
mod lattice;
mod luma;
mod numbers;
mod numerals;
mod outline;
mod plane_map;
pub mod pose;
mod rows;
mod segments;
mod strip;
mod ticks;

use crate::base::geometry::{Image, Point, inside_polygon};
use crate::base::stats::mean;
use crate::figures::words::{Method, Reason};

use super::photo::Photo;

pub use card_find::{PRINT_RELATIVE_U, find_cards};
pub use card_found::{CardMark, CardSeen, LabelRead};
pub use plane_map::{Covariance, PlaneMap};
use pose::LensPrior;

/// A ruler's unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RulerUnit {
    /// Millimetres.
    Mm,
    /// Inches and parts of an inch.
    Inch,
}

/// A scale that the person states.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum StatedScale {
    /// Dots per inch, of a scan.
    DotsPerInch(f64),
    /// Two points of the photo and their distance, mm.
    TwoPoints {
        /// One point.
        from: Point<Image>,
        /// The other.
        to: Point<Image>,
        /// Their distance, mm.
        distance_mm: f64,
    },
}

/// What the person says about the scale.
#[derive(Debug, Clone, Copy, Default)]
pub struct ScaleRequest {
    /// Measure with this instead of a ruler.
    pub stated: Option<StatedScale>,
    /// Use the ruler with this number (as the overlay counts them, from 1).
    pub ruler: Option<u32>,
    /// The ruler's unit, where the program cannot tell.
    pub unit: Option<RulerUnit>,
    /// What a ruler card's print measures over what it ought to (97.3 mm for 100 mm: 0.973), where the person says so.
    pub print_factor: Option<f64>,
}

/// A scale on the plane.
#[derive(Debug, Clone)]
pub struct KnownScale {
    /// How it was found.
    pub method: Method,
    /// Pixel to millimetre and back.
    pub map: PlaneMap,
    /// Angle between the camera's axis and the plane's normal, and its standard uncertainty, degree.
    pub tilt_deg: Option<(f64, f64)>,
}

/// The scale, or why there is none.
#[derive(Debug, Clone)]
pub enum Scale {
    /// Known.
    Known(Box<KnownScale>),
    /// Unknown.
    Unknown(Reason),
}

impl Scale {
    /// The scale if it is known.
    #[must_use]
    pub fn known(&self) -> Option<&KnownScale> {
        match self {
            Self::Known(known) => Some(known),
            Self::Unknown(_) => None,
        }
    }
}

/// One tick of a ruler, as seen.
#[derive(Debug, Clone, Copy)]
pub struct TickSeen {
    /// Its foot on the ruler's base line.
    pub foot: Point<Image>,
    /// Its tip.
    pub tip: Point<Image>,
    /// Its place on the ruler, mm from an arbitrary origin; `None` when the fit refused it.
    pub place_mm: Option<f64>,
}

/// One ruler, chosen or not.
#[derive(Debug, Clone)]
pub struct RulerSeen {
    /// Its number in the overlay, from 1.
    pub number: u32,
    /// Whether the scale comes from it.
    pub chosen: bool,
    /// Its unit, if that could be told.
    pub unit: Option<RulerUnit>,
    /// Its ticks.
    pub ticks: Vec<TickSeen>,
    /// The area that ticks and numerals fill, a polygon: no yarn edge is to be looked for on its marks.
    pub area: Vec<Point<Image>>,
}

/// The scale stage's result, with its evidence.
#[derive(Debug, Clone)]
pub struct ScaleFound {
    /// The scale, or why there is none.
    pub scale: Scale,
    /// Every plain ruler seen. Their numbers go on after those of the cards.
    pub rulers: Vec<RulerSeen>,
    /// Every ruler card seen.
    pub cards: Vec<CardSeen>,
    /// The print factor that was stated and used: that of the chosen card.
    pub print_factor: Option<f64>,
    /// Outline of the flat card or ruler that carries the scale, clipped to the picture, as far as it could be traced.
    pub card_outline: Option<Vec<Point<Image>>>,
    /// Whether a unit was stated and believed that the ruler's marks by themselves speak against.
    pub unit_against_marks: bool,
    /// Whether the chosen ruler's numerals read backwards: the photo is mirrored.
    pub numerals_backwards: bool,
}

impl ScaleFound {
    /// Whether a point of the photo lies on something printed, where no edge can be told from that of a mark: the ticks and
    /// numerals of a ruler, and all that a ruler card carries but its two fields.
    #[must_use]
    pub fn on_print(&self, p: Point<Image>) -> bool {
        let areas = self.rulers.iter().map(|r| &r.area).chain(self.cards.iter().flat_map(|c| &c.printed_areas));
        areas.into_iter().any(|area| inside_polygon(area, p))
    }

    /// Whether a point lies within `near_px` of a tick of the chosen ruler that is seen, or of the numeral beyond it. What is
    /// wound on a ruler hides its ticks.
    #[must_use]
    pub fn near_tick(&self, p: Point<Image>, near_px: f64) -> bool {
        let ticks = self.rulers.iter().filter(|ruler| ruler.chosen).flat_map(|ruler| &ruler.ticks);
        ticks.filter(|tick| tick.place_mm.is_some()).any(|tick| {
            let along = tick.tip - tick.foot;
            // Numerals stand within a tick's length of its tip.
            let t = ((p - tick.foot).dot(along) / along.dot(along)).clamp(0.0, 2.0);
            p.distance(tick.foot + along * t) < near_px
        })
    }

    /// The ruler card that the scale comes from.
    #[must_use]
    pub fn chosen_card(&self) -> Option<&CardSeen> {
        self.cards.iter().find(|card| card.chosen)
    }

    /// Scale along the chosen ruler, mean over its visible ticks, px/mm, and its standard uncertainty: for reports on
    /// photos in which no strand was found. `None` without a ruler.
    #[must_use]
    pub fn along_ruler(&self) -> Option<(f64, f64)> {
        let map = &self.scale.known()?.map;
        let ruler = self.rulers.iter().find(|r| r.chosen)?;
        let placed: Vec<&TickSeen> = ruler.ticks.iter().filter(|t| t.place_mm.is_some()).collect();
        let [first, .., last] = placed.as_slice() else { return None };
        let along = last.foot - first.foot;
        let scales: Vec<f64> =
            placed.iter().filter_map(|t| map.px_per_mm(t.foot, along, crate::base::units::Mm(0.0))).collect();
        let scale = mean(&scales)?;
        Some((scale, scale * map.relative_u_along(first.foot.lerp(last.foot, 0.5), along)))
    }
}

/// Constants of the method.
#[derive(Debug, Clone)]
pub struct ScaleParams {
    /// Fewest parallel bars side by side that are looked at as a ruler. Four lengths and distances are the least that show
    /// an order at all; what the order is must then be seen on more.
    pub fewest_bars: usize,
    /// Most rows of bars that are looked at. Each costs a few milliseconds; woven tables show dozens of short rows, and a
    /// ruler's row is among the longest.
    pub most_rows: usize,
}

impl Default for ScaleParams {
    fn default() -> Self {
        Self { fewest_bars: 4, most_rows: 12 }
    }
}

/// Finds the scale.
#[must_use]
pub fn find_scale(photo: &Photo, request: &ScaleRequest, params: &ScaleParams) -> ScaleFound {
    if let Some(stated) = request.stated {
        let scale = PlaneMap::stated(stated, photo.middle()).map_or(Scale::Unknown(Reason::NoScale), |map| {
            Scale::Known(Box::new(KnownScale { method: Method::Stated, map, tilt_deg: None }))
        });
        return ScaleFound {
            scale,
            rulers: Vec::new(),
            cards: Vec::new(),
            print_factor: None,
            card_outline: None,
            unit_against_marks: false,
            numerals_backwards: false,
        };
    }
    let mut cards = find_cards(photo, request.print_factor.unwrap_or(1.0));
    let wanted = request.ruler.unwrap_or(1);
    if let Some(card) = cards.iter_mut().find(|c| c.number == wanted) {
        card.chosen = true;
        let scale = Scale::Known(Box::new(KnownScale {
            method: Method::RulerCard,
            map: card.map.clone(),
            tilt_deg: Some(card.tilt_deg),
        }));
        let card_outline = Some(card.outline.clone());
        let rulers = cards.iter().flat_map(CardSeen::as_rulers).collect();
        return ScaleFound {
            scale,
            rulers,
            cards,
            print_factor: request.print_factor,
            card_outline,
            unit_against_marks: false,
            numerals_backwards: false,
        };
    }
    let lens = LensPrior::of_photo(photo.rgb.width(), photo.rgb.height(), photo.camera.focal_35mm_mm);
    let find::Found { rulers: found, blurred } = find::find_rulers(&photo.rgb, request.unit, params);
    let asked = request.ruler.map(|n| (n as usize).wrapping_sub(1 + cards.len()));
    // What the marks say by themselves, where the person states something.
    let unstated = request.unit.map(|_| find::find_rulers(&photo.rgb, None, params).rulers).unwrap_or_default();
    let no_such = asked.is_some_and(|a| a >= found.len()) && found.len() + cards.len() > 0;
    let mut scale = Scale::Unknown(match (found.is_empty(), blurred) {
        _ if no_such => Reason::NoSuchRuler,
        (false, _) if request.unit.is_some() => Reason::UnitMismatch,
        (true, true) => Reason::TooBlurred,
        (true, false) if !unstated.is_empty() => Reason::UnitMismatch,
        (true, false) => Reason::NoScale,
        (false, _) => Reason::UnitUnclear,
    });
    let mut chosen = None;
    let mut card_outline = None;
    for (i, ruler) in found.iter().enumerate().filter(|(i, _)| asked.is_none_or(|a| a == *i)) {
        if let Some(known) = known_scale(ruler, &lens) {
            card_outline = outline::trace(&photo.rgb, ruler, &known.map);
            scale = Scale::Known(Box::new(known));
            chosen = Some(i);
            break;
        }
    }
    let unit_against_marks = chosen.is_some()
        && unstated.first().and_then(|ruler| ruler.division.unit).is_some_and(|unit| Some(unit) != request.unit);
    // Four numbers: by three that look like digits in a mirror nobody should be told so.
    let numerals_backwards =
        chosen.and_then(|i| found[i].division.series).is_some_and(|series| series.backwards && series.agreeing >= 4);
    let first = cards.len() as u32 + 1;
    let rulers = found.iter().enumerate().map(|(i, r)| r.seen(i as u32 + first, chosen == Some(i))).collect();
    ScaleFound { scale, rulers, cards, print_factor: None, card_outline, unit_against_marks, numerals_backwards }
}

/// The scale from one ruler; `None` where its unit is unclear or the camera cannot be fitted to it.
fn known_scale(ruler: &find::Ruler, lens: &LensPrior) -> Option<KnownScale> {
    let fit = find::pose_of(ruler, lens)?;
    let method = match ruler.division.unit? {
        RulerUnit::Inch => Method::RulerInch,
        RulerUnit::Mm => Method::RulerMm,
    };
    let tilt_deg = fit.tilt_u_rad().map(|u| (fit.pose.tilt_rad().to_degrees(), u.to_degrees()));
    Some(KnownScale { method, map: fit.map(PRINT_FLOOR)?, tilt_deg })
}

/// Relative standard uncertainty of a ruler's own length: makers allow about 0.2 mm in 100 mm between any two marks
/// (rectangular; common practice, no source), and paper swells by as much.
const PRINT_FLOOR: f64 = 0.001;
