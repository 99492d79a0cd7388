use std::collections::BTreeSet;

use super::*;
use crate::work::batch::Shown;
use crate::work::pool::pool_reports;
use crate::work::testing::report;

fn piece(name: &str, notes: &str) -> Piece {
    let reports = vec![report("a.jpg"), report("b.jpg")];
    Piece {
        name: name.to_owned(),
        pooled: pool_reports(&reports).unwrap(),
        reports,
        shown: Shown { near: Some(vec![1, 2, 3]), ..Shown::default() },
        notes: Notes::from_toml(notes).unwrap(),
    }
}

#[test]
fn notes_are_read_and_a_misspelt_key_names_the_nearest() {
    let notes = Notes::from_toml("fibre = \"wool\"\nratio = 7.5\ndate = 2026-11-25\nremarks = \"\"").unwrap();
    assert_eq!(
        notes.entries,
        [("fibre", "wool".to_owned()), ("ratio", "7.5".to_owned()), ("date", "2026-11-25".to_owned())]
    );
    let error = Notes::from_toml("fiber = \"wool\"").unwrap_err().to_string();
    assert!(error.contains("did you mean \"fibre\""), "{error}");
    assert_eq!(Notes::from_toml("wheel = [1]"), Err(NotesError::Kind("wheel")));
    assert!(matches!(Notes::from_toml("wheel ="), Err(NotesError::Toml(_))));
    assert_eq!(Notes::from_toml(&format!("remarks = \"{}\"", "x".repeat(5000))), Err(NotesError::TooLong("remarks")));
}

#[test]
fn pages_are_one_file_without_anything_from_elsewhere() {
    let piece = piece("Moor & <Fell>", "remarks = \"first line\\n<script>x</script>\"");
    let page = sample_page(&piece);
    let index = index_page("Book", std::slice::from_ref(&piece), &["moor.html".to_owned()]);
    for html in [&page, &index] {
        for outside in ["http://", "https://", "src=\"//", "@import", "url("] {
            assert!(!html.replace("http://www.w3.org/2000/svg", "").contains(outside), "{outside}");
        }
        assert!(html.contains("Moor &amp; &lt;Fell&gt;") && !html.contains("<Fell>"));
        // Every picture says what it shows, or that it adds nothing.
        assert_eq!(html.matches("<img").count(), html.matches(" alt=\"").count());
    }
    assert!(!page.contains("<script"));
    assert!(page.contains("first line<br>&lt;script&gt;"));
    assert_eq!(index.matches("<script>").count(), 1);
    assert!(page.contains("Between the photos"));
}

#[test]
fn page_names_are_plain_and_differ() {
    let mut taken = BTreeSet::new();
    assert_eq!(page_name("Fleece 1 / Ada", &mut taken), "fleece-1-ada.html");
    assert_eq!(page_name("Fleece 1, Ada", &mut taken), "fleece-1-ada-2.html");
    assert_eq!(page_name("../../etc", &mut taken), "etc.html");
    assert_eq!(page_name("index", &mut taken), "index-2.html");
    assert_eq!(page_name("…", &mut taken), "sample.html");
}
