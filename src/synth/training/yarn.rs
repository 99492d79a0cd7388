//! Yarn of any colour, twist, plies and hair.

use super::super::chance::Chance;
use super::super::random::COLOURS;
use super::super::scene::{Albedo, FaultSpec, HairSpec, PlySpec, Turning, YarnSpec};

/// A colour: natural, strong, nearly white or nearly black.
pub(super) fn colour(chance: &mut Chance) -> Albedo {
    match chance.unit() {
        u if u < 0.18 => {
            let white = chance.between(0.55, 0.88);
            std::array::from_fn(|_| white * chance.between(0.88, 1.0))
        }
        u if u < 0.33 => {
            let black = chance.log_between(0.008, 0.06);
            std::array::from_fn(|_| black * chance.between(0.7, 1.0))
        }
        u if u < 0.55 => chance.pick(&COLOURS).1,
        _ => {
            let (hue, pale, value) = (chance.unit() * 6.0, chance.unit().powi(2), chance.log_between(0.03, 0.9));
            // Red, green and blue as shares of the strongest at a hue of the colour hexagon.
            let share = |shift: f64| ((hue + shift).rem_euclid(6.0) - 3.0).abs() - 1.0;
            [share(0.0), share(4.0), share(2.0)].map(|c| value * (pale + (1.0 - pale) * c.clamp(0.0, 1.0)).max(0.02))
        }
    }
}

/// Yarn of a diameter, mm.
pub(super) fn draw(chance: &mut Chance, diameter_mm: f64) -> YarnSpec {
    let plies = chance.pick(&[1usize, 2, 3, 4]);
    let main = colour(chance);
    let several = plies > 1 && chance.happens(0.35);
    let unequal = plies > 1 && chance.happens(0.25);
    let mut specs = Vec::new();
    for i in 0..plies {
        let own = if several && i > 0 && chance.happens(0.75) { colour(chance) } else { main };
        let relative = if unequal && i > 0 { chance.between(if plies == 4 { 0.75 } else { 0.4 }, 1.0) } else { 1.0 };
        let shade = 1.0 + 0.06 * chance.normal();
        specs.push(PlySpec { relative_radius: relative, colour: own.map(|c| (c * shade).clamp(0.006, 0.9)) });
    }
    let angle_deg: f64 = if chance.happens(0.8) { chance.between(14.0, 45.0) } else { chance.between(5.0, 48.0) };
    let band = angle_deg.to_radians().tan();
    let lean: f64 = band * chance.between(-0.2, 0.8);
    let fibre_mm = (diameter_mm / chance.log_between(16.0, 60.0)).max(0.02).min(diameter_mm / 9.0);
    let fine = if chance.happens(0.3) { chance.log_between(0.001, 0.01) } else { chance.log_between(0.005, 0.05) };
    YarnSpec {
        plies: specs,
        colour_name: String::new(),
        turning: if chance.happens(0.5) { Turning::S } else { Turning::Z },
        diameter_mm,
        angle_deg,
        thickness_cv: if chance.happens(0.15) { chance.between(0.0, 0.03) } else { chance.between(0.02, 0.2) },
        twist_cv: chance.between(0.0, 0.15),
        twist_follows_thickness: if plies == 1 { chance.between(0.5, 1.3) } else { chance.between(0.1, 0.9) },
        compress: if plies == 1 { 1.0 } else { chance.between(0.8, 1.0) },
        fibre_lean_deg: lean.atan().to_degrees(),
        fibre_mm,
        fibre_depth_mm: 0.5 * fibre_mm,
        fibre_scatter_deg: chance.between(1.0, 10.0),
        relief: fine,
        hair: hair(chance, diameter_mm),
        gloss: if chance.happens(0.35) { chance.between(0.2, 1.0) } else { 0.05 },
        faults: faults(chance, diameter_mm),
    }
}

fn hair(chance: &mut Chance, diameter_mm: f64) -> HairSpec {
    let bare = HairSpec { per_cm: 0.0, length_mm: 3.0, height_mm: 0.3, radius_mm: 0.01 };
    let radius_mm = chance.between(0.006, 0.012).max(diameter_mm / 300.0);
    match chance.unit() {
        u if u < 0.2 => bare,
        // Brushed yarn with a halo.
        u if u < 0.3 => HairSpec {
            per_cm: chance.between(80.0, 250.0),
            length_mm: diameter_mm * chance.between(4.0, 10.0),
            height_mm: diameter_mm * chance.between(0.5, 1.5),
            radius_mm,
        },
        _ => HairSpec {
            per_cm: chance.log_between(6.0, 250.0),
            length_mm: chance.between(2.0, 5.0) * diameter_mm.max(0.3).powf(0.4),
            height_mm: chance.between(0.05, 0.5) * diameter_mm.max(0.2).powf(0.6),
            radius_mm,
        },
    }
}

/// Slubs and thin places.
fn faults(chance: &mut Chance, diameter_mm: f64) -> Vec<FaultSpec> {
    let count = if chance.happens(0.3) { 1 + (chance.unit() * 3.0) as usize } else { 0 };
    let one = |chance: &mut Chance| FaultSpec {
        at: chance.between(0.3, 0.7),
        length_mm: diameter_mm * chance.between(3.0, 16.0),
        amplitude: if chance.happens(0.6) { chance.between(0.3, 1.3) } else { chance.between(-0.55, -0.25) },
        ply: None,
    };
    (0..count).map(|_| one(chance)).collect()
}
