//! `grade` from a folder of photos in one command: who is missing, who is who, and whose page shows what.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use crate::batch::picture;

const TARGET: &str = "title = \"Test\"\n[[criterion]]\nfigure = \"bumps_per_diameter\"\nvalue = 0.7\ntolerance = 0.2\n";

fn grade(root: &Path, more: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_strandrule")).arg("grade").args(more).current_dir(root).output().unwrap()
}

#[test]
fn a_class_is_marked_from_a_folder_in_one_command() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    for i in 0..4 {
        picture(&root.join(format!("class/p{i}.png")), i);
    }
    fs::write(root.join("class/broken.png"), b"\x89PNG\r\n\x1a\n").unwrap();
    fs::write(root.join("target.toml"), TARGET).unwrap();
    fs::write(root.join("roster.csv"), "sample,person\nFleece,Ada\nFleece,Berta\nFleece,<b>Carl</b>\n").unwrap();
    fs::write(root.join("map.csv"), "photo,sample\np0.png,Fleece / Ada\np1.png,Ada\np2.png,Berta\n").unwrap();
    let all = ["class", "--target", "target.toml", "--roster", "roster.csv", "--map", "map.csv", "--out", "marks"];
    let done = grade(root, &all);
    assert_eq!(done.status.code(), Some(5), "{}", String::from_utf8_lossy(&done.stderr));
    let told: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
    assert_eq!(told["people"], 3);
    assert_eq!(told["without_photo"], serde_json::json!(["Fleece / <b>Carl</b>"]));
    assert_eq!(told["unread"], serde_json::json!(["p3.png"]));
    assert_eq!(told["failed"], serde_json::json!(["broken.png"]));
    let sheet: Vec<csv::StringRecord> =
        csv::Reader::from_path(root.join("marks/class.csv")).unwrap().records().map(Result::unwrap).collect();
    let photos: Vec<(String, String)> = sheet.iter().map(|r| (r[1].to_owned(), r[2].to_owned())).collect();
    let expected = [("Ada", "2"), ("Berta", "1"), ("<b>Carl</b>", "0")].map(|(p, n)| (p.to_owned(), n.to_owned()));
    assert_eq!(photos, expected);
    let pages: Vec<String> = fs::read_dir(root.join("marks/people"))
        .unwrap()
        .map(|e| fs::read_to_string(e.unwrap().path()).unwrap())
        .collect();
    assert_eq!(pages.len(), 3);
    for page in &pages {
        let named = ["Ada", "Berta", "Carl"].iter().filter(|n| page.contains(*n)).count();
        assert_eq!(named, 1, "a page names one person only");
        assert!(!page.contains("<b>"));
    }
    // Again: nothing is measured twice, and every byte is the same.
    let before = fs::read(root.join("marks/class.html")).unwrap();
    grade(root, &all);
    assert_eq!(fs::read(root.join("marks/class.html")).unwrap(), before);
}

#[test]
fn a_misspelt_key_stops_before_anything_is_measured() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    picture(&root.join("class/p.png"), 1);
    fs::write(root.join("target.toml"), TARGET.replace("tolerance", "tolerence")).unwrap();
    let done = grade(root, &["class", "--target", "target.toml", "--out", "marks"]);
    assert_eq!(done.status.code(), Some(3));
    assert!(done.stdout.is_empty());
    assert!(String::from_utf8_lossy(&done.stderr).contains("did you mean \"tolerance\""));
    assert!(!root.join("marks").exists());
}

#[test]
fn every_key_is_documented_by_the_program() {
    let done = grade(Path::new("."), &["--keys"]);
    let text = String::from_utf8(done.stdout).unwrap();
    let keys = strandrule::work::grade::TARGET_KEYS.iter().chain(strandrule::work::grade::CRITERION_KEYS);
    let names: Vec<&str> = keys.map(|k| k.name).collect();
    assert!(names.len() > 10);
    for name in names {
        assert!(text.contains(&format!("  {name} ")), "{name}");
    }
}
