//! Round plies wound about each other: what of them is seen from above.

use crate::base::units::{Angle, Mm, TurnsPerMm};
use std::f64::consts::{PI, TAU};

/// Turns per length from the angle of lines on the surface: `T = tan(angle) / (pi d)`.
///
/// Source: the idealised helical yarn; Hearle, Grosberg & Backer, Structural Mechanics of Fibers, Yarns and Fabrics
/// (1969), from memory.
#[must_use]
pub fn turns_from_surface_angle(angle: Angle, diameter: Mm) -> TurnsPerMm {
    TurnsPerMm(angle.tan() / (PI * diameter.0))
}

/// Angle of lines on the surface from turns per length: `tan(angle) = pi d T`. Source: as
/// [`turns_from_surface_angle`].
#[must_use]
pub fn surface_angle_from_turns(turns: TurnsPerMm, diameter: Mm) -> Angle {
    Angle::radians((PI * diameter.0 * turns.0).atan())
}

/// Radius on which the axes of `plies` equal round touching plies wind, over the radius of the envelope:
/// `1 / (1 + sin(pi / n))`; 0 for one ply. Source: circles touching in a ring, worked by hand.
#[must_use]
pub fn axis_radius_of_envelope(plies: u32) -> f64 {
    if plies < 2 { 0.0 } else { 1.0 / (1.0 + (PI / f64::from(plies)).sin()) }
}

/// Extent that `plies` equal round touching plies fill as they turn, over the mean width seen: 1.22 for two, 1 for one.
#[must_use]
pub fn envelope_per_mean_width(plies: u32) -> f64 {
    if plies < 2 { 1.0 } else { Bundle::equal_plies(plies, 1.0, 0.0).envelope_per_half_width() }
}

/// Plies wound about a common axis; lengths in units of the envelope's radius.
#[derive(Debug, Clone)]
pub(super) struct Bundle {
    /// Radius of each ply.
    pub(super) radii: Vec<f64>,
    /// Radius on which each ply's axis winds.
    pub(super) axis_radii: Vec<f64>,
    /// Angle at which each ply stands.
    pub(super) angles: Vec<f64>,
    /// Tangent of the band's angle of a ply winding on the envelope's radius.
    pub(super) tangent_at_one: f64,
}

/// What is seen at one place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seen {
    /// Which ply.
    pub(super) ply: usize,
    /// Its normal's component across the strand, -1 to 1.
    pub(super) normal_across: f64,
    /// Its normal's component along the strand, before normalising.
    pub(super) normal_along: f64,
    /// Height of the surface towards the viewer.
    pub(super) depth: f64,
}

impl Bundle {
    /// `plies` equal round plies; `closeness` is the radius of the axes over that of touching round plies (1 touching,
    /// less where they press into each other).
    pub(super) fn equal_plies(plies: u32, closeness: f64, turns_times_mean_width: f64) -> Self {
        let n = plies.max(2);
        let ratio = closeness / (PI / f64::from(n)).sin();
        let radius = 1.0 / (1.0 + ratio);
        let mut b = Self {
            radii: vec![radius; n as usize],
            axis_radii: vec![ratio * radius; n as usize],
            angles: (0..n).map(|k| TAU * f64::from(k) / f64::from(n)).collect(),
            tangent_at_one: 0.0,
        };
        b.set_turns(turns_times_mean_width);
        b
    }

    /// A thick ply and one of `ratio` times its radius wound round it. The axis lies where the moments of bending
    /// balance: nearer to the thick one's axis, in proportion to the cross-sections.
    pub(super) fn thick_and_thin(ratio: f64, closeness: f64, turns_times_mean_width: f64) -> Self {
        let (a, b) = (1.0, ratio);
        let distance = (a + b) * closeness;
        let (area_a, area_b) = (a * a, b * b);
        let rc_a = distance * area_b / (area_a + area_b);
        let rc_b = distance - rc_a;
        let outer = (rc_a + a).max(rc_b + b);
        let mut bundle = Self {
            radii: vec![a / outer, b / outer],
            axis_radii: vec![rc_a / outer, rc_b / outer],
            angles: vec![0.0, PI],
            tangent_at_one: 0.0,
        };
        bundle.set_turns(turns_times_mean_width);
        bundle
    }

    fn set_turns(&mut self, turns_times_mean_width: f64) {
        // Envelope's radius = mean width / 2 x envelope_per_half_width.
        self.tangent_at_one = TAU * turns_times_mean_width / 2.0 * self.envelope_per_half_width();
    }

    /// Whether all plies are alike.
    pub(super) fn equal(&self) -> bool {
        self.radii.windows(2).all(|w| (w[0] - w[1]).abs() < 1e-9)
    }

    /// Upper and lower outline at turn angle `theta`.
    pub(super) fn edges(&self, theta: f64) -> (f64, f64) {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for ((r, rc), a) in self.radii.iter().zip(&self.axis_radii).zip(&self.angles) {
            let y = rc * (theta + a).sin();
            low = low.min(y - r);
            high = high.max(y + r);
        }
        (low, high)
    }

    /// Radius of the envelope over half of the mean width seen.
    pub(super) fn envelope_per_half_width(&self) -> f64 {
        let n = 180;
        let mean = (0..n)
            .map(|k| {
                let (low, high) = self.edges(TAU * f64::from(k) / f64::from(n));
                high - low
            })
            .sum::<f64>()
            / f64::from(n);
        2.0 / mean
    }

    /// The plies when the yarn has turned by `theta`. `sense` +1: Z.
    pub(super) fn turned(&self, theta: f64, sense: f64) -> Turned {
        let places = self.radii.iter().zip(&self.axis_radii).zip(&self.angles);
        let plies = places.map(|((r, rc), a)| {
            // With growing x a Z ply at the front moves down: y grows with theta.
            let at = theta + sense * a;
            // A tube that crosses the view at a slope is seen wider by 1 / cos of the slope.
            let slope = sense * self.tangent_at_one * rc * at.cos();
            Crossing {
                middle: sense * rc * at.sin(),
                front: rc * at.cos(),
                slope,
                half: r * slope.hypot(1.0),
                radius: *r,
            }
        });
        Turned { plies: plies.collect() }
    }
}

/// One ply where it crosses the view.
#[derive(Debug, Clone, Copy)]
struct Crossing {
    middle: f64,
    front: f64,
    slope: f64,
    half: f64,
    radius: f64,
}

/// A bundle that has turned by some angle.
#[derive(Debug, Clone)]
pub(super) struct Turned {
    plies: Vec<Crossing>,
}

impl Turned {
    /// The surface seen at height `y` across; `None` beside the yarn.
    pub(super) fn seen(&self, y: f64) -> Option<Seen> {
        let mut best: Option<Seen> = None;
        for (k, ply) in self.plies.iter().enumerate() {
            let across = (y - ply.middle) / ply.half;
            if across.abs() >= 1.0 {
                continue;
            }
            let depth = ply.front + ply.radius * (1.0 - across * across).sqrt();
            if best.is_none_or(|b| depth > b.depth) {
                best = Some(Seen { ply: k, normal_across: across, normal_along: -across * ply.slope, depth });
            }
        }
        best
    }
}
