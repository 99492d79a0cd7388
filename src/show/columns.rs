//! The figures of a report as one table: name, unit, meaning, getter. Header, table rows, summary and exit code come
//! from it, so that a figure added here appears everywhere.

use crate::base::units::MM_PER_INCH;
use crate::figures::Reason;
use crate::figures::quantity::{Interval, Quantity};
use crate::figures::report::{Sample, ScaleFigures};

/// A figure, whatever its kind.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// A number and its interval.
    Number(f64, Option<Interval>),
    /// A word or a whole number and the probability that it is right.
    Word(String, Option<f64>),
    /// No value, and why.
    Unanswered(Reason),
}

/// One figure of a sample or of a scale.
pub struct Column<Of> {
    /// Its path in the report.
    pub path: &'static str,
    /// Its unit; empty for a plain number or a word.
    pub unit: &'static str,
    /// What it means.
    pub meaning: &'static str,
    /// Between which numbers it can lie at all.
    pub within: [f64; 2],
    /// Where it stands.
    pub get: fn(&Of) -> Cell,
}

impl<Of> std::fmt::Debug for Column<Of> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Column").field("path", &self.path).field("unit", &self.unit).finish_non_exhaustive()
    }
}

impl<Of> Column<Of> {
    /// The name in a table: the last word of the path.
    #[must_use]
    pub fn name(&self) -> &'static str {
        self.path.rsplit('.').next().unwrap_or(self.path)
    }

    /// Whether it is a word or a count, with a probability instead of an interval.
    #[must_use]
    pub fn is_word(&self) -> bool {
        matches!(self.path, "sample.plies" | "sample.twist_direction")
    }
}

fn number(quantity: &Quantity<f64>) -> Cell {
    match quantity {
        Quantity::Measured { value, interval95, .. } => Cell::Number(*value, *interval95),
        Quantity::Unanswered(reason) => Cell::Unanswered(reason.clone()),
    }
}

fn word<T>(quantity: &Quantity<T>, written: impl Fn(&T) -> String) -> Cell {
    match quantity {
        Quantity::Measured { value, probability, .. } => Cell::Word(written(value), *probability),
        Quantity::Unanswered(reason) => Cell::Unanswered(reason.clone()),
    }
}

macro_rules! columns {
    ($(#[$doc:meta])* $name:ident of $of:ty: $($path:literal, $unit:literal, $within:expr, $meaning:literal, $get:expr;)*) => {
        $(#[$doc])*
        pub const $name: &[Column<$of>] =
            &[$(Column { path: $path, unit: $unit, meaning: $meaning, within: $within, get: $get },)*];
    };
}

/// A photo shows no kilometre of yarn, mm.
pub const LENGTH_MM: [f64; 2] = [0.0, 1e6];
/// The finest fibres are some thousandths of a millimetre wide; the upper end leaves room for every scale that may be
/// stated ([`PX_PER_MM`]), however wrong.
pub const WIDTH_MM: [f64; 2] = [1e-4, 1e5];
/// From less than a dot per inch to more than a light microscope resolves (0.2 micrometres).
pub const PX_PER_MM: [f64; 2] = [0.02, 1e5];
/// Lines on a strand lean by no more than a right angle to either side.
pub const ANGLE_DEG: [f64; 2] = [-90.0, 90.0];
/// As many plies as may be stated.
pub const PLIES: [f64; 2] = [1.0, 12.0];
/// Shares and percentages that have no end of their own; ten times the whole is far beyond any yarn.
pub const SHARE: [f64; 2] = [0.0, 1000.0];

columns! {
    /// Every quantity of the scale, in the order of the report.
    SCALE of ScaleFigures:
    "scale.px_per_mm", "px/mm", PX_PER_MM, "scale across the strand, at its own height", |s| number(&s.px_per_mm);
    "scale.tilt_deg", "degree", [0.0, 90.0], "tilt of the camera against the card's normal", |s| number(&s.tilt_deg);
}

columns! {
    /// Every quantity of the sample, in the order of the report.
    SAMPLE of Sample:
    "sample.length_mm", "mm", LENGTH_MM, "length of yarn measured", |s| number(&s.length_mm);
    "sample.plies", "", PLIES, "number of plies, 1 for singles", |s| word(&s.plies, u32::to_string);
    "sample.twist_direction", "", [0.0, 0.0], "direction of the final twist", |s| word(&s.twist_direction, |d| format!("{d:?}"));
    "sample.diameter_mm", "mm", WIDTH_MM, "mean width of the yarn's body, without hairs and shadow", |s| number(&s.diameter_mm);
    "sample.diameter_px", "px", [0.001, 1e6], "the same in pixels of the photo", |s| number(&s.diameter_px);
    "sample.envelope_diameter_mm", "mm", WIDTH_MM, "width that the turning plies fill", |s| number(&s.envelope_diameter_mm);
    "sample.wraps_per_inch", "1/in", [MM_PER_INCH / WIDTH_MM[1], MM_PER_INCH / WIDTH_MM[0]], "wraps per inch", |s| number(&s.wraps_per_inch);
    "sample.twist_angle_deg", "degree", ANGLE_DEG, "angle of the visible lines to the yarn's axis", |s| number(&s.twist_angle_deg);
    "sample.twists_per_inch", "1/in", [0.0, MM_PER_INCH / WIDTH_MM[0]], "turns of the final twist per inch", |s| number(&s.twists_per_inch);
    "sample.twists_per_metre", "1/m", [0.0, 1000.0 / WIDTH_MM[0]], "the same per metre", |s| number(&s.twists_per_metre);
    "sample.bumps_per_inch", "1/in", [0.0, PLIES[1] * MM_PER_INCH / WIDTH_MM[0]], "bumps of the plies along one edge per inch", |s| number(&s.bumps_per_inch);
    "sample.bumps_per_diameter", "", SHARE, "the same per diameter", |s| number(&s.bumps_per_diameter);
    "sample.fibre_angle_deg", "degree", ANGLE_DEG, "angle of the surface fibres to the axis of plied yarn", |s| number(&s.fibre_angle_deg);
    "sample.evenness.diameter_cv_percent", "%", SHARE, "variation of the width along the yarn", |s| number(&s.evenness.diameter_cv_percent);
    "sample.evenness.between_strands_cv_percent", "%", SHARE, "variation of the mean width between pieces", |s| number(&s.evenness.between_strands_cv_percent);
    "sample.evenness.twist_cv_percent", "%", SHARE, "variation of the twist along the yarn", |s| number(&s.evenness.twist_cv_percent);
    "sample.hairiness", "", SHARE, "cover of hairs outside the body, per diameter", |s| number(&s.hairiness);
    "sample.kinks", "1/m", [0.0, 1000.0 / WIDTH_MM[0]], "loops and doublings per metre", |s| number(&s.kinks);
}

/// Whether at least one figure of the yarn has a value.
#[must_use]
pub fn answers_anything(sample: &Sample) -> bool {
    SAMPLE.iter().any(|column| !matches!((column.get)(sample), Cell::Unanswered(_)))
}
