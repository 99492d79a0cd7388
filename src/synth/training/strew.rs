//! Things that are no yarn, strewn over a scene.

use super::super::chance::Chance;
use super::super::random::random_ruler;
use super::super::scene::RulerUnit;
use super::super::thing::{Thing, ThingKind};
use super::View;
use super::lie::Line;
use super::yarn::colour;

/// Kinds and how often each is drawn.
const KINDS: [(ThingKind, f64); 21] = [
    (ThingKind::Cable, 9.0),
    (ThingKind::Cord, 8.0),
    (ThingKind::Wire, 6.0),
    (ThingKind::Stick, 6.0),
    (ThingKind::Pipe, 4.0),
    (ThingKind::Screw, 4.0),
    (ThingKind::Beads, 4.0),
    (ThingKind::Finger, 4.0),
    (ThingKind::Pin, 5.0),
    (ThingKind::Pencil, 8.0),
    (ThingKind::Ribbon, 7.0),
    (ThingKind::Tape, 4.0),
    (ThingKind::Paper, 8.0),
    (ThingKind::Print, 5.0),
    (ThingKind::Bars, 3.0),
    (ThingKind::Ruler, 14.0),
    (ThingKind::Leaf, 3.0),
    (ThingKind::Coin, 5.0),
    (ThingKind::Button, 4.0),
    (ThingKind::Ring, 4.0),
    (ThingKind::Shade, 7.0),
];

pub(super) fn draw(chance: &mut Chance, view: &View, yarn: &[Line]) -> Vec<Thing> {
    let count = match chance.unit() {
        u if u < 0.22 => 0,
        u if u < 0.7 => 1 + (chance.unit() * 3.0) as usize,
        _ => 4 + (chance.unit() * 9.0) as usize,
    };
    let mut things: Vec<Thing> = (0..count).filter_map(|_| placed(chance, view, yarn)).collect();
    // Papers at the bottom, what lies on the yarn at the top.
    things.sort_by_key(|t| (t.over, !t.kind.is_band()));
    things
}

/// One thing; round ones and tubes mostly keep off the yarn, which would have to climb over them.
fn placed(chance: &mut Chance, view: &View, yarn: &[Line]) -> Option<Thing> {
    let over = chance.happens(0.1);
    let flat_on = chance.happens(0.12);
    (0..8).map(|_| one(chance, view, yarn, over)).find(|thing| {
        over || flat_on || thing.kind.is_band() || thing.kind == ThingKind::Shade || is_clear(thing, yarn)
    })
}

fn one(chance: &mut Chance, view: &View, yarn: &[Line], over: bool) -> Thing {
    let mut at = chance.unit() * KINDS.iter().map(|k| k.1).sum::<f64>();
    let mut kind = ThingKind::Cable;
    for (each, weight) in KINDS {
        kind = each;
        at -= weight;
        if at < 0.0 {
            break;
        }
    }
    let across = 2.0 * view.reach();
    let px = 1.0 / view.px_per_mm;
    let width_mm = px
        * match kind {
            ThingKind::Wire | ThingKind::Pin => chance.log_between(3.0, 16.0),
            ThingKind::Finger => chance.log_between(90.0, 300.0),
            ThingKind::Coin | ThingKind::Button | ThingKind::Ring => chance.log_between(30.0, 260.0),
            ThingKind::Paper | ThingKind::Print | ThingKind::Bars => chance.log_between(40.0, 900.0),
            ThingKind::Shade => chance.log_between(60.0, 1200.0),
            ThingKind::Leaf => chance.log_between(40.0, 250.0),
            kind if kind.is_band() => chance.log_between(12.0, 160.0),
            _ => chance.log_between(7.0, 110.0),
        };
    let (mut width_mm, mut length) = (width_mm, across * chance.log_between(0.15, 1.6));
    let mut ruler = None;
    if kind == ThingKind::Ruler {
        width_mm = chance.between(14.0, 42.0);
        length = chance.pick(&[100.0, 150.0, 200.0, 300.0]) + chance.between(4.0, 12.0);
        let unit = if chance.happens(0.65) { RulerUnit::Mm } else { RulerUnit::Inch };
        ruler = Some(random_ruler(chance, unit, length, false));
    } else if matches!(kind, ThingKind::Finger | ThingKind::Leaf) {
        length = width_mm * chance.between(2.2, 6.0);
    } else if matches!(kind, ThingKind::Paper | ThingKind::Print | ThingKind::Bars) {
        length = width_mm * chance.log_between(0.7, 8.0);
    } else if matches!(kind, ThingKind::Pencil | ThingKind::Screw | ThingKind::Pin) {
        length = width_mm * chance.between(7.0, 26.0);
    }
    // Rulers mostly lie along the yarn.
    let along = yarn.first().filter(|_| kind == ThingKind::Ruler && chance.happens(0.6));
    let angle = match along {
        Some(line) => (line.angle_deg + 4.0 * chance.normal()).to_radians(),
        None => chance.between(0.0, std::f64::consts::TAU),
    };
    let middle = view.somewhere(chance, 1.0);
    let (sine, cosine) = angle.sin_cos();
    let end = |share: f64| [middle[0] + share * length * cosine, middle[1] + share * length * sine];
    let straight = kind.is_band() && !matches!(kind, ThingKind::Ribbon | ThingKind::Tape | ThingKind::Leaf)
        || matches!(kind, ThingKind::Pencil | ThingKind::Screw | ThingKind::Pin);
    let bow = if straight { 0.0 } else { length * 0.35 * chance.normal() * chance.unit() };
    let bent = [middle[0] - bow * sine, middle[1] + bow * cosine];
    let metal = matches!(kind, ThingKind::Wire | ThingKind::Pin | ThingKind::Screw | ThingKind::Coin);
    let mut paint = colour(chance);
    let mut accent = if chance.happens(0.5) { colour(chance) } else { paint.map(|c| c * chance.between(0.3, 0.9)) };
    match kind {
        ThingKind::Finger => {
            let skin = chance.log_between(0.06, 0.6);
            paint = [skin, skin * chance.between(0.55, 0.75), skin * chance.between(0.35, 0.6)];
            accent = [skin * 0.75, skin * 0.4, skin * 0.3];
        }
        ThingKind::Ruler | ThingKind::Paper | ThingKind::Print | ThingKind::Bars if chance.happens(0.7) => {
            let white = chance.between(0.5, 0.86);
            paint = std::array::from_fn(|_| white * chance.between(0.88, 1.0));
            accent = [chance.log_between(0.02, 0.12); 3];
        }
        ThingKind::Ruler => {
            // Wood, metal or plastic; marks that show on it.
            let light = paint.iter().sum::<f64>() > 0.5;
            accent = if light { [0.02; 3] } else { [0.8; 3] };
        }
        ThingKind::Shade => (),
        _ if metal && chance.happens(0.7) => {
            let grey = chance.between(0.2, 0.6);
            paint = [grey * chance.between(1.0, 1.3), grey, grey * chance.between(0.6, 1.0)];
            accent = paint.map(|c| c * 0.3);
        }
        _ => (),
    }
    let gloss = match kind {
        ThingKind::Shade => chance.between(0.15, 0.7),
        _ if metal => chance.between(0.3, 1.0),
        ThingKind::Cord | ThingKind::Stick | ThingKind::Leaf => chance.between(0.0, 0.2),
        _ => chance.unit().powi(2) * 0.9,
    };
    let thick_mm = match kind {
        ThingKind::Ruler => chance.between(0.4, 3.5),
        // The breadth of a shadow's edge.
        ThingKind::Shade => width_mm * chance.log_between(0.02, 0.8),
        ThingKind::Coin | ThingKind::Button | ThingKind::Ring => 0.1 * width_mm,
        _ => (px * chance.log_between(0.5, 6.0)).min(1.0),
    };
    Thing {
        kind,
        course: if kind.is_round() { [middle; 3] } else { [end(-0.5), bent, end(0.5)] },
        width_mm,
        thick_mm,
        colour: paint.map(|c| c.clamp(0.005, 0.9)),
        accent: accent.map(|c| c.clamp(0.005, 0.9)),
        gloss,
        seed: chance.bits(),
        over: over || kind == ThingKind::Shade,
        ruler,
    }
}

/// Whether a thing keeps off all yarn.
fn is_clear(thing: &Thing, yarn: &[Line]) -> bool {
    let [a, b, c] = thing.course;
    (0..=24).all(|i| {
        let t = f64::from(i) / 24.0;
        let w = [(1.0 - t) * (1.0 - t), 2.0 * t * (1.0 - t), t * t];
        let p: [f64; 2] = std::array::from_fn(|k| w[0] * a[k] + w[1] * b[k] + w[2] * c[k]);
        yarn.iter().all(|line| {
            let (sine, cosine) = line.angle_deg.to_radians().sin_cos();
            let (dx, dy) = (p[0] - line.middle[0], p[1] - line.middle[1]);
            let (along, aside) = (dx * cosine + dy * sine, dy * cosine - dx * sine);
            let past = (along.abs() - line.half_length).max(0.0);
            past.hypot((aside.abs() - line.half_width).max(0.0)) > 0.6 * thing.width_mm
        })
    })
}
