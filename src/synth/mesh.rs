//! The plies' surfaces as rings of small facets, projected, and sorted into square tiles of the picture.

use super::camera::Camera;
use super::strand::Strand;

/// Side of a tile, px.
pub(super) const TILE: usize = 64;

/// A corner of a facet as projected: x and y in px, depth in mm.
pub(super) type Corner = [f32; 3];

/// One ply's surface: rings of `around` corners, one ring per kept station.
#[derive(Debug)]
pub(super) struct Tube {
    pub(super) strand: usize,
    pub(super) ply: usize,
    /// Corners in a ring.
    pub(super) around: usize,
    /// Station of each ring.
    pub(super) rings: Vec<usize>,
    /// Corners, ring by ring; not finite where a ring is not seen.
    pub(super) corners: Vec<Corner>,
}

/// A band of facets between two rings of a tube.
#[derive(Debug, Clone, Copy)]
pub(super) struct Band {
    pub(super) tube: usize,
    pub(super) ring: usize,
}

/// All facets, and which bands of them each tile may show.
#[derive(Debug)]
pub(super) struct Mesh {
    pub(super) tubes: Vec<Tube>,
    pub(super) columns: usize,
    pub(super) tiles: Vec<Vec<Band>>,
}

impl Mesh {
    /// Projects every ply of every strand.
    pub(super) fn of(strands: &[Strand], camera: &Camera, width: usize, height: usize) -> Self {
        let (columns, rows) = (width.div_ceil(TILE), height.div_ceil(TILE));
        let mut mesh = Self { tubes: Vec::new(), columns, tiles: vec![Vec::new(); columns * rows] };
        for (at, strand) in strands.iter().enumerate() {
            for ply in 0..strand.plies {
                let tube = Tube::of(strand, at, ply, camera);
                mesh.sort_in(&tube);
                mesh.tubes.push(tube);
            }
        }
        mesh
    }

    fn sort_in(&mut self, tube: &Tube) {
        let number = self.tubes.len();
        let rows = self.tiles.len() / self.columns.max(1);
        for (ring, corners) in tube.corners.windows(2 * tube.around).step_by(tube.around).enumerate() {
            let mut low = [f32::MAX; 2];
            let mut high = [f32::MIN; 2];
            for corner in corners {
                for axis in 0..2 {
                    low[axis] = low[axis].min(corner[axis]);
                    high[axis] = high[axis].max(corner[axis]);
                }
            }
            if !(low[0].is_finite() && low[1].is_finite() && high[0].is_finite() && high[1].is_finite()) {
                continue;
            }
            // Half a pixel more on each side: a pixel's area reaches beyond its centre.
            let tile = |v: f32, most: usize| ((v / TILE as f32).floor().max(0.0) as usize).min(most);
            if high[0] < -1.0
                || high[1] < -1.0
                || low[0] > (self.columns * TILE) as f32
                || low[1] > (rows * TILE) as f32
            {
                continue;
            }
            for row in tile(low[1] - 1.0, rows - 1)..=tile(high[1] + 1.0, rows - 1) {
                for column in tile(low[0] - 1.0, self.columns - 1)..=tile(high[0] + 1.0, self.columns - 1) {
                    if let Some(bands) = self.tiles.get_mut(row * self.columns + column) {
                        bands.push(Band { tube: number, ring });
                    }
                }
            }
        }
    }
}

impl Tube {
    fn of(strand: &Strand, number: usize, ply: usize, camera: &Camera) -> Self {
        let radius_px = strand
            .stations
            .iter()
            .filter_map(|s| {
                let [_, _, depth] = camera.project(&s.plies[ply].centre)?;
                Some(s.plies[ply].radius * camera.focal_px / depth)
            })
            .fold(1.0, f64::max);
        // Facets whose middles leave the circle by a fiftieth of a pixel: r (1 - cos(pi / n)).
        let around =
            (std::f64::consts::PI / (1.0 - (0.02 / radius_px).min(0.5)).acos()).ceil().clamp(20.0, 200.0) as usize;
        let last = strand.stations.len().saturating_sub(1);
        let mut rings: Vec<usize> = (0..=last).collect();
        let mut corners = Vec::with_capacity((rings.len() + 2) * around);
        let ring_of = |station: usize, shrink: f64| {
            let bumps = strand.bumps(station, ply);
            (0..around).map(move |j| {
                let phi = std::f64::consts::TAU * j as f64 / around as f64;
                let hidden = [f32::NAN; 3];
                let Some(at) = strand.stations.get(station) else { return hidden };
                let p = &at.plies[ply];
                let radius = p.radius * bumps.at(phi) * shrink;
                let point = p.centre + (p.outward * phi.cos() + p.onward * phi.sin()) * radius;
                camera.project(&point).map_or(hidden, |[x, y, depth]| [x as f32, y as f32, depth as f32])
            })
        };
        if strand.cut {
            corners.extend(ring_of(0, 0.0));
            rings.insert(0, 0);
        }
        for station in 0..=last {
            corners.extend(ring_of(station, 1.0));
        }
        if strand.cut {
            corners.extend(ring_of(last, 0.0));
            rings.push(last);
        }
        Self { strand: number, ply, around, rings, corners }
    }
}
