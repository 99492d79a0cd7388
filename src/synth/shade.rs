//! What a point of yarn looks like: light, grooves, and the fibres on its surface.

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use nalgebra::Vector3;

use super::chance::{along_fibre, cloud, hash, lattice};
use super::scene::{Albedo, LightSpec, YarnSpec};
use super::strand::{PlyAt, Station, Strand};

/// The light, ready to use.
#[derive(Debug, Clone)]
pub(super) struct Light {
    /// Towards the source.
    pub(super) towards: Vector3<f64>,
    /// Share of the card's light that comes from the source.
    pub(super) direct: f64,
    /// Tangent of the source's angular radius.
    pub(super) softness: f64,
    pub(super) colour: Albedo,
}

impl Light {
    pub(super) fn of(spec: &LightSpec) -> Self {
        let (azimuth, elevation) = (spec.azimuth_deg.to_radians(), spec.elevation_deg.to_radians());
        let level = elevation.cos();
        Self {
            towards: Vector3::new(level * azimuth.cos(), level * azimuth.sin(), elevation.sin()),
            direct: spec.direct,
            softness: spec.softness_deg.to_radians().tan(),
            colour: spec.colour,
        }
    }
}

/// From 0 at `x = 0` to 1 at `x = 1`, smooth.
pub(super) fn smooth(x: f64) -> f64 {
    let x = x.clamp(0.0, 1.0);
    x * x * (3.0 - 2.0 * x)
}

/// Shades the surface of yarn.
#[derive(Debug)]
pub(super) struct Shader<'a> {
    yarn: &'a YarnSpec,
    light: &'a Light,
    /// Light that the card throws back, relative to what falls on it.
    bounce: Albedo,
    /// Visible fibres around each ply.
    fibres: Vec<f64>,
    /// Thickness of what looks like one fibre, mm, and its contrast against that of a fibre seen well.
    grain: Grain,
    /// The lens, mm.
    lens: Vector3<f64>,
    seed: u64,
}

#[derive(Debug, Clone, Copy)]
struct Grain {
    width_mm: f64,
    contrast: f64,
}

impl Grain {
    /// Fibres finer than the picture resolves are not seen one by one but as chance bundles, the finest about 1.4 px
    /// wide; n independent fibres side by side differ from the next n by 1 / sqrt(n) of what single ones do. Drawing
    /// them one by one would alias into lines that are not there.
    fn seen(fibre_mm: f64, px_per_mm: f64) -> Self {
        let width_mm = fibre_mm.max(1.4 / px_per_mm.max(1e-6));
        Self { width_mm, contrast: (fibre_mm / width_mm).sqrt() }
    }
}

/// A station between two others.
struct Between<'a> {
    a: &'a Station,
    b: &'a Station,
    t: f64,
}

impl Between<'_> {
    fn at(strand: &Strand, station: f64) -> Option<Between<'_>> {
        let last = strand.stations.len().checked_sub(2)?;
        let i = (station.max(0.0) as usize).min(last);
        Some(Between {
            a: strand.stations.get(i)?,
            b: strand.stations.get(i + 1)?,
            t: (station - i as f64).clamp(0.0, 1.0),
        })
    }
    fn mix(&self, of: impl Fn(&Station) -> Vector3<f64>) -> Vector3<f64> {
        of(self.a) * (1.0 - self.t) + of(self.b) * self.t
    }
    fn number(&self, of: impl Fn(&Station) -> f64) -> f64 {
        of(self.a) * (1.0 - self.t) + of(self.b) * self.t
    }
}

fn on_surface(ply: &PlyAt, phi: f64) -> Vector3<f64> {
    ply.centre + (ply.outward * phi.cos() + ply.onward * phi.sin()) * ply.radius
}

impl<'a> Shader<'a> {
    pub(super) fn new(
        yarn: &'a YarnSpec,
        radii: &[f64],
        light: &'a Light,
        card: Albedo,
        camera: (Vector3<f64>, f64),
        seed: u64,
    ) -> Self {
        let (lens, px_per_mm) = camera;
        let grain = Grain::seen(yarn.fibre_mm, px_per_mm);
        let fibres = radii.iter().map(|r| (TAU * r / grain.width_mm).round().max(8.0)).collect();
        Self { yarn, light, bounce: card.map(|c| 0.55 * c), fibres, grain, lens, seed }
    }

    /// Linear light from a point of a ply: `station` along the strand (with fraction), `phi` around the ply.
    pub(super) fn colour(&self, strand: &Strand, number: usize, ply: usize, station: f64, phi: f64) -> [f32; 3] {
        let Some(between) = Between::at(strand, station) else { return [0.0; 3] };
        let Some(spec) = self.yarn.plies.get(ply) else { return [0.0; 3] };
        let (sine, cosine) = phi.sin_cos();
        let outward = between.mix(|s| s.plies[ply].outward);
        let onward = between.mix(|s| s.plies[ply].onward);
        let smooth_normal = outward * cosine + onward * sine;
        let radius = between.number(|s| s.plies[ply].radius);
        let centre = between.mix(|s| s.plies[ply].centre);
        let point = centre + smooth_normal * radius;

        // Along the fibre: where the same fibre is at the next station.
        let turned = between.b.plies[ply].fibre_turn - between.a.plies[ply].fibre_turn;
        let fibre = on_surface(&between.b.plies[ply], phi + turned) - on_surface(&between.a.plies[ply], phi);
        let fibre = fibre.try_normalize(1e-12).unwrap_or(between.a.frame.along);
        let across = smooth_normal.cross(&fibre);

        let s = station * strand.step;
        let phi = self.below(phi, radius, &(self.lens - point), &outward, &onward);
        let q = phi - between.number(|s| s.plies[ply].fibre_turn);
        let skin = self.skin(hash(self.seed ^ (number * 8 + ply) as u64), ply, s, q);
        let normal = (smooth_normal + across * skin.slope).normalize();

        let (open, lit) = self.grooves(&between, strand, ply, &point);
        let sun = self.light.towards;
        // Wool lets some light through: the terminator is softer than on a hard body.
        let facing = ((normal.dot(&sun) + 0.12) / 1.12).max(0.0) / sun.z.max(0.2);
        let direct = self.light.direct * facing * lit;
        let sky = (1.0 - self.light.direct) * (0.5 + 0.5 * normal.z) * open;
        let below = (0.5 - 0.5 * normal.z) * open;
        // Sheen of a fibre (Kajiya & Kay, "Rendering fur with three dimensional textures", SIGGRAPH 1989).
        let half = (sun + Vector3::z()).normalize();
        let sheen = (1.0 - fibre.dot(&half).powi(2)).max(0.0).powi(20) * self.yarn.gloss * 0.35 * lit;
        std::array::from_fn(|c| {
            let albedo = spec.colour[c] * skin.shade;
            let light = direct + sky + below * self.bounce[c];
            ((albedo * light + sheen * (0.3 + 0.7 * spec.colour[c])) * self.light.colour[c]) as f32
        })
    }

    /// Where around the ply the fibre is that shows at `phi`: fibres have their axes below the outline, and are seen where
    /// the line of sight, going on, meets the layer of the axes; near the outline they are seen in profile.
    fn below(&self, phi: f64, radius: f64, view: &Vector3<f64>, outward: &Vector3<f64>, onward: &Vector3<f64>) -> f64 {
        let inner = radius - self.yarn.fibre_depth_mm;
        if inner >= radius || inner <= 0.0 {
            return phi;
        }
        let facing = view.dot(onward).atan2(view.dot(outward));
        let away = (phi - facing + PI).rem_euclid(TAU) - PI;
        if away.abs() > FRAC_PI_2 {
            return phi;
        }
        facing + (away.sin() * radius / inner).clamp(-1.0, 1.0).asin()
    }

    /// Fibres on the surface: brightness, and slope of the surface across the fibres.
    fn skin(&self, seed: u64, ply: usize, s: f64, q: f64) -> Skin {
        let count = self.fibres.get(ply).copied().unwrap_or(32.0);
        let Grain { width_mm: fibre, contrast } = self.grain;
        let around = (q / TAU).rem_euclid(1.0) * count;
        // Fibres wander: over `reach` along the ply they move sideways by up to tan(scatter) * reach.
        let reach = 14.0 * fibre;
        let drift = self.yarn.fibre_scatter_deg.to_radians().tan() * reach / fibre;
        let around = around
            + drift * cloud(seed, s / reach, around / 3.0)
            + 0.6 * drift * cloud(seed ^ 9, s / (4.0 * reach), around / 9.0);
        let cell = around.floor();
        let side = 2.0 * (around - cell) - 1.0;
        let (i, lock) = (cell as i64, (around / 5.0).floor());
        // Fibres rise and sink over some sixty times their thickness. A sudden change would be a line across the yarn.
        let place = s / (60.0 * fibre) + 5.0 * lattice(seed ^ 1, i, 0);
        let lock_place = s / (200.0 * fibre) + 5.0 * lattice(seed ^ 6, lock as i64, 0);
        let own =
            0.24 * contrast * along_fibre(seed ^ 2, i, place) + 0.18 * along_fibre(seed ^ 3, lock as i64, lock_place);
        let lock_side = (2.0 * (around / 5.0 - lock) - 1.0).abs();
        let furrow = 0.50 * contrast * side.abs().powi(3)
            + 0.45 * smooth((lock_side - 0.6) / 0.4) * lattice(seed ^ 4, lock as i64, 1).abs();
        // Some fibres lie deeper than their neighbours, others stand out.
        let depth = 0.5 + 0.5 * along_fibre(seed ^ 5, i, place);
        Skin {
            shade: ((1.0 + own) * (1.0 - furrow) * (0.90 + 0.42 * contrast * (depth - 0.5))).max(0.05),
            slope: 0.9 * contrast * side,
        }
    }

    /// How open a point is to the sky, and how much of the source it sees (0 to 1), past the other plies and, in wraps,
    /// past the neighbouring strands. Worked in the strand's cross-section, bodies taken as circles.
    fn grooves(&self, between: &Between, strand: &Strand, own: usize, point: &Vector3<f64>) -> (f64, f64) {
        let frame = &between.a.frame;
        let from_axis = point - frame.at;
        let shift = from_axis.dot(&frame.along) / strand.step;
        // The plies have moved on by the time the cross-section reaches this point.
        let turn = TAU * between.a.twist * strand.step * shift;
        let (sine, cosine) = turn.sin_cos();
        let at = [from_axis.dot(&frame.left), from_axis.dot(&frame.up)];
        let sun = [self.light.towards.dot(&frame.left), self.light.towards.dot(&frame.up)];
        let level = sun[0].hypot(sun[1]).max(1e-6);
        let sun = [sun[0] / level, sun[1] / level];
        let (mut open, mut lit) = (1.0f64, 1.0f64);
        let mut past = |centre: [f64; 2], radius: f64| {
            let w = [centre[0] - at[0], centre[1] - at[1]];
            let gap = w[0].hypot(w[1]) - radius;
            open *= 0.30 + 0.70 * smooth(gap / (0.7 * radius) + 0.05);
            let along = w[0] * sun[0] + w[1] * sun[1];
            if along > 0.0 {
                let clear = (w[0] * sun[1] - w[1] * sun[0]).abs() - radius;
                let blur = self.light.softness * along + 0.06 * radius;
                lit = lit.min(smooth(0.5 + 0.5 * clear / blur));
            }
        };
        for (k, ply) in between.a.plies[..strand.plies].iter().enumerate() {
            if k != own {
                past([ply.left * cosine - ply.up * sine, ply.left * sine + ply.up * cosine], ply.radius);
            }
        }
        if let Some(pitch) = strand.neighbours_at {
            let radius = (0.5 * between.a.envelope).min(0.5 * pitch);
            past([pitch, 0.0], radius);
            past([-pitch, 0.0], radius);
        }
        (open, lit)
    }

    /// Linear light from a hair of a ply.
    pub(super) fn hair(&self, ply: usize, along: &Vector3<f64>, shade: f64) -> [f32; 3] {
        let colour = self.yarn.plies.get(ply).map_or([0.5; 3], |p| p.colour);
        let sun = self.light.towards;
        let sine = (1.0 - along.dot(&sun).powi(2)).max(0.0).sqrt();
        std::array::from_fn(|c| {
            let light = self.light.direct * (0.35 + 0.75 * sine) + (1.0 - self.light.direct) * 0.9;
            (colour[c] * shade * light * self.light.colour[c]) as f32
        })
    }
}

struct Skin {
    shade: f64,
    slope: f64,
}
