//! `plan` on the command line. Numbers: wheel arithmetic on teachers' pages (ratio 6, one treadle, 2 inches: 3 turns an
//! inch), ASTM D2260 factors.

use assert_cmd::Command;

fn strandrule(args: &[&str]) -> std::process::Output {
    Command::cargo_bin("strandrule").unwrap().args(args).output().unwrap()
}

#[test]
fn a_plan_without_a_photo_names_the_ratio() {
    let out = strandrule(&["plan", "--plies", "1", "--tpi", "3", "--treadles", "1", "--draft", "2in"]);
    assert_eq!(out.status.code(), Some(0));
    let plan: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(plan["schema"], "strandrule-plan-1");
    assert_eq!(plan["steps"][0]["wheel"][0]["ratio"], 6.0);
    assert_eq!(plan["steps"][0]["wheel"][0]["ratio_class"], "moderate");
}

#[test]
fn lengths_and_weights_take_their_units() {
    let number = |args: &[&str]| {
        let out = strandrule(args);
        let plan: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
        let numbers = plan["numbers"].as_array().unwrap().clone();
        numbers.iter().find(|n| n["system"] == "tex").unwrap()["number"].as_f64().unwrap()
    };
    let metric = number(&["plan", "--length", "232.2576m", "--weight", "60.2427368g"]);
    let imperial = number(&["plan", "--length", "254yd", "--weight", "2.125oz"]);
    assert!((metric - 259.38).abs() < 0.01, "{metric}");
    assert!((imperial - metric).abs() < 1e-3, "{imperial}");
}

#[test]
fn the_summary_is_in_plain_words() {
    let out = strandrule(&[
        "plan",
        "--summary",
        "--plies",
        "1",
        "--tpi",
        "9",
        "--diameter",
        "0.8mm",
        "--direction",
        "Z",
        "--ply",
        "2",
    ]);
    let words = String::from_utf8(out.stdout).unwrap();
    assert!(words.starts_with("Ply S with 4.5 to 6.0 turns an inch"), "{words}");
}

#[test]
fn wrong_use_prints_nothing_on_stdout() {
    for args in [
        &["plan", "--plies", "1"][..],
        &["plan", "--plies", "1", "--tpi", "-3"],
        &["plan", "--plies", "1", "--tpi", "3", "--draft", "3ells"],
        &["plan", "--length", "20m"],
        &["plan", "--plies", "2", "--tpi", "3", "--ply", "2"],
    ] {
        let out = strandrule(args);
        assert_eq!(out.status.code(), Some(2), "{args:?}");
        assert!(out.stdout.is_empty(), "{args:?}");
        assert!(!out.stderr.is_empty(), "{args:?}");
    }
    let missing = strandrule(&["plan", "no-such-report.json"]);
    assert_eq!(missing.status.code(), Some(3));
    assert!(missing.stdout.is_empty());
}
