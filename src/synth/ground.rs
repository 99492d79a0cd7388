//! Card, print, table and the things lying about, without yarn: one colour per pixel, edges weighed by how much of the
//! pixel they cover.

use super::chance::{cloud, hash, lattice};
use super::numerals;
use super::pattern;
use super::picture::PictureSpec;
use super::scene::{Albedo, CardSpec, Clutter, Face, Pattern, RulerSpec, RulerUnit, TableSpec};
use super::shade::{Light, smooth};
use super::thing::{Kind, Laid, Part};

/// A pixel on the ground: where it looks, and its extent along both axes, mm.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spot {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) wide: f64,
    pub(super) high: f64,
}

/// Share of a pixel of the extent `size` at signed distance `inside` from an edge that lies on the inner side.
pub(super) fn cover(inside: f64, size: f64) -> f64 {
    (inside / size + 0.5).clamp(0.0, 1.0)
}

/// Share of a pixel covered by a stripe of half width `half` whose middle is `away`.
fn stripe(away: f64, half: f64, size: f64) -> f64 {
    cover(half - away, size) + cover(half + away, size) - 1.0
}

pub(super) fn mix(a: Albedo, b: Albedo, t: f64) -> Albedo {
    std::array::from_fn(|c| a[c] + (b[c] - a[c]) * t)
}

/// Reflectance of printer's ink.
const INK: Albedo = [0.035, 0.035, 0.04];

/// The ground of a scene.
#[derive(Debug)]
pub(super) struct Ground<'a> {
    pub(super) card: &'a CardSpec,
    pub(super) table: &'a TableSpec,
    pub(super) picture: Option<&'a PictureSpec>,
    pub(super) clutter: &'a [Clutter],
    pub(super) things: Vec<Laid<'a>>,
    pub(super) light: &'a Light,
    pub(super) seed: u64,
}

impl Ground<'_> {
    /// Light from a pixel (linear) and what it mostly shows: `card` where it meets the card's face, `table` where it
    /// meets the table; `near` are the things that it may show.
    pub(super) fn colour(&self, card: &Spot, table: &Spot, near: &[Part]) -> (Albedo, Kind) {
        let (half_w, half_h) = (self.card.width_mm / 2.0, self.card.height_mm / 2.0);
        let on_card = cover(half_w - card.x.abs(), card.wide) * cover(half_h - card.y.abs(), card.high);
        let mut colour = [0.0; 3];
        if on_card < 1.0 {
            colour = self.table_colour(table).map(|c| c * self.card_shadow(table));
        }
        if on_card > 0.0 {
            let paper = 1.0
                + 0.012 * cloud(hash(self.seed ^ 21), card.x / 0.7, card.y / 0.7)
                + 0.02 * cloud(hash(self.seed ^ 22), card.x / 40.0, card.y / 40.0);
            let face = self.face(card).map(|c| c * paper);
            colour = mix(colour, face, on_card);
        }
        let mut kind = match (on_card > 0.5, self.is_ruler()) {
            (true, true) => Kind::Ruler,
            (true, false) => Kind::Card,
            _ => Kind::Ground,
        };
        for thing in self.clutter {
            if self.lay(thing, card, &mut colour) > 0.5 {
                kind = Kind::Other;
            }
        }
        self.pile(near, false, card, &mut colour, &mut kind);
        (std::array::from_fn(|c| colour[c] * self.light.colour[c]), kind)
    }

    /// Whether the card is little else than a ruler: a strip not much higher than its ticks and numerals.
    fn is_ruler(&self) -> bool {
        matches!(self.card.face, Face::Ruler(_)) && self.card.height_mm < 40.0
    }

    /// Lays things on a pixel, those beneath the yarn or those on it; returns how much of it they cover.
    pub(super) fn pile(&self, near: &[Part], over: bool, at: &Spot, colour: &mut Albedo, kind: &mut Kind) -> f64 {
        let mut free = 1.0;
        for part in near {
            let Some(laid) = self.things.get(part.thing).filter(|l| l.thing.over == over) else { continue };
            if let Some((body, label)) = laid.lay(part, at, self.light, colour) {
                free *= 1.0 - body;
                if body > 0.5 {
                    *kind = label;
                }
            }
        }
        1.0 - free
    }

    /// The card's own shadow and contact on the table.
    fn card_shadow(&self, at: &Spot) -> f64 {
        let thick = self.card.thickness_mm;
        let towards = self.light.towards;
        let reach = thick / towards.z.max(0.2);
        let (x, y) = (at.x + towards.x * reach, at.y + towards.y * reach);
        let inside = (self.card.width_mm / 2.0 - x.abs()).min(self.card.height_mm / 2.0 - y.abs());
        let soft = 0.3 * thick + self.light.softness * reach + 0.5 * at.wide;
        let direct = self.light.direct * (1.0 - smooth(0.5 + 0.5 * inside / soft));
        let near = (self.card.width_mm / 2.0 - at.x.abs()).min(self.card.height_mm / 2.0 - at.y.abs());
        let open = 1.0 - 0.4 * smooth(1.0 + near / (3.0 * thick).max(0.01));
        direct + (1.0 - self.light.direct) * open
    }

    fn face(&self, at: &Spot) -> Albedo {
        match &self.card.face {
            Face::Blank => self.card.colour,
            Face::Ruler(ruler) => {
                mix(self.card.colour, INK, ruler_ink(ruler, self.card.width_mm, self.card.height_mm, at))
            }
            Face::RulerCard(printed) => {
                let (x, y) = (at.x + self.card.width_mm / 2.0, self.card.height_mm / 2.0 - at.y);
                let ink = printed.mean(x, y, at.wide, at.high);
                self.card.colour.map(|c| c * ink)
            }
        }
    }

    fn table_colour(&self, at: &Spot) -> Albedo {
        if let Some(picture) = self.picture {
            return picture.colour(at.x, at.y, 0.5 * (at.wide + at.high));
        }
        let (sine, cosine) = self.table.turn_deg.to_radians().sin_cos();
        let (u, v) = (at.x * cosine + at.y * sine, at.y * cosine - at.x * sine);
        let (u, v) = (u / self.table.scale, v / self.table.scale);
        let seed = hash(self.seed ^ 31);
        let (ground, accent) = (self.table.colour, self.table.accent);
        let t = match self.table.pattern {
            Pattern::Plain => 0.25 + 0.25 * cloud(seed, u / 9.0, v / 9.0) + 0.1 * cloud(seed ^ 1, u / 0.8, v / 0.8),
            Pattern::Wood => {
                let board = (v / 70.0).floor();
                let along = u + 300.0 * lattice(seed ^ 2, board as i64, 0);
                let bend = 5.0 * cloud(seed, along / 120.0, v / 18.0);
                let grain = 0.5 + 0.5 * ((v + bend) / 1.7).sin() * (0.6 + 0.4 * cloud(seed ^ 3, along / 60.0, v / 6.0));
                let fine = 0.2 * cloud(seed ^ 4, along / 14.0, v / 0.35);
                let seam = stripe(v - (board + 0.5) * 70.0 - 35.0, 0.35, at.wide.max(at.high));
                (0.15 + 0.55 * grain + fine).clamp(0.0, 1.0) + 0.8 * seam
            }
            Pattern::Gingham => {
                let band = |x: f64, size: f64| {
                    let x = (x / 16.0).rem_euclid(1.0) * 16.0;
                    cover(8.0 - x, size) * cover(x, size)
                };
                let weave = 0.06 * cloud(seed, u / 0.35, v / 0.35);
                0.5 * (band(u, at.wide) + band(v, at.high)) + weave
            }
            Pattern::Linen => {
                let thread = |x: f64, y: f64, k: u64| {
                    let i = (x / 0.5).floor();
                    0.5 + 0.3 * lattice(seed ^ k, i as i64, (y / 25.0) as i64)
                        + 0.2 * cloud(seed ^ k, x / 0.25, y / 6.0)
                };
                0.5 * (thread(u, v, 5) + thread(v, u, 6))
            }
            Pattern::Marble => {
                let warp = 14.0 * cloud(seed, u / 30.0, v / 30.0) + 4.0 * cloud(seed ^ 7, u / 9.0, v / 9.0);
                let vein = (cloud(seed ^ 8, (u + warp) / 26.0, (v + warp) / 26.0)).abs();
                0.25 + 0.15 * cloud(seed ^ 9, u / 20.0, v / 20.0) + 0.7 * (1.0 - smooth(vein / 0.045))
            }
            other => pattern::accent(other, u, v, 0.5 * (at.wide + at.high) / self.table.scale, seed),
        };
        mix(ground, accent, t.clamp(0.0, 1.0))
    }

    /// Lays a thing's shadow and body on a pixel; returns how much of it the body covers.
    fn lay(&self, thing: &Clutter, at: &Spot, colour: &mut Albedo) -> f64 {
        let size = 0.5 * (at.wide + at.high);
        let sun = self.light.towards;
        match *thing {
            Clutter::Pencil { from, to, thickness_mm, colour: paint } => {
                let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
                let length = dx.hypot(dy).max(1e-9);
                let (ex, ey) = (dx / length, dy / length);
                let place =
                    |x: f64, y: f64| ((x - from[0]) * ex + (y - from[1]) * ey, (y - from[1]) * ex - (x - from[0]) * ey);
                let half = thickness_mm / 2.0;
                // Shadow: the body's outline moved away from the light.
                let (u, v) = place(at.x + sun.x / sun.z * half, at.y + sun.y / sun.z * half);
                let shadow = smooth(0.5 + (half - v.abs()) / (0.8 * half)) * cover(u, half) * cover(length - u, half);
                *colour = colour.map(|c| c * (1.0 - self.light.direct * 0.8 * shadow));
                let (u, v) = place(at.x, at.y);
                let point = 2.2 * thickness_mm;
                let here = half * (u / point).clamp(0.05, 1.0);
                let body = cover(here - v.abs(), size) * cover(u, size) * cover(length - u, size);
                if body > 0.0 {
                    let across = (v / half).clamp(-1.0, 1.0);
                    // Six flat sides, of which three are seen.
                    let side = (across * 1.5).round() / 1.5;
                    let facing = (-ey * sun.x + ex * sun.y) * side * 0.8 + sun.z * (1.0 - 0.5 * side * side);
                    let light = self.light.direct * facing.max(0.0) / sun.z.max(0.2) + (1.0 - self.light.direct) * 0.8;
                    let paint = if u < 0.6 * thickness_mm {
                        [0.05; 3]
                    } else if u < point {
                        [0.55, 0.38, 0.2]
                    } else {
                        paint
                    };
                    *colour = mix(*colour, paint.map(|c| c * light), body);
                }
                body
            }
            Clutter::Bead { at: middle, radius_mm, colour: glass } => {
                let (x, y) = (at.x - middle[0], at.y - middle[1]);
                let (sx, sy) = (x + sun.x / sun.z * radius_mm, y + sun.y / sun.z * radius_mm);
                let shadow = smooth(0.5 + (radius_mm - sx.hypot(sy)) / (0.6 * radius_mm));
                *colour = colour.map(|c| c * (1.0 - self.light.direct * 0.8 * shadow));
                let away = x.hypot(y);
                let body = cover(radius_mm - away, size);
                if body > 0.0 {
                    let up = (1.0 - (away / radius_mm).powi(2)).max(0.0).sqrt();
                    let facing = ((x * sun.x + y * sun.y) / radius_mm + up * sun.z).max(0.0);
                    let light =
                        self.light.direct * facing / sun.z.max(0.2) + (1.0 - self.light.direct) * (0.5 + 0.5 * up);
                    let glint = 0.8 * smooth((facing - 0.96) / 0.03);
                    *colour = mix(*colour, glass.map(|c| c * light + glint), body);
                }
                body
            }
            Clutter::Square { at: middle, half_mm, turn_deg, colour: paper } => {
                let (sine, cosine) = turn_deg.to_radians().sin_cos();
                let (x, y) = (at.x - middle[0], at.y - middle[1]);
                let (u, v) = (x * cosine + y * sine, y * cosine - x * sine);
                let body = cover(half_mm - u.abs(), size) * cover(half_mm - v.abs(), size);
                *colour = mix(*colour, paper, body);
                body
            }
        }
    }
}

/// How much of a pixel a ruler's ticks and numerals ink.
pub(super) fn ruler_ink(ruler: &RulerSpec, width_mm: f64, height_mm: f64, at: &Spot) -> f64 {
    let unit = match ruler.unit {
        RulerUnit::Mm => 10.0,
        RulerUnit::Inch => 25.4,
    };
    // Read from the edge: x runs along it, depth away from it into the card.
    let (x, depth) = if ruler.at_top {
        (width_mm / 2.0 - at.x - ruler.start_mm, height_mm / 2.0 - at.y - ruler.inset_mm)
    } else {
        (at.x + width_mm / 2.0 - ruler.start_mm, at.y + height_mm / 2.0 - ruler.inset_mm)
    };
    let longest = ruler.ranks.iter().map(|r| r.1).fold(0.0, f64::max);
    let top = longest + 0.6 + 1.3 * ruler.numeral_mm;
    if depth < -at.high || depth > top + at.high || x < -unit || x > ruler.length_mm + unit {
        return 0.0;
    }
    let mut ink: f64 = 0.0;
    for (rank, (per_unit, length, thickness)) in ruler.ranks.iter().enumerate() {
        let spacing = unit / f64::from(*per_unit);
        let nearest = (x / spacing).round();
        let tick = nearest * spacing;
        // Longer ticks stand in for the shorter ones at their places.
        let taken = ruler.ranks[..rank].iter().any(|(longer, _, _)| {
            let place = tick / (unit / f64::from(*longer));
            (place - place.round()).abs() < 1e-6
        });
        if taken || tick < -1e-6 || tick > ruler.length_mm + 1e-6 {
            continue;
        }
        ink = ink.max(stripe(x - tick, thickness / 2.0, at.wide) * stripe(depth - length / 2.0, length / 2.0, at.high));
    }
    if depth > longest + 0.2 {
        let number = (x / unit).round();
        let label = if ruler.counts_mm && ruler.unit == RulerUnit::Mm { number * 10.0 } else { number };
        if number >= 0.0 && number * unit <= ruler.length_mm + 1e-6 {
            let local = [(x - number * unit) / ruler.numeral_mm, (depth - longest - 0.6) / ruler.numeral_mm];
            let size = 0.5 * (at.wide + at.high) / ruler.numeral_mm;
            let word = match (number == 0.0, ruler.unit, ruler.counts_mm) {
                (true, RulerUnit::Mm, true) => "0 mm".to_owned(),
                (true, RulerUnit::Mm, false) => "0 cm".to_owned(),
                (true, RulerUnit::Inch, _) => "0 inch".to_owned(),
                _ => format!("{label}"),
            };
            ink = ink.max(numerals::ink(&word, local, size));
        }
    }
    ink
}
