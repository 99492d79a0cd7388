//! `batch` on small pictures of its own making: what counts here is files, not figures.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

/// A light card with a dark, wavy strand; different for every `seed`.
pub(crate) fn picture(path: &Path, seed: u32) {
    let (width, height) = (320u32, 200u32);
    let img = image::RgbImage::from_fn(width, height, |x, y| {
        let middle = 100.0 + 20.0 * (f64::from(x + 13 * seed) / 60.0).sin();
        let noise = (x.wrapping_mul(7919) ^ y.wrapping_mul(104_729) ^ seed.wrapping_mul(31)) % 7;
        let dark = (f64::from(y) - middle).abs() < 12.0 + 2.0 * (f64::from(x) * 0.8).sin();
        let level = u8::try_from(if dark { 60 + noise } else { 220 + noise }).unwrap();
        image::Rgb([level, level, level])
    });
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    img.save(path).unwrap();
}

struct Folder {
    _keep: tempfile::TempDir,
    root: PathBuf,
}

fn photos(n: u32) -> Folder {
    let keep = tempfile::tempdir().unwrap();
    let root = keep.path().to_owned();
    for i in 0..n {
        picture(&root.join(format!("photos/{}/p{i:02}.png", if i % 2 == 0 { "even" } else { "odd" })), i);
    }
    Folder { _keep: keep, root }
}

/// A batch that draws pictures too, which takes most of its time.
fn batch_with_pictures(root: &Path, out: &str, more: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_strandrule"));
    command.arg("batch").arg("photos").args(["--out", out]).args(more).current_dir(root);
    command
}

fn batch(root: &Path, out: &str, more: &[&str]) -> Command {
    let mut command = batch_with_pictures(root, out, more);
    command.arg("--no-pictures");
    command
}

/// Every file below a folder with its content.
fn content(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    walkdir::WalkDir::new(folder)
        .into_iter()
        .map(Result::unwrap)
        .filter(|e| e.file_type().is_file())
        .map(|e| {
            let name = e.path().strip_prefix(folder).unwrap().to_string_lossy().into_owned();
            (name, fs::read(e.path()).unwrap())
        })
        .collect()
}

#[track_caller]
fn same(a: &Path, b: &Path) {
    let (a, b) = (content(a), content(b));
    assert_eq!(a.keys().collect::<Vec<_>>(), b.keys().collect::<Vec<_>>());
    for (name, bytes) in &a {
        assert!(b[name] == *bytes, "{name} differs");
    }
    assert!(a.len() > 4, "only {} files were compared", a.len());
}

#[test]
fn the_number_of_threads_changes_no_byte() {
    let folder = photos(4);
    for threads in ["1", "2", "8"] {
        let all = ["--threads", threads, "--group", "folder"];
        batch_with_pictures(&folder.root, threads, &all).output().unwrap();
    }
    same(&folder.root.join("1"), &folder.root.join("2"));
    same(&folder.root.join("1"), &folder.root.join("8"));
    let table = fs::read_to_string(folder.root.join("1/photos.csv")).unwrap();
    assert_eq!(table.lines().count(), 5);
    let lines = fs::read_to_string(folder.root.join("1/photos.jsonl")).unwrap();
    assert_eq!(lines.lines().count(), 4);
    let samples = fs::read_to_string(folder.root.join("1/samples.csv")).unwrap();
    let names: Vec<&str> = samples.lines().skip(1).map(|l| l.split(',').next().unwrap()).collect();
    assert_eq!(names, ["even", "odd"]);
    assert_eq!(fs::read_dir(folder.root.join("1/samples")).unwrap().count(), 2);
}

#[test]
fn a_bad_photo_is_a_row_with_its_reason() {
    let folder = photos(2);
    let whole = fs::read(folder.root.join("photos/even/p00.png")).unwrap();
    fs::write(folder.root.join("photos/=cut.png"), &whole[..whole.len() / 2]).unwrap();
    fs::write(folder.root.join("photos/empty.jpg"), b"").unwrap();
    let done = batch(&folder.root, "out", &[]).output().unwrap();
    assert_eq!(done.status.code(), Some(5), "{}", String::from_utf8_lossy(&done.stderr));
    let told: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
    assert_eq!((told["photos"].as_u64(), told["failed"].as_u64()), (Some(4), Some(2)));
    let mut table = csv::Reader::from_path(folder.root.join("out/photos.csv")).unwrap();
    let rows: Vec<csv::StringRecord> = table.records().map(Result::unwrap).collect();
    let failure = |photo: &str| rows.iter().find(|r| &r[0] == photo).map(|r| r[2].to_owned());
    assert!(failure("'=cut.png").unwrap().contains("damaged"), "{rows:?}");
    assert!(failure("empty.jpg").unwrap().contains("empty"));
    assert_eq!(failure("even/p00.png").as_deref(), Some(""));
}

#[test]
fn an_unchanged_photo_is_not_measured_again_and_a_changed_one_is() {
    let folder = photos(3);
    batch(&folder.root, "out", &[]).output().unwrap();
    let told = |more: &[&str]| String::from_utf8(batch(&folder.root, "out", more).output().unwrap().stderr).unwrap();
    assert!(told(&[]).contains("3 unchanged"));
    picture(&folder.root.join("photos/even/p00.png"), 77);
    assert!(told(&[]).contains("2 unchanged"));
    assert!(told(&["--plies", "2"]).contains("0 unchanged"));
    // A report that somebody damaged is made again.
    batch(&folder.root, "out", &[]).output().unwrap();
    let report = fs::read_dir(folder.root.join("out/reports")).unwrap().next().unwrap().unwrap().path();
    let before = fs::read(&report).unwrap();
    fs::write(&report, b"{").unwrap();
    assert!(told(&[]).contains("2 unchanged"));
    assert_eq!(fs::read(&report).unwrap(), before);
}

#[test]
fn killed_at_any_moment_and_started_again_it_ends_with_the_same_bytes() {
    let folder = photos(12);
    batch(&folder.root, "whole", &[]).output().unwrap();
    for wait in [1, 4, 10, 20, 35, 60, 90, 140, 200, 300] {
        let mut running = batch(&folder.root, "killed", &["--threads", "2"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_millis(wait));
        // SIGKILL; it may have finished already.
        let _ = running.kill();
        running.wait().unwrap();
    }
    batch(&folder.root, "killed", &[]).output().unwrap();
    same(&folder.root.join("whole"), &folder.root.join("killed"));
    // And killed once, from nothing, at several moments.
    for wait in [5, 30, 80] {
        let out = format!("once{wait}");
        let mut running = batch(&folder.root, &out, &[]).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        std::thread::sleep(Duration::from_millis(wait));
        let _ = running.kill();
        running.wait().unwrap();
        batch(&folder.root, &out, &[]).output().unwrap();
        same(&folder.root.join("whole"), &folder.root.join(&out));
    }
}

#[test]
fn shards_end_with_the_same_bytes_as_one_run() {
    let folder = photos(7);
    batch(&folder.root, "whole", &[]).output().unwrap();
    // On a shared disk: parts into one folder, then the plain command.
    for shard in ["1/3", "2/3", "3/3"] {
        let told: serde_json::Value =
            serde_json::from_slice(&batch(&folder.root, "shared", &["--shard", shard]).output().unwrap().stdout)
                .unwrap();
        assert_eq!(told["table"], serde_json::Value::Null);
    }
    let last = batch(&folder.root, "shared", &[]).output().unwrap();
    assert!(String::from_utf8_lossy(&last.stderr).contains("7 unchanged"));
    same(&folder.root.join("whole"), &folder.root.join("shared"));
    // In folders of their own, merged, with what is stated of a photo in one of them.
    let record =
        fs::read_dir(folder.root.join("whole/records")).unwrap().map(|e| e.unwrap().file_name()).min().unwrap();
    for place in ["whole", "part1"] {
        fs::create_dir_all(folder.root.join(place).join("stated")).unwrap();
        fs::write(folder.root.join(place).join("stated").join(&record), "{\"dpi\":{\"is\":300.0}}").unwrap();
    }
    batch(&folder.root, "whole", &[]).output().unwrap();
    for shard in ["1/2", "2/2"] {
        batch(&folder.root, &format!("part{}", &shard[..1]), &["--shard", shard]).output().unwrap();
    }
    Command::new(env!("CARGO_BIN_EXE_strandrule"))
        .args(["batch", "--merge", "part1", "part2", "--out", "merged"])
        .current_dir(&folder.root)
        .output()
        .unwrap();
    same(&folder.root.join("whole"), &folder.root.join("merged"));
    // Whoever goes on there has nothing to measure again.
    let on = batch(&folder.root, "merged", &[]).output().unwrap();
    assert!(String::from_utf8_lossy(&on.stderr).contains("7 unchanged"));
}

#[test]
fn wrong_use_is_told() {
    let folder = photos(1);
    let code = |args: &[&str]| {
        let out = Command::new(env!("CARGO_BIN_EXE_strandrule")).args(args).current_dir(&folder.root).output().unwrap();
        assert!(out.stdout.is_empty(), "{args:?}");
        out.status.code()
    };
    assert_eq!(code(&["batch", "photos", "--out", "o", "--shard", "3/2"]), Some(2));
    assert_eq!(code(&["batch", "photos"]), Some(2));
    assert_eq!(code(&["batch", "nowhere", "--out", "o"]), Some(3));
    assert_eq!(code(&["batch", "photos", "--out", "photos/even/p00.png/x"]), Some(4));
}

#[test]
fn photos_in_no_sample_are_named() {
    let folder = photos(2);
    let said = |more: &[&str]| String::from_utf8(batch(&folder.root, "out", more).output().unwrap().stderr).unwrap();
    let alone = said(&[]);
    assert!(alone.contains("not in samples.csv: even/p00.png, odd/p01.png"), "{alone}");
    let grouped = said(&["--group", "folder"]);
    assert!(!grouped.contains("samples.csv"), "{grouped}");
}
