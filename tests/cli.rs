//! The program as people and scripts meet it: exit codes, streams, files.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use assert_cmd::Command;
use serde_json::Value;
use strandrule::synth;

fn program() -> Command {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("strandrule"));
    command.env_remove("NO_COLOR");
    command
}

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name)
}

/// A folder with one drawn photo of yarn on a ruler card, `yarn.jpg`, and one of nothing, `plain.png`.
static FOLDER: LazyLock<tempfile::TempDir> = LazyLock::new(|| {
    let folder = tempfile::tempdir().expect("a folder");
    let scene = synth::random_scene(1).reduced(1600);
    let (bytes, _) = synth::shoot_jpeg(&scene).expect("the scene can be drawn");
    fs::write(folder.path().join("yarn.jpg"), bytes).expect("the folder can be written");
    let plain = image::RgbImage::from_pixel(640, 480, image::Rgb([200, 198, 190]));
    plain.save(folder.path().join("plain.png")).expect("the folder can be written");
    folder
});

fn photo(name: &str) -> PathBuf {
    FOLDER.path().join(name)
}

fn json(bytes: &[u8]) -> Value {
    serde_json::from_slice(bytes).expect("standard output is one JSON value")
}

/// What a command wrote to both streams, and its exit code.
fn outcome(command: &mut Command) -> (i32, String, String) {
    let output = command.output().expect("the program runs");
    let text = |bytes: Vec<u8>| String::from_utf8_lossy(&bytes).into_owned();
    (output.status.code().expect("it ends by itself"), text(output.stdout), text(output.stderr))
}

#[test]
fn a_photo_gives_one_json_object() {
    let output = program().arg("measure").arg(photo("yarn.jpg")).output().expect("the program runs");
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    let report = json(&output.stdout);
    assert_eq!(report["schema"], "strandrule-report-1");
    assert_eq!(report["photo"]["file"], "yarn.jpg");
    // Standard error is no terminal here: nobody reads a summary.
    assert!(output.stderr.is_empty(), "{}", String::from_utf8_lossy(&output.stderr));
    let again = program().arg("measure").arg(photo("yarn.jpg")).env("RAYON_NUM_THREADS", "1").output().expect("runs");
    assert!(output.stdout == again.stdout, "one thread or several: the same bytes");
}

#[test]
fn a_photo_without_yarn_exits_with_1_and_says_why() {
    let (code, out, _) = outcome(program().arg("measure").arg(photo("plain.png")));
    assert_eq!(code, 1);
    let report = json(out.as_bytes());
    assert_eq!(report["sample"]["diameter_px"]["value"], Value::Null);
    assert_eq!(report["sample"]["diameter_px"]["reason"]["code"], "no-strand");
}

#[test]
fn wrong_usage_exits_with_2_and_prints_nothing() {
    let yarn = photo("yarn.jpg");
    let yarn = yarn.to_str().expect("a plain path");
    let wrong: &[&[&str]] = &[
        &["measure"],
        &["measure", yarn, "--no-such-option"],
        &["measure", yarn, "--points", "1,2,3,4"],
        &["measure", yarn, "--distance", "50mm"],
        &["measure", yarn, "--points", "1,2,3", "--distance", "50mm"],
        &["measure", yarn, "--points", "5,5,5,5", "--distance", "50mm"],
        &["measure", yarn, "--points", "1,2,3,4", "--distance", "minus one"],
        &["measure", yarn, "--dpi", "0"],
        &["measure", yarn, "--dpi", "nan"],
        &["measure", yarn, "--dpi", "300", "--ruler", "1"],
        &["measure", yarn, "--region", "10,10,4,4"],
        &["measure", yarn, "--plies", "0"],
        &["measure", yarn, "--strand", "0"],
        &["measure", yarn, "--unit", "cubit"],
        &["measure", yarn, "--max-bytes", "lots"],
    ];
    for args in wrong {
        let (code, out, err) = outcome(program().args(*args));
        assert_eq!((code, out.as_str()), (2, ""), "{args:?}: {err}");
        assert!(!err.is_empty() && !err.contains("panicked"), "{args:?}: {err}");
    }
}

#[test]
fn unreadable_photos_exit_with_3_and_print_nothing() {
    let mut files: Vec<PathBuf> =
        fs::read_dir(fixture("bad")).expect("fixtures/bad").map(|e| e.expect("an entry").path()).collect();
    files.extend([fixture("bad"), fixture("nowhere.jpg")]);
    assert!(files.len() > 20);
    for file in files {
        // Beside a good photo too: half an answer would look like a whole one.
        for good in [None, Some(photo("plain.png"))] {
            let (code, out, err) = outcome(program().arg("measure").args(good).arg(&file));
            assert_eq!((code, out.as_str()), (3, ""), "{}: {err}", file.display());
            let name = file.file_name().expect("a name").to_string_lossy().into_owned();
            assert!(err.contains(&name) && !err.contains("panicked"), "{err}");
            assert_eq!(err.lines().count(), 1, "one line says it: {err}");
        }
    }
}

#[test]
fn limits_are_named_and_can_be_raised() {
    let file = fixture("formats/rgb8.png");
    let (code, out, err) = outcome(program().args(["measure", "--max-bytes", "100"]).arg(&file));
    assert_eq!((code, out.as_str()), (3, ""));
    assert!(err.contains("--max-bytes"), "{err}");
    let (code, _, _) = outcome(program().args(["measure", "--max-bytes", "1MB"]).arg(&file));
    assert_eq!(code, 1, "a picture of 64 x 48 px shows no yarn, but it can be read");
}

#[test]
fn unwritable_outputs_exit_with_4_before_anything_is_measured() {
    let folder = tempfile::tempdir().expect("a folder");
    for option in ["--overlay", "--csv", "--html"] {
        let target = folder.path().join("no/such/folder/file");
        let (code, out, err) = outcome(program().arg("measure").arg(photo("yarn.jpg")).arg(option).arg(&target));
        assert_eq!((code, out.as_str()), (4, ""), "{option}: {err}");
        assert!(err.contains("no/such/folder"), "{err}");
    }
    let (code, out, _) = outcome(program().arg("measure").arg(photo("yarn.jpg")).arg("--csv").arg(folder.path()));
    assert_eq!((code, out.as_str()), (4, ""));
    let two = [photo("yarn.jpg"), photo("plain.png")];
    let (code, out, _) =
        outcome(program().arg("measure").args(two).arg("--overlay").arg(folder.path().join("one.png")));
    assert_eq!((code, out.as_str()), (4, ""), "two overlays do not fit into one file");
    assert_eq!(fs::read_dir(folder.path()).expect("the folder").count(), 0, "nothing is left behind");
}

#[test]
fn a_failing_photo_leaves_the_old_outputs_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let (overlay, table) = (folder.path().join("seen.png"), folder.path().join("table.csv"));
    fs::write(&overlay, "old picture").expect("written");
    fs::write(&table, "old table").expect("written");
    let (code, _, _) = outcome(
        program()
            .arg("measure")
            .arg(fixture("bad/half-of-baseline.jpg"))
            .arg("--overlay")
            .arg(&overlay)
            .arg("--csv")
            .arg(&table),
    );
    assert_eq!(code, 3);
    assert_eq!(fs::read(&overlay).expect("still there"), b"old picture");
    assert_eq!(fs::read(&table).expect("still there"), b"old table");
    assert_eq!(fs::read_dir(folder.path()).expect("the folder").count(), 2, "nothing is left behind");
}

#[test]
fn the_overlay_is_a_picture_without_metadata_and_replaces_the_old_one() {
    let folder = tempfile::tempdir().expect("a folder");
    let overlay = folder.path().join("seen.png");
    fs::write(&overlay, "old").expect("written");
    let (code, _, err) = outcome(program().arg("measure").arg(photo("yarn.jpg")).arg("--overlay").arg(&overlay));
    assert_eq!(code, 0, "{err}");
    let bytes = fs::read(&overlay).expect("the overlay");
    let picture = image::load_from_memory(&bytes).expect("a PNG");
    assert_eq!(picture.width(), 1600);
    // Source: PNG (ISO/IEC 15948), 5.3: only header, data and end; no text, time, resolution or EXIF chunk.
    let mut at = 8;
    while at + 8 <= bytes.len() {
        let length = u32::from_be_bytes(bytes[at..at + 4].try_into().expect("four bytes")) as usize;
        let kind = &bytes[at + 4..at + 8];
        assert!([b"IHDR", b"IDAT", b"IEND"].iter().any(|k| kind == *k), "{}", String::from_utf8_lossy(kind));
        at += 12 + length;
    }
    assert_eq!(fs::read_dir(folder.path()).expect("the folder").count(), 1);
}

#[test]
fn the_page_is_one_file_and_runs_nothing_of_a_label() {
    let folder = tempfile::tempdir().expect("a folder");
    let page = folder.path().join("yarn.html");
    let mut command = program();
    command.arg("measure").arg(photo("yarn.jpg")).args(["--label", "<script>alert(1)</script>"]);
    let (code, _, err) = outcome(command.arg("--html").arg(&page));
    assert_eq!(code, 0, "{err}");
    let text = fs::read_to_string(&page).expect("the page");
    assert!(text.starts_with("<!DOCTYPE html>") && text.contains("data:image/png;base64,"));
    assert!(!text.contains("<script>alert"), "the label is text");
    assert!(!text.contains("src=\"http") && !text.contains("href=\"http"), "nothing comes from elsewhere");
}

#[test]
fn several_photos_are_pooled_and_each_gets_its_overlay_and_row() {
    let folder = tempfile::tempdir().expect("a folder");
    let table = folder.path().join("table.csv");
    let mut command = program();
    command.arg("measure").args([photo("yarn.jpg"), photo("yarn.jpg"), photo("plain.png")]);
    let (code, out, err) = outcome(command.arg("--overlay").arg(folder.path()).arg("--csv").arg(&table));
    assert_eq!(code, 0, "{err}");
    let result = json(out.as_bytes());
    assert_eq!(result["photos"].as_array().map(Vec::len), Some(3));
    assert_eq!(result["reports"].as_array().map(Vec::len), Some(3));
    for name in ["yarn.overlay.png", "yarn-2.overlay.png", "plain.overlay.png"] {
        assert!(folder.path().join(name).is_file(), "{name}");
    }
    let mut reader = csv::Reader::from_path(&table).expect("a table");
    let files: Vec<String> = reader.records().map(|r| r.expect("a row").get(0).expect("a cell").to_owned()).collect();
    assert_eq!(files, ["yarn.jpg", "yarn.jpg", "plain.png"]);
}

#[test]
fn the_summary_alone_goes_to_standard_output() {
    let (code, out, err) = outcome(program().arg("measure").arg(photo("yarn.jpg")).arg("--summary"));
    assert_eq!(code, 0, "{err}");
    assert!(out.starts_with("yarn.jpg: "), "{out}");
    assert!(!out.contains('{') && !out.contains('\u{1b}'), "{out}");
}

/// A stated scale is taken at its word. Source: 25.4 mm in one inch exactly; 600 dpi are 23.622 px/mm.
#[test]
fn stated_scales_are_taken_at_their_word() {
    let of = |args: &[&str]| {
        let (_, out, err) = outcome(program().arg("measure").arg(photo("yarn.jpg")).args(args));
        let report = json(out.as_bytes());
        assert_eq!(report["scale"]["method"], "stated", "{err}");
        report["scale"]["px_per_mm"]["value"].as_f64().expect("a scale")
    };
    assert!((of(&["--dpi", "600"]) - 23.622).abs() < 1e-3);
    assert!((of(&["--points", "100,100,400,500", "--distance", "50"]) - 10.0).abs() < 1e-9);
    assert!((of(&["--points", "100,100,400,500", "--distance", "1in"]) - 500.0 / 25.4).abs() < 1e-3);
}

#[test]
fn a_resolution_written_in_the_file_counts_only_when_asked() {
    let (code, out, err) = outcome(program().args(["measure", "--dpi", "file"]).arg(photo("plain.png")));
    assert_eq!((code, out.as_str()), (3, ""));
    assert!(err.contains("carries no resolution"), "{err}");
}

#[test]
fn a_label_reaches_the_report_and_cannot_move_the_cursor() {
    let label = "moss\u{1b}[2J=1+1";
    let (_, out, _) = outcome(program().arg("measure").arg(photo("plain.png")).args(["--label", label]));
    assert_eq!(json(out.as_bytes())["sample"]["label"], label);
    let (_, out, _) = outcome(program().arg("measure").arg(photo("plain.png")).args(["--summary", "--label", label]));
    assert!(!out.contains('\u{1b}'), "{out:?}");
}

#[test]
fn help_teaches_by_example_and_fits_eighty_columns() {
    let (code, out, _) = outcome(program().args(["measure", "--help"]).env("COLUMNS", "80"));
    assert_eq!(code, 0);
    for word in ["Examples:", "--overlay", "--strand", "--region", "--points", "--dpi", "--plies"] {
        assert!(out.contains(word), "{word}");
    }
    let (code, out, _) = outcome(program().arg("--help"));
    assert_eq!(code, 0);
    assert!(out.contains("Exit codes:"));
    let (code, out, _) = outcome(program().arg("--version"));
    assert_eq!((code, out.trim()), (0, concat!("strandrule ", env!("CARGO_PKG_VERSION"))));
}

#[test]
fn completions_and_manual_pages_come_from_the_program() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let (code, out, err) = outcome(program().args(["completions", shell]));
        assert_eq!(code, 0, "{err}");
        assert!(out.contains("overlay"), "{shell}");
    }
    let folder = tempfile::tempdir().expect("a folder");
    let (code, _, err) = outcome(program().arg("man").arg(folder.path()));
    assert_eq!(code, 0, "{err}");
    let page = fs::read_to_string(folder.path().join("strandrule-measure.1")).expect("a page");
    assert!(page.contains(".TH") && page.contains("overlay"));
    assert!(folder.path().join("strandrule.1").is_file());
}

#[test]
fn standard_error_carries_no_colour_without_a_terminal_or_with_no_color() {
    let (_, _, err) = outcome(program().args(["measure", "--no-such-option"]).env("NO_COLOR", "1"));
    assert!(!err.contains('\u{1b}'), "{err:?}");
}

#[cfg(unix)]
mod unix {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    use std::process::{Command, Stdio};

    use super::*;

    #[test]
    fn names_that_are_no_text_are_read_and_shown() {
        let folder = tempfile::tempdir().expect("a folder");
        for name in [&b"b\xffd.png"[..], b"two\nlines.png", b"<script>.png", b"=1+1.png", b"-dash.png"] {
            let file = folder.path().join(OsStr::from_bytes(name));
            fs::copy(photo("plain.png"), &file).expect("copied");
            let (code, out, err) = outcome(program().arg("measure").arg("--").arg(&file));
            assert_eq!(code, 1, "{name:?}: {err}");
            assert!(json(out.as_bytes())["photo"]["file"].is_string());
            fs::remove_file(&file).expect("removed");
            let (code, out, err) = outcome(program().arg("measure").arg("--").arg(&file));
            assert_eq!((code, out.as_str()), (3, ""));
            assert_eq!(err.lines().count(), 1, "{err:?}");
        }
    }

    /// A reader that goes away, as `head` does, is no failure and no panic.
    #[test]
    fn a_closed_pipe_is_no_failure() {
        let mut child = Command::new(assert_cmd::cargo::cargo_bin!("strandrule"))
            .arg("schema")
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program runs");
        drop(child.stdout.take());
        let output = child.wait_with_output().expect("it ends");
        assert_eq!(output.status.code(), Some(0));
        assert!(output.stderr.is_empty(), "{}", String::from_utf8_lossy(&output.stderr));
    }

    /// /dev/full takes nothing, as a full disk does.
    #[test]
    #[cfg(target_os = "linux")]
    fn a_full_disk_exits_with_4() {
        let full = fs::OpenOptions::new().write(true).open("/dev/full").expect("/dev/full");
        let output = Command::new(assert_cmd::cargo::cargo_bin!("strandrule"))
            .arg("schema")
            .stdout(full)
            .output()
            .expect("the program runs");
        assert_eq!(output.status.code(), Some(4));
        assert!(String::from_utf8_lossy(&output.stderr).contains("standard output"));
    }
}

/// A stated number, unit or name that does not fit is answered as such, not as a fault of the photo.
#[test]
fn what_does_not_fit_the_photo_is_said_to_be_that() {
    let photo = fixture("photos/p03-singles-z-brown.jpg");
    let reason = |options: &[&str]| {
        let out = program().arg("measure").arg(&photo).args(options).output().expect("the program runs");
        let report = json(&out.stdout);
        let codes: Vec<String> = report["warnings"]
            .as_array()
            .expect("a list")
            .iter()
            .filter_map(|w| Some(w["code"].as_str()?.to_owned()))
            .collect();
        let of = |figure: &str| report["sample"][figure]["reason"]["code"].as_str().unwrap_or_default().to_owned();
        (of("diameter_mm"), of("twists_per_inch"), codes)
    };
    assert_eq!(reason(&["--ruler", "3"]).0, "no-such-ruler");
    assert_eq!(reason(&["--strand", "9"]).0, "no-such-strand");
    assert_eq!(reason(&["--plies", "9"]).1, "too-many-plies");
    // A millimetre ruler is also one of tenths of some unit: the person is believed, and told.
    assert_eq!(reason(&["--unit", "inch"]).2, ["unit-against-marks"]);
    assert_eq!(reason(&["--unit", "mm"]).2, Vec::<String>::new());
    assert_eq!(reason(&["--printed-length", "96"]).2, ["print-scale-unused"]);
    let refused = program().arg("measure").arg(&photo).args(["--overlay", "seen.jpg"]).output().expect("it runs");
    assert_eq!(refused.status.code(), Some(2));
}

#[test]
fn pages_of_several_photos_go_into_a_folder_that_is_made() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path().join("pages");
    let files = [photo("yarn.jpg"), photo("plain.png")];
    let (code, out, err) = outcome(program().arg("measure").args(&files).arg("--html").arg(&at));
    assert!(matches!(code, 0 | 1) && !out.is_empty(), "{err}");
    assert!(at.join("yarn.html").is_file() && at.join("plain.html").is_file());
    // Where a file stands no folder can.
    let (code, out, err) = outcome(program().arg("measure").args(&files).arg("--html").arg(&files[0]));
    assert_eq!((code, out.is_empty()), (4, true), "{err}");
}
