//! The shadow that yarn throws on the ground, and how much sky it hides from it.

use nalgebra::Vector3;

use super::camera::Camera;
use super::mesh::TILE;
use super::shade::{Light, smooth};
use super::strand::Strand;

/// Nodes along the strands, sorted into the tiles that their shadow may reach.
#[derive(Debug)]
pub(super) struct Shadows<'a> {
    strands: &'a [Strand],
    light: &'a Light,
    /// For each tile, (strand, station), sorted.
    tiles: Vec<Vec<(usize, usize)>>,
    /// How far from its axis each strand is felt, mm.
    reaches: Vec<f64>,
}

/// What reaches a point of the ground: share of the source, share of the sky.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reaching {
    pub(super) direct: f64,
    pub(super) sky: f64,
}

impl<'a> Shadows<'a> {
    pub(super) fn of(
        strands: &'a [Strand],
        light: &'a Light,
        envelopes: &[f64],
        camera: &Camera,
        columns: usize,
        tiles: usize,
    ) -> Self {
        let slope = light.towards.x.hypot(light.towards.y) / light.towards.z.max(0.1);
        let reaches: Vec<f64> = envelopes.iter().map(|e| e * (4.0 + 1.3 * slope)).collect();
        let mut sorted = vec![Vec::new(); tiles];
        let rows = tiles / columns.max(1);
        for (number, (strand, envelope)) in strands.iter().zip(envelopes).enumerate() {
            let reach = reaches[number];
            let stride = ((0.7 * envelope / strand.step) as usize).max(1);
            for (station, at) in strand.stations.iter().enumerate().step_by(stride) {
                let foot = Vector3::new(at.frame.at.x, at.frame.at.y, 0.0);
                let Some([x, y, depth]) = camera.project(&foot) else { continue };
                let around = 1.3 * (reach + envelope) * camera.focal_px / depth;
                let tile = |v: f64| v / TILE as f64;
                let (x0, x1, y0, y1) = (tile(x - around), tile(x + around), tile(y - around), tile(y + around));
                if x1 < 0.0 || y1 < 0.0 || x0 >= columns as f64 || y0 >= rows as f64 {
                    continue;
                }
                for row in y0.max(0.0) as usize..=(y1 as usize).min(rows.saturating_sub(1)) {
                    for column in x0.max(0.0) as usize..=(x1 as usize).min(columns.saturating_sub(1)) {
                        if let Some(list) = sorted.get_mut(row * columns + column) {
                            list.push((number, station));
                        }
                    }
                }
            }
        }
        Self { strands, light, tiles: sorted, reaches }
    }

    /// Whether anything reaches a tile.
    pub(super) fn touch(&self, tile: usize) -> bool {
        self.tiles.get(tile).is_some_and(|list| !list.is_empty())
    }

    /// What reaches the ground point (x, y, z) in a tile.
    pub(super) fn at(&self, tile: usize, x: f64, y: f64, z: f64) -> Reaching {
        let mut reaching = Reaching { direct: 1.0, sky: 1.0 };
        let Some(list) = self.tiles.get(tile) else { return reaching };
        let mut i = 0;
        while let Some((number, _)) = list.get(i) {
            let Some(strand) = self.strands.get(*number) else { break };
            let mut nearest = (f64::MAX, 0);
            while let Some((same, station)) = list.get(i) {
                if same != number {
                    break;
                }
                if let Some(at) = strand.stations.get(*station) {
                    let away = (at.frame.at.x - x).powi(2) + (at.frame.at.y - y).powi(2);
                    if away < nearest.0 {
                        nearest = (away, *station);
                    }
                }
                i += 1;
            }
            let reach = self.reaches.get(*number).copied().unwrap_or(0.0);
            if nearest.0.sqrt() < reach {
                self.behind(strand, nearest.1, reach, &Vector3::new(x, y, z), &mut reaching);
            }
        }
        reaching
    }

    fn behind(&self, strand: &Strand, node: usize, reach: f64, point: &Vector3<f64>, reaching: &mut Reaching) {
        let last = strand.stations.len().saturating_sub(1);
        let Some(near) = strand.stations.get(node) else { return };
        let along = (point - near.frame.at).dot(&near.frame.along) / strand.step;
        // Between nodes; only beyond the strand's ends farther. In a tight bend a far point lies beside many nodes.
        let stride = 0.7 * near.envelope / strand.step;
        let at_end = node as f64 <= stride || node as f64 + stride >= last as f64;
        let here = node as f64 + if at_end { along } else { along.clamp(-stride, stride) };
        // Beyond a cut end nothing stands in the way.
        let end = if strand.cut {
            smooth(1.0 - (-here).max(here - last as f64) * strand.step / (0.3 * near.envelope))
        } else {
            1.0
        };
        let Some(station) = strand.stations.get((here.max(0.0) as usize).min(last)) else { return };
        let from_axis = point - station.frame.at;
        let (side, down) = (from_axis.dot(&station.frame.left), from_axis.dot(&station.frame.up));

        // Sky: an endless cylinder hides (cos a - cos b) / 2 of a horizontal patch's sky between the elevations a and b.
        let radius = 0.46 * station.envelope;
        let distance = side.hypot(down).max(radius);
        let (middle, half) = ((-down).atan2(side.abs()), (radius / distance).min(1.0).asin());
        let hidden = 0.5 * ((middle - half).max(0.0).cos() - (middle + half).min(std::f64::consts::PI).cos());
        // Where the strand bends tightly, cross-sections fan out and only near ones mean anything.
        let reach = reach.min(0.6 * bend_radius(strand, here));
        let fade = smooth((reach - side.abs()) / (0.3 * reach));
        reaching.sky *= 1.0 - hidden * end * fade;

        // Source: how far the ray passes each ply, in the cross-section.
        let sun = &self.light.towards;
        let plane = [sun.dot(&station.frame.left), sun.dot(&station.frame.up)];
        let level = plane[0].hypot(plane[1]);
        if level < 1e-6 {
            return;
        }
        let ray = [plane[0] / level, plane[1] / level];
        // The ray also moves along the strand before it meets the body.
        let meet = (-(side * ray[0] + down * ray[1])).max(0.0);
        let shifted = here + meet * sun.dot(&station.frame.along) / level / strand.step;
        let Some(met) = strand.stations.get((shifted.max(0.0) as usize).min(last)) else { return };
        // Round a tight bend the cross-section there has nothing to do with the one here.
        let met = if met.frame.along.dot(&station.frame.along) > 0.97 { met } else { station };
        let mut open = 1.0f64;
        for ply in &met.plies[..strand.plies] {
            let w = [ply.left - side, ply.up - down];
            let ahead = w[0] * ray[0] + w[1] * ray[1];
            if ahead > 0.0 {
                let clear = (w[0] * ray[1] - w[1] * ray[0]).abs() - ply.radius;
                let blur = self.light.softness * ahead + 0.04 * ply.radius;
                open = open.min(smooth(0.5 + 0.5 * clear / blur));
            }
        }
        reaching.direct = reaching.direct.min(1.0 - (1.0 - open) * end * fade);
    }
}

/// Radius of the axis's bend about a station, mm, from its directions one envelope before and after.
///
/// Gentle curves are gentle enough: only strands that bend tightly are looked at.
fn bend_radius(strand: &Strand, station: f64) -> f64 {
    if !strand.bends {
        return f64::MAX;
    }
    let last = strand.stations.len().saturating_sub(1);
    let middle = (station.max(0.0) as usize).min(last);
    let span = strand.stations.get(middle).map_or(1, |s| (s.envelope / strand.step) as usize + 1);
    let (from, to) = (middle.saturating_sub(span), (middle + span).min(last));
    let (Some(a), Some(b)) = (strand.stations.get(from), strand.stations.get(to)) else { return f64::MAX };
    let turn = a.frame.along.angle(&b.frame.along);
    (to - from) as f64 * strand.step / turn.max(1e-6)
}
