//! The numeric figures of a sample that work compares, pools and marks: one table of path, words, unit and getter.

use serde::{Deserialize, Serialize};

use crate::figures::Quantity;
use crate::figures::report::Sample;

/// A numeric figure of a sample.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Figure {
    /// Mean width of the core.
    DiameterMm,
    /// Width that a plied strand fills as it turns.
    EnvelopeDiameterMm,
    /// Wraps per inch.
    WrapsPerInch,
    /// Angle of the visible lines.
    TwistAngleDeg,
    /// Turns per inch.
    TwistsPerInch,
    /// Turns per metre.
    TwistsPerMetre,
    /// Ply bumps along one edge per inch.
    BumpsPerInch,
    /// Ply bumps along one edge per diameter.
    BumpsPerDiameter,
    /// Signed angle of the surface fibres.
    FibreAngleDeg,
    /// Unevenness of the width.
    DiameterCvPercent,
    /// Unevenness of the twist.
    TwistCvPercent,
    /// Hair cover.
    Hairiness,
    /// Kinks per metre.
    Kinks,
}

impl Figure {
    /// Whether the figure would be another one with another number of plies: turns come from bumps divided by plies.
    #[must_use]
    pub fn follows_from_plies(self) -> bool {
        matches!(self, Self::TwistsPerInch | Self::TwistsPerMetre | Self::TwistCvPercent)
    }

    /// Every figure, in the order of tables.
    pub const ALL: [Self; 13] = [
        Self::DiameterMm,
        Self::EnvelopeDiameterMm,
        Self::WrapsPerInch,
        Self::TwistAngleDeg,
        Self::TwistsPerInch,
        Self::TwistsPerMetre,
        Self::BumpsPerInch,
        Self::BumpsPerDiameter,
        Self::FibreAngleDeg,
        Self::DiameterCvPercent,
        Self::TwistCvPercent,
        Self::Hairiness,
        Self::Kinks,
    ];

    /// The key used in files and tables: the report's own name below `sample`.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::DiameterMm => "diameter_mm",
            Self::EnvelopeDiameterMm => "envelope_diameter_mm",
            Self::WrapsPerInch => "wraps_per_inch",
            Self::TwistAngleDeg => "twist_angle_deg",
            Self::TwistsPerInch => "twists_per_inch",
            Self::TwistsPerMetre => "twists_per_metre",
            Self::BumpsPerInch => "bumps_per_inch",
            Self::BumpsPerDiameter => "bumps_per_diameter",
            Self::FibreAngleDeg => "fibre_angle_deg",
            Self::DiameterCvPercent => "diameter_cv_percent",
            Self::TwistCvPercent => "twist_cv_percent",
            Self::Hairiness => "hairiness",
            Self::Kinks => "kinks",
        }
    }

    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::DiameterMm => "diameter",
            Self::EnvelopeDiameterMm => "envelope diameter",
            Self::WrapsPerInch => "wraps per inch",
            Self::TwistAngleDeg => "twist angle",
            Self::TwistsPerInch | Self::TwistsPerMetre => "twist",
            Self::BumpsPerInch | Self::BumpsPerDiameter => "ply bumps",
            Self::FibreAngleDeg => "fibre angle",
            Self::DiameterCvPercent => "unevenness of thickness (CV)",
            Self::TwistCvPercent => "unevenness of twist (CV)",
            Self::Hairiness => "hairiness",
            Self::Kinks => "kinks",
        }
    }

    /// The unit as it stands behind a number; empty for pure numbers.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            Self::DiameterMm | Self::EnvelopeDiameterMm => "mm",
            Self::WrapsPerInch => "wraps/in",
            Self::TwistAngleDeg | Self::FibreAngleDeg => "°",
            Self::TwistsPerInch => "turns/in",
            Self::TwistsPerMetre => "turns/m",
            Self::BumpsPerInch => "bumps/in",
            Self::BumpsPerDiameter => "per diameter",
            Self::DiameterCvPercent | Self::TwistCvPercent => "%",
            Self::Hairiness => "",
            Self::Kinks => "per m",
        }
    }

    /// The figure of a sample.
    #[must_use]
    pub fn of(self, sample: &Sample) -> &Quantity<f64> {
        match self {
            Self::DiameterMm => &sample.diameter_mm,
            Self::EnvelopeDiameterMm => &sample.envelope_diameter_mm,
            Self::WrapsPerInch => &sample.wraps_per_inch,
            Self::TwistAngleDeg => &sample.twist_angle_deg,
            Self::TwistsPerInch => &sample.twists_per_inch,
            Self::TwistsPerMetre => &sample.twists_per_metre,
            Self::BumpsPerInch => &sample.bumps_per_inch,
            Self::BumpsPerDiameter => &sample.bumps_per_diameter,
            Self::FibreAngleDeg => &sample.fibre_angle_deg,
            Self::DiameterCvPercent => &sample.evenness.diameter_cv_percent,
            Self::TwistCvPercent => &sample.evenness.twist_cv_percent,
            Self::Hairiness => &sample.hairiness,
            Self::Kinks => &sample.kinks,
        }
    }

    /// Whether the figure cannot be below zero.
    #[must_use]
    pub fn is_never_negative(self) -> bool {
        self != Self::FibreAngleDeg
    }

    /// The most that the figure can be, where it has a bound.
    #[must_use]
    pub fn most(self) -> Option<f64> {
        matches!(self, Self::TwistAngleDeg | Self::FibreAngleDeg).then_some(90.0)
    }

    /// The figure with that key.
    #[must_use]
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|f| f.key() == key)
    }
}
