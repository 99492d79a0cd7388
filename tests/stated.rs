//! A stated number of plies stands; where the photo speaks against it, that is said wherever figures are read.

use strandrule::measure::photo::{Limits, read};
use strandrule::measure::pipeline::{Measured, Params, Request, measure};
use strandrule::show::{page, summary};

/// A fixture (its truth: three plies, two, one) measured with a statement.
fn measured(photo: &str, plies: u32) -> Measured {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/photos").join(photo);
    let photo = read(&path, &Limits::default()).expect("it reads");
    let mut request = Request::default();
    request.twist.plies = Some(plies);
    measure(&photo, &request, &Params::default())
}

const AGAINST: &str = "plies-against-photo";

#[test]
fn a_statement_that_the_photo_speaks_against_stands_and_is_doubted() {
    for (photo, stated, like) in [
        ("p05-three-ply-s-cream.jpg", 2, "stated that this is 2-ply yarn, but it looks like 3-ply yarn"),
        ("p06-two-ply-z-navy.jpg", 1, "stated that this is singles, but it looks like 2-ply yarn"),
        ("p03-singles-z-brown.jpg", 5, "stated that this is 5-ply yarn, but it looks like singles"),
    ] {
        let report = measured(photo, stated).report;
        assert_eq!(report.sample.plies.value(), Some(&stated), "{photo}: the statement stands");
        let warning = report.warnings.iter().find(|w| w.code == AGAINST).expect("a warning");
        assert!(warning.message.contains(like), "{}", warning.message);
        let told = summary::text(&report);
        assert_eq!(told.lines().filter(|line| line.contains(like)).count(), 1, "{told}");
        assert_eq!(page::report_page(&report, None, None).matches(like).count(), 1, "one line on the page");
    }
}

#[test]
fn a_statement_that_the_photo_bears_out_is_not_doubted() {
    for (photo, stated) in
        [("p05-three-ply-s-cream.jpg", 3), ("p06-two-ply-z-navy.jpg", 2), ("p03-singles-z-brown.jpg", 1)]
    {
        let measured = measured(photo, stated);
        assert!(measured.report.warnings.iter().all(|w| w.code != AGAINST), "{photo}");
        assert!(measured.evidence.twist.plies_seen.is_some(), "what the photo says is kept beside it");
    }
}

/// Five plies are not told from three or four, so that a photo of three does not speak against them.
#[test]
fn more_plies_than_are_told_apart_are_not_doubted_on_plied_yarn() {
    let report = measured("p05-three-ply-s-cream.jpg", 5).report;
    assert!(report.warnings.iter().all(|w| w.code != AGAINST));
}
