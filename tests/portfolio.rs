//! `portfolio` and `measure --html`: pages of small pictures of our own making.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use strandrule::figures::report::{Sample, TwistDirection};
use strandrule::figures::{Quantity, Reason};
use strandrule::show::page::{advice, figures_table};

use crate::batch::picture;
use crate::class::{Shows, report};

fn strandrule(root: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_strandrule")).args(args).current_dir(root).output().unwrap()
}

#[test]
fn every_sample_has_a_page_that_the_index_links() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    for i in 0..3 {
        picture(&root.join(format!("s/{}/p{i}.png", if i < 2 { "moor" } else { "fell" })), i);
    }
    fs::write(root.join("s/moor.toml"), "title = \"Moor & <fell>\"\nfibre = \"wool\"\n").unwrap();
    let done = strandrule(root, &["portfolio", "s", "--out", "book", "--group", "folder"]);
    assert!(matches!(done.status.code(), Some(0 | 1)), "{}", String::from_utf8_lossy(&done.stderr));
    let index = fs::read_to_string(root.join("book/index.html")).unwrap();
    let links: Vec<&str> = index.split("<a href=\"").skip(1).filter_map(|part| part.split('"').next()).collect();
    let pages: Vec<&str> = links.into_iter().filter(|l| !l.starts_with('#')).collect();
    assert_eq!(pages, ["fell.html", "moor.html"]);
    let moor = fs::read_to_string(root.join("book/moor.html")).unwrap();
    assert!(
        moor.contains("2 photos together")
            && moor.contains("Moor &amp; &lt;fell&gt;")
            && moor.contains("<dd>wool</dd>")
    );
}

#[test]
fn a_misspelt_note_names_its_file_and_the_nearest_key() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    picture(&root.join("s/p.png"), 1);
    fs::write(root.join("s/p.toml"), "fiber = \"wool\"\n").unwrap();
    let done = strandrule(root, &["portfolio", "s", "--out", "book"]);
    assert_eq!(done.status.code(), Some(3));
    let told = String::from_utf8_lossy(&done.stderr).into_owned();
    assert!(told.contains("p.toml") && told.contains("did you mean \"fibre\""), "{told}");
}

#[test]
fn the_page_of_a_photo_holds_every_reason_of_its_report() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    picture(&root.join("p.png"), 1);
    let done = strandrule(root, &["measure", "p.png", "--html", "p.html"]);
    let page = fs::read_to_string(root.join("p.html")).unwrap();
    let report: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
    let mut reasons = 0;
    for figure in ["diameter_mm", "twist_angle_deg", "twists_per_inch", "wraps_per_inch"] {
        if let Some(message) = report["sample"][figure]["reason"]["message"].as_str() {
            reasons += 1;
            assert!(page.contains(message), "{message}");
        }
    }
    // The picture has no ruler, so its lengths are unanswered.
    assert!(reasons >= 2, "{report}");
    assert!(page.contains("What to do for a better answer"));
}

/// A sample all of whose figures are answered, but for the kinks.
fn sample() -> Sample {
    report("a.jpg", None, Shows(2.0, 4.0, 8.0, TwistDirection::S)).sample
}

#[test]
fn advice_names_the_figures_it_is_for_and_says_nothing_of_what_nobody_can_mend() {
    let mut sample = sample();
    assert_eq!(sample.kinks.reason(), Some(&Reason::NotYet));
    assert_eq!(advice(&sample, &[]).into_string(), "");
    sample.hairiness = Quantity::Unanswered(Reason::EdgeUnclear);
    let said = advice(&sample, &[]).into_string();
    assert!(said.contains("<strong>Hairiness:</strong> The edge"), "{said}");
    for quantity in [
        &mut sample.length_mm,
        &mut sample.diameter_mm,
        &mut sample.twist_angle_deg,
        &mut sample.twists_per_inch,
        &mut sample.fibre_angle_deg,
    ] {
        *quantity = Quantity::Unanswered(Reason::NoStrand);
    }
    let said = advice(&sample, &[]).into_string();
    assert_eq!(said.matches("<li>").count(), 2);
    assert!(said.contains("<li>No yarn was found"), "more than four figures are the whole photo: {said}");
}

#[test]
fn the_same_reason_in_the_next_row_is_not_repeated() {
    let mut sample = sample();
    sample.bumps_per_inch = Quantity::Unanswered(Reason::Singles);
    sample.bumps_per_diameter = Quantity::Unanswered(Reason::Singles);
    let table = figures_table(&sample).into_string();
    assert_eq!(table.matches("Singles have no plies").count(), 1);
    assert_eq!(table.matches("as above").count(), 1);
}
