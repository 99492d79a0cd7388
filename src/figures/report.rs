//! The object that `measure` prints: names, units and meanings are fixed by `schema`.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::quantity::Quantity;
use super::words::{Method, Warning};

/// The schema word of this version.
pub const SCHEMA: &str = "strandrule-report-1";

/// Direction of twist. Source: ISO 2.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
pub enum TwistDirection {
    /// The lines of an upright strand run like the middle stroke of S.
    S,
    /// The lines of an upright strand run like the middle stroke of Z.
    Z,
}

/// One photo's report.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Report {
    /// `strandrule-report-1`.
    pub schema: String,
    /// The program that wrote it.
    pub program: Program,
    /// The photo.
    pub photo: PhotoFacts,
    /// How pixels became millimetres.
    pub scale: ScaleFigures,
    /// The yarn, all measured pieces together.
    pub sample: Sample,
    /// Each measured piece.
    pub strands: Vec<StrandFigures>,
    /// Remarks.
    pub warnings: Vec<Warning>,
}

/// The program that wrote a report.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Program {
    /// `strandrule`.
    pub name: String,
    /// Version of the package.
    pub version: String,
}

/// What the photo's file says of itself.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct PhotoFacts {
    /// File name without its folder.
    pub file: String,
    /// Width as displayed, px.
    pub width_px: u32,
    /// Height as displayed, px.
    pub height_px: u32,
    /// RFC 3339 with offset where the photo gives one, else local time without one.
    pub taken_at: Option<String>,
}

/// How pixels became millimetres.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ScaleFigures {
    /// The way used; null without a scale.
    pub method: Option<Method>,
    /// Across the strand at the strand's own height, mean over what was measured, px/mm.
    pub px_per_mm: Quantity<f64>,
    /// Angle between the camera's axis and the card's normal, degree.
    pub tilt_deg: Quantity<f64>,
    /// What the ruler card's print measures over what it ought to, where the person stated it; 1 = true to scale.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub print_factor: Option<f64>,
}

/// The yarn, all measured pieces together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Sample {
    /// From the card or the command line.
    pub label: Option<String>,
    /// How many pieces were measured.
    pub strands: u32,
    /// Total length measured, mm.
    pub length_mm: Quantity<f64>,
    /// Number of plies, 1 for singles.
    pub plies: Quantity<u32>,
    /// Direction of the final twist.
    pub twist_direction: Quantity<TwistDirection>,
    /// Mean apparent width of the core, mm.
    pub diameter_mm: Quantity<f64>,
    /// The same in the photo's pixels.
    pub diameter_px: Quantity<f64>,
    /// The width a plied strand fills as it turns, mm.
    pub envelope_diameter_mm: Quantity<f64>,
    /// Wraps per inch.
    pub wraps_per_inch: Quantity<f64>,
    /// All yarn-weight categories that the wraps agree with.
    pub weight_categories: Vec<WeightCategory>,
    /// Angle between the visible lines and the strand's axis at the middle of its face, degree.
    pub twist_angle_deg: Quantity<f64>,
    /// Unequal plies: the angle of each, degree.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ply_angles_deg: Option<Vec<f64>>,
    /// Turns of the final twist per inch of twisted yarn.
    pub twists_per_inch: Quantity<f64>,
    /// The same per metre.
    pub twists_per_metre: Quantity<f64>,
    /// Ply bumps along one edge per inch.
    pub bumps_per_inch: Quantity<f64>,
    /// The same per diameter.
    pub bumps_per_diameter: Quantity<f64>,
    /// Plied: signed angle of the surface fibres to the yarn's axis, positive in the sense of the final twist, degree.
    pub fibre_angle_deg: Quantity<f64>,
    /// Evenness along the strand.
    pub evenness: Evenness,
    /// Cover of hairs outside both core edges per length, divided by the diameter.
    pub hairiness: Quantity<f64>,
    /// Closed loops or doublings of the whole strand, 1/m.
    pub kinks: Quantity<f64>,
}

/// A yarn-weight category and the meaning of wraps per inch under which it was found.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct WeightCategory {
    /// The trade's name.
    pub name: String,
    /// Which meaning of wraps per inch was used.
    pub meaning: String,
}

/// Evenness along the strand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Evenness {
    /// Standard deviation over mean of the local width, %.
    pub diameter_cv_percent: Quantity<f64>,
    /// The same of the means of several pieces, %.
    pub between_strands_cv_percent: Quantity<f64>,
    /// Of the local twist over windows of two turns (plied) or five diameters (singles), %.
    pub twist_cv_percent: Quantity<f64>,
    /// Thick and thin places; null with `faults_reason`.
    pub faults: Option<Faults>,
    /// Why `faults` is null.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub faults_reason: Option<Warning>,
}

/// Thick and thin places and where they were looked for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Faults {
    /// Length searched, mm.
    pub searched_mm: f64,
    /// What was found.
    pub list: Vec<Fault>,
}

/// Whether a fault is thick or thin.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum FaultKind {
    /// Wider than the strand's median.
    Thick,
    /// Narrower.
    Thin,
}

/// A thick or thin place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Fault {
    /// Thick or thin.
    pub kind: FaultKind,
    /// On which strand, counted from 1 as the overlay numbers them.
    pub strand: u32,
    /// Where it rises beyond half its peak, mm along the strand.
    pub start_mm: f64,
    /// How long it stays beyond half its peak, mm.
    pub length_mm: f64,
    /// Mean over that part against the strand's median, signed, %.
    pub deviation_percent: f64,
}

/// One measured piece of yarn.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StrandFigures {
    /// The number that the overlay shows.
    pub number: u32,
    /// Length measured, mm; null without a scale.
    pub length_mm: Option<f64>,
    /// Parts not measured.
    pub left_out: Vec<LeftOut>,
    /// What was seen along the piece.
    pub profile: Profile,
}

/// A part of a piece that was not measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LeftOut {
    /// Start along the piece, mm; null without a scale.
    pub start_mm: Option<f64>,
    /// End along the piece, mm; null without a scale.
    pub end_mm: Option<f64>,
    /// Why, in a fixed short word.
    pub why: String,
}

/// Arrays of equal length along a piece. Empty without a scale.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Profile {
    /// Along the centre line, mm.
    pub at_mm: Vec<f64>,
    /// Local width, mm.
    pub width_mm: Vec<f64>,
    /// Local twist angle, degree; null where unknown.
    pub twist_angle_deg: Vec<Option<f64>>,
    /// Local turns per inch; null where unknown.
    pub twists_per_inch: Vec<Option<f64>>,
    /// Centre line in the photo as displayed, px.
    #[serde(default)]
    pub x_px: Vec<f64>,
    /// See `x_px`.
    #[serde(default)]
    pub y_px: Vec<f64>,
}
