//! Numerics against a general reference library: NumPy and SciPy values, stored with the script that made them in
//! fixtures/reference. Tolerance: the rounding of double precision, and of single precision for rasters.

use serde_json::Value;
use strandrule::base::raster::Raster;
use strandrule::base::stats;

fn stored() -> Value {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/reference/statistics.json");
    serde_json::from_str(&std::fs::read_to_string(path).expect("fixture")).expect("JSON")
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("list").iter().map(|v| v.as_f64().expect("number")).collect()
}

#[test]
fn statistics_agree_with_numpy_and_scipy() {
    let stored = stored();
    let values = numbers(&stored["values"]);
    let expect = |name: &str| stored[name].as_f64().expect("number");
    approx::assert_relative_eq!(stats::mean(&values).unwrap(), expect("mean"), max_relative = 1e-12);
    approx::assert_relative_eq!(
        stats::standard_deviation(&values).unwrap(),
        expect("standard_deviation"),
        max_relative = 1e-12
    );
    // SciPy scales by 0.67449, the quantile itself; ours by 1.4826, four digits.
    approx::assert_relative_eq!(
        stats::robust_deviation(&values).unwrap(),
        expect("robust_deviation"),
        max_relative = 1e-5
    );
    let quantiles = stored["quantiles"].as_array().expect("list");
    assert_eq!(quantiles.len(), 7);
    for pair in quantiles {
        let pair = numbers(pair);
        approx::assert_relative_eq!(stats::quantile(&values, pair[0]).unwrap(), pair[1], max_relative = 1e-12);
    }
}

#[test]
fn bilinear_samples_agree_with_scipy() {
    let stored = stored();
    let rows: Vec<Vec<f64>> = stored["raster"].as_array().expect("rows").iter().map(numbers).collect();
    let samples = rows.iter().flatten().map(|v| *v as f32).collect();
    let raster = Raster::from_samples(5, 4, samples).expect("4 x 5");
    let points = stored["bilinear"].as_array().expect("list");
    assert_eq!(points.len(), 7);
    for point in points {
        let p = numbers(point);
        approx::assert_relative_eq!(f64::from(raster.bilinear(p[0], p[1])), p[2], epsilon = 1e-5);
    }
}
