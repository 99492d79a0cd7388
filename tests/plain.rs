//! What a spinner would say of a yarn: every word follows from the figures. Bounds are met on both sides.

use strandrule::figures::quantity::Interval;
use strandrule::figures::report::{Report, TwistDirection};
use strandrule::figures::{Method, Quantity, Reason};
use strandrule::measure::photo::{self, Limits};
use strandrule::measure::pipeline::{Params, Request, measure};
use strandrule::show::plain::{Units, figures, paragraph};

fn navy() -> Report {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/photos/p06-two-ply-z-navy.jpg");
    let photo = photo::read(path.as_ref(), &Limits::default()).unwrap();
    measure(&photo, &Request::default(), &Params::default()).report
}

fn known(value: f64, interval: Interval) -> Quantity<f64> {
    Quantity::with_interval(value, interval, Method::Combined, Vec::new())
}

#[test]
fn every_sentence_follows_from_the_figures() {
    let mut sample = navy().sample;
    sample.diameter_mm = known(1.5, [1.4, 1.6]);
    sample.twist_direction = Quantity::likely(TwistDirection::Z, 0.99, Method::Combined);
    sample.plies = Quantity::likely(2, 0.99, Method::Combined);
    sample.twists_per_inch = known(5.08, [4.9, 5.2]);
    let said = |sample: &_| paragraph(sample, Units::Metric);
    assert!(said(&sample).starts_with("This is a two-ply yarn, 1.50 mm thick (1.40 to 1.60)"), "{}", said(&sample));
    // Source: international inch of 1959: 5.08 turns to 2.54 cm are 2 to the centimetre, 1.5 mm are 0.059 in.
    assert!(said(&sample).contains("2.00 turns to the centimetre"), "{}", said(&sample));
    let imperial = paragraph(&sample, Units::Imperial);
    assert!(imperial.contains("0.059") && imperial.contains(" turns to the inch"), "{imperial}");
    // Source: Emery, "The Primary Structures of Fabrics" (1966), angles of twist: loose to 10, medium to 25 degrees (from
    // memory).
    for (interval, word) in [
        ([3.0, 8.0], "Z, loosely:"),
        ([15.0, 20.0], "Z, moderately:"),
        ([28.0, 33.0], "Z, firmly:"),
        ([20.0, 30.0], "Z, moderately to firmly:"),
    ] {
        sample.twist_angle_deg = known((interval[0] + interval[1]) / 2.0, interval);
        assert!(said(&sample).contains(word), "{}", said(&sample));
    }
    // The word stands only where the whole interval supports it.
    for (interval, word) in [
        ([-4.0, 9.0], "it is balanced"),
        ([-6.5, 11.5], "this photo does not tell"),
        ([11.0, 19.0], "lean 15 degrees the way the plies turn"),
        ([-19.0, -11.0], "lean 15 degrees against the plies"),
    ] {
        sample.fibre_angle_deg = known((interval[0] + interval[1]) / 2.0, interval);
        assert!(said(&sample).contains(word), "{}", said(&sample));
    }
    sample.twist_direction = Quantity::likely(TwistDirection::S, 0.8, Method::Combined);
    sample.plies = Quantity::likely(1, 0.7, Method::Combined);
    assert!(
        said(&sample).contains("probably singles") && said(&sample).contains("twisted probably S"),
        "{}",
        said(&sample)
    );
    // From memory: handspun 10 to 25 %.
    for (cv, word) in [(8.0, "as even as machine-spun"), (14.0, "ordinary for handspun"), (31.0, "uneven")] {
        sample.evenness.diameter_cv_percent = known(cv, [cv - 1.0, cv + 1.0]);
        assert!(said(&sample).contains(word), "{}", said(&sample));
    }
}

#[test]
fn what_is_not_known_is_not_said() {
    let mut sample = navy().sample;
    sample.diameter_mm = Quantity::Unanswered(Reason::NoScale);
    sample.wraps_per_inch = Quantity::Unanswered(Reason::NoScale);
    sample.twist_direction = Quantity::Unanswered(Reason::TwistNotVisible);
    sample.twist_angle_deg = Quantity::Unanswered(Reason::TwistNotVisible);
    sample.twists_per_inch = Quantity::Unanswered(Reason::TwistNotVisible);
    let said = paragraph(&sample, Units::Metric);
    assert!(said.contains("lengths are unknown") && said.contains("Which way it is twisted is not seen"), "{said}");
    assert!(!said.contains("mm thick") && !said.contains("--"), "{said}");
    for told in figures(&sample) {
        assert!(told.word.is_some() || told.metric.is_some() || told.why.is_some(), "{told:?}");
        assert!(!told.why.unwrap_or_default().contains("--"));
    }
    let mut nothing = navy().sample;
    nothing.strands = 0;
    nothing.diameter_px = Quantity::Unanswered(Reason::NoStrand);
    assert!(paragraph(&nothing, Units::Metric).contains("No yarn was found"));
}

#[test]
fn what_a_plan_lacks_is_told_without_a_command_line() {
    use strandrule::show::plain::by_hand;
    use strandrule::work::plan::PlanError;
    for (error, told) in [
        (PlanError::NoTwist, "measure a photo that shows the twist"),
        (PlanError::NotSingles(2), "; choose its singles"),
        (PlanError::NoDiameter, "measure a photo with a scale"),
        (PlanError::NoPlies, "; state its plies at its photo"),
    ] {
        let said = by_hand::text(&error.to_string());
        assert!(said.ends_with(told) && !said.contains("--"), "{said}");
    }
}
