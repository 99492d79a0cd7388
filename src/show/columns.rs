//! The figures of a report as one table: name, unit, meaning, getter. Header, table rows, summary and exit code come
//! from it, so that a figure added here appears everywhere.

use crate::figures::quantity::{Interval, Quantity};
use crate::figures::{Reason, Report};

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

/// One figure.
pub struct Column {
    /// Its path in the report.
    pub path: &'static str,
    /// Its unit; empty for a plain number or a word.
    pub unit: &'static str,
    /// What it means.
    pub meaning: &'static str,
    /// Where it stands.
    pub get: fn(&Report) -> Cell,
}

impl std::fmt::Debug for Column {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Column").field("path", &self.path).field("unit", &self.unit).finish_non_exhaustive()
    }
}

impl Column {
    /// The name in a table: the last word of the path.
    #[must_use]
    pub fn name(&self) -> &'static str {
        self.path.rsplit('.').next().unwrap_or(self.path)
    }

    /// Whether it is a figure of the yarn (and not of the scale).
    #[must_use]
    pub fn of_yarn(&self) -> bool {
        self.path.starts_with("sample.")
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
    ($($path:literal, $unit:literal, $meaning:literal, $get:expr;)*) => {
        /// Every quantity of the report, in its order.
        pub const COLUMNS: &[Column] = &[$(Column { path: $path, unit: $unit, meaning: $meaning, get: $get },)*];
    };
}

columns! {
    "scale.px_per_mm", "px/mm", "scale across the strand, at its own height", |r| number(&r.scale.px_per_mm);
    "scale.tilt_deg", "degree", "tilt of the camera against the card's normal", |r| number(&r.scale.tilt_deg);
    "sample.length_mm", "mm", "length of yarn measured", |r| number(&r.sample.length_mm);
    "sample.plies", "", "number of plies, 1 for singles", |r| word(&r.sample.plies, u32::to_string);
    "sample.twist_direction", "", "direction of the final twist", |r| word(&r.sample.twist_direction, |d| format!("{d:?}"));
    "sample.diameter_mm", "mm", "mean width of the yarn's body, without hairs and shadow", |r| number(&r.sample.diameter_mm);
    "sample.diameter_px", "px", "the same in pixels of the photo", |r| number(&r.sample.diameter_px);
    "sample.envelope_diameter_mm", "mm", "width that the turning plies fill", |r| number(&r.sample.envelope_diameter_mm);
    "sample.wraps_per_inch", "1/in", "wraps per inch", |r| number(&r.sample.wraps_per_inch);
    "sample.twist_angle_deg", "degree", "angle of the visible lines to the yarn's axis", |r| number(&r.sample.twist_angle_deg);
    "sample.twists_per_inch", "1/in", "turns of the final twist per inch", |r| number(&r.sample.twists_per_inch);
    "sample.twists_per_metre", "1/m", "the same per metre", |r| number(&r.sample.twists_per_metre);
    "sample.bumps_per_inch", "1/in", "bumps of the plies along one edge per inch", |r| number(&r.sample.bumps_per_inch);
    "sample.bumps_per_diameter", "", "the same per diameter", |r| number(&r.sample.bumps_per_diameter);
    "sample.fibre_angle_deg", "degree", "angle of the surface fibres to the axis of plied yarn", |r| number(&r.sample.fibre_angle_deg);
    "sample.evenness.diameter_cv_percent", "%", "variation of the width along the yarn", |r| number(&r.sample.evenness.diameter_cv_percent);
    "sample.evenness.between_strands_cv_percent", "%", "variation of the mean width between pieces", |r| number(&r.sample.evenness.between_strands_cv_percent);
    "sample.evenness.twist_cv_percent", "%", "variation of the twist along the yarn", |r| number(&r.sample.evenness.twist_cv_percent);
    "sample.hairiness", "", "cover of hairs outside the body, per diameter", |r| number(&r.sample.hairiness);
    "sample.kinks", "1/m", "loops and doublings per metre", |r| number(&r.sample.kinks);
}

/// Whether the report answers at least one figure of the yarn.
#[must_use]
pub fn answers_anything(report: &Report) -> bool {
    COLUMNS.iter().any(|column| column.of_yarn() && !matches!((column.get)(report), Cell::Unanswered(_)))
}
