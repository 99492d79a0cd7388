//! Hairs: fibres that leave the body in loops or with a free end.

use std::f64::consts::{PI, TAU};

use nalgebra::Vector3;

use super::camera::Camera;
use super::chance::{Chance, hash};
use super::fuzz::FARTHEST;
use super::mesh::TILE;
use super::scene::YarnSpec;
use super::strand::Strand;

/// A short straight part of a hair as projected.
#[derive(Debug, Clone, Copy)]
pub(super) struct HairPart {
    pub(super) from: [f32; 3],
    pub(super) to: [f32; 3],
    /// Half thickness, px.
    pub(super) radius: f32,
    pub(super) strand: u16,
    pub(super) ply: u8,
    /// Whether it belongs to the body.
    pub(super) near: bool,
    pub(super) along: [f32; 3],
    pub(super) shade: f32,
}

/// A hair as it lies about its strand.
#[derive(Debug, Clone)]
pub(super) struct Hair {
    /// Places along it.
    pub(super) places: Vec<HairPlace>,
    /// How far it leaves the body at most, mm.
    pub(super) farthest: f64,
    ply: usize,
    shade: f64,
}

/// A place on a hair.
#[derive(Debug, Clone, Copy)]
pub(super) struct HairPlace {
    /// Station of the strand that it lies over.
    pub(super) station: usize,
    /// Against the strand's axis, mm: to the left and up.
    pub(super) left: f64,
    pub(super) up: f64,
}

impl HairPlace {
    fn in_space(&self, strand: &Strand) -> Option<Vector3<f64>> {
        let frame = &strand.stations.get(self.station)?.frame;
        Some(frame.at + frame.left * self.left + frame.up * self.up)
    }
}

/// Chance from which the hairs of one of a scene's strands come.
pub(super) fn chance_of(seed: u64, strand: usize) -> Chance {
    Chance::new(seed, hash(strand as u64))
}

/// All hairs of a strand but for those of its cut ends.
pub(super) fn all_of(strand: &Strand, yarn: &YarnSpec, chance: &mut Chance) -> Vec<Hair> {
    let count = (yarn.hair.per_cm * strand.length() / 10.0).round() as usize;
    (0..count).filter_map(|_| grow(strand, yarn, chance)).collect()
}

/// One hair from somewhere on the strand. Two in three are loops that come back to the body, the rest end free.
fn grow(strand: &Strand, yarn: &YarnSpec, chance: &mut Chance) -> Option<Hair> {
    let ply = (chance.unit() * strand.plies as f64) as usize;
    let start = chance.between(0.0, strand.length());
    let phi = chance.between(0.0, TAU);
    let way = if chance.happens(0.5) { 1.0 } else { -1.0 };
    let length = yarn.hair.length_mm * chance.between(0.3, 1.6);
    // Most hairs stay close to the body.
    let height = yarn.hair.height_mm * -(1.0 - chance.unit()).ln().max(-3.0);
    let free = chance.happens(0.33);
    let turn = chance.normal() * 0.7;
    let (curl, rate, phase) = (0.22 * height, chance.between(0.4, 1.4), chance.between(0.0, TAU));
    let shade = chance.between(0.75, 1.15);
    let root = strand.stations.get((start / strand.step) as usize)?;
    let p = root.plies.get(ply)?;
    // A hair has left the body: it does not wind with the plies, but runs on beside the yarn's axis.
    let foot = p.centre + (p.outward * phi.cos() + p.onward * phi.sin()) * p.radius - root.frame.at;
    let (side, up) = (foot.dot(&root.frame.left), foot.dot(&root.frame.up));
    let (distance, place) = (side.hypot(up), up.atan2(side));
    let mut farthest: f64 = 0.0;
    let mut places = Vec::with_capacity(PARTS + 1);
    for i in 0..=PARTS {
        let t = i as f64 / PARTS as f64;
        let s = start + way * length * t * if free { 0.75 } else { 1.0 };
        let station = (s / strand.step).round();
        if station < 0.0 || station as usize >= strand.stations.len() {
            continue;
        }
        let wave = (rate * TAU * t + phase).sin() - phase.sin() * (1.0 - t);
        let lifted = height * if free { t * t * 1.2 } else { (PI * t).sin() } + curl * wave * t;
        let (sine, cosine) = (place + turn * t + 0.15 * wave).sin_cos();
        let from_axis = distance + lifted.max(0.0);
        farthest = farthest.max(lifted);
        places.push(HairPlace { station: station as usize, left: cosine * from_axis, up: sine * from_axis });
    }
    Some(Hair { places, farthest, ply, shade })
}

/// All hairs, and which of their parts each tile may show.
#[derive(Debug, Default)]
pub(super) struct Hairs {
    pub(super) parts: Vec<HairPart>,
    pub(super) tiles: Vec<Vec<u32>>,
}

/// What all parts of a hair have in common; half thickness in mm.
#[derive(Debug, Clone, Copy)]
struct Look {
    strand: u16,
    ply: u8,
    near: bool,
    radius: f64,
    shade: f64,
}

/// Parts of one hair.
const PARTS: usize = 20;

impl Hairs {
    pub(super) fn of(
        strands: &[Strand],
        yarns: &[&YarnSpec],
        camera: &Camera,
        columns: usize,
        tiles: usize,
        seed: u64,
    ) -> Self {
        let mut hairs = Self { parts: Vec::new(), tiles: vec![Vec::new(); tiles] };
        for (number, (strand, yarn)) in strands.iter().zip(yarns).enumerate() {
            let mut chance = chance_of(seed, number);
            for hair in all_of(strand, yarn, &mut chance) {
                let points: Vec<_> = hair.places.iter().filter_map(|p| p.in_space(strand)).collect();
                let look = Look {
                    strand: number as u16,
                    ply: hair.ply as u8,
                    near: hair.farthest <= FARTHEST * yarn.diameter_mm,
                    radius: yarn.hair.radius_mm,
                    shade: hair.shade,
                };
                hairs.add(&points, look, camera);
            }
            if strand.cut {
                hairs.fray(strand, number, yarn, camera, &mut chance);
            }
        }
        hairs.sort(columns);
        hairs
    }

    /// Fibre ends that stand out of a cut.
    fn fray(&mut self, strand: &Strand, number: usize, yarn: &YarnSpec, camera: &Camera, chance: &mut Chance) {
        let ends = [(strand.stations.first(), -1.0), (strand.stations.last(), 1.0)];
        for (station, way) in ends {
            let Some(at) = station else { continue };
            for _ in 0..60 {
                let ply = (chance.unit() * strand.plies as f64) as usize;
                let Some(p) = at.plies.get(ply) else { continue };
                let (phi, inner) = (chance.between(0.0, TAU), chance.unit().sqrt());
                let direction = p.outward * phi.cos() + p.onward * phi.sin();
                let length = yarn.diameter_mm * chance.between(0.05, 0.5);
                let splay = chance.between(-0.1, 0.35);
                let start = p.centre + direction * (p.radius * inner);
                let points: Vec<_> = (0..4)
                    .map(|i| {
                        let t = f64::from(i) / 3.0 * length;
                        start + at.frame.along * (way * t) + direction * (splay * t * t / length)
                    })
                    .collect();
                let shade = chance.between(0.75, 1.1);
                let radius = yarn.hair.radius_mm * 1.3;
                self.add(&points, Look { strand: number as u16, ply: ply as u8, near: false, radius, shade }, camera);
            }
        }
    }

    fn add(&mut self, points: &[Vector3<f64>], look: Look, camera: &Camera) {
        for pair in points.windows(2) {
            let [a, b] = pair else { continue };
            // Hairs lie on the card, not in it.
            let lie = |p: &Vector3<f64>| Vector3::new(p.x, p.y, p.z.max(0.02));
            let (a, b) = (lie(a), lie(b));
            let (Some(from), Some(to)) = (camera.project(&a), camera.project(&b)) else { continue };
            let Some(along) = (b - a).try_normalize(1e-9) else { continue };
            self.parts.push(HairPart {
                from: from.map(|v| v as f32),
                to: to.map(|v| v as f32),
                radius: (look.radius * camera.focal_px / from[2]) as f32,
                strand: look.strand,
                ply: look.ply,
                near: look.near,
                along: [along.x as f32, along.y as f32, along.z as f32],
                shade: look.shade as f32,
            });
        }
    }

    fn sort(&mut self, columns: usize) {
        let rows = self.tiles.len() / columns.max(1);
        for (i, part) in self.parts.iter().enumerate() {
            let low = |axis: usize| (part.from[axis].min(part.to[axis]) - part.radius - 1.0) / TILE as f32;
            let high = |axis: usize| (part.from[axis].max(part.to[axis]) + part.radius + 1.0) / TILE as f32;
            if high(0) < 0.0 || high(1) < 0.0 || low(0) >= columns as f32 || low(1) >= rows as f32 {
                continue;
            }
            for row in low(1).max(0.0) as usize..=(high(1) as usize).min(rows.saturating_sub(1)) {
                for column in low(0).max(0.0) as usize..=(high(0) as usize).min(columns.saturating_sub(1)) {
                    if let Some(tile) = self.tiles.get_mut(row * columns + column) {
                        tile.push(i as u32);
                    }
                }
            }
        }
    }
}
