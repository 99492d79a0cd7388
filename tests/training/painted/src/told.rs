//! Labels as files.

use std::io;

use image::ImageEncoder;
use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use serde_json::{Value, json};
use strandrule::synth::{Labelled, Scene, StationLabel, StrandLabel};

/// What painted it, and the version of its pictures.
pub const PAINTER: &str = "painted-1";

/// A PNG; labels are flat, so that the fastest compression is nearly the best.
pub fn png(width: usize, height: usize, bytes: &[u8], colour: image::ExtendedColorType) -> io::Result<Vec<u8>> {
    let mut out = Vec::new();
    PngEncoder::new_with_quality(&mut out, CompressionType::Fast, FilterType::Up)
        .write_image(bytes, width as u32, height as u32, colour)
        .map_err(io::Error::other)?;
    Ok(out)
}

/// The scene's truth.
pub fn json(seed: u64, scene: &Scene, shot: &Labelled) -> Value {
    json!({
        "painter": PAINTER,
        "seed": seed,
        "kind": scene.kind,
        "width": shot.labels.width(),
        "height": shot.labels.height(),
        "strands": shot.strands.iter().map(strand).collect::<Vec<_>>(),
        "rulers": shot.rulers.iter().map(|r| json!({
            "corners_px": r.corners.map(point),
            "unit": r.unit,
            "px_per_mm_centre": r.px_per_mm,
            "thickness_mm": r.thickness_mm,
        })).collect::<Vec<_>>(),
    })
}

fn strand(strand: &StrandLabel) -> Value {
    let list = |of: &dyn Fn(&StationLabel) -> Value| Value::Array(strand.stations.iter().map(of).collect());
    json!({
        "plies": strand.plies,
        "direction": strand.turning.letter(),
        "arrangement": strand.arrangement.word(),
        "centre": list(&|s| json!(point(s.centre))),
        "edge_a": list(&|s| json!(s.edges[0].map(point))),
        "edge_b": list(&|s| json!(s.edges[1].map(point))),
        "phase_rad": list(&|s| json!(rounded(s.phase_rad, 1e4))),
        "tan_angle": list(&|s| json!(rounded(s.tan_angle, 1e5))),
        "valid": list(&|s| json!(s.valid)),
    })
}

/// Thousandths of a pixel: far finer than any label.
fn point(p: [f64; 2]) -> [f64; 2] {
    p.map(|v| rounded(v, 1e3))
}

fn rounded(v: f64, per: f64) -> f64 {
    (v * per).round() / per
}
