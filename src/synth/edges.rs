//! Where a strand's silhouette runs in the picture.

use nalgebra::Vector3;

use super::camera::Camera;
use super::fuzz;
use super::scene::YarnSpec;
use super::strand::{Station, Strand};

/// A strand's silhouette at every station; px of the picture as displayed.
#[derive(Debug)]
pub(super) struct Silhouette {
    pub(super) stations: Vec<Option<Seen>>,
}

/// A station as seen.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seen {
    /// Its centre line, and depth along the view axis, mm.
    pub(super) centre: [f64; 2],
    pub(super) depth: f64,
    /// Unit normal of the projected centre line: its direction turned by a quarter from x towards y.
    pub(super) normal: [f64; 2],
    /// Outline of the plies on the normal and against it: distances from the centre, px.
    pub(super) plies: [f64; 2],
    /// The same of the core, which fibres close about the plies widen.
    pub(super) core: [f64; 2],
}

/// Points around a ply: chords miss its outermost point by r (1 - cos(pi / n)) at most, 0.08 % of the radius.
const AROUND: usize = 80;

impl Silhouette {
    /// Traces one of a scene's strands.
    pub(super) fn of(strand: &Strand, number: usize, yarn: &YarnSpec, camera: &Camera, seed: u64) -> Self {
        let shown: Vec<Option<[f64; 3]>> = strand.stations.iter().map(|s| camera.project(&s.frame.at)).collect();
        let ways: Vec<Option<Way>> = (0..shown.len()).map(|i| Way::at(&shown, i)).collect();
        let mut reach = vec![[f64::MIN; 2]; shown.len()];
        for ply in 0..strand.plies {
            trace(strand, ply, camera, &ways, &mut reach);
        }
        let sides = fuzz::widened(strand, &strand.outline(), number, yarn, seed);
        let stations = ways
            .iter()
            .enumerate()
            .map(|(i, way)| {
                let (way, plies) = ((*way)?, reach[i]);
                if plies[0] + plies[1] <= 0.0 || plies[0] < -1e8 || plies[1] < -1e8 {
                    return None;
                }
                let left = strand.stations[i].frame.left;
                let scale = camera.px_per_mm(&strand.stations[i].frame.at, &left)?;
                let beside = camera.project(&(strand.stations[i].frame.at + left * 0.05))?;
                let with = (beside[0] - way.at[0]) * way.normal[0] + (beside[1] - way.at[1]) * way.normal[1];
                let [first, second] = if with > 0.0 { [0, 1] } else { [1, 0] };
                let core = [plies[0] + scale * sides[first][i], plies[1] + scale * sides[second][i]];
                Some(Seen { centre: way.at, depth: way.depth, normal: way.normal, plies, core })
            })
            .collect();
        Self { stations }
    }
}

/// The projected centre line at a station.
#[derive(Debug, Clone, Copy)]
struct Way {
    at: [f64; 2],
    depth: f64,
    along: [f64; 2],
    normal: [f64; 2],
    /// To the next station, px.
    step: f64,
}

impl Way {
    fn at(shown: &[Option<[f64; 3]>], i: usize) -> Option<Self> {
        let here = shown[i]?;
        let (a, b) = (i.saturating_sub(1), (i + 1).min(shown.len() - 1));
        let (before, after) = (shown[a]?, shown[b]?);
        let (dx, dy) = (after[0] - before[0], after[1] - before[1]);
        let length = dx.hypot(dy);
        if length < 1e-9 || a == b {
            return None;
        }
        let along = [dx / length, dy / length];
        let normal = [-along[1], along[0]];
        Some(Self { at: [here[0], here[1]], depth: here[2], along, normal, step: length / (b - a) as f64 })
    }
}

/// Lines along a ply's surface, cut at every station's normal: the outermost cuts are the silhouette of the facets.
fn trace(strand: &Strand, ply: usize, camera: &Camera, ways: &[Option<Way>], reach: &mut [[f64; 2]]) {
    let angles: [[f64; 3]; AROUND] = std::array::from_fn(|j| {
        let phi = std::f64::consts::TAU * j as f64 / AROUND as f64;
        [phi, phi.cos(), phi.sin()]
    });
    let mut last: [Option<[f64; 2]>; AROUND] = [None; AROUND];
    for (i, station) in strand.stations.iter().enumerate() {
        let bumps = strand.bumps(i, ply);
        let at = &station.plies[ply];
        let left = across(station, camera);
        let side = [at.outward.dot(&left), at.onward.dot(&left)];
        for (before, [phi, cosine, sine]) in last.iter_mut().zip(&angles) {
            // The outline lies where the surface looks to a side; 0.7 is a turn of 45 degrees away from it.
            if (side[0] * cosine + side[1] * sine).abs() < 0.7 {
                *before = None;
                continue;
            }
            let radius = at.radius * bumps.at(*phi);
            let point: Vector3<f64> = at.centre + (at.outward * *cosine + at.onward * *sine) * radius;
            let place = camera.project(&point).and_then(|p| against(ways, i, [p[0], p[1]]));
            if let (Some([u, v]), Some([from_u, from_v])) = (place, *before) {
                let (low, high) = (u.min(from_u), u.max(from_u));
                // A line that leaps is one whose end belongs to another pass of a loop.
                if high - low < 6.0 && high >= 0.0 {
                    for k in low.max(0.0).ceil() as usize..=(high as usize).min(reach.len() - 1) {
                        let t = if high > low { (k as f64 - from_u) / (u - from_u) } else { 0.0 };
                        let side = from_v + (v - from_v) * t;
                        let [to_normal, against_it] = &mut reach[k];
                        *to_normal = to_normal.max(side);
                        *against_it = against_it.max(-side);
                    }
                }
            }
            *before = place;
        }
    }
}

/// Direction square to the axis and to the line of sight.
fn across(station: &Station, camera: &Camera) -> Vector3<f64> {
    let view = camera.position - station.frame.at;
    station.frame.along.cross(&view).try_normalize(1e-9).unwrap_or(station.frame.left)
}

/// A place against the centre line near a station: stations along it, px to its normal.
fn against(ways: &[Option<Way>], near: usize, p: [f64; 2]) -> Option<[f64; 2]> {
    let mut at = near as f64;
    let mut side = 0.0;
    for _ in 0..2 {
        let i = (at.round().max(0.0) as usize).min(ways.len() - 1);
        let way = ways[i]?;
        let d = [p[0] - way.at[0], p[1] - way.at[1]];
        at = i as f64 + (d[0] * way.along[0] + d[1] * way.along[1]) / way.step.max(1e-9);
        side = d[0] * way.normal[0] + d[1] * way.normal[1];
    }
    Some([at, side])
}
