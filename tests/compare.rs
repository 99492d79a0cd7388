//! `compare` and `skein` on saved reports made by hand.

use std::fs;
use std::path::Path;
use std::process::Command;

/// A saved report with this diameter and its standard uncertainty, on three passes about it.
fn saved(path: &Path, diameter: f64, u: f64) {
    let quantity = |value: f64, u: f64| {
        serde_json::json!({
            "value": value, "interval95": [value - 1.96 * u, value + 1.96 * u], "method": "core-edge", "reason": null,
            "budget": [{ "source": "sampling", "standard_uncertainty": u }]
        })
    };
    let none = serde_json::json!({
        "value": null, "interval95": null, "method": null, "budget": [],
        "reason": { "code": "twist-not-visible", "message": "No lines of twist could be seen." }
    });
    let strand = |number: u32| {
        let width = diameter * (1.0 + 0.01 * f64::from(number));
        serde_json::json!({
            "number": number, "length_mm": 80.0, "left_out": [],
            "profile": {
                "at_mm": (0..160).map(|i| f64::from(i) / 2.0).collect::<Vec<_>>(),
                "width_mm": (0..160).map(|i| width + 0.02 * (f64::from(i) * 1.1).sin()).collect::<Vec<_>>(),
                "twist_angle_deg": [], "twists_per_inch": []
            }
        })
    };
    let report = serde_json::json!({
        "schema": "strandrule-report-1",
        "program": { "name": "strandrule", "version": "0.0.0" },
        "photo": { "file": "a.jpg", "width_px": 4000, "height_px": 3000, "taken_at": null },
        "scale": { "method": "ruler-card", "px_per_mm": quantity(20.0, 0.1), "tilt_deg": quantity(2.0, 0.5) },
        "sample": {
            "label": null, "strands": 3, "length_mm": quantity(240.0, 0.5), "plies": none, "twist_direction": none,
            "diameter_mm": quantity(diameter, u), "diameter_px": quantity(20.0 * diameter, 20.0 * u),
            "envelope_diameter_mm": none, "wraps_per_inch": quantity(25.4 / diameter, 0.1), "weight_categories": [],
            "twist_angle_deg": none, "twists_per_inch": none, "twists_per_metre": none, "bumps_per_inch": none,
            "bumps_per_diameter": none, "fibre_angle_deg": none,
            "evenness": {
                "diameter_cv_percent": quantity(8.0, 0.5), "between_strands_cv_percent": quantity(1.0, 0.3),
                "twist_cv_percent": none, "faults": { "searched_mm": 240.0, "list": [] }
            },
            "hairiness": none, "kinks": none
        },
        "strands": [strand(1), strand(2), strand(3)],
        "warnings": []
    });
    fs::write(path, report.to_string()).unwrap();
}

fn run(root: &Path, args: &[&str]) -> serde_json::Value {
    let out = Command::new(env!("CARGO_BIN_EXE_strandrule")).args(args).current_dir(root).output().unwrap();
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    serde_json::from_slice(&out.stdout).unwrap()
}

#[test]
fn a_real_difference_is_told_and_a_doubtful_one_is_not() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    saved(&root.join("a.json"), 2.00, 0.02);
    saved(&root.join("b.json"), 2.30, 0.02);
    saved(&root.join("c.json"), 2.02, 0.02);
    let made = run(root, &["compare", "a.json", "b.json", "c.json", "--name", "first"]);
    assert_eq!(made["samples"][0]["name"], "first");
    assert_eq!(made["samples"][1]["name"], "b");
    let verdict = |first: &str, second: &str| {
        let all = made["differences"].as_array().unwrap();
        let fits =
            |d: &&serde_json::Value| d["first"] == first && d["second"] == second && d["figure"] == "diameter_mm";
        all.iter().find(fits).unwrap()["verdict"].as_str().unwrap().to_owned()
    };
    assert_eq!(verdict("first", "b"), "different");
    assert_eq!(verdict("first", "c"), "not-told");
    assert_eq!(verdict("b", "c"), "different");
}

#[test]
fn lots_are_drawn_with_their_limits() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    let mut args: Vec<String> = ["compare", "--chart", "c.svg"].map(str::to_owned).to_vec();
    for i in 0..9 {
        let name = format!("lot{i}.json");
        saved(&root.join(&name), if i == 8 { 2.6 } else { 2.0 + 0.01 * f64::from(i % 3) }, 0.005);
        args.push(name);
    }
    run(root, &args.iter().map(String::as_str).collect::<Vec<_>>());
    let drawn = fs::read_to_string(root.join("c.svg")).unwrap();
    assert!(drawn.contains("upper limit") && drawn.contains("lot8 lies beyond the limits"), "{drawn}");
}

#[test]
fn a_skein_says_how_many_passes_are_missing() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    saved(&root.join("a.json"), 2.0, 0.002);
    let check = run(root, &["skein", "a.json", "--within", "0.5"]);
    assert_eq!((check["photos"].as_u64(), check["passes"].as_u64()), (Some(1), Some(3)));
    // Three passes 1 % apart: CV 0.98 %, 0.5 % needs (1.96 x 0.98 / 0.5)^2 = 14.8, less what the rest of the budget takes.
    let needed = check["passes_needed"].as_u64().unwrap();
    assert!((15..=16).contains(&needed), "{check}");
    assert_eq!(check["more_passes"].as_u64(), Some(needed - 3));
}

#[test]
fn wrong_use_is_told() {
    let folder = tempfile::tempdir().unwrap();
    saved(&folder.path().join("a.json"), 2.0, 0.02);
    let code = |args: &[&str]| {
        let out =
            Command::new(env!("CARGO_BIN_EXE_strandrule")).args(args).current_dir(folder.path()).output().unwrap();
        assert!(out.stdout.is_empty(), "{args:?}");
        out.status.code()
    };
    assert_eq!(code(&["compare", "a.json"]), Some(2));
    assert_eq!(code(&["compare", "a.json", "a.json", "--figure", "colour"]), Some(2));
    assert_eq!(code(&["compare", "a.json", "missing.json"]), Some(3));
    assert_eq!(code(&["skein", "a.json", "--within", "0"]), Some(2));
}

/// Source: JSON Schema draft 2020-12; an independent validator (crate `jsonschema`) reads schema and output.
#[test]
fn what_is_printed_fits_the_schema_that_is_printed() {
    let folder = tempfile::tempdir().unwrap();
    saved(&folder.path().join("a.json"), 2.0, 0.02);
    saved(&folder.path().join("b.json"), 2.3, 0.02);
    let printed = |args: &[&str]| {
        let out =
            Command::new(env!("CARGO_BIN_EXE_strandrule")).args(args).current_dir(folder.path()).output().unwrap();
        serde_json::from_slice::<serde_json::Value>(&out.stdout)
            .unwrap_or_else(|_| panic!("{args:?}: {}", String::from_utf8_lossy(&out.stderr)))
    };
    for (of, args) in [
        ("comparison", &["compare", "a.json", "b.json"][..]),
        ("skein", &["skein", "a.json", "b.json"][..]),
        ("plan", &["plan", "--plies", "1", "--tpi", "3", "--diameter", "0.8mm", "--ply", "2", "--ratio", "6"][..]),
        ("plan", &["plan", "--length", "232m", "--weight", "60g"][..]),
    ] {
        let schema = printed(&["schema", of]);
        assert!(jsonschema::meta::is_valid(&schema), "{of}");
        let validator = jsonschema::validator_for(&schema).unwrap();
        let result = printed(args);
        let faults: Vec<String> =
            validator.iter_errors(&result).map(|e| format!("{} {e}", e.instance_path())).collect();
        assert!(faults.is_empty(), "{of}: {faults:?}");
        assert!(!validator.is_valid(&serde_json::json!({ "schema": of })), "{of}: the schema asks for something");
    }
}
