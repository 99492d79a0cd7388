//! What things look like: cover and colour of a pixel.

use std::f64::consts::{PI, TAU};

use super::chance::{cloud, hash, lattice};
use super::ground::{Spot, cover, mix, ruler_ink};
use super::pattern;
use super::scene::{Albedo, Pattern};
use super::shade::{Light, smooth};
use super::thing::{Against, Kind, Laid, Part, ThingKind, length as span};

/// A pixel of a thing's face: along and across its course as shares of its half width, and its extent so.
struct Face {
    along: f64,
    across: f64,
    size: f64,
}

impl Laid<'_> {
    /// Lays the thing's shadow and body on a pixel's light; says how much of it the body covers, and its label.
    pub(super) fn lay(&self, part: &Part, at: &Spot, light: &Light, colour: &mut Albedo) -> Option<(f64, Kind)> {
        let size = 0.5 * (at.wide + at.high);
        let kind = self.thing.kind;
        if kind == ThingKind::Shade {
            let here = self.against(part, at.x, at.y);
            let dark = smooth(0.5 + (self.half - here.left) / (self.half * 0.1 + self.thing.thick_mm));
            *colour = colour.map(|c| c * (1.0 - self.thing.gloss * dark));
            return None;
        }
        let shaded = self.against(part, at.x + self.shift[0], at.y + self.shift[1]);
        let shadow = smooth(0.5 + 0.5 * self.inside(&shaded) / self.soft.max(size));
        *colour = colour.map(|c| c * (1.0 - light.direct * shadow));
        let here = self.against(part, at.x, at.y);
        let body = cover(self.inside(&here), size);
        if body > 0.0 {
            let face = Face { along: here.along, across: (here.left / self.half).clamp(-1.0, 1.0), size };
            let paint = match () {
                () if kind.is_round() => self.round(&here, &face, light),
                () if kind.is_band() => self.band(&face, at),
                () => self.tube(&here, &face, light),
            };
            *colour = mix(*colour, paint, body);
        }
        kind.label().map(|label| (body, label))
    }

    /// How far a place lies within the outline, mm.
    fn inside(&self, at: &Against) -> f64 {
        let (half, length) = (self.half, self.length);
        match self.thing.kind {
            ThingKind::Ring => (half * 0.25) - (at.left - half * 0.75).abs(),
            kind if kind.is_round() => half - at.left,
            ThingKind::Leaf => half * (PI * (at.along / length).clamp(0.0, 1.0)).sin().sqrt() - at.left.abs(),
            kind if kind.is_band() => (half - at.left.abs()).min(at.along).min(length - at.along),
            ThingKind::Finger => {
                let thick = half * (1.0 - 0.18 * (at.along / length).clamp(0.0, 1.0));
                let past = (at.along - length + thick).max(0.0).hypot(at.left);
                (thick - past).min(at.along)
            }
            ThingKind::Pin | ThingKind::Pencil => {
                let taper = if self.thing.kind == ThingKind::Pin { length * 0.4 } else { 4.4 * half };
                let point =
                    if self.thing.kind == ThingKind::Pin { (length - at.along) / taper } else { at.along / taper };
                (half * point.clamp(0.0, 1.0) - at.left.abs()).min(at.along).min(length - at.along)
            }
            ThingKind::Beads => {
                let pitch = 2.2 * half;
                let place = (at.along / pitch - (at.along / pitch).floor() - 0.5) * pitch;
                let string = 0.12 * half - at.left.abs();
                (half - place.hypot(at.left)).max(string).min(at.along).min(length - at.along)
            }
            // Round ends.
            _ => half - span((-at.along).max(at.along - length).max(0.0), at.left),
        }
    }

    fn tube(&self, here: &Against, face: &Face, light: &Light) -> Albedo {
        let thing = self.thing;
        let seed = thing.seed;
        let mut across = face.across;
        let u = face.along / self.half;
        let round = across.asin() / (PI / 2.0);
        let mut tilt = 0.0;
        let blur = face.size / self.half;
        let t = match thing.kind {
            ThingKind::Cord => {
                let (a, b) = (u * 1.1 + 2.0 * round, u * 1.1 - 2.0 * round);
                let check = (a.floor() + b.floor()).rem_euclid(2.0);
                let strand = (TAU * if check > 0.5 { a * 2.0 } else { b * 2.0 }).cos();
                fade(check * lattice(seed, 0, 0).abs() + 0.18 * strand, 0.3, blur, 0.4)
            }
            ThingKind::Stick => {
                0.5 + 0.4 * cloud(seed, u / 9.0, round * 5.0) + 0.3 * cloud(seed ^ 1, u / 2.0, round * 9.0)
            }
            ThingKind::Pipe => {
                let pitch = 0.5 + 0.4 * lattice(seed, 0, 0).abs();
                tilt = fade((TAU * u / pitch).sin(), 0.0, blur, 0.5 * pitch);
                fade(0.5 - 0.5 * (TAU * u / pitch).cos(), 0.5, blur, 0.5 * pitch) * 0.5
            }
            ThingKind::Screw => {
                let pitch = 0.35 + 0.2 * lattice(seed, 0, 0).abs();
                let place = u / pitch + 0.25 * round * if seed & 1 == 0 { 1.0 } else { -1.0 };
                tilt = fade(1.4 * (TAU * place).sin(), 0.0, blur, 0.5 * pitch);
                fade(0.5 - 0.5 * (TAU * place).cos(), 0.5, blur, 0.5 * pitch)
            }
            ThingKind::Finger => {
                let share = face.along / self.length;
                let crease = [0.35, 0.37, 0.7].iter().map(|c| 1.0 - smooth((share - c).abs() * 90.0)).sum::<f64>();
                let nail = smooth((share - 0.86) * 40.0)
                    * smooth((0.985 - share) * 40.0)
                    * smooth((0.55 - across.abs()) * 8.0);
                0.35 + 0.15 * cloud(seed, u * 2.0, round * 3.0) + 0.25 * crease - 0.5 * nail
            }
            ThingKind::Pencil => {
                across = (across * 1.5).round() / 1.5 * 0.8;
                0.0
            }
            ThingKind::Beads => {
                let pitch = 2.2;
                let place = (u / pitch - (u / pitch).floor() - 0.5) * pitch;
                tilt = 1.2 * place;
                lattice(seed, (u / pitch).floor() as i64, 0).max(0.0)
            }
            _ => 0.06 * cloud(seed, u / 3.0, round),
        };
        let base = match (thing.kind, u) {
            (ThingKind::Pencil, u) if u < 1.2 => [0.05; 3],
            (ThingKind::Pencil, u) if u < 4.4 => [0.55, 0.38, 0.2],
            _ => mix(thing.colour, thing.accent, t.clamp(0.0, 1.0)),
        };
        let [dx, dy] = here.direction;
        let up = (1.0 - across * across).max(0.0).sqrt();
        let normal = [-dy * across + dx * tilt * 0.6, dx * across + dy * tilt * 0.6, up];
        lit(base, normal, thing.gloss, light)
    }

    fn band(&self, face: &Face, at: &Spot) -> Albedo {
        let thing = self.thing;
        let seed = thing.seed;
        let (x, y) = (face.along, face.across * self.half);
        let paper = 1.0 + 0.02 * cloud(seed, x / 0.7, y / 0.7) + 0.03 * cloud(seed ^ 1, x / 30.0, y / 30.0);
        let t = match thing.kind {
            ThingKind::Print => pattern::accent(Pattern::Print, x, -y, face.size, seed),
            ThingKind::Bars => {
                let margin = smooth((0.86 - face.across.abs()) * 30.0);
                let unit = (0.012 * self.length).max(0.3);
                let column = (x / unit).floor();
                let on = |k: f64| if lattice(seed, k as i64, 7) > 0.0 { 1.0 } else { 0.0 };
                let part = ((x / unit - column) * unit / face.size + 0.5).clamp(0.0, 1.0);
                margin * (on(column - 1.0) * (1.0 - part) + on(column) * part)
            }
            ThingKind::Ribbon => {
                let selvage = smooth((face.across.abs() - 0.8) * 12.0);
                let weave = fade((TAU * x / 0.5).sin(), 0.0, face.size, 0.25);
                0.3 * selvage + 0.1 * weave + 0.3 * cloud(seed, x / (3.0 * self.half), face.across * 0.5)
            }
            ThingKind::Tape => {
                let slope = if seed & 1 == 0 { 1.0 } else { -1.0 };
                let period = self.half * (0.7 + 1.2 * lattice(seed, 0, 1).abs());
                let place = ((x + slope * y) / period).rem_euclid(1.0);
                let edge = |d: f64| (d * period / face.size + 0.5).clamp(0.0, 1.0);
                edge(place - 0.02) * edge(0.5 - place)
            }
            ThingKind::Leaf => {
                let vein = smooth(1.0 - face.across.abs() * 18.0);
                let side = (TAU * (x / (0.5 * self.half) - face.across.abs() * 1.2)).sin();
                0.3 + 0.4 * vein + 0.15 * side + 0.2 * cloud(seed, x / 2.0, y / 2.0)
            }
            ThingKind::Ruler => {
                let spot = Spot { x: x - self.length / 2.0, y, wide: face.size, high: face.size };
                let ink = thing.ruler.as_ref().map_or(0.0, |r| ruler_ink(r, self.length, thing.width_mm, &spot));
                let grain = 0.05 * cloud(hash(seed ^ 2), x / 12.0, y / 0.5) * thing.gloss;
                return mix(thing.colour.map(|c| c * (paper + grain)), thing.accent, ink);
            }
            _ => 0.0,
        };
        let shine = 1.0 + thing.gloss * 0.4 * cloud(hash(seed ^ 3), at.x / 25.0, at.y / 25.0);
        mix(thing.colour, thing.accent, t.clamp(0.0, 1.0)).map(|c| c * paper * shine)
    }

    fn round(&self, here: &Against, face: &Face, light: &Light) -> Albedo {
        let thing = self.thing;
        let share = here.left / self.half;
        // Outwards.
        let out = [-here.direction[1], here.direction[0]];
        let (lean, t) = match thing.kind {
            ThingKind::Coin => {
                let rim = smooth((share - 0.86) * 20.0);
                let relief = cloud(thing.seed, here.along.cos() * share * 4.0, here.along.sin() * share * 4.0);
                (0.5 * rim * (share - 0.93) * 14.0 + 0.25 * relief * (1.0 - rim), 0.2 * rim)
            }
            ThingKind::Button => {
                let turned = here.along + TAU * lattice(thing.seed, 0, 0);
                let (x, y) = (share * turned.cos(), share * turned.sin());
                let hole = [(0.2, 0.2), (-0.2, 0.2), (0.2, -0.2), (-0.2, -0.2)]
                    .iter()
                    .map(|(a, b)| cover((0.09 - (x - a).hypot(y - b)) * self.half, face.size))
                    .fold(0.0, f64::max);
                (smooth((share - 0.7) * 4.0) * (share - 0.8) * 4.0, hole)
            }
            _ => ((share - 0.75) * 4.0, 0.0),
        };
        let lean = lean.clamp(-1.0, 1.0);
        let normal = [out[0] * lean, out[1] * lean, (1.0 - lean * lean).max(0.0).sqrt()];
        lit(mix(thing.colour, thing.accent, t), normal, thing.gloss, light)
    }
}

fn fade(t: f64, mean: f64, size: f64, fine: f64) -> f64 {
    mean + (t - mean) * (1.0 - smooth(size / fine.max(1e-6) - 0.5))
}

/// Light from a surface whose normal need not be of unit length.
fn lit(base: Albedo, normal: [f64; 3], gloss: f64, light: &Light) -> Albedo {
    let size = (normal[0].powi(2) + normal[1].powi(2) + normal[2].powi(2)).sqrt().max(1e-9);
    let [x, y, z] = normal.map(|n| n / size);
    let sun = light.towards;
    let facing = (x * sun.x + y * sun.y + z * sun.z).max(0.0) / sun.z.max(0.2);
    // Half way between source and a camera overhead.
    let half = [sun.x, sun.y, sun.z + 1.0];
    let long = (half[0].powi(2) + half[1].powi(2) + half[2].powi(2)).sqrt();
    let shine = ((x * half[0] + y * half[1] + z * half[2]) / long).max(0.0).powi(30);
    let diffuse = light.direct * facing + (1.0 - light.direct) * (0.5 + 0.5 * z);
    base.map(|c| c * diffuse + 0.8 * gloss * shine * light.direct)
}
