//! Photos of a ruler card, drawn apart from the program: own camera, own light, own lens. Only the card's picture comes
//! from the program's printing; where it lies in the photo, and what is seen there, is worked out here.

use std::f64::consts::{PI, TAU};

use strandrule::base::raster::Raster;
use strandrule::card::label::Label;
use strandrule::card::layout::EdgeSide;
use strandrule::card::layout::{CardLayout, CardSize};
use strandrule::card::{Drawing, face};
use strandrule::measure::photo::{CameraFacts, Photo};

/// A small generator of random numbers: splitmix64 (Steele, Lea & Flood 2014; constants from memory).
#[derive(Clone)]
pub(super) struct Dice(pub(super) u64);

impl Dice {
    pub(super) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }
    pub(super) fn chance(&mut self, p: f64) -> bool {
        self.between(0.0, 1.0) < p
    }
    pub(super) fn normal(&mut self) -> f64 {
        let (a, b) = (self.between(1e-12, 1.0), self.between(0.0, 1.0));
        (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
    }
}

/// A card's print: linear reflectance on a fine grid.
pub(super) struct Print {
    pub(super) layout: CardLayout,
    fine: Raster<u8>,
    per_mm: f64,
}

impl Print {
    /// Ink that spreads by `gain` fine pixels to each side.
    pub(super) fn new(size: CardSize, label: Option<&Label>, gain: usize) -> Self {
        Self::of_layout(CardLayout::of(size), label, gain)
    }
    /// The same of any layout.
    pub(super) fn of_layout(layout: CardLayout, label: Option<&Label>, gain: usize) -> Self {
        let drawing = Drawing { width: layout.width, height: layout.height, shapes: face(&layout, label) };
        let dpi = 600.0;
        let sharp = strandrule::card::png::raster(&drawing, dpi).expect("600 dpi is in range");
        let mut fine = sharp.clone();
        let g = gain as isize;
        if g > 0 {
            for y in 0..fine.height() as isize {
                for x in 0..fine.width() as isize {
                    let mut least = 255;
                    for (dx, dy) in [(0, 0), (g, 0), (-g, 0), (0, g), (0, -g)] {
                        least = least.min(sharp.clamped(x + dx, y + dy));
                    }
                    fine.set(x as usize, y as usize, least);
                }
            }
        }
        Self { layout, fine, per_mm: dpi / 25.4 }
    }
    /// Reflectance at a point of the card, mm; `None` beside it.
    fn reflectance(&self, x: f64, y: f64) -> Option<f64> {
        if !(0.0..self.layout.width).contains(&x) || !(0.0..self.layout.height).contains(&y) {
            return None;
        }
        let (u, v) = (x * self.per_mm - 0.5, y * self.per_mm - 0.5);
        let (i, j) = (u.floor(), v.floor());
        let (fx, fy) = (u - i, v - j);
        let (i, j) = (i as isize, j as isize);
        let g = |x, y| f64::from(self.fine.clamped(x, y));
        let top = g(i, j) * (1.0 - fx) + g(i + 1, j) * fx;
        let bottom = g(i, j + 1) * (1.0 - fx) + g(i + 1, j + 1) * fx;
        Some(0.04 + 0.8 * (top * (1.0 - fy) + bottom * fy) / 255.0)
    }
}

/// Yarn: a straight strand on the card plane.
#[derive(Clone, Copy)]
pub(super) struct Yarn {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) angle: f64,
    pub(super) width: f64,
    pub(super) grey: f64,
}

/// A card on the table: turned by `turn` about its middle, which lies at (x, y) of the table.
pub(super) struct Placed<'a> {
    pub(super) print: &'a Print,
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) turn: f64,
    /// Printed size over nominal size.
    pub(super) factor: f64,
}

impl Placed<'_> {
    /// Table point of card mm.
    pub(super) fn table(&self, x: f64, y: f64) -> (f64, f64) {
        let (s, c) = self.turn.sin_cos();
        let (u, v) =
            ((x - self.print.layout.width / 2.0) * self.factor, (y - self.print.layout.height / 2.0) * self.factor);
        (self.x + u * c - v * s, self.y + u * s + v * c)
    }
}

/// The camera: looks at the table point (0, 0) from `distance` mm, its axis tilted by `tilt` towards `azimuth`, the picture
/// turned by `roll`.
#[derive(Clone, Copy)]
pub(super) struct Camera {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) focal: f64,
    pub(super) k1: f64,
    pub(super) distance: f64,
    pub(super) tilt: f64,
    pub(super) azimuth: f64,
    pub(super) roll: f64,
}

impl Camera {
    /// Rows: right, down, forward, in table axes (x right, y down, z into the table); and the camera's place.
    fn axes(&self) -> ([[f64; 3]; 3], [f64; 3]) {
        let (st, ct) = self.tilt.sin_cos();
        let (sa, ca) = self.azimuth.sin_cos();
        let (sr, cr) = self.roll.sin_cos();
        let forward = [st * ca, st * sa, ct];
        // Any right at a right angle to forward, then rolled.
        let right = [ct * ca, ct * sa, -st];
        let down = [-sa, ca, 0.0];
        let mut r = [0.0; 3];
        let mut d = [0.0; 3];
        for i in 0..3 {
            r[i] = right[i] * cr + down[i] * sr;
            d[i] = down[i] * cr - right[i] * sr;
        }
        let place = forward.map(|f| -f * self.distance);
        ([r, d, forward], place)
    }
    /// The table point seen at a pixel.
    pub(super) fn table(&self, px: f64, py: f64) -> (f64, f64) {
        self.above_table(px, py, 0.0)
    }
    /// The point seen at a pixel on a plane that lies `height` above the table.
    pub(super) fn above_table(&self, px: f64, py: f64, height: f64) -> (f64, f64) {
        let (m, c) = self.axes();
        let (dx, dy) =
            ((px - (self.width as f64 - 1.0) / 2.0) / self.focal, (py - (self.height as f64 - 1.0) / 2.0) / self.focal);
        // Undistorted radius by bisection: slow and sure.
        let rd = dx.hypot(dy);
        let (mut low, mut high) = (0.5 * rd, 1.5 * rd + 1e-9);
        for _ in 0..40 {
            let r = (low + high) / 2.0;
            if r * (1.0 + self.k1 * r * r) < rd { low = r } else { high = r }
        }
        let s = if rd > 0.0 { low / rd } else { 1.0 };
        let (ux, uy) = (dx * s, dy * s);
        let ray: [f64; 3] = std::array::from_fn(|i| m[0][i] * ux + m[1][i] * uy + m[2][i]);
        let t = (-height - c[2]) / ray[2];
        (c[0] + t * ray[0], c[1] + t * ray[1])
    }
    /// The pixel where a table point is seen.
    pub(super) fn pixel(&self, x: f64, y: f64) -> (f64, f64) {
        let (m, c) = self.axes();
        let d = [x - c[0], y - c[1], -c[2]];
        let p: [f64; 3] = std::array::from_fn(|i| m[i][0] * d[0] + m[i][1] * d[1] + m[i][2] * d[2]);
        let (ux, uy) = (p[0] / p[2], p[1] / p[2]);
        let k = 1.0 + self.k1 * (ux * ux + uy * uy);
        ((self.width as f64 - 1.0) / 2.0 + self.focal * ux * k, (self.height as f64 - 1.0) / 2.0 + self.focal * uy * k)
    }
    /// True scale at a pixel along a direction of the picture, px/mm on the table.
    pub(super) fn px_per_mm(&self, px: f64, py: f64, dx: f64, dy: f64) -> f64 {
        self.px_per_mm_above(px, py, dx, dy, 0.0)
    }
    /// The same on a plane that lies `height` above the table.
    pub(super) fn px_per_mm_above(&self, px: f64, py: f64, dx: f64, dy: f64, height: f64) -> f64 {
        let a = self.above_table(px - dx / 2.0, py - dy / 2.0, height);
        let b = self.above_table(px + dx / 2.0, py + dy / 2.0, height);
        1.0 / (a.0 - b.0).hypot(a.1 - b.1)
    }
}

/// Everything else in the photo.
#[derive(Clone)]
pub(super) struct Conditions {
    pub(super) yarns: Vec<Yarn>,
    /// Slope of the light across the picture, and a shadow's edge: table point, angle, how much light is left in it.
    pub(super) light_slope: (f64, f64),
    pub(super) shadow: Option<(f64, f64, f64, f64)>,
    pub(super) exposure: f64,
    pub(super) blur_px: f64,
    pub(super) noise: f64,
    pub(super) jpeg_quality: Option<u8>,
    pub(super) clutter: u64,
    pub(super) mirrored: bool,
}

impl Default for Conditions {
    fn default() -> Self {
        Self {
            yarns: Vec::new(),
            light_slope: (0.0, 0.0),
            shadow: None,
            exposure: 0.9,
            blur_px: 0.7,
            noise: 0.01,
            jpeg_quality: None,
            clutter: 1,
            mirrored: false,
        }
    }
}

/// An angle's sine and cosine, worked out once.
#[derive(Clone, Copy)]
struct Turn(f64, f64);

impl Turn {
    fn of(angle: f64) -> Self {
        let (s, c) = angle.sin_cos();
        Self(s, c)
    }
    /// A vector in axes turned by the angle.
    fn turned(self, x: f64, y: f64) -> (f64, f64) {
        (x * self.1 + y * self.0, y * self.1 - x * self.0)
    }
}

/// Table round the card: cloth with stripes, or boards, or plain, and a few things lying on it.
struct Clutter {
    base: f64,
    weave: (f64, f64, Turn),
    things: Vec<(f64, f64, f64, f64, Turn, f64)>,
}

impl Clutter {
    fn new(seed: u64) -> Self {
        let mut dice = Dice(seed);
        let base = dice.between(0.08, 0.6);
        let weave = (dice.between(0.0, 0.5), dice.between(0.7, 6.0), Turn::of(dice.between(0.0, 3.2)));
        let things = (0..12)
            .map(|_| {
                (
                    dice.between(-200.0, 200.0),
                    dice.between(-200.0, 200.0),
                    dice.between(3.0, 60.0),
                    dice.between(1.0, 20.0),
                    Turn::of(dice.between(0.0, 3.2)),
                    dice.between(0.03, 0.9),
                )
            })
            .collect();
        Self { base, weave, things }
    }
    fn reflectance(&self, x: f64, y: f64) -> f64 {
        for (cx, cy, w, h, a, grey) in &self.things {
            let (u, v) = a.turned(x - cx, y - cy);
            if u.abs() < *w && v.abs() < *h {
                return *grey;
            }
        }
        let (depth, period, a) = self.weave;
        let (u, _) = a.turned(x, y);
        let half = (u / period).fract().rem_euclid(1.0) < 0.5;
        self.base * if half { 1.0 + depth } else { 1.0 - depth }
    }
}

/// Where in a pixel light is gathered: five places, none above or beside another, whose mean is the middle.
const SPREAD: [(f64, f64); 5] = [(0.0, 0.0), (-0.4, -0.2), (-0.2, 0.4), (0.2, -0.4), (0.4, 0.2)];

/// Takes the photo.
pub(super) fn photograph(
    cards: &[Placed<'_>],
    camera: &Camera,
    c: &Conditions,
    seed: u64,
    focal_35mm: Option<f64>,
) -> Photo {
    let (w, h) = (camera.width, camera.height);
    let clutter = Clutter::new(c.clutter);
    let mut light = vec![0f32; w * h];
    // Table points on a coarse grid; between them the map is smooth enough for bilinear interpolation (checked below 1e-3
    // px by the test of the renderer itself).
    const CELL: usize = 8;
    let (gw, gh) = (w / CELL + 2, h / CELL + 2);
    let grid: Vec<(f64, f64)> =
        (0..gw * gh).map(|i| camera.table((i % gw * CELL) as f64, (i / gw * CELL) as f64)).collect();
    let table = |px: f64, py: f64| {
        let (u, v) = (px.max(0.0) / CELL as f64, py.max(0.0) / CELL as f64);
        let (i, j) = ((u as usize).min(gw - 2), (v as usize).min(gh - 2));
        let (fx, fy) = (px / CELL as f64 - i as f64, py / CELL as f64 - j as f64);
        let (a, b, d, e) = (grid[j * gw + i], grid[j * gw + i + 1], grid[(j + 1) * gw + i], grid[(j + 1) * gw + i + 1]);
        let mix =
            |a: f64, b: f64, d: f64, e: f64| (a * (1.0 - fx) + b * fx) * (1.0 - fy) + (d * (1.0 - fx) + e * fx) * fy;
        (mix(a.0, b.0, d.0, e.0), mix(a.1, b.1, d.1, e.1))
    };
    let yarns: Vec<(&Yarn, Turn)> = c.yarns.iter().map(|y| (y, Turn::of(y.angle))).collect();
    let lies: Vec<(&Placed<'_>, Turn)> = cards.iter().map(|p| (p, Turn::of(p.turn))).collect();
    let shadow = c.shadow.map(|(x, y, angle, left)| (x, y, Turn::of(angle), left));
    let at = |x: f64, y: f64| -> (f64, bool) {
        for (yarn, turn) in &yarns {
            let (u, v) = turn.turned(x - yarn.x, y - yarn.y);
            if v.abs() < yarn.width / 2.0 {
                let q = 2.0 * v / yarn.width;
                return (
                    yarn.grey * (0.4 + 0.6 * (1.0 - q * q).sqrt()) * (1.0 + 0.2 * (u * 2.1 + v * 3.0).sin()),
                    true,
                );
            }
        }
        for (placed, turn) in &lies {
            let (u, v) = turn.turned(x - placed.x, y - placed.y);
            let layout = &placed.print.layout;
            let (u, v) = (u / placed.factor + layout.width / 2.0, v / placed.factor + layout.height / 2.0);
            if let Some(r) = placed.print.reflectance(u, v) {
                return (r, true);
            }
        }
        (clutter.reflectance(x, y), false)
    };
    for j in 0..h {
        for i in 0..w {
            let (x, y) = table(i as f64, j as f64);
            let (mut r, on_card) = at(x, y);
            if on_card {
                let mut sum = 0.0;
                for (oi, oj) in SPREAD {
                    let (x, y) = table(i as f64 + oi, j as f64 + oj);
                    sum += at(x, y).0;
                }
                r = sum / SPREAD.len() as f64;
            }
            let mut l = c.exposure
                * (1.0 + c.light_slope.0 * (i as f64 / w as f64 - 0.5) + c.light_slope.1 * (j as f64 / h as f64 - 0.5));
            if let Some((sx, sy, turn, left)) = &shadow {
                let (d, _) = turn.turned(x - sx, y - sy);
                let s = (d / 1.5).clamp(-1.0, 1.0) * 0.5 + 0.5;
                l *= left + (1.0 - left) * s;
            }
            // Yarn throws a soft shadow to one side.
            for (yarn, turn) in &yarns {
                let v = turn.turned(x - yarn.x, y - yarn.y).1 - 0.4 * yarn.width;
                let d = (v.abs() - yarn.width / 2.0) / (0.3 * yarn.width);
                if d < 1.0 {
                    l *= 0.6 + 0.4 * d.max(0.0);
                }
            }
            light[j * w + i] = (r * l) as f32;
        }
    }
    blur(&mut light, w, h, c.blur_px);
    let mut dice = Dice(seed ^ 0x5eed);
    let mut rgb = Raster::filled(w, h, [0u8; 3]);
    for (out, l) in rgb.samples_mut().iter_mut().zip(&light) {
        let l = f64::from(*l).max(0.0);
        let coded = |l: f64| {
            let v = if l <= 0.003_130_8 { 12.92 * l } else { 1.055 * l.powf(1.0 / 2.4) - 0.055 };
            v * 255.0
        };
        // Two uniform numbers make noise with the right spread and cost little.
        let bits = dice.next();
        let n = ((bits & 0xffff) as f64 + ((bits >> 16) & 0xffff) as f64) / 65535.0 - 1.0;
        let n2 = ((bits >> 32) & 0xffff) as f64 / 65535.0 - 0.5;
        let grey = coded(l.min(1.2)) + n * 2.449 * c.noise * 255.0;
        *out = [grey + n2 * 4.0, grey, grey * 0.97 - n2 * 4.0].map(|v| v.round().clamp(0.0, 255.0) as u8);
    }
    if c.mirrored {
        for y in 0..h {
            rgb.row_mut(y).reverse();
        }
    }
    if let Some(quality) = c.jpeg_quality {
        let flat: Vec<u8> = rgb.samples().iter().flatten().copied().collect();
        let mut file = Vec::new();
        jpeg_encoder::Encoder::new(&mut file, quality)
            .encode(&flat, w as u16, h as u16, jpeg_encoder::ColorType::Rgb)
            .expect("encodes");
        let limits = strandrule::measure::photo::Limits::default();
        let mut photo =
            strandrule::measure::photo::decode(std::path::Path::new("view.jpg"), file, &limits).expect("decodes");
        photo.camera.focal_35mm_mm = focal_35mm;
        return photo;
    }
    Photo { name: "view".to_owned(), rgb, camera: CameraFacts { focal_35mm_mm: focal_35mm, ..CameraFacts::default() } }
}

/// Gaussian blur, cut at 4 sigma.
fn blur(light: &mut [f32], w: usize, h: usize, sigma: f64) {
    if sigma < 0.1 {
        return;
    }
    let r = (4.0 * sigma).ceil() as isize;
    let kernel: Vec<f32> = (-r..=r).map(|i| (-(i * i) as f64 / (2.0 * sigma * sigma)).exp() as f32).collect();
    let sum: f32 = kernel.iter().sum();
    let kernel: Vec<f32> = kernel.iter().map(|k| k / sum).collect();
    let mut line = vec![0f32; w];
    for j in 0..h {
        line.copy_from_slice(&light[j * w..(j + 1) * w]);
        for i in 0..w {
            let mut s = 0.0;
            for (k, n) in kernel.iter().zip(-r..) {
                s += k * line[(i as isize + n).clamp(0, w as isize - 1) as usize];
            }
            light[j * w + i] = s;
        }
    }
    let source = light.to_vec();
    for j in 0..h {
        let out = &mut light[j * w..(j + 1) * w];
        out.fill(0.0);
        for (k, n) in kernel.iter().zip(-r..) {
            let row = (j as isize + n).clamp(0, h as isize - 1) as usize;
            for (o, s) in out.iter_mut().zip(&source[row * w..(row + 1) * w]) {
                *o += k * s;
            }
        }
    }
}

/// A random view over the ranges that the card is made for, and what is true in it.
pub(super) struct View {
    pub(super) camera: Camera,
    pub(super) conditions: Conditions,
    pub(super) size: CardSize,
    pub(super) card: (f64, f64, f64),
    pub(super) factor: f64,
    pub(super) focal_35mm: Option<f64>,
    pub(super) labelled: bool,
    pub(super) gain: usize,
    pub(super) seed: u64,
}

impl View {
    /// View number `seed`, taken with a picture `width` px wide by a phone with a 26 mm lens (35 mm equivalent); `None`
    /// where the throw of the dice does not show enough of the card: 30 mm of both edges or 60 mm of one.
    pub(super) fn random(seed: u64, width: usize, print: &dyn Fn(CardSize) -> CardLayout) -> Option<Self> {
        let mut d = Dice(seed);
        d.next();
        let height = width * 3 / 4;
        let diagonal = (width as f64).hypot(height as f64);
        let focal = diagonal * 26.0 / 43.2666 * d.between(0.97, 1.06);
        let size = if d.chance(0.6) { CardSize::Full } else { CardSize::Small };
        // The same px/mm as a picture 4032 px wide gives at 120 to 450 mm.
        let low = 120.0 * width as f64 / 4032.0;
        let high = 450.0 * width as f64 / 4032.0;
        let distance = match size {
            CardSize::Full => d.between(low, high),
            CardSize::Small => d.between(low, 0.7 * high),
        };
        let tilt = d.between(0.0, 30.0f64).to_radians();
        let camera = Camera {
            width,
            height,
            focal,
            k1: d.between(-0.06, 0.06),
            distance,
            tilt,
            azimuth: d.between(0.0, TAU),
            roll: d.between(0.0, TAU),
        };
        let layout = print(size);
        // Up to half of the card out of view.
        let card = (d.between(-0.5, 0.5) * layout.width, d.between(-0.5, 0.5) * layout.height, d.between(0.0, TAU));
        let px_per_mm = focal / distance;
        let most_blur = if px_per_mm >= 16.0 {
            2.0
        } else if px_per_mm >= 8.0 {
            1.0
        } else {
            0.8
        };
        let yarns = (0..(d.next() % 4))
            .map(|_| Yarn {
                x: card.0 + d.between(-50.0, 50.0),
                y: card.1 + d.between(-30.0, 30.0),
                angle: d.between(0.0, PI),
                width: d.between(0.5, 8.0),
                grey: d.between(0.03, 0.8),
            })
            .collect();
        let conditions = Conditions {
            yarns,
            light_slope: (d.between(-0.6, 0.6), d.between(-0.6, 0.6)),
            shadow: d
                .chance(0.4)
                .then(|| (d.between(-60.0, 60.0), d.between(-40.0, 40.0), d.between(0.0, TAU), d.between(0.25, 0.7))),
            exposure: d.between(0.35, 1.0),
            blur_px: d.between(0.5, most_blur),
            noise: d.between(0.003, 0.02),
            jpeg_quality: Some((60 + d.next() % 36) as u8),
            clutter: d.next(),
            mirrored: d.chance(0.1),
        };
        let view = Self {
            camera,
            conditions,
            size,
            card,
            factor: 1.0 + 0.0005 * d.normal(),
            focal_35mm: d.chance(0.7).then(|| (focal * 43.2666 / diagonal).round()),
            labelled: d.chance(0.5),
            gain: (d.next() % 2) as usize,
            seed,
        };
        let seen = |side| view.marks_in_view(&layout, side);
        let (top, bottom) = (seen(EdgeSide::Top), seen(EdgeSide::Bottom));
        (top.min(bottom) >= 31 || top.max(bottom) >= 61).then_some(view)
    }

    /// The longest stretch of marks of an edge that is in the picture and not under yarn.
    fn marks_in_view(&self, layout: &CardLayout, side: EdgeSide) -> usize {
        let edge = layout.edge(side);
        let print = Print { layout: layout.clone(), fine: Raster::filled(1, 1, 0), per_mm: 1.0 };
        let placed = Placed { print: &print, x: self.card.0, y: self.card.1, turn: self.card.2, factor: self.factor };
        let (mut run, mut longest) = (0, 0);
        for k in 0..edge.marks() {
            let clear = [edge.tracks.code_from, edge.tracks.clock_to].iter().all(|depth| {
                let p = edge.point(k as f64, *depth);
                let (x, y) = placed.table(p.x, p.y);
                let (i, j) = self.camera.pixel(x, y);
                let inside =
                    i > 6.0 && j > 6.0 && i < self.camera.width as f64 - 7.0 && j < self.camera.height as f64 - 7.0;
                let covered = self.conditions.yarns.iter().any(|yarn| {
                    let (s, c) = yarn.angle.sin_cos();
                    ((y - yarn.y) * c - (x - yarn.x) * s).abs() < yarn.width / 2.0 + 0.6
                });
                inside && !covered
            });
            run = if clear { run + 1 } else { 0 };
            longest = longest.max(run);
        }
        longest
    }

    /// Takes the photo with this print.
    pub(super) fn photograph(&self, print: &Print) -> Photo {
        let placed = Placed { print, x: self.card.0, y: self.card.1, turn: self.card.2, factor: self.factor };
        photograph(&[placed], &self.camera, &self.conditions, self.seed, self.focal_35mm)
    }

    /// A point of the card's fields that is in the picture (as taken, not mirrored), if there is one.
    pub(super) fn point_on_fields(&self, layout: &CardLayout) -> Option<(f64, f64)> {
        let print = Print { layout: layout.clone(), fine: Raster::filled(1, 1, 0), per_mm: 1.0 };
        let placed = Placed { print: &print, x: self.card.0, y: self.card.1, turn: self.card.2, factor: self.factor };
        let mut d = Dice(self.seed ^ 0xf1e1d);
        (0..200).find_map(|_| {
            let (a, b) = (layout.light_field, layout.dark_field);
            let x = d.between(a.x, a.right());
            let y = d.between(a.y, b.bottom());
            let (u, v) = placed.table(x, y);
            let (i, j) = self.camera.pixel(u, v);
            (i > 5.0 && j > 5.0 && i < self.camera.width as f64 - 6.0 && j < self.camera.height as f64 - 6.0)
                .then_some((i, j))
        })
    }
}
