//! Pictures without yarn, drawn: each kind in several sizes, places and colours.

use std::f64::consts::{PI, TAU};

use strandrule::base::colour::srgb_of_linear;
use strandrule::base::raster::Raster;
use strandrule::measure::photo::{CameraFacts, Photo};

const WIDTH: usize = 840;
const HEIGHT: usize = 630;

type Light = [f64; 3];

/// Numbers without end from a seed (G. Marsaglia, J. Stat. Softw. 8 (2003) 14).
#[derive(Debug, Clone)]
pub(super) struct Chance(u64);

impl Chance {
    fn of(kind: usize, seed: u64) -> Self {
        let mut chance = Self(
            (kind as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ (seed + 1).wrapping_mul(0xbf58_476d_1ce4_e5b9),
        );
        for _ in 0..8 {
            chance.next();
        }
        chance
    }

    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }

    fn colour(&mut self) -> Light {
        [self.between(0.03, 0.7), self.between(0.03, 0.7), self.between(0.03, 0.7)]
    }
}

/// A value per cell of a grid, the same for the same cell.
fn cell_value(x: i64, y: i64, salt: u64) -> f64 {
    let mut h = (x as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ (y as u64).wrapping_mul(0xc2b2_ae3d_27d4_eb4f) ^ salt;
    h ^= h >> 29;
    h = h.wrapping_mul(0xbf58_476d_1ce4_e5b9);
    h ^= h >> 32;
    (h % 10_000) as f64 / 10_000.0
}

/// Smooth noise between 0 and 1 (values on a grid, joined by cosines).
fn smooth_noise(x: f64, y: f64, salt: u64) -> f64 {
    let (i, j) = (x.floor(), y.floor());
    let ease = |t: f64| 0.5 - 0.5 * (PI * t).cos();
    let (s, t) = (ease(x - i), ease(y - j));
    let at = |a: i64, b: i64| cell_value(i as i64 + a, j as i64 + b, salt);
    let (top, bottom) = (at(0, 0) + (at(1, 0) - at(0, 0)) * s, at(0, 1) + (at(1, 1) - at(0, 1)) * s);
    top + (bottom - top) * t
}

fn painted(chance: &mut Chance, paint: impl Fn(f64, f64) -> Light) -> Photo {
    let noise = chance.between(0.004, 0.02);
    let blur = chance.between(0.5, 1.0);
    let mut rgb = Raster::filled(WIDTH, HEIGHT, [0u8; 3]);
    for y in 0..HEIGHT {
        for x in 0..WIDTH {
            let mut sum = [0.0; 3];
            for (dx, dy) in [(-0.5, -0.5), (0.5, -0.5), (-0.5, 0.5), (0.5, 0.5)] {
                let light = paint(x as f64 + dx * blur, y as f64 + dy * blur);
                for c in 0..3 {
                    sum[c] += light[c] / 4.0;
                }
            }
            rgb.set(x, y, sum.map(|l| srgb_of_linear((l + noise * (chance.next() - 0.5)).clamp(0.0, 1.0) as f32)));
        }
    }
    Photo { name: "drawn.png".to_owned(), rgb, camera: CameraFacts::default() }
}

fn scaled(light: Light, by: f64) -> Light {
    light.map(|l| l * by)
}

fn mixed(a: Light, b: Light, t: f64) -> Light {
    std::array::from_fn(|c| a[c] + (b[c] - a[c]) * t.clamp(0.0, 1.0))
}

/// Along and across a line through the middle.
fn along_across(angle: f64) -> impl Fn(f64, f64) -> (f64, f64) {
    let (sin, cos) = angle.sin_cos();
    move |x, y| {
        let (u, v) = (x - WIDTH as f64 / 2.0, y - HEIGHT as f64 / 2.0);
        (u * cos + v * sin, v * cos - u * sin)
    }
}

const PAPER: Light = [0.75, 0.73, 0.68];

/// Paper with a soft shadow on one side of a thing as wide as `2 half` along the middle line.
fn ground_beside(across: f64, half: f64) -> Light {
    scaled(PAPER, 1.0 - 0.4 * (-0.5 * ((across - 1.3 * half) / (0.5 * half)).powi(2)).exp())
}

/// A thing that lies across the paper: `face` gives its light by place along, and place across from -1 to 1.
fn lying(chance: &mut Chance, half: f64, face: impl Fn(f64, f64) -> Light) -> Photo {
    let place = along_across(chance.between(-0.5, 0.5));
    let length = chance.between(300.0, 900.0);
    painted(chance, move |x, y| {
        let (along, across) = place(x, y);
        if across.abs() <= half && along.abs() < length {
            face(along, across / half)
        } else {
            ground_beside(across, half)
        }
    })
}

/// Light on a round thing from above and one side.
fn round(across: f64) -> f64 {
    let height = (1.0 - across * across).max(0.0).sqrt();
    (0.25 + 0.75 * (0.8 * height - 0.5 * across).max(0.0)).min(1.0)
}

/// One kind of picture: its name and how it is drawn.
pub(super) type Kind = (&'static str, fn(&mut Chance) -> Photo);

/// The picture of a kind and seed.
pub(super) fn picture(kind: usize, seed: u64) -> Photo {
    let mut chance = Chance::of(kind, seed);
    KINDS[kind].1(&mut chance)
}

/// All kinds.
pub(super) const KINDS: [Kind; 30] = [
    ("black", |c| painted(c, |_, _| [0.0; 3])),
    ("noise", |c| {
        let amount = c.between(0.1, 0.9);
        let salt = c.0;
        painted(c, move |x, y| [0.5 + amount * (cell_value(x as i64, y as i64, salt) - 0.5); 3])
    }),
    ("clouds", |c| {
        let (size, salt) = (c.between(10.0, 120.0), c.0);
        painted(c, move |x, y| scaled(PAPER, 0.3 + 0.7 * smooth_noise(x / size, y / size, salt)))
    }),
    ("checkerboard", |c| {
        let (side, place) = (c.between(12.0, 70.0), along_across(c.between(-0.6, 0.6)));
        painted(c, move |x, y| {
            let (u, v) = place(x, y);
            if ((u / side).floor() + (v / side).floor()).rem_euclid(2.0) < 1.0 { [0.8; 3] } else { [0.03; 3] }
        })
    }),
    ("stripes", |c| {
        let (pitch, part, place) = (c.between(6.0, 90.0), c.between(0.2, 0.8), along_across(c.between(-1.5, 1.5)));
        let (one, other) = (c.colour(), c.colour());
        painted(c, move |x, y| if (place(x, y).1 / pitch).rem_euclid(1.0) < part { one } else { other })
    }),
    ("bar code", |c| {
        let (unit, salt, tall) = (c.between(3.0, 9.0), c.0, c.between(80.0, 280.0));
        let place = along_across(c.between(-0.3, 0.3));
        painted(c, move |x, y| {
            let (u, v) = place(x, y);
            let bar = cell_value((u / unit).floor() as i64, 0, salt) < 0.5;
            if bar && v.abs() < tall && u.abs() < 330.0 { [0.03; 3] } else { [0.8; 3] }
        })
    }),
    ("fence", |c| {
        let (pitch, part, tilt, wood) = (c.between(40.0, 110.0), c.between(0.3, 0.7), c.between(-0.2, 0.2), c.colour());
        painted(c, move |x, y| {
            let u = (x + tilt * y) / pitch;
            let rail = (y - 180.0).abs() < 14.0 || (y - 460.0).abs() < 14.0;
            if u.rem_euclid(1.0) < part {
                scaled(wood, 0.8 + 0.2 * smooth_noise(x / 4.0, y / 60.0, 7))
            } else if rail {
                scaled(wood, 0.6)
            } else {
                mixed([0.25, 0.4, 0.2], [0.5, 0.6, 0.8], y / 630.0 + 0.3 * smooth_noise(x / 30.0, y / 30.0, 3) - 0.2)
            }
        })
    }),
    ("text", |c| {
        let (size, salt) = (c.between(8.0, 34.0), c.0);
        painted(c, move |x, y| {
            let (line, letter) = ((y / (2.0 * size)).floor(), (x / (0.6 * size)).floor());
            let (u, v) = ((x / (0.6 * size)).fract(), (y / (2.0 * size)).fract());
            let inked = cell_value(letter as i64, line as i64, salt) > 0.18
                && cell_value((letter * 3.0 + (u * 3.0).floor()) as i64, (line * 5.0 + (v * 8.0).floor()) as i64, salt)
                    > 0.45;
            if v < 0.6 && u < 0.85 && inked && x > 60.0 && x < 780.0 { [0.04; 3] } else { [0.85; 3] }
        })
    }),
    ("wood", |c| {
        let (grain, salt, wood, place) = (c.between(2.0, 8.0), c.0, c.colour(), along_across(c.between(-0.4, 0.4)));
        painted(c, move |x, y| {
            let (u, v) = place(x, y);
            let bend = 30.0 * smooth_noise(u / 220.0, v / 220.0, salt);
            scaled(wood, 0.55 + 0.45 * smooth_noise(u / 140.0, (v + bend) / grain, salt ^ 5))
        })
    }),
    ("cloth", |c| {
        let (pitch, colour, other) = (c.between(5.0, 16.0), c.colour(), c.colour());
        painted(c, move |x, y| {
            let (u, v) = (x / pitch, y / pitch);
            let over = (u.floor() + v.floor()).rem_euclid(2.0) < 1.0;
            let (a, b) = ((u.fract() - 0.5) * 2.0, (v.fract() - 0.5) * 2.0);
            if over { scaled(colour, 0.4 + 0.6 * (1.0 - a * a)) } else { scaled(other, 0.4 + 0.6 * (1.0 - b * b)) }
        })
    }),
    ("bricks", |c| {
        let (wide, salt) = (c.between(50.0, 140.0), c.0);
        painted(c, move |x, y| {
            let row = (y / (0.45 * wide)).floor();
            let u = x / wide + 0.5 * row.rem_euclid(2.0);
            if u.fract() < 0.06 || (y / (0.45 * wide)).fract() < 0.12 {
                [0.55, 0.53, 0.5]
            } else {
                scaled([0.4, 0.13, 0.08], 0.6 + 0.6 * cell_value(u.floor() as i64, row as i64, salt))
            }
        })
    }),
    ("slope of light", |c| {
        let (a, b, place) = (c.colour(), c.colour(), along_across(c.between(-1.5, 1.5)));
        painted(c, move |x, y| mixed(a, b, 0.5 + place(x, y).0 / 900.0))
    }),
    ("moire", |c| {
        let (one, other) = (c.between(0.7, 1.6), c.between(0.7, 1.6));
        let (p, q) = (along_across(c.between(0.0, 0.3)), along_across(c.between(-0.3, 0.0)));
        painted(c, move |x, y| [0.2 + 0.3 * (1.0 + (p(x, y).0 * one).sin() * (q(x, y).0 * other).sin()); 3])
    }),
    ("pencil", |c| {
        let (half, paint) = (c.between(14.0, 50.0), c.colour());
        lying(c, half, move |_, across| scaled(paint, [0.5, 1.0, 0.8][((across + 1.0) * 1.49) as usize]))
    }),
    ("cable", |c| {
        let (half, paint) = (c.between(8.0, 40.0), c.colour());
        lying(c, half, move |_, across| {
            mixed(scaled(paint, round(across)), [0.9; 3], (-((across + 0.35) / 0.12).powi(2)).exp() * 0.6)
        })
    }),
    ("tape", |c| {
        let (half, paint) = (c.between(10.0, 45.0), c.colour());
        lying(c, half, move |_, _| paint)
    }),
    ("ruler alone", |c| {
        let (half, pitch) = (c.between(30.0, 60.0), c.between(6.0, 12.0));
        lying(c, half, move |along, across| {
            let k = (along / pitch).round();
            let length = if k.rem_euclid(10.0) < 0.5 {
                0.8
            } else if k.rem_euclid(5.0) < 0.5 {
                0.6
            } else {
                0.4
            };
            let ink = (along - k * pitch).abs() < 1.0 && across < length - 1.0;
            if ink { [0.05; 3] } else { [0.8, 0.7, 0.3] }
        })
    }),
    ("shoelace", |c| {
        let (half, pitch, paint) = (c.between(16.0, 40.0), c.between(0.4, 0.9), c.colour());
        lying(c, half, move |along, across| {
            let (u, v) = (along / half / pitch + across / pitch, along / half / pitch - across / pitch);
            let over = (u.floor() + v.floor()).rem_euclid(2.0) < 1.0;
            let (a, b) = (u.fract() - 0.5, v.fract() - 0.5);
            scaled(paint, 0.45 + 0.55 * (1.0 - 2.0 * (if over { a * a } else { b * b })))
        })
    }),
    ("leaf", |c| {
        let (wide, pitch, place) = (c.between(120.0, 240.0), c.between(30.0, 70.0), along_across(c.between(-1.0, 1.0)));
        painted(c, move |x, y| {
            let (u, v) = place(x, y);
            let half = wide * (1.0 - (u / 380.0).powi(2));
            if v.abs() > half {
                return PAPER;
            }
            let vein = ((u - 0.7 * v.abs()) / pitch).rem_euclid(1.0) < 0.06 || v.abs() < 3.0;
            if vein {
                [0.3, 0.45, 0.15]
            } else {
                scaled([0.08, 0.22, 0.04], 0.8 + 0.4 * smooth_noise(x / 15.0, y / 15.0, 2))
            }
        })
    }),
    ("wire mesh", |c| {
        let (pitch, half, place) = (c.between(25.0, 90.0), c.between(2.0, 6.0), along_across(c.between(-0.8, 0.8)));
        painted(c, move |x, y| {
            let (u, v) = place(x, y);
            let near = |w: f64| ((w / pitch).rem_euclid(1.0) - 0.5).abs() * pitch / half;
            let nearest = near(u).min(near(v));
            if nearest < 1.0 { scaled([0.6; 3], round(nearest)) } else { [0.2, 0.28, 0.35] }
        })
    }),
    ("rings", |c| {
        let (pitch, x0, y0) = (c.between(8.0, 60.0), c.between(0.0, 840.0), c.between(0.0, 630.0));
        painted(
            c,
            move |x, y| if ((x - x0).hypot(y - y0) / pitch).rem_euclid(1.0) < 0.4 { [0.08; 3] } else { [0.75; 3] },
        )
    }),
    ("water", |c| {
        let (pitch, salt) = (c.between(12.0, 50.0), c.0);
        painted(c, move |x, y| {
            let phase = y / pitch + 2.5 * smooth_noise(x / 120.0, y / 60.0, salt);
            mixed([0.05, 0.12, 0.2], [0.5, 0.6, 0.7], 0.5 + 0.5 * (TAU * phase).sin())
        })
    }),
    ("hair", |c| {
        let (salt, colour) = (c.0, [c.between(0.05, 0.3), c.between(0.03, 0.15), 0.03]);
        let place = along_across(c.between(-1.5, 1.5));
        painted(c, move |x, y| {
            let (u, v) = place(x, y);
            let wave = 25.0 * (u / 170.0).sin() + 40.0 * smooth_noise(u / 300.0, v / 90.0, salt);
            scaled(colour, 0.3 + 1.4 * smooth_noise((v + wave) / 2.2, u / 260.0, salt ^ 9))
        })
    }),
    ("crack", |c| {
        let (salt, half, place) = (c.0, c.between(1.5, 5.0), along_across(c.between(-1.0, 1.0)));
        painted(c, move |x, y| {
            let (u, v) = place(x, y);
            let off = v - 60.0 * (smooth_noise(u / 90.0, 0.0, salt) - 0.5) - 12.0 * smooth_noise(u / 12.0, 1.0, salt);
            if off.abs() < half { [0.05; 3] } else { [0.4, 0.38, 0.35] }
        })
    }),
    ("beads", |c| {
        let (half, paint) = (c.between(12.0, 40.0), c.colour());
        lying(c, half, move |along, across| {
            let u = ((along / (2.0 * half)).rem_euclid(1.0) - 0.5) * 2.0;
            let r = u.hypot(across);
            if r < 1.0 { scaled(paint, round(r)) } else { PAPER }
        })
    }),
    ("chain", |c| {
        let half = c.between(12.0, 36.0);
        lying(c, half, move |along, across| {
            let u = (along / (3.0 * half)).rem_euclid(1.0);
            let r = ((u - 0.5) * 2.4).hypot(across);
            let flat = across.abs() < 0.22 && !(0.25..0.75).contains(&u);
            if (0.7..1.0).contains(&r) || flat { scaled([0.6, 0.5, 0.2], 0.5 + 0.5 * round(across)) } else { PAPER }
        })
    }),
    ("zip", |c| {
        let (half, pitch) = (c.between(20.0, 45.0), c.between(8.0, 16.0));
        lying(c, half, move |along, across| {
            let k = (along / pitch).floor().rem_euclid(2.0);
            let tooth = across.abs() < 0.3 && (k < 1.0) == (across < 0.0);
            if tooth {
                [0.6, 0.55, 0.3]
            } else if across.abs() < 0.3 {
                [0.15, 0.13, 0.08]
            } else {
                [0.1, 0.1, 0.25]
            }
        })
    }),
    ("printed chart", |c| {
        let (salt, colour) = (c.0, c.colour());
        painted(c, move |x, y| {
            let inside = (120.0..780.0).contains(&x) && (60.0..540.0).contains(&y);
            let curve =
                300.0 + 160.0 * (smooth_noise(x / 60.0, 0.0, salt) - 0.5) + 30.0 * smooth_noise(x / 9.0, 1.0, salt);
            let axis =
                (x - 120.0).abs() < 1.5 && y < 540.0 && y > 60.0 || (y - 540.0).abs() < 1.5 && x > 120.0 && x < 780.0;
            if axis || (inside && (y - curve).abs() < 2.5) {
                if axis { [0.05; 3] } else { colour }
            } else if inside && (y - 60.0).rem_euclid(80.0) < 1.2 {
                [0.6; 3]
            } else {
                [0.85; 3]
            }
        })
    }),
    ("coins", |c| {
        let (side, salt) = (c.between(60.0, 140.0), c.0);
        painted(c, move |x, y| {
            let (i, j) = ((x / side).floor(), (y / side).floor());
            let r = 0.25 + 0.2 * cell_value(i as i64, j as i64, salt);
            let d = (x / side - i - 0.5).hypot(y / side - j - 0.5);
            if d < r { scaled([0.5, 0.42, 0.25], 0.7 + 0.3 * (d / r)) } else { [0.3, 0.35, 0.33] }
        })
    }),
    ("feather", |c| {
        let (place, pitch, colour) = (along_across(c.between(-0.7, 0.7)), c.between(3.0, 9.0), c.colour());
        painted(c, move |x, y| {
            let (u, v) = place(x, y);
            let half = 90.0 * (1.0 - (u / 400.0).powi(2));
            if v.abs() > half || u.abs() > 390.0 {
                return PAPER;
            }
            let barb = ((u + 1.2 * v.abs()) / pitch).rem_euclid(1.0);
            if v.abs() < 3.0 { [0.7, 0.68, 0.6] } else { scaled(colour, 0.4 + 0.6 * barb) }
        })
    }),
];
