use approx::assert_relative_eq;

use super::*;
use crate::card::label::Label;
use crate::figures::report::TwistDirection;
use crate::figures::{Method, Quantity, Reason};
use crate::work::figure::Figure;
use crate::work::testing::{measured, report};

const RUBRIC: &str = r#"
title = "Sock yarn"
out_of = 20
[[criterion]]
figure = "diameter_mm"
value = 2.0
tolerance = 0.1
zero_beyond = 0.5
weight = 2
[[criterion]]
figure = "twists_per_inch"
value = 4.0
tolerance_percent = 10
weight = 1
[[criterion]]
figure = "diameter_cv_percent"
value = 10
tolerance = 2
side = "at-most"
weight = 1
[[criterion]]
figure = "twist_direction"
value = "S"
"#;

fn rubric() -> Rubric {
    Rubric::from_toml(RUBRIC, None).unwrap()
}

/// The share of the diameter's criterion for a diameter known to +- 1.96 u.
fn share(d: f64, u: f64) -> (Standing, f64, f64) {
    let mut sample = report("a.jpg").sample;
    sample.diameter_mm = measured(d, u);
    let c = mark(&sample, &rubric()).criteria[0].clone();
    (c.standing, c.share[1], c.share[0])
}

// Worked by hand: full mark up to 0.1 from 2.0, none from 0.5 on: 0.3 away is half.
#[test]
fn the_part_of_a_mark_falls_straight_from_the_tolerance_to_zero() {
    for (d, part) in [(2.0, 1.0), (2.1, 1.0), (1.9, 1.0), (2.3, 0.5), (1.7, 0.5), (2.4, 0.25), (2.5, 0.0), (3.0, 0.0)] {
        assert_relative_eq!(share(d, 1e-9).1, part, epsilon = 1e-6);
    }
}

#[test]
fn an_interval_counts_from_its_far_end_to_its_near_one() {
    assert_eq!(share(2.05, 0.01).0, Standing::Meets);
    let (standing, best, least) = share(2.15, 0.05);
    assert_eq!((standing, best), (Standing::CannotBeTold, 1.0));
    assert!(least < 1.0);
    // The whole interval 2.202 to 2.398 lies beyond 2.1: its near end is 0.202 away, (0.5 - 0.202) / 0.4 = 0.745.
    let (standing, best, least) = share(2.3, 0.05);
    assert_eq!(standing, Standing::Misses);
    assert_relative_eq!(best, 0.745, epsilon = 1e-9);
    assert_relative_eq!(least, 0.255, epsilon = 1e-9);
}

#[test]
fn an_interval_over_a_limit_is_said() {
    let mut sample = report("a.jpg").sample;
    sample.diameter_mm = measured(2.15, 0.05);
    let made = mark(&sample, &rubric());
    assert!(made.criteria[0].sentence.contains("reaches over a limit"), "{}", made.criteria[0].sentence);
    assert!(made.total[0] < made.total[1]);
}

// Six people marked by hand. Weights 2, 1, 1, 1; out of 20. Intervals of nothing, so that shares are plain arithmetic:
// diameter share x 2 + twist share + evenness share + direction, over 5, times 20.
#[test]
fn marks_equal_those_worked_out_by_hand() {
    let u = 1e-9;
    // (diameter, turns, CV, direction) -> mark
    let people = [
        // All as asked.
        ((2.0, 4.0, 8.0, TwistDirection::S), 20.0),
        // 0.3 off: half of 2; (1 + 1 + 1 + 1) / 5 x 20 = 16.
        ((2.3, 4.0, 8.0, TwistDirection::S), 16.0),
        // Twist 0.8 off: full to 0.4, none from 1.2: half; (2 + 0.5 + 1 + 1) / 5 x 20 = 18.
        ((2.0, 4.8, 8.0, TwistDirection::S), 18.0),
        // CV 13: 3 over, full to 2, none from 6: 0.75; (2 + 1 + 0.75 + 1) / 5 x 20 = 19.
        ((2.0, 4.0, 13.0, TwistDirection::S), 19.0),
        // Wrong way: (2 + 1 + 1 + 0) / 5 x 20 = 16.
        ((2.0, 4.0, 8.0, TwistDirection::Z), 16.0),
        // Everything wrong: 0.
        ((3.0, 8.0, 30.0, TwistDirection::Z), 0.0),
    ];
    for ((d, t, cv, direction), expected) in people {
        let mut sample = report("a.jpg").sample;
        sample.diameter_mm = measured(d, u);
        sample.twists_per_inch = measured(t, u);
        sample.evenness.diameter_cv_percent = measured(cv, u);
        sample.twist_direction = Quantity::likely(direction, 0.999, Method::LineAngle);
        assert_eq!(mark(&sample, &rubric()).total, [expected; 2], "{d} {t} {cv} {direction:?}");
    }
}

// Weights 2, 1, 1, 1 of 5, out of 20: each weight is 4 marks, and what is not read may be worth none of them or all.
#[test]
fn what_is_not_read_counts_from_nothing_to_full() {
    let mut sample = report("a.jpg").sample;
    sample.diameter_mm = measured(2.0, 1e-9);
    sample.twists_per_inch = measured(4.0, 1e-9);
    sample.evenness.diameter_cv_percent = Quantity::Unanswered(Reason::TooShort);
    sample.twist_direction = Quantity::likely(TwistDirection::S, 0.999, Method::LineAngle);
    let made = mark(&sample, &rubric());
    assert_eq!((made.criteria[2].standing, made.criteria[2].share), (Standing::NotMarked, [0.0, 1.0]));
    assert_eq!((made.total, made.rests_on, made.provisional), ([16.0, 20.0], 0.8, true));
    sample.diameter_mm = Quantity::Unanswered(Reason::NoScale);
    let made = mark(&sample, &rubric());
    assert_eq!((made.total, made.rests_on), ([8.0, 20.0], 0.4));
    sample.twists_per_inch = Quantity::Unanswered(Reason::NoScale);
    sample.twist_direction = Quantity::Unanswered(Reason::NoScale);
    let made = mark(&sample, &rubric());
    assert_eq!((made.total, made.rests_on), ([0.0, 20.0], 0.0), "nothing is read");
}

#[test]
fn a_mark_is_provisional_below_the_share_that_the_target_states() {
    let mut sample = report("a.jpg").sample;
    let with = |line: &str| Rubric::from_toml(&format!("{line}\n{RUBRIC}"), None);
    assert!(!mark(&sample, &rubric()).provisional, "everything is read");
    sample.evenness.diameter_cv_percent = Quantity::Unanswered(Reason::TooShort);
    for (line, provisional) in [
        ("", true),
        ("provisional_below_percent = 81", true),
        ("provisional_below_percent = 80", false),
        ("provisional_below_percent = 0", false),
    ] {
        assert_eq!(mark(&sample, &with(line).unwrap()).provisional, provisional, "{line}");
    }
    for line in
        ["provisional_below_percent = 101", "provisional_below_percent = -1", "provisional_below_percent = \"x\""]
    {
        assert!(with(line).unwrap_err().to_string().contains("provisional_below_percent"), "{line}");
    }
}

#[test]
fn the_sheet_and_the_pages_show_the_range_and_what_it_rests_on() {
    let mut spoilt = photo("a.jpg", Some("Fleece / Ada"));
    let figures = &mut spoilt.report.as_mut().unwrap().sample;
    figures.diameter_mm = measured(2.0, 1e-9);
    figures.twists_per_inch = Quantity::Unanswered(Reason::TooShort);
    figures.evenness.diameter_cv_percent = measured(8.0, 1e-9);
    let class = gather(Some(&roster()), vec![spoilt], &rubric());
    let person = person_page(&class.entries[0], &rubric(), None, None);
    for page in [&person, &class_page(&class, &rubric())] {
        assert!(page.contains("16.0 to 20.0") && page.contains("provisional, rests on 80 % of the target"), "{page}");
    }
    assert!(person.contains("0 % to 100 %"), "the part of what was not read");
    let table = csv(&class, &rubric()).unwrap();
    let mut sheet = ::csv::Reader::from_reader(&*table);
    let names = sheet.headers().unwrap().clone();
    let row = sheet.records().next().unwrap().unwrap();
    let cell = |name: &str| &row[names.iter().position(|n| n == name).unwrap()];
    assert_eq!((cell("least_mark"), cell("most_mark")), ("16.0", "20.0"));
    assert_eq!((cell("rests_on_percent"), cell("provisional")), ("80", "yes"));
    assert_eq!((cell("twists_per_inch_least_percent"), cell("twists_per_inch_most_percent")), ("0", "100"));
}

// A word that is not sure may be right or wrong: it counts neither for nor against.
#[test]
fn an_unsure_direction_decides_nothing() {
    let mut sample = report("a.jpg").sample;
    for direction in [TwistDirection::S, TwistDirection::Z] {
        sample.twist_direction = Quantity::likely(direction, 0.8, Method::LineAngle);
        let unsure = &mark(&sample, &rubric()).criteria[3];
        assert_eq!((unsure.standing, unsure.share), (Standing::NotMarked, [0.0, 1.0]), "{direction:?}");
    }
}

// Who states what is asked would give everybody the mark for it.
#[test]
fn a_stated_number_of_plies_is_not_read() {
    let asked = Rubric::from_toml("[[criterion]]\nfigure = \"plies\"\nvalue = 2\n", None).unwrap();
    let mut sample = report("a.jpg").sample;
    assert_eq!(mark(&sample, &asked).total, [100.0; 2]);
    sample.plies = Quantity::likely(2, 1.0, Method::Stated);
    assert_eq!(mark(&sample, &asked).total, [0.0, 100.0]);
}

#[test]
fn sentences_say_what_to_change() {
    let mut sample = report("a.jpg").sample;
    sample.diameter_mm = measured(2.6, 0.01);
    sample.twists_per_inch = measured(2.0, 0.01);
    let made = mark(&sample, &rubric());
    assert!(made.criteria[0].sentence.starts_with("Too thick: draft further"));
    assert!(made.criteria[1].sentence.starts_with("Too little twist: treadle more"));
}

#[test]
fn a_misspelt_key_names_the_nearest() {
    let with = |line: &str| {
        Rubric::from_toml(&format!("[[criterion]]\nfigure = \"diameter_mm\"\nvalue = 2\ntolerance = 1\n{line}"), None)
    };
    let error = with("wieght = 2").unwrap_err().to_string();
    assert!(error.contains("criterion 1") && error.contains("did you mean \"weight\""), "{error}");
    let error = Rubric::from_toml("titel = \"x\"", None).unwrap_err().to_string();
    assert!(error.contains("did you mean \"title\""), "{error}");
    let error = Rubric::from_toml("[[criterion]]\nfigure = \"diametre_mm\"", None).unwrap_err().to_string();
    assert!(error.contains("did you mean \"diameter_mm\""), "{error}");
    let bad: [&str; 8] = [
        "side = \"up\"",
        "tolerance_percent = 3",
        "zero_beyond = 0.5",
        "weight = -1",
        "weight = \"much\"",
        "advice_more = 3",
        "[[criterion]]\nfigure = \"diameter_mm\"\nvalue = 1\ntolerance = 1",
        "[[criterion]]\nfigure = \"plies\"\nvalue = 2\ntolerance = 1",
    ];
    for line in bad {
        assert!(with(line).is_err(), "{line}");
    }
    assert_eq!(Rubric::from_toml("", None), Err(RubricError::Empty));
    assert!(matches!(Rubric::from_toml("= 3", None), Err(RubricError::Toml(_))));
}

#[test]
fn a_target_may_be_a_measured_sample() {
    let like = report("a.jpg").sample;
    let text = "like = \"a.json\"\n[[criterion]]\nfigure = \"diameter_mm\"\n[[criterion]]\nfigure = \"plies\"\n";
    assert_eq!(Rubric::like(text).unwrap().as_deref(), Some("a.json"));
    let made = Rubric::from_toml(text, Some(&like)).unwrap();
    let What::Number { figure, value, tolerance, .. } = made.criteria[0].what else { panic!("{made:?}") };
    assert_eq!((figure, value), (Figure::DiameterMm, 2.0));
    assert_relative_eq!(tolerance, 1.96 * 0.02, epsilon = 1e-9);
    assert_eq!(made.criteria[1].what, What::Plies(2));
}

fn photo(name: &str, label: Option<&str>) -> Photo {
    let mut r = report(name);
    r.sample.label = label.map(str::to_owned);
    Photo { name: name.to_owned(), report: Some(r), failure: None, mapped: None }
}

fn roster() -> Vec<Label> {
    ["Ada", "Berta", "Carl", "Dora"].map(|p| Label::new("Fleece", Some(p)).unwrap()).to_vec()
}

#[test]
fn photos_find_their_people() {
    let mut mended = photo("m.jpg", None);
    mended.mapped = Some("Carl".to_owned());
    let failed = Photo { name: "f.jpg".to_owned(), report: None, failure: Some("damaged".to_owned()), mapped: None };
    let code = roster()[1].short_code();
    let photos = vec![
        photo("a1.jpg", Some("Fleece / Ada")),
        photo("a2.jpg", Some("Fleece / Ada")),
        photo("b.jpg", Some(&code)),
        mended,
        photo("u.jpg", None),
        photo("s.jpg", Some("Fleece / Adda")),
        failed,
    ];
    let class = gather(Some(&roster()), photos, &rubric());
    let photos: Vec<usize> = class.entries.iter().map(|e| e.photos.len()).collect();
    assert_eq!(photos, [2, 1, 1, 0]);
    assert_eq!(class.unread, ["u.jpg"]);
    assert_eq!(class.strangers[0].2.as_deref(), Some("Fleece / Ada"));
    assert_eq!(class.failed, [("f.jpg".to_owned(), "damaged".to_owned())]);
    let page = class_page(&class, &rubric());
    for part in ["No photo", "Dora", "Label could not be read", "u.jpg", "perhaps Fleece / Ada", "2 photos"] {
        assert!(page.contains(part), "{part} is missing");
    }
    let table = String::from_utf8(csv(&class, &rubric()).unwrap()).unwrap();
    assert_eq!(table.lines().count(), 5);
}

#[test]
fn a_page_shows_nobody_elses_name_or_mark() {
    let photos = vec![photo("a.jpg", Some("Fleece / Ada")), photo("b.jpg", Some("Fleece / Berta"))];
    let class = gather(Some(&roster()), photos, &rubric());
    for entry in &class.entries {
        let page = person_page(entry, &rubric(), None, None);
        for other in class.entries.iter().filter(|e| e.label != entry.label) {
            assert!(!page.contains(other.label.person().unwrap()), "{page}");
        }
        assert!(page.contains(entry.label.person().unwrap()));
    }
    let names: std::collections::BTreeSet<String> = class.entries.iter().map(file_name).collect();
    assert_eq!(names.len(), class.entries.len());
}

#[test]
fn text_of_people_is_escaped_on_pages() {
    let rows = [Label::new("<i>x</i>", Some("<script>alert(1)</script>")).unwrap()];
    let class = gather(Some(&rows), vec![photo("a.jpg", Some(&rows[0].line()))], &rubric());
    for page in [class_page(&class, &rubric()), person_page(&class.entries[0], &rubric(), None, None)] {
        assert!(!page.contains("<script>") && !page.contains("<i>"), "{page}");
        assert!(page.contains("&lt;script&gt;"));
    }
}

// Turns are bumps divided by plies (a common handspinning rule, no authoritative source): with 2 plies taken for 3 they
// are wrong by a half, so an unsure count must decide no mark.
#[test]
fn turns_are_not_marked_where_the_plies_are_unsure() {
    let mut sample = report("a.jpg").sample;
    sample.twists_per_inch = measured(6.0, 0.05);
    let standing = |sample: &crate::figures::report::Sample| {
        mark(sample, &rubric()).criteria.into_iter().find(|c| c.key == "twists_per_inch").unwrap()
    };
    assert_eq!(standing(&sample).standing, Standing::Misses);
    sample.plies = Quantity::likely(2, 0.8, Method::Combined);
    let unsure = standing(&sample);
    assert_eq!((unsure.standing, unsure.share), (Standing::NotMarked, [0.0, 1.0]));
    assert!(unsure.sentence.contains("80 % sure"), "{}", unsure.sentence);
    assert_eq!(mark(&sample, &rubric()).criteria[0].standing, Standing::Meets, "the width needs no count");
}
