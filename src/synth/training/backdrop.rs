//! Cards, tables, pictures and light for training.

use std::sync::Arc;

use super::super::chance::Chance;
use super::super::picture::{GroundPicture, PictureSpec};
use super::super::random::{random_ruler, ruler_card};
use super::super::scene::{CardSpec, Face, LightSpec, Pattern, RulerUnit, TableSpec, YarnSpec};
use super::View;
use super::lie::Style;
use super::yarn::colour;

/// A card under the yarn, or none: one far smaller than nothing.
pub(super) fn card(chance: &mut Chance, style: Style, yarn: &YarnSpec, diameter_mm: f64) -> CardSpec {
    let none = CardSpec { width_mm: -1e4, height_mm: -1e4, thickness_mm: 0.0, colour: [0.3; 3], face: Face::Blank };
    let paper = chance.between(0.6, 0.88);
    let white: [f64; 3] = std::array::from_fn(|_| paper * chance.between(0.92, 1.0));
    let unit = if chance.happens(0.6) { RulerUnit::Mm } else { RulerUnit::Inch };
    if style == Style::Wraps {
        let (width_mm, height_mm) = (chance.between(60.0, 220.0), diameter_mm * chance.log_between(5.0, 40.0));
        let ruled = height_mm > 20.0 && chance.happens(0.4);
        return CardSpec {
            width_mm,
            height_mm,
            thickness_mm: (0.5 * diameter_mm).clamp(0.5, 4.0),
            colour: if ruled { white } else { colour(chance) },
            face: if ruled { Face::Ruler(random_ruler(chance, unit, width_mm, true)) } else { Face::Blank },
        };
    }
    match chance.unit() {
        u if u < 0.42 => none,
        u if u < 0.54 => CardSpec {
            width_mm: chance.log_between(20.0, 250.0),
            height_mm: chance.log_between(15.0, 180.0),
            thickness_mm: chance.between(0.1, 1.5),
            colour: colour(chance),
            face: Face::Blank,
        },
        u if u < 0.64 && yarn.diameter_mm < 8.0 => match ruler_card(yarn.diameter_mm) {
            Some(printed) => {
                let (width_mm, height_mm) = printed.size_mm();
                let thickness_mm = chance.between(0.1, 0.5);
                CardSpec { width_mm, height_mm, thickness_mm, colour: white, face: Face::RulerCard(printed) }
            }
            None => none,
        },
        u => {
            // A strip that is nearly all ruler, or a card with one along an edge.
            let strip = u > 0.9;
            let (width_mm, height_mm) = if strip {
                (chance.between(100.0, 220.0), chance.between(18.0, 38.0))
            } else {
                (chance.between(80.0, 160.0), chance.between(45.0, 110.0))
            };
            // Inked marks need paper that shows them.
            let light = colour(chance).map(|c| c.max(0.25));
            CardSpec {
                width_mm,
                height_mm,
                thickness_mm: chance.between(0.1, 1.6),
                colour: if chance.happens(0.7) { white } else { light },
                face: Face::Ruler(random_ruler(chance, unit, width_mm, strip)),
            }
        }
    }
}

/// Where the picture's middle lies: on the card, often near its edge, or anywhere where there is none.
pub(super) fn target(chance: &mut Chance, card: &CardSpec, view: &View) -> [f64; 2] {
    if card.width_mm <= 0.0 {
        return [chance.between(-200.0, 200.0), chance.between(-200.0, 200.0)];
    }
    let share = if chance.happens(0.4) { 1.0 } else { 0.6 };
    let within = [card.width_mm, card.height_mm].map(|side| chance.between(-0.5, 0.5) * side * share);
    // A card smaller than the picture lies anywhere in it.
    let free = [card.width_mm, card.height_mm].map(|side| (view.reach() - 0.5 * side).max(0.0) * 0.5);
    std::array::from_fn(|k| within[k] + chance.between(-free[k], free[k]))
}

pub(super) fn table(chance: &mut Chance, view: &View) -> TableSpec {
    let pattern = chance.pick(&[
        Pattern::Plain,
        Pattern::Plain,
        Pattern::Wood,
        Pattern::Wood,
        Pattern::Gingham,
        Pattern::Linen,
        Pattern::Marble,
        Pattern::Stripes,
        Pattern::Dots,
        Pattern::Plaid,
        Pattern::Weave,
        Pattern::Twill,
        Pattern::Ribs,
        Pattern::Print,
        Pattern::Gradient,
        Pattern::Grain,
        Pattern::Tiles,
        Pattern::Cells,
    ]);
    let ground = colour(chance);
    // Two colours far apart, two shades of one, or nearly one.
    let accent = match chance.unit() {
        u if u < 0.4 => colour(chance),
        u if u < 0.8 => {
            let shade = chance.log_between(0.35, 1.6);
            ground.map(|c| (c * shade).clamp(0.005, 0.9))
        }
        _ => ground.map(|c| (c * chance.between(0.85, 1.15)).clamp(0.005, 0.9)),
    };
    // Sizes are those seen at 16 px/mm; any table may be seen from near or far.
    let scale = 16.0 / view.px_per_mm * chance.log_between(0.3, 3.5);
    TableSpec { pattern, colour: ground, accent, turn_deg: chance.between(0.0, 360.0), scale }
}

/// The picture as a table, in some scenes.
pub(super) fn picture(chance: &mut Chance, picture: Arc<GroundPicture>, view: &View) -> Option<PictureSpec> {
    let wanted = chance.happens(0.45);
    let gain = chance.log_between(0.5, 1.6);
    let spec = PictureSpec {
        picture,
        px_mm: chance.log_between(0.35, 2.5) / view.px_per_mm,
        corner: [chance.between(-400.0, 400.0), chance.between(-400.0, 400.0)],
        turn_deg: chance.between(0.0, 360.0),
        gain: std::array::from_fn(|_| gain * chance.between(0.85, 1.15)),
    };
    wanted.then_some(spec)
}

pub(super) fn light(chance: &mut Chance) -> LightSpec {
    let (warm, green) = (chance.between(-0.2, 0.2), chance.between(-0.05, 0.05));
    LightSpec {
        azimuth_deg: chance.between(0.0, 360.0),
        elevation_deg: chance.between(18.0, 85.0),
        direct: chance.between(0.1, 0.85),
        softness_deg: chance.log_between(0.8, 25.0),
        colour: [1.0 + warm, 1.0 + green, 1.0 - warm],
        falloff: if chance.happens(0.3) { chance.between(0.0, 0.6) } else { chance.between(0.0, 0.2) },
    }
}
