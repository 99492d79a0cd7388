//! What the fuzzers run, one function a target: any bytes in, nothing but a panic can fail. The same functions run on the
//! kept corpora as ordinary tests.

#![allow(dead_code, reason = "each fuzzer uses one of them")]

#[path = "drawn.rs"]
mod drawn;
#[path = "edited.rs"]
mod edited;

use std::path::Path;

use serde_json::Value;
use strandrule::base::geometry::{Point, Region};
use strandrule::card::label::Label;
use strandrule::card::roster;
use strandrule::cli::habits::Habits;
use strandrule::measure::photo::{self, CameraFacts, Limits, Photo};
use strandrule::measure::pipeline::{self, Params, Request};
use strandrule::measure::scale::{ScaleRequest, StatedScale};
use strandrule::measure::strand::StrandRequest;
use strandrule::measure::twist::TwistRequest;
use strandrule::show::{columns, csv, escape, json, overlay, page, summary};
use strandrule::work::batch::Grouping;
use strandrule::work::compare;
use strandrule::work::grade::{Rubric, mark};
use strandrule::work::plan::{self, Goal, PlanRequest, PlyTwist, Yarn};
use strandrule::work::pool::pool_reports;
use strandrule::work::portfolio::Notes;
use strandrule::work::saved;
use strandrule::work::skein::check_skein;

/// Larger pictures would only be slower.
const MOST_PIXELS: usize = 400_000;

/// A file's bytes, decoded and, where it is a small picture, measured in one of several ways.
pub(crate) fn photo(bytes: &[u8]) {
    let limits = Limits { max_megapixels: 2, max_bytes: 1 << 20 };
    let Ok(photo) = photo::decode("fuzzed.jpg".as_ref(), bytes.to_vec(), &limits) else { return };
    assert!(photo.rgb.width() * photo.rgb.height() <= 2_000_000, "the limit holds");
    if photo.rgb.width() * photo.rgb.height() <= MOST_PIXELS {
        measured(&photo, bytes.len());
    }
}

/// Metadata, as a block and as a whole file.
pub(crate) fn exif(bytes: &[u8]) {
    for facts in [CameraFacts::of_exif(bytes), CameraFacts::of_file(bytes, 0)] {
        assert!(facts.focal_35mm_mm.is_none_or(|mm| (1.0..=2000.0).contains(&mm)));
        assert!(facts.written_dpi.is_none_or(|dpi| (1.0..=100_000.0).contains(&dpi)));
        // Source: RFC 3339, 5.6: year, month and day with dashes, `T`, the time; an offset of six letters may follow.
        assert!(facts.taken_at.is_none_or(|at| at.len() >= 19 && at.as_bytes()[10] == b'T' && at.is_ascii()));
    }
}

/// Stripes, combs of marks, bands and noise in any arrangement, through all stages: rulers and cards are looked for in
/// all of them.
pub(crate) fn raster(bytes: &[u8]) {
    if let Some(rgb) = drawn::picture(bytes) {
        let photo = Photo { name: "drawn.png".to_owned(), rgb, camera: CameraFacts::default() };
        measured(&photo, bytes.first().map_or(0, |b| usize::from(*b)));
    }
}

/// Rosters and mapping files.
pub(crate) fn tables(bytes: &[u8]) {
    if let Ok(labels) = roster::labels(bytes) {
        assert!(labels.iter().all(|label| label.qr().is_some()), "what a roster lets through can be printed");
    }
    if let Ok(grouping) = Grouping::from_table(bytes) {
        let _ = grouping.mapped("a.jpg");
    }
}

/// Targets, notes and habits.
pub(crate) fn settings(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let sample = reference();
    let _ = Rubric::like(text);
    for like in [None, Some(&sample.sample)] {
        if let Ok(rubric) = Rubric::from_toml(text, like) {
            let result = mark(&sample.sample, &rubric);
            assert!(json::text(&format!("{result:?}")).is_ok());
        }
    }
    if let Ok(notes) = Notes::from_toml(text) {
        let _ = notes.get("title");
    }
    let _ = Habits::from_toml(text);
}

/// Reports that somebody may have written by hand, through everything that is done with reports. Bytes that are no text
/// of JSON edit one of ours.
pub(crate) fn saved(bytes: &[u8]) {
    match std::str::from_utf8(bytes) {
        Ok(text) if text.trim_start().starts_with(['{', '[']) => all_that_is_done_with(text),
        _ => all_that_is_done_with(&edited::report(REFERENCE, bytes)),
    }
}

fn all_that_is_done_with(text: &str) {
    let Ok(reports) = saved::reports_of(Path::new("saved.json"), text) else { return };
    for report in reports.iter().take(4) {
        let written = json::text(report).expect("what was read can be written");
        let again = saved::reports_of(Path::new("again.json"), &written).expect("and read again");
        assert_eq!(again.len(), 1);
        let _ = columns::answers_anything(&report.sample);
        csv::table([report]).expect("a table");
        let _ = summary::text(report);
        let _ = summary::brief(&report.sample);
        let _ = page::report_page(report, None, None);
        for goal in [
            Goal::SpinLike,
            Goal::PlySingles { plies: 2, twist: PlyTwist::Balanced, direction: None },
            Goal::PlySingles { plies: 3, twist: PlyTwist::Angle(25.0), direction: None },
        ] {
            let yarn = Yarn::from_sample(&report.sample);
            if let Ok(plan) = plan::plan(&PlanRequest { yarn, goal: Some(goal), ..PlanRequest::default() }) {
                json::text(&plan).expect("a plan can be written");
                let _ = plan::text(&plan);
            }
        }
        if let Ok(rubric) = Rubric::from_toml(
            "[[criterion]]\nfigure = \"twists_per_inch\"\ntolerance_percent = 10\n",
            Some(&report.sample),
        ) {
            let _ = mark(&report.sample, &rubric);
        }
    }
    let few = &reports[..reports.len().min(6)];
    if let Some(pooled) = pool_reports(few) {
        json::text(&pooled).expect("a pool can be written");
    }
    if let Some(check) = check_skein(few, 5.0) {
        json::text(&check).expect("a check can be written");
    }
    if !few.is_empty() {
        let samples = [("one".to_owned(), few.to_vec()), ("two".to_owned(), vec![reference()])];
        let comparison = compare::compare(&samples);
        let _ = compare::text(&comparison);
        json::text(&comparison).expect("a comparison can be written");
    }
}

/// Texts of labels, of codes and of whatever lands in a table, a page or a terminal.
pub(crate) fn label(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let (sample, person) = text.split_once('|').map_or((text, None), |(s, p)| (s, Some(p)));
    if let Ok(label) = Label::new(sample, person) {
        assert_eq!(Label::from_payload(&label.payload()), Some(label.clone()), "what is printed is read back");
        assert!(Label::is_short_code(&label.short_code()));
        assert!(label.qr().is_some());
    }
    let _ = Label::from_payload(text);
    let _ = Label::is_short_code(text);
    let cell = escape::cell(text);
    let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']);
    assert!(!formula || cell.parse::<f64>().is_ok(), "a spreadsheet would run {cell:?}");
    let tags = |title: &str| {
        let page = page::document(title, &Default::default(), &Default::default(), "");
        ['<', '>', '"'].map(|mark| page.matches(mark).count())
    };
    assert_eq!(tags(text), tags(""), "a page would run {text:?}");
    assert!(!escape::one_line(text).contains(char::is_control));
}

/// Through all stages and outputs; `way` chooses what is stated.
fn measured(photo: &Photo, way: usize) {
    let scale = match way % 3 {
        0 => ScaleRequest::default(),
        1 => ScaleRequest { stated: Some(StatedScale::DotsPerInch(300.0)), ..ScaleRequest::default() },
        _ => {
            let (from, to) = (Point::new(1.0, 2.0), Point::new(30.0, 5.0));
            ScaleRequest {
                stated: Some(StatedScale::TwoPoints { from, to, distance_mm: 3.0 }),
                ..ScaleRequest::default()
            }
        }
    };
    let region = (way % 5 == 4).then(|| Region { min: Point::new(2.0, 3.0), max: Point::new(4000.0, 90.0) });
    let plies = (way % 7 == 6).then_some(2);
    let request =
        Request { scale, strand: StrandRequest { strand: None, region }, twist: TwistRequest { plies }, label: None };
    let measured = pipeline::measure(photo, &request, &Params::default());
    let text = json::text(&measured.report).expect("a report can be written");
    holds(&serde_json::from_str(&text).expect("it is JSON"));
    csv::table([&measured.report]).expect("a table");
    let _ = summary::text(&measured.report);
    overlay::png(photo, &request, &measured.report, &measured.evidence).expect("an overlay");
    let look = page::look::look(photo, &measured);
    let _ = page::report_page(&measured.report, None, look.as_ref());
}

/// Every figure lies within its interval, or says why there is none.
fn holds(value: &Value) {
    match value {
        Value::Array(items) => items.iter().for_each(holds),
        Value::Object(fields) => {
            if let Some(ends) = fields.get("interval95").and_then(Value::as_array) {
                let number = |v: Option<&Value>| v.and_then(Value::as_f64).expect("a finite number");
                let (low, high) = (number(ends.first()), number(ends.get(1)));
                let figure = number(fields.get("value"));
                assert!(low <= figure && figure <= high, "{fields:?}");
            }
            if fields.contains_key("reason") && fields.get("value").is_some_and(Value::is_null) {
                assert!(fields["reason"].is_object(), "{fields:?}");
            }
            fields.values().for_each(holds);
        }
        _ => {}
    }
}

/// A report of ordinary yarn, its profiles cut short.
const REFERENCE: &str = include_str!("reference.json");

/// The same, to compare with.
fn reference() -> strandrule::figures::Report {
    saved::reports_of(Path::new("reference.json"), REFERENCE).expect("a report").swap_remove(0)
}
