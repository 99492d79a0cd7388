//! The reduced photo and its truth at half its size, for the scout.

use std::path::Path;

use strandrule::base::raster::Raster;
use strandrule::measure::seen::scout::reduced;

use super::scene::Scene;

/// Writes NAME.scout.png, NAME.scout-truth.png (body, kind x 60, 32 log2 of the width in pixels of the scout's picture) and
/// NAME.scout-way.png (cosine and sine of twice the strand's angle, 128 + 127 x; hairs).
pub fn write(scene: &Scene, stem: &Path) -> Result<(), String> {
    let small = reduced(&scene.photo);
    let block = 2 * small.factor;
    let (width, height) = (small.rgb.width() / 2, small.rgb.height() / 2);
    let mut truth = Raster::filled(width, height, [0u8; 3]);
    let mut way = Raster::filled(width, height, [128u8, 128, 0]);
    for y in 0..height {
        for x in 0..width {
            let (mut body, mut hair, mut kinds) = (0u32, 0u32, [0u32; 4]);
            for row in y * block..(y + 1) * block {
                let from = x * block;
                for label in &scene.labels.row(row)[from..from + block] {
                    body += u32::from(label[0]);
                    hair += u32::from(label[1]);
                }
                for kind in &scene.kinds.row(row)[from..from + block] {
                    kinds[usize::from(*kind).min(3)] += 1;
                }
            }
            let area = (block * block) as u32;
            let kind = (0..4).max_by_key(|k| kinds[*k]).unwrap_or(0) as u8;
            truth.set(x, y, [(body / area) as u8, kind * 60, 0]);
            way.set(x, y, [128, 128, (hair / area) as u8]);
        }
    }
    for strand in &scene.strands {
        for i in 1..strand.centre.len().saturating_sub(1) {
            let Some([a, b]) = strand.edges[i] else { continue };
            let Some(tangent) = (strand.centre[i + 1] - strand.centre[i - 1]).unit() else { continue };
            let (cos, sin) = (tangent.x * tangent.x - tangent.y * tangent.y, 2.0 * tangent.x * tangent.y);
            let code = |v: f64| (128.0 + 127.0 * v).round().clamp(1.0, 255.0) as u8;
            let px = (a.distance(b) / small.factor as f64).max(1.05);
            let wide = (32.0 * px.log2()).round().clamp(1.0, 255.0) as u8;
            let across = (a.distance(b) / (0.5 * block as f64)).ceil().max(1.0) as usize;
            for k in 0..=across {
                let p = a.lerp(b, k as f64 / across as f64);
                let cell = |v: f64| ((v + 0.5) / block as f64).floor();
                let (x, y) = (cell(p.x), cell(p.y));
                if x < 0.0 || y < 0.0 {
                    continue;
                }
                let (x, y) = (x as usize, y as usize);
                if let (Some(t), Some(w)) = (truth.get(x, y), way.get(x, y)) {
                    truth.set(x, y, [t[0], t[1], wide]);
                    way.set(x, y, [code(cos), code(sin), w[2]]);
                }
            }
        }
    }
    super::png(&small.rgb, &stem.with_extension("scout.png"))?;
    super::png(&truth, &stem.with_extension("scout-truth.png"))?;
    super::png(&way, &stem.with_extension("scout-way.png"))
}
