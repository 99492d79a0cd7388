//! The report's shape: every report validates against the program's own schema by an independent validator, and has the
//! fixed part's names and kinds.

use serde_json::Value;
use strandrule::figures::quantity::{Component, Quantity, Sourced};
use strandrule::figures::report::Report;
use strandrule::figures::{Method, Reason};
use strandrule::measure::photo::{self, Limits};
use strandrule::measure::pipeline::{self, Params, Request};
use strandrule::show::{columns, csv, json};
use strandrule::synth;

/// Every path of the fixed part and what stands there.
const FIXED: &[(&str, Kind)] = &[
    ("schema", Kind::Text),
    ("program.version", Kind::Text),
    ("photo.file", Kind::Text),
    ("photo.width_px", Kind::Whole),
    ("photo.height_px", Kind::Whole),
    ("photo.taken_at", Kind::TextOrNull),
    ("scale.method", Kind::TextOrNull),
    ("scale.px_per_mm", Kind::Number),
    ("scale.tilt_deg", Kind::Number),
    ("sample.label", Kind::TextOrNull),
    ("sample.strands", Kind::Whole),
    ("sample.length_mm", Kind::Number),
    ("sample.plies", Kind::Word),
    ("sample.twist_direction", Kind::Word),
    ("sample.diameter_mm", Kind::Number),
    ("sample.diameter_px", Kind::Number),
    ("sample.envelope_diameter_mm", Kind::Number),
    ("sample.wraps_per_inch", Kind::Number),
    ("sample.weight_categories", Kind::List),
    ("sample.twist_angle_deg", Kind::Number),
    ("sample.twists_per_inch", Kind::Number),
    ("sample.twists_per_metre", Kind::Number),
    ("sample.bumps_per_inch", Kind::Number),
    ("sample.bumps_per_diameter", Kind::Number),
    ("sample.fibre_angle_deg", Kind::Number),
    ("sample.evenness.diameter_cv_percent", Kind::Number),
    ("sample.evenness.between_strands_cv_percent", Kind::Number),
    ("sample.evenness.twist_cv_percent", Kind::Number),
    ("sample.hairiness", Kind::Number),
    ("sample.kinks", Kind::Number),
    ("strands", Kind::List),
    ("warnings", Kind::List),
];

#[derive(Clone, Copy)]
enum Kind {
    Text,
    TextOrNull,
    Whole,
    List,
    /// A quantity with an interval.
    Number,
    /// A quantity with a probability.
    Word,
}

/// Reports of drawn photos: yarn of several kinds, a stated scale, and pictures without yarn.
fn reports() -> Vec<Report> {
    let mut reports = Vec::new();
    let mut add = |name: &str, bytes: Vec<u8>, request: &Request| {
        let photo = photo::decode(std::path::Path::new(name), bytes, &Limits::default()).expect(name);
        reports.push(pipeline::measure(&photo, request, &Params::default()).report);
    };
    let mut stated = Request { label: Some("<moss> \"2\"".to_owned()), ..Request::default() };
    stated.twist.plies = Some(2);
    for seed in 1..=4 {
        let (bytes, _) = synth::shoot_jpeg(&synth::random_scene(seed).reduced(1200)).expect("a scene");
        add("scene.jpg", bytes.clone(), &Request::default());
        add("scene.jpg", bytes, &stated);
    }
    for (width, height) in [(640, 480), (1, 1), (1, 2000), (7, 7)] {
        let mut bytes = std::io::Cursor::new(Vec::new());
        let grey = image::RgbImage::from_pixel(width, height, image::Rgb([140, 150, 160]));
        grey.write_to(&mut bytes, image::ImageFormat::Png).expect("a picture");
        add("grey.png", bytes.into_inner(), &Request::default());
    }
    reports
}

fn at<'a>(report: &'a Value, path: &str) -> Option<&'a Value> {
    path.split('.').try_fold(report, |value, key| value.get(key))
}

#[test]
fn every_report_validates_and_has_the_fixed_part() {
    let schema: Value = serde_json::from_str(&json::schema_of::<Report>()).expect("the schema is JSON");
    assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
    assert!(jsonschema::meta::is_valid(&schema), "the schema is one itself");
    let validator = jsonschema::validator_for(&schema).expect("the schema can be used");
    let reports = reports();
    let mut measured = 0;
    for report in &reports {
        let text = json::text(report).expect("a report can be written");
        let value: Value = serde_json::from_str(&text).expect("JSON");
        let faults: Vec<String> =
            validator.iter_errors(&value).map(|e| format!("{}: {e}", e.instance_path())).collect();
        assert!(faults.is_empty(), "{}", faults.join("\n"));
        for (path, kind) in FIXED {
            let found = at(&value, path).unwrap_or_else(|| panic!("{path} is missing"));
            check(path, found, *kind);
            measured += usize::from(found.get("value").is_some_and(|v| !v.is_null()));
        }
        let faults = at(&value, "sample.evenness").expect("evenness");
        assert!(faults["faults"].is_object() || faults["faults_reason"]["code"].is_string(), "{faults}");
        for strand in value["strands"].as_array().expect("a list") {
            let lengths: Vec<usize> = ["at_mm", "width_mm", "twist_angle_deg", "twists_per_inch", "x_px", "y_px"]
                .iter()
                .map(|name| strand["profile"][name].as_array().expect("a profile").len())
                .collect();
            assert!(lengths.windows(2).all(|w| w[0] == w[1]), "{lengths:?}");
        }
        let back: Report = serde_json::from_str(&text).expect("a report can be read back");
        assert_eq!(json::text(&back).expect("written"), text, "what is read back is written alike");
    }
    assert!(measured > 20, "only {measured} figures of {} reports were measured", reports.len());
    let mut broken: Value = serde_json::to_value(&reports[0]).expect("a value");
    broken["photo"]["width_px"] = Value::from("wide");
    assert!(!validator.is_valid(&broken), "the validator refuses what is wrong");
}

fn check(path: &str, found: &Value, kind: Kind) {
    match kind {
        Kind::Text => assert!(found.is_string(), "{path}: {found}"),
        Kind::TextOrNull => assert!(found.is_string() || found.is_null(), "{path}: {found}"),
        Kind::Whole => assert!(found.is_u64(), "{path}: {found}"),
        Kind::List => assert!(found.is_array(), "{path}: {found}"),
        Kind::Number => {
            let Some(value) = found["value"].as_f64() else { return unanswered(path, found) };
            let ends = found["interval95"].as_array().unwrap_or_else(|| panic!("{path}: no interval"));
            let [low, high] = [0, 1].map(|i| ends[i].as_f64().unwrap_or_else(|| panic!("{path}: {found}")));
            assert!(low <= value && value <= high, "{path}: {found}");
            assert!(found["method"].is_string() && found["reason"].is_null(), "{path}: {found}");
            for part in found["budget"].as_array().unwrap_or_else(|| panic!("{path}: no budget")) {
                assert!(part["standard_uncertainty"].as_f64().is_some_and(|u| u >= 0.0), "{path}: {part}");
            }
        }
        Kind::Word => {
            if found["value"].is_null() {
                return unanswered(path, found);
            }
            assert!(found["interval95"].is_null(), "{path}: {found}");
            assert!(found["probability"].as_f64().is_some_and(|p| (0.0..=1.0).contains(&p)), "{path}: {found}");
        }
    }
}

fn unanswered(path: &str, found: &Value) {
    assert!(found["value"].is_null() && found["interval95"].is_null() && found["method"].is_null(), "{path}: {found}");
    let (code, message) = (&found["reason"]["code"], &found["reason"]["message"]);
    assert!(code.as_str().is_some_and(|c| !c.is_empty()), "{path}: {found}");
    assert!(message.as_str().is_some_and(|m| m.ends_with('.')), "{path}: {found}");
}

#[test]
fn reasons_are_short_words_with_a_sentence_and_are_in_the_readme() {
    let readme = include_str!("../README.md");
    for reason in Reason::ALL {
        let code = reason.code();
        assert!(code.chars().all(|c| c.is_ascii_lowercase() || c == '-'), "{code}");
        let message = reason.message();
        assert!(message.ends_with('.') && message.len() > 30, "{code}: {message}");
        assert!(readme.contains(&format!("`{code}`")), "the README explains {code}");
        assert_eq!(Reason::from_written(code, &message), *reason);
    }
}

/// Source: JCGM 100:2008, 5.1.2 and table G.1: 3 and 4 in squares are 5; 1.96 of it to either side.
#[test]
fn a_quantity_is_written_as_the_contract_says() {
    let budget = vec![
        Component { source: Sourced::Scale, standard_uncertainty: 0.03 },
        Component { source: Sourced::Edge, standard_uncertainty: 0.04 },
    ];
    let value = serde_json::to_value(Quantity::from_budget(1.84, Method::CoreEdge, budget)).expect("a value");
    assert_eq!(value["value"], 1.84);
    assert_eq!(value["method"], "core-edge");
    assert_eq!(value["reason"], Value::Null);
    assert_eq!(value["budget"][0]["source"], "scale");
    let ends = [0, 1].map(|i| value["interval95"][i].as_f64().expect("an end"));
    assert!((ends[0] - 1.742).abs() < 1e-9 && (ends[1] - 1.938).abs() < 1e-9, "{ends:?}");
    let none = serde_json::to_value(Quantity::<f64>::Unanswered(Reason::TooBlurred)).expect("a value");
    assert_eq!(none["value"], Value::Null);
    assert_eq!(none["reason"]["code"], "too-blurred");
    let endless = Quantity::from_budget(f64::NAN, Method::CoreEdge, Vec::new());
    assert_eq!(endless.reason(), Some(&Reason::NotFinite));
}

#[test]
fn the_table_has_every_quantity_of_the_fixed_part_and_rows_of_one_length() {
    let quantities: Vec<&str> =
        FIXED.iter().filter(|(_, k)| matches!(k, Kind::Number | Kind::Word)).map(|(path, _)| *path).collect();
    let scale = columns::SCALE.iter().map(|c| c.path);
    let paths: Vec<&str> = scale.chain(columns::SAMPLE.iter().map(|c| c.path)).collect();
    assert_eq!(paths, quantities);
    let header = csv::header();
    let mut unique = header.clone();
    unique.sort();
    unique.dedup();
    assert_eq!(unique.len(), header.len(), "no name twice");
    let reports = reports();
    let table = csv::table(&reports).expect("a table");
    let mut reader = ::csv::Reader::from_reader(table.as_slice());
    assert_eq!(reader.headers().expect("a header").iter().collect::<Vec<_>>(), header);
    let rows: Vec<_> = reader.records().map(|r| r.expect("a row as long as the header")).collect();
    assert_eq!(rows.len(), reports.len());
}

/// Something long and narrow that may be no yarn is not headed as yarn.
#[test]
fn what_gave_no_figure_is_not_called_yarn() {
    fn unanswered(value: &mut serde_json::Value) {
        match value {
            serde_json::Value::Object(fields) if fields.contains_key("budget") => {
                let reason = serde_json::json!({ "code": "no-yarn-structure", "message": "" });
                *value = serde_json::json!({ "value": null, "interval95": null, "method": null, "reason": reason, "budget": [] });
            }
            serde_json::Value::Object(fields) => fields.values_mut().for_each(unanswered),
            _ => {}
        }
    }
    let mut report: serde_json::Value = serde_json::from_str(include_str!("fuzz/reference.json")).unwrap();
    let head = |report: &serde_json::Value| {
        let report: strandrule::figures::Report = serde_json::from_value(report.clone()).unwrap();
        strandrule::show::summary::headline(&report.sample)
    };
    for figure in ["plies", "twist_direction"] {
        unanswered(&mut report["sample"][figure]);
    }
    assert_eq!(head(&report), "yarn, twist not seen");
    unanswered(&mut report["sample"]);
    assert!(report["sample"]["strands"].as_u64() > Some(0));
    assert_eq!(head(&report), "no yarn measured");
}
