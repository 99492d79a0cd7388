//! The same photo, version and options give the same bytes: twice, and on one thread or many.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Photos of several kinds: plied, singles, wound, unfit; and the demo's.
fn photos() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let fixtures =
        ["p03-singles-z-brown.jpg", "p06-two-ply-z-navy.jpg", "p12-singles-z-wrapped.jpg", "x03-blurred.jpg"];
    let demo = ["01-ivo-short-draw.jpg", "08-skein-passes.jpg"];
    let fixtures = fixtures.iter().map(|name| root.join("fixtures/photos").join(name));
    fixtures.chain(demo.iter().map(|name| root.join("demo-images").join(name))).collect()
}

/// Everything that one run writes: standard output, table, overlay and page.
fn written(program: &Path, photo: &Path, threads: &str) -> Vec<(String, Vec<u8>)> {
    let folder = tempfile::tempdir().expect("a folder");
    let place = |name: &str| folder.path().join(name);
    let mut command = Command::new(program);
    command.env("RAYON_NUM_THREADS", threads).arg("measure").arg(photo);
    for (option, name) in [("--csv", "table.csv"), ("--overlay", "seen.png"), ("--html", "page.html")] {
        command.arg(option).arg(place(name));
    }
    let output = command.output().expect("it runs");
    assert!(matches!(output.status.code(), Some(0 | 1)), "{}", String::from_utf8_lossy(&output.stderr));
    let mut all = vec![("standard output".to_owned(), output.stdout)];
    for name in ["table.csv", "seen.png", "page.html"] {
        all.push((name.to_owned(), fs::read(place(name)).expect("it was written")));
    }
    all
}

#[test]
fn twice_and_on_any_number_of_threads_the_same_bytes() {
    let program = Path::new(env!("CARGO_BIN_EXE_strandrule"));
    for photo in photos() {
        let first = written(program, &photo, "1");
        for threads in ["1", "2", "8"] {
            for ((name, wanted), (_, found)) in first.iter().zip(written(program, &photo, threads)) {
                assert!(*wanted == found, "{}: {name} differs on {threads} threads", photo.display());
            }
        }
    }
}
