//! What the fuzzers found interesting, as ordinary tests: every kept input, and the fixtures that they started from.

use std::fs;
use std::path::{Path, PathBuf};

#[path = "fuzz/bodies.rs"]
mod bodies;

/// Runs a body on every file of its corpus and of the folders of fixtures.
fn replay(body: fn(&[u8]), corpus: &str, fixtures: &[&str]) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut folders = vec![root.join("tests/fuzz/corpora").join(corpus)];
    folders.extend(fixtures.iter().map(|name| root.join("fixtures").join(name)));
    let mut files: Vec<PathBuf> = folders
        .iter()
        // A corpus with nothing of its own kept has no folder.
        .filter(|folder| folder.is_dir())
        .flat_map(|folder| fs::read_dir(folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display())))
        .map(|entry| entry.expect("an entry").path())
        .collect();
    files.sort();
    assert!(files.len() > 5, "{corpus}: only {} inputs", files.len());
    for file in files {
        // A failing test shows what was printed: the last name is the culprit's.
        eprintln!("{}", file.display());
        body(&fs::read(&file).expect("a file"));
    }
}

#[test]
fn photos() {
    replay(bodies::photo, "photo", &["formats", "bad"]);
}

#[test]
fn metadata() {
    replay(bodies::exif, "exif", &["formats"]);
}

#[test]
fn drawn_pictures() {
    replay(bodies::raster, "raster", &[]);
}

#[test]
fn rosters_and_maps() {
    replay(bodies::tables, "tables", &[]);
}

#[test]
fn targets_notes_and_habits() {
    replay(bodies::settings, "settings", &[]);
}

#[test]
fn saved_reports() {
    replay(bodies::saved, "saved", &[]);
}

#[test]
fn labels() {
    replay(bodies::label, "label", &[]);
}

proptest::proptest! {
    /// More edits than are kept.
    #[test]
    fn edited_reports(edits in proptest::collection::vec(proptest::num::u8::ANY, 4..40)) {
        bodies::saved(&edits);
    }
}
