use std::fs;

use super::record::{check, id};
use super::*;

fn record(photo: &str, label: Option<&str>) -> Record {
    Record {
        photo: photo.to_owned(),
        id: id(photo),
        key: String::new(),
        report_check: None,
        pictures: Vec::new(),
        label: label.map(str::to_owned),
        answered: true,
        failure: None,
    }
}

#[test]
fn names_of_files_are_plain_and_differ() {
    assert!(id("class/ada 1.JPG").starts_with("ada-1-"));
    assert!(id("=cmd|' /C calc'!A0.png").chars().all(|c| c.is_ascii_alphanumeric() || "-_".contains(c)));
    assert_ne!(id("a/x.jpg"), id("b/x.jpg"));
    assert_ne!(id("x.jpg"), id("x.png"));
    assert!(!id("...").is_empty());
    assert!(id(&"ü".repeat(300)).len() < 80);
    assert_ne!(check(b"a"), check(b"b"));
}

#[test]
fn photos_are_found_in_folders_by_pattern_and_by_name_and_never_in_the_output() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    for name in [
        "b.jpg",
        "a.JPEG",
        "sub/c.png",
        "sub/d.txt",
        "b.overlay.png",
        "sub/c.Overlay.PNG",
        "out/records/e-12345678.json",
        "out/overlays/e-12345678.png",
    ] {
        fs::create_dir_all(root.join(name).parent().unwrap()).unwrap();
        fs::write(root.join(name), b"x").unwrap();
    }
    let names = |places: &[PathBuf]| find_photos(places).unwrap().into_iter().map(|l| l.name).collect::<Vec<_>>();
    assert_eq!(names(&[root.to_owned()]), ["a.JPEG", "b.jpg", "sub/c.png"]);
    assert_eq!(names(&[root.join("*.jpg")]), ["b.jpg"]);
    assert_eq!(names(&[root.join("**/*.png")]), ["sub/c.png"]);
    assert_eq!(names(&[root.join("[bc]*")]), ["b.jpg"], "the program's own overlays are no photos");
    assert_eq!(names(&[root.join("b.overlay.png")]), ["b.overlay.png"], "unless named outright");
    assert_eq!(names(&[root.join("b.jpg"), root.to_owned()]), ["a.JPEG", "b.jpg", "sub/c.png"]);
    let fails = |place: &str| find_photos(&[root.join(place)]).unwrap_err();
    assert!(matches!(fails("nowhere"), ListError::Missing(_)));
    assert!(matches!(fails("*.bmp"), ListError::Nothing(_)));
    assert!(matches!(fails("*.overlay.png"), ListError::Nothing(_)));
    assert!(matches!(fails("[.jpg"), ListError::Pattern { .. }));
}

#[test]
fn shards_share_the_list_without_gap_or_overlap() {
    let list: Vec<Listed> =
        (0..10).map(|i| Listed { name: format!("{i}"), path: PathBuf::from(format!("{i}")) }).collect();
    let mut all: Vec<Listed> = (1..=3).flat_map(|index| Shard { index, of: 3 }.take(list.clone())).collect();
    all.sort();
    assert_eq!(all, list);
}

#[test]
fn samples_go_by_label_folder_or_table() {
    let labelled = record("mon/a.jpg", Some("Fleece 1 / Ada"));
    let plain = record("mon/b.jpg", None);
    assert_eq!(Grouping::Label.sample_of(&labelled).as_deref(), Some("Fleece 1 / Ada"));
    assert_eq!(Grouping::Label.sample_of(&plain), None);
    assert_eq!(Grouping::Folder.sample_of(&plain).as_deref(), Some("mon"));
    let map = Grouping::from_table(b"\xef\xbb\xbfSample,Photo\nMended,b.jpg\nOther,mon/c.jpg\n").unwrap();
    assert_eq!(map.sample_of(&plain).as_deref(), Some("Mended"));
    assert_eq!(map.sample_of(&labelled).as_deref(), Some("Fleece 1 / Ada"));
    assert_eq!(map.sample_of(&record("mon/c.jpg", None)).as_deref(), Some("Other"));
    assert!(matches!(Grouping::from_table(b"a,b\n"), Err(MapError::Columns(_))));
    assert!(matches!(Grouping::from_table(b"photo,sample\nx,A\nx,B\n"), Err(MapError::Row { row: 3, .. })));
}

// Spreadsheets of countries with a decimal comma part cells by semicolons (common practice, no source).
#[test]
fn a_map_may_be_parted_by_semicolons_and_names_that_fit_no_photo_are_told() {
    for text in
        ["photo;sample\na.jpg;Fleece, first\nc.jpg;Other\n", "photo\tsample\na.jpg\tFleece, first\nc.jpg\tOther\n"]
    {
        let map = Grouping::from_table(text.as_bytes()).unwrap();
        let records = [record("class/a.jpg", None), record("class/b.jpg", None)];
        assert_eq!(map.sample_of(&records[0]).as_deref(), Some("Fleece, first"));
        assert_eq!(map.without_photo(&records), ["c.jpg"]);
    }
}
