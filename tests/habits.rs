//! The file with a person's habits: found, believed, and beaten by the command line.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;

fn program(config: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_strandrule"));
    command.env("STRANDRULE_CONFIG", config);
    command
}

fn told(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// A file with this content in a folder of its own.
fn habits(text: &str) -> (tempfile::TempDir, std::path::PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("my.toml");
    fs::write(&file, text).expect("written");
    (folder, file)
}

fn photo() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/photos/p06-two-ply-z-navy.jpg")
}

fn report(command: &mut Command) -> Value {
    let output = command.output().expect("it runs");
    serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("{}", told(&output)))
}

/// Otherwise whoever runs the tests would have theirs in them.
#[test]
fn the_tests_run_without_anybodys_habits() {
    assert_eq!(std::env::var("STRANDRULE_CONFIG").as_deref(), Ok("none"), "run them through cargo");
}

#[test]
fn plies_are_taken_from_the_habits_and_the_command_line_beats_them() {
    let (_keep, file) = habits("plies = 4\n");
    let warned =
        |report: &Value| report["warnings"].as_array().expect("a list").iter().any(|w| w["code"] == "plies-stated");
    let usual = report(program(&file).arg("measure").arg(photo()));
    assert_eq!(usual["sample"]["plies"]["value"], 4);
    assert!(warned(&usual), "a habit is a statement, and the report says so");
    let stated = report(program(&file).arg("measure").arg(photo()).args(["--plies", "2"]));
    assert_eq!(stated["sample"]["plies"]["value"], 2);
    let none = report(program(Path::new("none")).arg("measure").arg(photo()));
    assert!(!warned(&none));
    let plain = report(program(Path::new("none")).arg("measure").arg(photo()).args(["--plies", "4"]));
    assert_eq!(plain, usual, "a habit is the same as the option");
}

/// A unit from the habits gives way where there is no ruler to have one.
#[test]
fn a_unit_from_the_habits_does_not_quarrel_with_a_stated_scale() {
    let (_keep, file) = habits("unit = \"inch\"\n");
    let report = report(program(&file).arg("measure").arg(photo()).args(["--dpi", "600"]));
    assert_eq!(report["scale"]["method"], "stated");
}

/// Source: US letter is 8.5 x 11 in, 612 x 792 pt (ANSI/ASME Y14.1, size A); A4 is 210 x 297 mm (ISO 216), 595.28 pt wide.
#[test]
fn cards_are_laid_out_for_the_usual_paper() {
    let (folder, file) = habits("paper = \"letter\"\n");
    let width = |config: &Path, more: &[&str]| {
        let out = folder.path().join("card.svg");
        let output = program(config).args(["card", "--out"]).arg(&out).args(more).output().expect("it runs");
        assert!(output.status.success(), "{}", told(&output));
        let text = fs::read_to_string(&out).expect("an SVG");
        let width = text.split("width=\"").nth(1).and_then(|t| t.split("mm\"").next()).map(str::to_owned);
        width.expect("a width in mm").parse::<f64>().expect("a number")
    };
    assert!((width(&file, &[]) - 215.9).abs() < 0.01);
    assert!((width(&file, &["--paper", "a4"]) - 210.0).abs() < 0.01);
    assert!((width(Path::new("none"), &[]) - 210.0).abs() < 0.01);
}

/// The focal length reaches the pose: of a card seen at a tilt another lens makes another picture.
#[test]
fn a_focal_length_is_taken_where_the_photo_is_silent() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut scene = strandrule::synth::random_scene(1).reduced(1600);
    scene.sensor.focal_35mm = None;
    scene.camera.tilt_deg = 12.0;
    let silent = folder.path().join("silent.jpg");
    fs::write(&silent, strandrule::synth::shoot_jpeg(&scene).expect("drawn").0).expect("written");
    let none = Path::new("none");
    let (_keep, file) = habits("focal_35mm = 60\n");
    let bare = report(program(none).arg("measure").arg(&silent));
    let usual = report(program(&file).arg("measure").arg(&silent));
    let stated = report(program(none).arg("measure").arg(&silent).args(["--focal-35mm", "60"]));
    assert_eq!(usual, stated, "a habit is the same as the option");
    assert_ne!(usual["scale"], bare["scale"], "and it makes a difference");
    let output = program(none).arg("measure").arg(&silent).args(["--focal-35mm", "nan"]).output().expect("it runs");
    assert_eq!(output.status.code(), Some(2), "{}", told(&output));
}

#[test]
fn a_wrong_file_is_named_with_what_to_write_and_troubles_only_who_needs_it() {
    let (_keep, file) = habits("paperr = \"a4\"\n");
    let output = program(&file).arg("measure").arg(photo()).output().expect("it runs");
    assert_eq!((output.status.code(), output.stdout.len()), (Some(3), 0));
    let err = told(&output);
    assert!(err.contains("my.toml") && err.contains("did you mean \"paper\""), "{err}");
    assert!(program(&file).arg("schema").output().expect("it runs").status.success());
    // One that was named has to be there; a folder is no file.
    for missing in [file.with_file_name("nowhere.toml"), file.parent().expect("a folder").to_owned()] {
        let output = program(&missing).arg("config").output().expect("it runs");
        assert_eq!(output.status.code(), Some(3));
        assert!(told(&output).contains("STRANDRULE_CONFIG"), "{}", told(&output));
    }
}

#[test]
fn config_says_where_and_what_and_can_be_kept() {
    let (folder, file) = habits("plies = 3\n");
    let output = program(&file).arg("config").output().expect("it runs");
    let text = String::from_utf8(output.stdout).expect("text");
    assert!(text.contains("my.toml") && text.contains("\nplies = 3\n") && text.contains("\n#unit ="), "{text}");
    fs::write(&file, &text).expect("written");
    assert!(program(&file).arg("config").output().expect("it runs").status.success(), "what it prints it reads");
    if cfg!(unix) {
        let home = folder.path();
        let mut command = program(Path::new(""));
        command.env_remove("STRANDRULE_CONFIG").env_remove("XDG_CONFIG_HOME").env("HOME", home).arg("config");
        let text = String::from_utf8(command.output().expect("it runs").stdout).expect("text");
        assert!(text.contains(".config/strandrule/config.toml") && text.contains("is not there"), "{text}");
        let usual = home.join(".config/strandrule");
        fs::create_dir_all(&usual).expect("a folder");
        fs::write(usual.join("config.toml"), "unit = \"inch\"\n").expect("written");
        let text = String::from_utf8(command.output().expect("it runs").stdout).expect("text");
        assert!(text.contains("\nunit = \"inch\"\n"), "{text}");
    }
}

/// The README shows every key.
#[test]
fn the_readme_shows_a_file_that_can_be_read() {
    let readme = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).expect("README.md");
    let shown = readme.split("```toml\n").nth(1).and_then(|t| t.split("```").next()).expect("a file");
    let habits = strandrule::cli::habits::Habits::from_toml(shown).expect("it can be read");
    for key in strandrule::cli::habits::HABIT_KEYS {
        assert!(shown.contains(&format!("{} = ", key.name)), "{}", key.name);
    }
    assert_ne!(habits, strandrule::cli::habits::Habits::default());
}
