//! A painted photo and what its painter says of it.

use std::path::Path;

use serde::Deserialize;
use strandrule::base::geometry::{Image, Point};
use strandrule::base::raster::Raster;
use strandrule::measure::photo::{Limits, read};

#[derive(Deserialize)]
struct Told {
    painter: String,
    seed: u64,
    width: usize,
    height: usize,
    strands: Vec<ToldStrand>,
}

#[derive(Deserialize)]
struct ToldStrand {
    plies: usize,
    direction: String,
    centre: Vec<[f64; 2]>,
    edge_a: Vec<Option<[f64; 2]>>,
    edge_b: Vec<Option<[f64; 2]>>,
    phase_rad: Vec<f64>,
    tan_angle: Vec<f64>,
    valid: Vec<bool>,
}

/// A strand's truth, station by station.
pub struct Strand {
    pub plies: usize,
    /// +1 for Z, -1 for S.
    pub sign: f64,
    pub centre: Vec<Point<Image>>,
    pub edges: Vec<Option<[Point<Image>; 2]>>,
    pub phase: Vec<f64>,
    pub tan: Vec<f64>,
    pub valid: Vec<bool>,
}

impl Strand {
    /// Median width, px.
    pub fn width_px(&self) -> Option<f64> {
        let known = self.edges.iter().zip(&self.valid).filter(|(_, v)| **v).filter_map(|(e, _)| *e);
        let widths: Vec<f64> = known.map(|[a, b]| a.distance(b)).collect();
        strandrule::base::stats::median(&widths).filter(|w| *w > 2.0)
    }
}

/// A photo with its labels.
pub struct Scene {
    pub painter: String,
    pub seed: u64,
    pub photo: Raster<[u8; 3]>,
    /// Shares of 255: body, hair, shadow.
    pub labels: Raster<[u8; 3]>,
    /// What lies there: 0 ground, 1 ruler, 2 card, 3 other things.
    pub kinds: Raster<u8>,
    pub strands: Vec<Strand>,
}

impl Scene {
    /// Reads NAME.jpg, NAME.json, NAME.labels.png and NAME.shadow.png.
    pub fn read(path: &Path) -> Result<Self, String> {
        let text = std::fs::read_to_string(path.with_extension("json")).map_err(|e| e.to_string())?;
        let told: Told = serde_json::from_str(&text).map_err(|e| e.to_string())?;
        let photo = read(path, &Limits::default()).map_err(|e| e.to_string())?.rgb;
        let open = |ending: &str| image::open(path.with_extension(ending)).map_err(|e| e.to_string());
        let labels = open("labels.png")?.into_rgb8();
        let shadow = open("shadow.png")?.into_luma8();
        let size = (photo.width() as u32, photo.height() as u32);
        if size != labels.dimensions() || size != shadow.dimensions() || photo.width() != told.width || photo.height() != told.height {
            return Err("sizes differ".to_owned());
        }
        let both = labels.pixels().zip(shadow.pixels());
        let mixed = both.map(|(l, s)| [l.0[0], l.0[1], s.0[0]]).collect();
        let kinds = labels.pixels().map(|l| l.0[2]).collect();
        Ok(Self {
            labels: Raster::from_samples(photo.width(), photo.height(), mixed).ok_or("sizes differ")?,
            kinds: Raster::from_samples(photo.width(), photo.height(), kinds).ok_or("sizes differ")?,
            strands: told.strands.into_iter().filter_map(strand).collect(),
            painter: told.painter,
            seed: told.seed,
            photo,
        })
    }

    /// Direction of a line from its first to its last point.
    pub fn line_tangent(&self, line: &[Point<Image>]) -> Point<Image> {
        match (line.first(), line.last()) {
            (Some(a), Some(b)) => *b - *a,
            _ => Point::new(0.0, 0.0),
        }
    }
}

fn strand(told: ToldStrand) -> Option<Strand> {
    let n = told.centre.len();
    let point = |p: [f64; 2]| Point::new(p[0], p[1]);
    let alike = [told.edge_a.len(), told.edge_b.len(), told.phase_rad.len(), told.tan_angle.len(), told.valid.len()];
    (n > 8 && alike.iter().all(|k| *k == n)).then(|| Strand {
        plies: told.plies,
        sign: if told.direction == "Z" { 1.0 } else { -1.0 },
        centre: told.centre.into_iter().map(point).collect(),
        edges: told.edge_a.into_iter().zip(told.edge_b).map(|(a, b)| Some([point(a?), point(b?)])).collect(),
        phase: told.phase_rad,
        tan: told.tan_angle,
        valid: told.valid,
    })
}
