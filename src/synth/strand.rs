//! A piece of yarn as geometry: its axis, and around it the plies with their radii, turning and fibres.

use std::f64::consts::TAU;

use nalgebra::Vector3;

use super::chance::{Chance, hash, wave};
use super::packing::ply_centres;
use super::path::{Frame, Loop};
use super::scene::YarnSpec;

/// Most plies that a yarn may have here.
pub(super) const MOST_PLIES: usize = 4;

/// One ply at one station.
#[derive(Debug, Clone, Copy)]
pub(super) struct PlyAt {
    /// Its axis against the yarn's: to the left and up, mm.
    pub(super) left: f64,
    pub(super) up: f64,
    /// Radius, mm.
    pub(super) radius: f64,
    /// Distance of the two axes, mm.
    pub(super) offset: f64,
    /// Its axis in space, and two directions square to it: away from the yarn's axis, and on in the sense of Z.
    pub(super) centre: Vector3<f64>,
    pub(super) outward: Vector3<f64>,
    pub(super) onward: Vector3<f64>,
    /// How far its fibres have turned about its axis against `outward`, radians.
    pub(super) fibre_turn: f64,
}

/// The yarn at one station.
#[derive(Debug, Clone, Copy)]
pub(super) struct Station {
    pub(super) frame: Frame,
    /// Turns per mm, positive for Z.
    pub(super) twist: f64,
    /// Diameter of the cylinder that the turning plies fill, mm.
    pub(super) envelope: f64,
    pub(super) plies: [PlyAt; MOST_PLIES],
}

/// A planted thick or thin place, in mm along the strand.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fault {
    pub(super) at: f64,
    pub(super) length: f64,
    pub(super) amplitude: f64,
    pub(super) ply: Option<usize>,
}

/// A piece of yarn.
#[derive(Debug)]
pub(super) struct Strand {
    /// Distance between stations, mm of arc length.
    pub(super) step: f64,
    pub(super) stations: Vec<Station>,
    pub(super) plies: usize,
    pub(super) faults: Vec<Fault>,
    pub(super) loops: Vec<Loop>,
    /// Whether its ends are cut within the scene.
    pub(super) cut: bool,
    /// Whether its axis bends within a few diameters, in loops or otherwise.
    pub(super) bends: bool,
    /// Parallel neighbours at this distance on both sides, mm (wraps); they shade one another.
    pub(super) neighbours_at: Option<f64>,
    /// Which of the scene's further pieces it is; `None` for its first yarn.
    pub(super) piece: Option<usize>,
    relief: Relief,
}

/// Locks of fibres that make a ply's surface uneven around it.
#[derive(Debug, Clone, Copy)]
struct Relief {
    /// Relative deviation of the radius.
    depth: f64,
    /// Length over which locks change, mm.
    length: f64,
    seed: u64,
}

/// Waves around a ply that make up its relief.
const RELIEF_WAVES: [u32; 5] = [3, 5, 7, 9, 12];

/// The relief of one ply at one station, ready to be asked at any angle.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bumps {
    parts: [[f64; 2]; RELIEF_WAVES.len()],
    fibre_turn: f64,
}

impl Bumps {
    /// Radius against the smooth one, at `phi` around the ply. The relief turns with the fibres.
    pub(super) fn at(&self, phi: f64) -> f64 {
        let (sine, cosine) = (phi - self.fibre_turn).sin_cos();
        let (mut c, mut s, mut order, mut sum) = (1.0, 0.0, 0, 1.0);
        for (wave, [a, b]) in RELIEF_WAVES.iter().zip(&self.parts) {
            while order < *wave {
                (c, s) = (c * cosine - s * sine, s * cosine + c * sine);
                order += 1;
            }
            sum += a * c + b * s;
        }
        sum
    }
}

/// Sizes that follow from the yarn's description alone.
#[derive(Debug, Clone)]
pub(super) struct Nominal {
    /// Radius of each ply, mm.
    pub(super) radii: Vec<f64>,
    /// Turns per mm, positive for Z.
    pub(super) twist: f64,
    /// Envelope diameter, mm.
    pub(super) envelope: f64,
    /// Distance between stations that keeps chords of the helices within a thousandth of the diameter, mm.
    pub(super) step: f64,
}

impl Nominal {
    pub(super) fn of(yarn: &YarnSpec) -> Self {
        let relative: Vec<f64> = yarn.plies.iter().take(MOST_PLIES).map(|p| p.relative_radius).collect();
        let unit = mean_extent(&relative, yarn.compress);
        let radii: Vec<f64> = relative.iter().map(|r| r * yarn.diameter_mm / unit).collect();
        let centres = ply_centres(&radii, yarn.compress);
        let offsets: Vec<f64> = centres.iter().map(|c| c[0].hypot(c[1])).collect();
        let lever =
            if radii.len() > 1 { offsets.iter().sum::<f64>() / offsets.len() as f64 } else { yarn.diameter_mm / 2.0 };
        let twist = yarn.turning.sign() * yarn.angle_deg.to_radians().tan() / (TAU * lever.max(1e-6));
        let envelope = 2.0 * offsets.iter().zip(&radii).map(|(o, r)| o + r).fold(0.0, f64::max);
        // A chord over the turn a leaves the arc by Rc (1 - cos(a / 2)): 0.05 % of Rc at 96 chords a turn.
        let step = (yarn.diameter_mm / 12.0).min(1.0 / (96.0 * twist.abs().max(1e-6))).max(0.01);
        Self { radii, twist, envelope, step }
    }
}

/// Mean over a turn of the width of the circles' outline.
fn mean_extent(radii: &[f64], compress: f64) -> f64 {
    let centres = ply_centres(radii, compress);
    let turns = 180;
    let extent = |turn: f64| {
        let (sine, cosine) = turn.sin_cos();
        let place = |c: &[f64; 2]| c[0] * cosine - c[1] * sine;
        let high = centres.iter().zip(radii).map(|(c, r)| place(c) + r).fold(f64::MIN, f64::max);
        let low = centres.iter().zip(radii).map(|(c, r)| place(c) - r).fold(f64::MAX, f64::min);
        high - low
    };
    (0..turns).map(|i| extent(TAU * f64::from(i) / f64::from(turns))).sum::<f64>() / f64::from(turns)
}

impl Strand {
    /// Lays the yarn along an axis (frames at `nominal.step`, heights relative to yarn lying flat).
    pub(super) fn along(yarn: &YarnSpec, nominal: &Nominal, frames: Vec<Frame>, faults: Vec<Fault>, seed: u64) -> Self {
        let step = nominal.step;
        let n = nominal.radii.len();
        let own = |what: u64, ply: usize| hash(seed ^ hash(what * 16 + ply as u64));
        let mut chance = Chance::new(seed, 77);
        let mut theta = chance.between(0.0, TAU);
        let mut fibre_turns = [0.0; MOST_PLIES];
        let lean = yarn.turning.sign() * yarn.fibre_lean_deg.to_radians();
        let blank = PlyAt {
            left: 0.0,
            up: 0.0,
            radius: 0.0,
            offset: 0.0,
            centre: Vector3::zeros(),
            outward: Vector3::zeros(),
            onward: Vector3::zeros(),
            fibre_turn: 0.0,
        };
        let mut stations = Vec::with_capacity(frames.len());
        for (i, frame) in frames.into_iter().enumerate() {
            let s = i as f64 * step;
            let mut radii = [0.0; MOST_PLIES];
            let mut thickness = 0.0;
            for (k, radius) in radii.iter_mut().enumerate().take(n) {
                let rough = unevenness(own(1, k), s, yarn.diameter_mm) * yarn.thickness_cv;
                let planted: f64 = faults.iter().filter(|f| f.ply.is_none_or(|p| p == k)).map(|f| f.at_place(s)).sum();
                let relative = (1.0 + rough).max(0.35) * (1.0 + planted).max(0.2);
                *radius = nominal.radii[k] * relative;
                thickness += relative / n as f64;
            }
            let wander = 1.0 + yarn.twist_cv * wave(own(2, 0), s / (12.0 * yarn.diameter_mm));
            let twist = nominal.twist * thickness.powf(-yarn.twist_follows_thickness) * wander.max(0.2);
            theta += TAU * twist * step * if i == 0 { 0.0 } else { 1.0 };
            let mut plies = [blank; MOST_PLIES];
            let mut envelope: f64 = 0.0;
            for (k, centre) in ply_centres(&radii[..n], yarn.compress).into_iter().enumerate() {
                let (radius, offset) = (radii[k], centre[0].hypot(centre[1]));
                let place = theta + if n > 1 { centre[1].atan2(centre[0]) } else { 0.0 };
                let (sine, cosine) = place.sin_cos();
                if n > 1 && i > 0 {
                    // Fibres at `chi` to their ply's axis turn about it at tan(chi) / r per length of ply, against a
                    // frame that does not twist. `outward` does twist against that frame, by the helix's torsion
                    // 2 pi T cos^2(beta) per length of ply; a length of ply is 1 / cos(beta) of the yarn's.
                    let beta = (TAU * twist * offset).atan();
                    let chi = lean - beta;
                    fibre_turns[k] += (chi.tan() / radius - TAU * twist * beta.cos().powi(2)) / beta.cos() * step;
                }
                plies[k] = PlyAt {
                    left: offset * cosine,
                    up: offset * sine,
                    radius,
                    offset,
                    fibre_turn: fibre_turns[k],
                    ..blank
                };
                plies[k].outward = frame.left * cosine + frame.up * sine;
                envelope = envelope.max(2.0 * (offset + radius));
            }
            stations.push(Station { frame, twist, envelope, plies });
        }
        let relief = Relief { depth: yarn.relief, length: 5.0 * yarn.diameter_mm, seed: own(3, 0) };
        let mut strand = Self {
            step,
            stations,
            plies: n,
            faults,
            loops: Vec::new(),
            cut: false,
            bends: false,
            neighbours_at: None,
            piece: None,
            relief,
        };
        strand.rest_on_card(nominal.envelope);
        strand.erect_plies();
        strand
    }

    /// Raises the axis to half the local envelope, smoothed over two diameters, so that the yarn lies on the card.
    fn rest_on_card(&mut self, envelope: f64) {
        let reach = (2.0 * envelope / self.step).ceil() as usize;
        let mut sums = vec![0.0];
        for station in &self.stations {
            sums.push(sums[sums.len() - 1] + station.envelope / 2.0);
        }
        let count = self.stations.len();
        for (i, station) in self.stations.iter_mut().enumerate() {
            let (a, b) = (i.saturating_sub(reach), (i + reach + 1).min(count));
            station.frame.at += Vector3::z() * ((sums[b] - sums[a]) / (b - a) as f64);
        }
    }

    /// Places the plies' axes in space, and the two directions square to each.
    fn erect_plies(&mut self) {
        for station in &mut self.stations {
            let frame = station.frame;
            for ply in &mut station.plies[..self.plies] {
                ply.centre = frame.at + frame.left * ply.left + frame.up * ply.up;
            }
        }
        let count = self.stations.len();
        for i in 0..count {
            let (before, after) = (i.saturating_sub(1), (i + 1).min(count - 1));
            for k in 0..self.plies {
                let along = self.stations[after].plies[k].centre - self.stations[before].plies[k].centre;
                let along = along.try_normalize(1e-12).unwrap_or(self.stations[i].frame.along);
                let ply = &mut self.stations[i].plies[k];
                let outward = ply.outward - along * along.dot(&ply.outward);
                ply.outward = outward.try_normalize(1e-12).unwrap_or(ply.outward);
                ply.onward = along.cross(&ply.outward);
            }
        }
    }

    /// Length, mm.
    pub(super) fn length(&self) -> f64 {
        self.step * (self.stations.len().saturating_sub(1)) as f64
    }

    /// The relief of a ply at a station.
    pub(super) fn bumps(&self, station: usize, ply: usize) -> Bumps {
        let s = station as f64 * self.step / self.relief.length;
        let share = self.relief.depth / (RELIEF_WAVES.len() as f64).sqrt();
        let part = |i: usize, k: u64| share * wave(hash(self.relief.seed ^ (ply * 32 + 2 * i) as u64 ^ (k << 20)), s);
        let parts = if self.relief.depth > 0.0 {
            std::array::from_fn(|i| [part(i, 0), part(i, 1)])
        } else {
            Default::default()
        };
        Bumps { parts, fibre_turn: self.stations.get(station).map_or(0.0, |s| s.plies[ply].fibre_turn) }
    }

    /// Outline of the plies' bodies at every station, seen along the card's normal: left and right edge, to the left of
    /// the axis, mm.
    ///
    /// Points all over the surfaces, each put to the station that it lies over; the outermost two tell the width there.
    /// 128 points around a ply miss its outermost one by 0.03 % of the radius at most.
    pub(super) fn outline(&self) -> Vec<(f64, f64)> {
        const AROUND: usize = 128;
        let angles: Vec<(f64, f64, f64)> = (0..AROUND)
            .map(|j| {
                let phi = TAU * j as f64 / AROUND as f64;
                (phi, phi.sin(), phi.cos())
            })
            .collect();
        let mut edges = vec![(f64::MIN, f64::MAX); self.stations.len()];
        for (i, station) in self.stations.iter().enumerate() {
            let frame = &station.frame;
            for (k, ply) in station.plies[..self.plies].iter().enumerate() {
                let bumps = self.bumps(i, k);
                let along = [ply.outward.dot(&frame.along), ply.onward.dot(&frame.along)];
                let left = [ply.outward.dot(&frame.left), ply.onward.dot(&frame.left)];
                for (phi, sine, cosine) in &angles {
                    let radius = ply.radius * bumps.at(*phi);
                    let over = i as f64 + radius * (along[0] * cosine + along[1] * sine) / self.step;
                    let side = ply.left + radius * (left[0] * cosine + left[1] * sine);
                    if over > -0.5
                        && let Some((high, low)) = edges.get_mut(over.round() as usize)
                    {
                        *high = high.max(side);
                        *low = low.min(side);
                    }
                }
            }
        }
        edges
    }
}

impl Fault {
    /// What it adds to the relative radius at `s`.
    fn at_place(&self, s: f64) -> f64 {
        let x = (s - self.at) / self.length;
        if x.abs() < 0.5 { 0.5 * self.amplitude * (1.0 + (TAU * x).cos()) } else { 0.0 }
    }
}

/// Relative thickness noise: mean 0, deviation 1, at lengths of about 3, 10 and 30 diameters, of about equal power.
fn unevenness(seed: u64, s: f64, diameter: f64) -> f64 {
    [(3.0, 0.5), (10.0, 0.62), (30.0, 0.605)]
        .iter()
        .enumerate()
        .map(|(i, (lengths, share))| share * wave(hash(seed ^ i as u64), s / (lengths * diameter)))
        .sum()
}
