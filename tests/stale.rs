//! The output folder of a batch stands for the photos of its last run: what it wrote for others is taken away, nobody
//! else's files are, and whatever reads it reads its records.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use strandrule::synth::{Scene, Turning, YarnSpec, shoot};

use crate::batch::picture;

fn run(root: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_strandrule")).args(args).current_dir(root).output().unwrap()
}

#[track_caller]
fn batch(root: &Path, args: &[&str]) -> String {
    let output = run(root, &[&["batch"][..], args].concat());
    let err = String::from_utf8(output.stderr).unwrap();
    assert!(matches!(output.status.code(), Some(0 | 1 | 5)), "{:?}: {err}", output.status);
    err
}

fn content(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let files = walkdir::WalkDir::new(folder).into_iter().map(Result::unwrap).filter(|e| e.file_type().is_file());
    files.map(|e| (e.path().strip_prefix(folder).unwrap().to_owned(), fs::read(e.path()).unwrap())).collect()
}

#[track_caller]
fn same(a: &Path, b: &Path) {
    let (a, b) = (content(a), content(b));
    assert_eq!(a.keys().collect::<Vec<_>>(), b.keys().collect::<Vec<_>>());
    for (name, bytes) in &a {
        assert!(b[name] == *bytes, "{} differs", name.display());
    }
    assert!(a.len() > 4);
}

/// Three photos of yarn in `photos`.
fn photos() -> (tempfile::TempDir, PathBuf) {
    let keep = tempfile::tempdir().unwrap();
    let root = keep.path().to_owned();
    fs::create_dir(root.join("photos")).unwrap();
    for i in 0..3 {
        let mut yarn = YarnSpec::even(2, Turning::S, 1.2, 30.0);
        yarn.plies.iter_mut().for_each(|ply| ply.colour = [0.3, 0.1, 0.04]);
        let mut scene = Scene::plain("yarn", Some(yarn));
        // 20 px/mm, forty diameters of it.
        (scene.camera.width_px, scene.camera.height_px, scene.camera.focal_px) = (960, 400, 4000.0);
        scene.seed = i;
        scene.sensor.noise = 1.5;
        let seen = shoot(&scene).picture;
        let samples = seen.samples().as_flattened().to_vec();
        let img = image::RgbImage::from_raw(960, 400, samples).unwrap();
        img.save(root.join(format!("photos/p{i}.png"))).unwrap();
    }
    (keep, root)
}

#[test]
fn what_a_photo_that_is_gone_left_behind_is_taken_away_and_said() {
    let (_keep, root) = photos();
    batch(&root, &["photos", "--out", "out", "--group", "folder"]);
    fs::remove_file(root.join("photos/p0.png")).unwrap();
    fs::rename(root.join("photos/p1.png"), root.join("photos/renamed.png")).unwrap();
    let said = batch(&root, &["photos", "--out", "out"]);
    assert!(said.contains("taken away") && said.contains("p0.png, p1.png"), "{said}");
    batch(&root, &["photos", "--out", "fresh"]);
    same(&root.join("fresh"), &root.join("out"));
    assert!(!batch(&root, &["photos", "--out", "out"]).contains("taken away"));
    // What reads the folder sees two photos, not four.
    let passes = |place: &str| run(&root, &["skein", place]).stdout;
    assert_eq!(passes("out"), passes("fresh"));
    let pages = run(&root, &["portfolio", "out", "--out", "book"]);
    assert!(matches!(pages.status.code(), Some(0 | 1)));
    let mut made: Vec<_> = fs::read_dir(root.join("book")).unwrap().map(|e| e.unwrap().file_name()).collect();
    made.sort();
    assert_eq!(made, ["index.html", "p2.html", "renamed.html"]);
}

#[test]
fn a_photo_that_fails_now_leaves_no_older_report() {
    let (_keep, root) = photos();
    batch(&root, &["photos", "--out", "out"]);
    fs::write(root.join("photos/p0.png"), b"").unwrap();
    batch(&root, &["photos", "--out", "out"]);
    batch(&root, &["photos", "--out", "fresh"]);
    same(&root.join("fresh"), &root.join("out"));
    // Nor pictures that were not asked for again.
    batch(&root, &["photos", "--out", "out", "--no-pictures"]);
    batch(&root, &["photos", "--out", "plain", "--no-pictures"]);
    same(&root.join("plain"), &root.join("out"));
}

#[test]
fn what_others_put_into_the_folder_stays() {
    let (_keep, root) = photos();
    batch(&root, &["photos", "--out", "out", "--group", "folder"]);
    let id = fs::read_dir(root.join("out/reports")).unwrap().next().unwrap().unwrap().file_name();
    let edited = root.join("out/reports").join(&id);
    let mine = ["samples/mine.json", "reports/mine.json", "records/mine.json", "overlays/mine.png", "looks/mine.txt"];
    for name in mine {
        fs::write(root.join("out").join(name), b"{\"mine\": 1}").unwrap();
    }
    // Somebody worked on this one: it is no longer what the batch wrote.
    fs::write(&edited, b"{\"edited\": 1}").unwrap();
    fs::remove_dir_all(root.join("photos")).unwrap();
    picture(&root.join("photos/other.png"), 9);
    let said = batch(&root, &["photos", "--out", "out"]);
    assert!(said.contains("p0.png, p1.png, p2.png"), "{said}");
    for name in mine {
        assert_eq!(fs::read(root.join("out").join(name)).unwrap(), b"{\"mine\": 1}", "{name}");
    }
    assert_eq!(fs::read(&edited).unwrap(), b"{\"edited\": 1}");
    assert_eq!(fs::read_dir(root.join("out/reports")).unwrap().count(), 3);
    // And none of them is read.
    let whole = run(&root, &["skein", "out/reports"]).stdout;
    assert!(!whole.is_empty());
    assert_eq!(whole, run(&root, &["skein", "out"]).stdout);
}

/// A record that says that somebody's file is its picture is not believed.
#[test]
fn a_record_cannot_name_files_outside() {
    let (_keep, root) = photos();
    fs::write(root.join("precious.txt"), b"12345").unwrap();
    batch(&root, &["photos", "--out", "out"]);
    for record in fs::read_dir(root.join("out/records")).unwrap() {
        let record = record.unwrap().path();
        let mut value: serde_json::Value = serde_json::from_slice(&fs::read(&record).unwrap()).unwrap();
        value["pictures"] = serde_json::json!([["../precious.txt", 5], ["overlays/../../precious.txt", 5]]);
        fs::write(&record, value.to_string()).unwrap();
    }
    fs::remove_dir_all(root.join("photos")).unwrap();
    picture(&root.join("photos/other.png"), 9);
    batch(&root, &["photos", "--out", "out"]);
    assert_eq!(fs::read(root.join("precious.txt")).unwrap(), b"12345");
}

#[test]
fn a_folder_may_hold_its_own_photos() {
    let (_keep, root) = photos();
    picture(&root.join("photos/samples/fleece.png"), 5);
    picture(&root.join("photos/overlays/of-the-loom.png"), 6);
    let names = ["overlays/of-the-loom.png", "p0.png", "p1.png", "p2.png", "samples/fleece.png"];
    let listed = || {
        let mut table = csv::Reader::from_path(root.join("photos/photos.csv")).unwrap();
        table.records().map(|r| r.unwrap()[0].to_owned()).collect::<Vec<_>>()
    };
    for again in 0..3 {
        let said = batch(&root, &["photos", "--out", "photos"]);
        assert_eq!(listed(), names, "run {again}");
        assert!(again == 0 || said.contains("5 unchanged"), "{said}");
    }
    // From above, the batch's own pictures are no photos either.
    fs::create_dir(root.join("above")).unwrap();
    fs::rename(root.join("photos"), root.join("above/photos")).unwrap();
    let told: serde_json::Value =
        serde_json::from_slice(&run(&root, &["batch", "above", "--out", "o"]).stdout).unwrap();
    assert_eq!(told["photos"], 5);
}

#[test]
fn tables_that_no_batch_wrote_are_not_replaced() {
    let (_keep, root) = photos();
    for table in ["photos.csv", "photos.jsonl", "samples.csv"] {
        fs::write(root.join("photos").join(table), b"mine").unwrap();
        let output = run(&root, &["batch", "photos", "--out", "photos"]);
        assert_eq!(output.status.code(), Some(2));
        assert!(String::from_utf8_lossy(&output.stderr).contains(table));
        assert_eq!(fs::read(root.join("photos").join(table)).unwrap(), b"mine");
        assert!(!root.join("photos/records").exists());
        fs::remove_file(root.join("photos").join(table)).unwrap();
    }
}

/// Every kind of file of a batch damaged in every way: who reads the folder reads all of it or says which file is wrong,
/// and the next batch makes it whole.
#[test]
fn damaged_folders_are_told_and_mended() {
    let (_keep, root) = photos();
    batch(&root, &["photos", "--out", "whole", "--group", "folder"]);
    let whole = run(&root, &["skein", "whole"]);
    let first = |folder: &str, ending: &str| {
        let mut names: Vec<_> = fs::read_dir(root.join("whole").join(folder))
            .unwrap()
            .map(|e| e.unwrap().file_name().to_str().unwrap().to_owned())
            .filter(|name| name.ends_with(ending))
            .collect();
        names.sort();
        (format!("{folder}/{}", names[0]), names.get(1).map(|name| format!("{folder}/{name}")))
    };
    let mut files = vec![
        first("records", ".json"),
        first("reports", ".json"),
        first("overlays", ".png"),
        ("photos.csv".to_owned(), None),
        ("photos.jsonl".to_owned(), None),
        ("samples.csv".to_owned(), None),
    ];
    if fs::read_dir(root.join("whole/looks")).unwrap().next().is_some() {
        files.extend([first("looks", ".json"), first("looks", "-strand.png")]);
    }
    type Damage = fn(&[u8]) -> Option<Vec<u8>>;
    let damages: [(&str, Damage); 8] = [
        ("removed", |_| None),
        ("empty", |_| Some(Vec::new())),
        ("half", |b| Some(b[..b.len() / 2].to_vec())),
        ("cut at its end", |b| Some(b[..b.len() - 3].to_vec())),
        ("longer", |b| Some([b, b"]"].concat())),
        ("other JSON", |_| Some(b"{\"a\": [1e308, null]}".to_vec())),
        ("no text", |_| Some(vec![0xff; 300])),
        ("deep", |_| Some(vec![b'['; 200_000])),
    ];
    let mut tried = 0;
    for (file, other) in &files {
        let bytes = fs::read(root.join("whole").join(file)).unwrap();
        let swapped = other.as_ref().map(|other| Some(fs::read(root.join("whole").join(other)).unwrap()));
        let all = damages.iter().map(|(name, damage)| (*name, damage(&bytes))).chain(swapped.map(|b| ("swapped", b)));
        for (name, damaged) in all {
            tried += 1;
            let _ = fs::remove_dir_all(root.join("out"));
            for (path, bytes) in content(&root.join("whole")) {
                let to = root.join("out").join(path);
                fs::create_dir_all(to.parent().unwrap()).unwrap();
                fs::write(to, bytes).unwrap();
            }
            let at = root.join("out").join(file);
            match damaged {
                Some(bytes) => fs::write(&at, bytes).unwrap(),
                None => fs::remove_file(&at).unwrap(),
            }
            let read = run(&root, &["skein", "out"]);
            let err = String::from_utf8_lossy(&read.stderr).into_owned();
            assert!(!err.contains("panicked"), "{file} {name}: {err}");
            // A record that is gone is a photo that was not measured: nothing tells it from one that was never there.
            let gone = name == "removed" && file.starts_with("records/");
            match read.status.code() {
                Some(3) => assert!(err.contains(file.rsplit('/').next().unwrap()), "{file} {name}: {err}"),
                code => assert!(gone || (code, &read.stdout) == (whole.status.code(), &whole.stdout), "{file} {name}"),
            }
            let pages = run(&root, &["portfolio", "out", "--out", "book"]);
            assert!(matches!(pages.status.code(), Some(0 | 1 | 3)), "{file} {name}: {:?}", pages.status);
            batch(&root, &["photos", "--out", "out", "--group", "folder"]);
            same(&root.join("whole"), &root.join("out"));
        }
    }
    assert!(tried >= 50, "{tried} folders");
}
