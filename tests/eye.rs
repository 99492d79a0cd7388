//! The learned eye: its weights are those of the manifest, its figures those of another runtime, and what it finds is yarn.

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;
use sha2::{Digest, Sha256};
use strandrule::base::geometry::Point;
use strandrule::base::line::Step;
use strandrule::base::raster::Raster;
use strandrule::measure::photo::{Limits, decode};
use strandrule::measure::pipeline::{Params, Request, measure};
use strandrule::measure::seen::look::Look;
use strandrule::measure::seen::scout::Map;
use strandrule::measure::seen::strip::{EyeStrip, ROWS};
use strandrule::synth;

fn weights() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src/measure/seen/weights")
}

fn json(path: &Path) -> Value {
    serde_json::from_str(&fs::read_to_string(path).expect("the file can be read")).expect("it is JSON")
}

/// A change of the weights without a new manifest, and more than 2 MB of them, fail here.
#[test]
fn the_weights_are_those_of_the_manifest() {
    let manifest = json(&weights().join("manifest.json"));
    let mut bytes = 0;
    for net in ["strip", "scout", "digits"] {
        let onnx = fs::read(weights().join(format!("{net}.onnx"))).expect("the weights can be read");
        let hash: String = Sha256::digest(&onnx).iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(manifest["nets"][net]["sha256"].as_str(), Some(hash.as_str()), "{net}");
        bytes += onnx.len();
    }
    assert!(bytes <= 2_000_000, "{bytes} bytes of weights");
}

fn code(value: f64) -> u8 {
    // As NumPy rounds: halves to even.
    value.round_ties_even() as u8
}

/// Tolerance: both runtimes sum in single precision, in other orders; a thousandth is a hundred times what they differ by.
const TOLERANCE: f64 = 1e-3;

/// Source: onnxruntime 1.32 on the same graphs and pictures (`fixtures/eye`).
#[test]
fn both_nets_say_what_another_runtime_says() {
    let expected = json(&Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/eye/onnxruntime.json"));
    let columns = 96;
    let mut rgb = Raster::filled(columns, ROWS, [0u8; 3]);
    for y in 0..ROWS {
        for x in 0..columns {
            let (u, v) = (x as f64, y as f64);
            let fall = (-((v - 31.5) / 14.0).powi(2)).exp();
            let at = |c: f64| {
                128.0 + 90.0 * (0.21 * u + 0.5 * (0.11 * v).cos() + c).sin() * fall + 20.0 * (0.07 * u - 0.13 * v).cos()
            };
            rgb.set(x, y, [0.0, 1.0, 2.0].map(|c| code(at(c))));
        }
    }
    let steps = vec![Step { centre: Point::new(0.0, 0.0), normal: Point::new(0.0, 1.0) }; columns];
    let look = Look::at(&EyeStrip { rgb, steps, step_px: 1.0 }).expect("the net runs");
    let of = &expected["strip"];
    for cell in of["own"].as_array().expect("a list") {
        let [row, column] = [0, 1].map(|k| cell[k].as_u64().expect("a place") as usize);
        approx::assert_abs_diff_eq!(
            f64::from(look.cover.row(row)[column].own),
            cell[2].as_f64().expect("a share"),
            epsilon = TOLERANCE
        );
    }
    let mean = |value: &dyn Fn(usize) -> f32| {
        (0..look.glances.len()).map(|i| f64::from(value(i))).sum::<f64>() / look.glances.len() as f64
    };
    for k in 0..4 {
        let said = of["plies"][k].as_f64().expect("a logit");
        approx::assert_abs_diff_eq!(mean(&|i| look.glances[i].plies[k]), said, epsilon = 10.0 * TOLERANCE);
    }
    let (z, yarn) = (of["z_over_s"].as_f64().expect("odds"), of["yarn"].as_f64().expect("odds"));
    approx::assert_abs_diff_eq!(mean(&|i| look.glances[i].z_over_s), z, epsilon = 10.0 * TOLERANCE);
    approx::assert_abs_diff_eq!(mean(&|i| look.glances[i].yarn), yarn, epsilon = 10.0 * TOLERANCE);

    let (width, height) = (128, 96);
    let mut picture = Raster::filled(width, height, [0u8; 3]);
    for y in 0..height {
        for x in 0..width {
            let (u, v) = (x as f64, y as f64);
            let fall = (-((v - 48.0 - 6.0 * (u / 30.0).sin()) / 5.0).powi(2)).exp();
            let at = |c: f64| 120.0 + 80.0 * fall * (0.9 * u + c).sin() + 10.0 * (0.3 * u + 0.2 * v).cos();
            picture.set(x, y, [0.0, 1.0, 2.0].map(|c| code(at(c))));
        }
    }
    let map = Map::of(&picture).expect("the net runs");
    let compare = |list: &Value, value: &dyn Fn(usize, usize) -> f32| {
        for cell in list.as_array().expect("a list") {
            let [x, y] = [0, 1].map(|k| cell[k].as_u64().expect("a place") as usize);
            approx::assert_abs_diff_eq!(
                f64::from(value(x, y)),
                cell[2].as_f64().expect("a number"),
                epsilon = 10.0 * TOLERANCE
            );
        }
    };
    compare(&expected["scout"]["body"], &|x, y| map.cells.row(y)[x].body);
    compare(&expected["scout"]["width"], &|x, y| map.cells.row(y)[x].width);
}

/// A strand on the table beside a ruler is found and measured, the ruler is not. Truth: what the scene asks for.
#[test]
fn a_strand_beside_a_ruler_is_found() {
    let chapter = synth::story::story().into_iter().find(|c| c.scene.name == "09-beside-a-ruler").expect("it is told");
    let (yarn, _) = chapter.scene.yarn.clone().expect("there is yarn");
    let (bytes, _) = synth::shoot_jpeg(&chapter.scene.reduced(2400)).expect("it can be drawn");
    let photo = decode("beside.jpg".as_ref(), bytes, &Limits::default()).expect("it can be read");
    let sample = measure(&photo, &Request::default(), &Params::default()).report.sample;
    assert_eq!(sample.plies.value().copied(), u32::try_from(yarn.plies.len()).ok());
    assert_eq!(sample.twist_direction.value().map(|d| format!("{d:?}")), Some(yarn.turning.letter().to_owned()));
    let [low, high] = sample.diameter_mm.interval95().expect("a width");
    assert!((low..=high).contains(&yarn.diameter_mm), "{low} to {high} for {}", yarn.diameter_mm);
}
