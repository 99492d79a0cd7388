//! Photos to measure: one scene of the demo's story, rendered once a run with a smaller or larger sensor of the same
//! view, as phones of several ages would take it. Baseline, 4:2:0: what phones write.

use std::sync::OnceLock;

use strandrule::synth::{self, Scene};

/// Sizes, millions of pixels.
pub(crate) const MEGAPIXELS: [usize; 4] = [3, 12, 24, 48];

/// A strand of the demo on a ruler, at so many megapixels.
fn scene(megapixels: f64) -> Scene {
    let mut scene = synth::story::story().swap_remove(3).scene;
    let (width, height) = (scene.camera.width_px as f64, scene.camera.height_px as f64);
    let grown = (megapixels * 1e6 / (width * height)).sqrt();
    scene.sensor.half_colour = true;
    scene.sensor.jpeg_quality = 90;
    scene.reduced((width.max(height) * grown).round() as usize)
}

/// Rendered on all cores, whatever the benches run on.
fn shoot(megapixels: f64) -> Vec<u8> {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let pool = rayon::ThreadPoolBuilder::new().num_threads(cores).build().unwrap();
    pool.install(|| synth::shoot_jpeg(&scene(megapixels))).unwrap().0
}

/// The file's bytes.
pub(crate) fn jpeg(megapixels: usize) -> &'static [u8] {
    static FILES: [OnceLock<Vec<u8>>; MEGAPIXELS.len()] = [const { OnceLock::new() }; MEGAPIXELS.len()];
    let index = MEGAPIXELS.iter().position(|m| *m == megapixels).unwrap();
    FILES[index].get_or_init(|| shoot(megapixels as f64))
}

/// A small photo, for batches.
pub(crate) fn small() -> Vec<u8> {
    shoot(1.0)
}
