//! Twist factor (multiplier): twist made independent of thickness.

use super::thickness::PEIRCE_DIAMETERS_PER_INCH_NE1;

/// Cotton twist multiplier, turns per inch over the root of the cotton count.
#[must_use]
pub fn multiplier(turns_per_inch: f64, cotton_ne: f64) -> f64 {
    turns_per_inch / cotton_ne.sqrt()
}

/// Turns per inch of a cotton count at a twist multiplier.
#[must_use]
pub fn turns_per_inch_of_multiplier(multiplier: f64, cotton_ne: f64) -> f64 {
    multiplier * cotton_ne.sqrt()
}

/// Twist factor of the tex system, turns per metre times the root of the tex.
#[must_use]
pub fn factor_tex(turns_per_metre: f64, tex: f64) -> f64 {
    turns_per_metre * tex.sqrt()
}

/// Metric twist factor, turns per metre over the root of the metric count.
#[must_use]
pub fn factor_metric(turns_per_metre: f64, nm: f64) -> f64 {
    turns_per_metre / nm.sqrt()
}

/// Surface angle, degree, that a cotton twist multiplier gives at any count: tan = pi TM / 28, with Peirce's diameter
/// 1/(28 sqrt(Ne)) inch.
#[must_use]
pub fn angle_deg_of_multiplier(multiplier: f64) -> f64 {
    (std::f64::consts::PI * multiplier / PEIRCE_DIAMETERS_PER_INCH_NE1).atan().to_degrees()
}
