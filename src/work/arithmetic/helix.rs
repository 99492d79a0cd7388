//! Geometry of twist: angle, turns, take-up, and plies that wind around each other.

use std::f64::consts::PI;

use crate::base::units::{Angle, Mm, TurnsPerMm};

/// Angle of a line on the surface of a strand of `diameter` with `turns`, to its axis: tan = pi d T.
/// Source: Hearle, Grosberg & Backer, Structural Mechanics of Fibers, Yarns and Fabrics (1969); an unrolled cylinder.
#[must_use]
pub fn surface_angle(diameter: Mm, turns: TurnsPerMm) -> Angle {
    Angle::radians((PI * diameter.0 * turns.0).atan())
}

/// Turns that give a surface angle: the inverse of [`surface_angle`].
#[must_use]
pub fn turns_for_angle(angle: Angle, diameter: Mm) -> TurnsPerMm {
    TurnsPerMm(angle.tan() / (PI * diameter.0))
}

/// Untwisted over twisted length of an ideal helical strand whose fibres migrate: (1 + sec a) / 2.
/// Source: Hearle, Grosberg & Backer (1969).
#[must_use]
pub fn contraction_factor(surface: Angle) -> f64 {
    (1.0 + 1.0 / surface.as_radians().cos()) / 2.0
}

/// Part of the untwisted length lost by twisting: 1 - 1/C = tan^2(a / 2).
#[must_use]
pub fn retraction(surface: Angle) -> f64 {
    (surface.as_radians() / 2.0).tan().powi(2)
}

/// Mill rule for the contraction of cotton ring yarn, per cent, from its twist multiplier: 2.67 TM - 4.93.
#[must_use]
pub fn mill_contraction_percent(multiplier: f64) -> f64 {
    2.67 * multiplier - 4.93
}

/// Distance of a ply's axis from the yarn's axis, in ply radii, for `plies` round plies lying in one ring, touching:
/// 1 / sin(pi / n); 0 for singles. The tilt of the ply's section is left out, which holds for small angles.
#[must_use]
pub fn ply_axis_radius(plies: u32) -> f64 {
    if plies < 2 { 0.0 } else { 1.0 / (PI / f64::from(plies)).sin() }
}

/// The ring of touching plies, in ply diameters across: what a plied strand of round plies fills as it turns.
#[must_use]
pub fn envelope_per_ply(plies: u32) -> f64 {
    1.0 + ply_axis_radius(plies)
}

/// Mean width of the silhouette of round touching plies over one turn, as a part of the envelope. Two to four plies:
/// 0.818, 0.907, 0.942; found by turning the ring of circles and averaging the extent.
#[must_use]
pub fn mean_width_per_envelope(plies: u32) -> f64 {
    if plies < 2 {
        return 1.0;
    }
    let (n, axis) = (f64::from(plies), ply_axis_radius(plies));
    // The extent repeats within one turn over n; 3600 steps of it leave an error below 1e-6.
    let steps = 3600u32;
    let extent = |turn: f64| {
        let reach = (0..plies).map(|k| axis * (turn + 2.0 * PI * f64::from(k) / n).cos());
        reach.clone().fold(f64::MIN, f64::max) - reach.fold(f64::MAX, f64::min) + 2.0
    };
    let sum: f64 = (0..steps).map(|i| extent(2.0 * PI / n * (f64::from(i) + 0.5) / f64::from(steps))).sum();
    sum / f64::from(steps) / (2.0 * envelope_per_ply(plies))
}

/// Angle at which the band of a ply crosses the middle of the yarn's face: tan = 2 pi Rc T, the helix of the ply's
/// axis, in an envelope of `envelope` with round touching plies.
#[must_use]
pub fn band_angle(envelope: Mm, plies: u32, turns: TurnsPerMm) -> Angle {
    let part = if plies < 2 { 1.0 } else { ply_axis_radius(plies) / envelope_per_ply(plies) };
    surface_angle(envelope * part, turns)
}

/// Twist left in a single after plying in the opposite direction: the ply's helix gives back T_ply cos^2(b).
/// Per length of ply. Negative: more was taken out than was in. Source: geometry of a helix (its tortuosity), after
/// Schwarz, Textile Research Journal 20 (1950) 175.
#[must_use]
pub fn residual_turns(singles: TurnsPerMm, ply: TurnsPerMm, ply_helix: Angle) -> TurnsPerMm {
    TurnsPerMm(singles.0 - ply.0 * ply_helix.as_radians().cos().powi(2))
}
