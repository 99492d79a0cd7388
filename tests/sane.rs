//! Saved reports and targets with one number made absurd: refused with the file and the field, or harmless in everything
//! that is worked out from them.

use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::{Value, json};
use strandrule::work::saved::{self, SavedError};

const REFERENCE: &str = include_str!("fuzz/reference.json");

/// Pointers (RFC 6901) to every number below `value`.
fn numbers(value: &Value, at: &str, found: &mut Vec<String>) {
    match value {
        Value::Number(_) => found.push(at.to_owned()),
        Value::Array(items) => {
            items.iter().enumerate().for_each(|(i, item)| numbers(item, &format!("{at}/{i}"), found));
        }
        Value::Object(fields) => fields.iter().for_each(|(name, item)| numbers(item, &format!("{at}/{name}"), found)),
        _ => {}
    }
}

/// Figures as a hand or another program may leave them, whole in themselves.
#[test]
fn a_diameter_that_cannot_be_is_named() {
    for (x, low, high) in
        [(-5.0, -6.0, -4.0), (0.0, 0.0, 0.0), (1e308, 1e307, 1.1e308), (2e6, 1e6, 3e6), (2.0, -1e8, 4.0)]
    {
        let mut report: Value = serde_json::from_str(REFERENCE).unwrap();
        report["sample"]["diameter_mm"]["value"] = json!(x);
        report["sample"]["diameter_mm"]["interval95"] = json!([low, high]);
        let error = saved::reports_of(Path::new("mine.json"), &report.to_string()).unwrap_err();
        assert!(matches!(error, SavedError::Wrong { .. }), "{error}");
        let said = error.to_string();
        assert!(said.contains("mine.json") && said.contains("sample.diameter_mm"), "{said}");
    }
    let mut report: Value = serde_json::from_str(REFERENCE).unwrap();
    report["sample"]["diameter_mm"]["interval95"] = Value::Null;
    let error = saved::reports_of(Path::new("mine.json"), &report.to_string()).unwrap_err();
    assert!(error.to_string().contains("sample.diameter_mm has a value and no interval"), "{error}");
}

#[test]
fn one_absurd_number_is_refused_or_harmless() {
    let report: Value = serde_json::from_str(REFERENCE).unwrap();
    let mut places = Vec::new();
    numbers(&report, "", &mut places);
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    fs::write(at("reference.json"), REFERENCE).unwrap();
    let (mut refused, mut harmless) = (0, 0);
    for (i, place) in places.iter().enumerate() {
        for (k, absurd) in [json!(-5), json!(0), json!(1e308), json!(-1e308), json!(1e-308)].into_iter().enumerate() {
            let mut changed = report.clone();
            *changed.pointer_mut(place).unwrap() = absurd;
            let text = changed.to_string();
            match saved::reports_of(Path::new("mine.json"), &text) {
                Err(error) => {
                    refused += 1;
                    assert!(matches!(error, SavedError::Wrong { .. }), "{place}: {error}");
                    assert!(error.to_string().starts_with("mine.json: "), "{place}: {error}");
                }
                Ok(_) => {
                    harmless += 1;
                    // Through the program, a few of them: it takes long.
                    if (i + k) % 11 != 0 {
                        continue;
                    }
                    fs::write(at("mine.json"), text).unwrap();
                    for args in [
                        &["compare", "mine.json", "reference.json", "--chart", "c.svg"][..],
                        &["compare", "mine.json", "reference.json", "--summary"],
                        &["skein", "mine.json", "reference.json", "--summary"],
                        &["plan", "mine.json", "--ply", "2", "--ratio", "7", "--summary"],
                    ] {
                        let output = Command::new(env!("CARGO_BIN_EXE_strandrule"))
                            .args(args)
                            .current_dir(folder.path())
                            .output()
                            .unwrap();
                        let err = String::from_utf8_lossy(&output.stderr).into_owned();
                        assert!(matches!(output.status.code(), Some(0..=3)), "{place} {args:?}: {err}");
                        let said = String::from_utf8(output.stdout).unwrap();
                        let odd = said.split(|c: char| !c.is_alphanumeric()).any(|w| matches!(w, "inf" | "NaN"));
                        assert!(!odd, "{place} {args:?}: {said}");
                    }
                }
            }
        }
    }
    assert!(refused + harmless >= 200, "{refused} refused, {harmless} harmless");
    assert!(refused > harmless / 2, "{refused} refused, {harmless} harmless");
    eprintln!("{refused} refused, {harmless} harmless");
}

/// A folder may hold other JSON; a report with something wrong is not passed over with it.
#[test]
fn a_wrong_report_in_a_folder_is_not_passed_over() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("a.json"), REFERENCE).unwrap();
    fs::write(folder.path().join("other.json"), "{\"name\": \"mine\"}").unwrap();
    assert_eq!(saved::read_reports(folder.path()).unwrap().len(), 1);
    let mut report: Value = serde_json::from_str(REFERENCE).unwrap();
    report["sample"]["twist_angle_deg"] = json!({ "value": 9 });
    fs::write(folder.path().join("b.json"), report.to_string()).unwrap();
    let error = saved::read_reports(folder.path()).unwrap_err();
    assert!(matches!(error, SavedError::Wrong { .. }) && error.to_string().contains("b.json"), "{error}");
}

/// Every kind of input that is wrong ends with 3, its name said, and nothing on standard output.
#[test]
fn every_wrong_input_exits_with_3() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    crate::batch::picture(&root.join("class/p.png"), 1);
    let put = |name: &str, text: &str| fs::write(root.join(name), text).unwrap();
    put("good.toml", "[[criterion]]\nfigure = \"diameter_mm\"\nvalue = 1\ntolerance = 1\n");
    put("r.json", REFERENCE);
    put("broken.json", "{\"schema\": \"strandrule-report-1\"}");
    put("twice.csv", "sample,sample,person\nA,B,C\n");
    put("columns.csv", "photo,sample,Photo\nA,B,C\n");
    put("absurd.toml", "[[criterion]]\nfigure = \"diameter_mm\"\nvalue = -5\ntolerance = 1\n");
    put("huge.toml", "[[criterion]]\nfigure = \"diameter_mm\"\nvalue = 1\ntolerance = 1\nweight = 1e308\n");
    put("plies.toml", "[[criterion]]\nfigure = \"plies\"\nvalue = 40\n");
    put("bad.toml", "unit = 7\n");
    put("text.png", "no picture");
    let grade = |target: &'static str| ["grade", "class", "--target", target, "--out", "m"];
    let cases: Vec<(&str, Vec<&str>)> = vec![
        ("text.png", vec!["measure", "text.png"]),
        ("none.png", vec!["measure", "none.png"]),
        ("broken.json", vec!["skein", "broken.json"]),
        ("broken.json", vec!["compare", "broken.json", "r.json"]),
        ("broken.json", vec!["plan", "broken.json"]),
        ("none.json", vec!["plan", "none.json"]),
        ("twice.csv", vec!["card", "--roster", "twice.csv", "--out", "c.pdf"]),
        ("none.csv", vec!["card", "--roster", "none.csv", "--out", "c.pdf"]),
        ("columns.csv", vec!["batch", "class", "--map", "columns.csv", "--out", "o"]),
        ("none.txt", vec!["batch", "--list", "none.txt", "--out", "o"]),
        ("none", vec!["portfolio", "class", "--notes", "none", "--out", "o"]),
        ("absurd.toml", grade("absurd.toml").to_vec()),
        ("huge.toml", grade("huge.toml").to_vec()),
        ("plies.toml", grade("plies.toml").to_vec()),
        ("none.toml", grade("none.toml").to_vec()),
        ("twice.csv", [&grade("good.toml")[..], &["--roster", "twice.csv"]].concat()),
        ("columns.csv", [&grade("good.toml")[..], &["--map", "columns.csv"]].concat()),
        ("bad.toml", vec!["measure", "class/p.png"]),
        ("bad.toml", vec!["config"]),
    ];
    for (file, args) in cases {
        let mut command = Command::new(env!("CARGO_BIN_EXE_strandrule"));
        let habits = if file == "bad.toml" { file } else { "none" };
        let output = command.args(&args).current_dir(root).env("STRANDRULE_CONFIG", habits).output().unwrap();
        let err = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(3), "{args:?}: {err}");
        assert!(output.stdout.is_empty() && err.contains(file), "{args:?}: {err}");
    }
    for made in ["c.pdf", "o", "m"] {
        assert!(!root.join(made).exists(), "{made}");
    }
}
