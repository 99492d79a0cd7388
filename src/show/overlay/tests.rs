//! Overlays of evidence that was made up, so that every mark has a known place.

use super::*;
use crate::base::geometry::Region;
use crate::figures::report::TwistDirection;
use crate::figures::{Method, Reason};
use crate::measure::photo::CameraFacts;
use crate::measure::scale::{
    KnownScale, PlaneMap, RulerSeen, RulerUnit, Scale, ScaleFound, ScaleRequest, StatedScale, TickSeen,
};
use crate::measure::strand::{Edge, LeftOutWhy, Refused, Station, Strand, StrandRequest, Strands, Strip, Wraps};
use crate::measure::twist::{Estimate, StrandTwist, Twist};

const WIDTH: usize = 780;
const HEIGHT: usize = 400;
/// px of the page per px of this photo: 1560 / 780.
const SCALE: f64 = 2.0;
const GROUND: [u8; 3] = [90, 120, 60];

fn photo() -> Photo {
    Photo { name: "drawn.png".to_owned(), rgb: Raster::filled(WIDTH, HEIGHT, GROUND), camera: CameraFacts::default() }
}

/// A straight piece along row `y`, 40 px wide; its first 50 px hang off the card.
fn strand(number: u32, y: f64, chosen: bool) -> Strand {
    let stations: Vec<Station> = (0..600)
        .map(|i| Station {
            centre: Point::new(100.0 + f64::from(i), y),
            normal: Point::new(0.0, 1.0),
            left: Edge { offset_px: -20.0, u_px: 0.2 },
            right: Edge { offset_px: 20.0, u_px: 0.2 },
            hair_cover_px: Some(0.1),
            left_out: (i < 50).then_some(LeftOutWhy::OffCard),
        })
        .collect();
    let strip = Strip::straighten(&photo().rgb, &stations, 1.0, 50.0);
    Strand {
        number,
        chosen,
        step_px: 1.0,
        stations,
        strip,
        edge_systematic_u_px: 0.2,
        blur_px: 0.8,
        kinks: Some(vec![Point::new(650.0, y)]),
        beside: false,
        eye: None,
    }
}

fn evidence() -> Evidence {
    let map = PlaneMap::stated(StatedScale::DotsPerInch(254.0), (390.0, 200.0)).expect("a scale");
    let ticks = (0..40)
        .map(|i| {
            let x = 100.0 + 10.0 * f64::from(i);
            TickSeen {
                foot: Point::new(x, 380.0),
                tip: Point::new(x, 360.0),
                place_mm: (i != 7).then_some(f64::from(i)),
            }
        })
        .collect();
    let area = |top: f64| vec![Point::new(90.0, top), Point::new(500.0, top), Point::new(500.0, top + 30.0)];
    let rulers = vec![
        RulerSeen { number: 1, chosen: true, unit: Some(RulerUnit::Mm), ticks, area: area(355.0) },
        RulerSeen { number: 2, chosen: false, unit: None, ticks: Vec::new(), area: area(5.0) },
    ];
    let twist = StrandTwist {
        strand: 1,
        angle_rad: (0..600).map(|i| (i > 60).then_some(0.5)).collect(),
        turns: (0..600).map(|i| (i > 60).then_some(f64::from(i) / 200.0)).collect(),
        mean_angle_rad: Some(Estimate { value: 0.5, u: 0.01 }),
        turns_relative_u: 0.01,
        bumps: (1..6).map(|i| Point::new(f64::from(i) * 100.0, 30.0)).collect(),
        fibre_angle_rad: Err(Reason::FibresNotVisible),
        ply_angles_rad: None,
    };
    Evidence {
        scale: ScaleFound {
            scale: Scale::Known(Box::new(KnownScale { method: Method::RulerMm, map, tilt_deg: Some((2.0, 1.0)) })),
            rulers,
            cards: Vec::new(),
            print_factor: None,
            card_outline: Some(vec![Point::new(20.0, 20.0), Point::new(760.0, 20.0), Point::new(760.0, 390.0)]),
            unit_against_marks: false,
            numerals_backwards: false,
        },
        strands: Strands {
            arrangement: Arrangement::Separate,
            pieces: vec![strand(1, 150.0, true), strand(2, 260.0, false)],
            wraps: Some(Wraps {
                centres: vec![Point::new(700.0, 60.0)],
                along: Point::new(0.0, 1.0),
                u_px: 0.5,
                on_ruler: false,
            }),
            refused: vec![Refused {
                outline: vec![Point::new(600.0, 300.0), Point::new(650.0, 320.0)],
                why: "a pencil",
            }],
            pointed_at: false,
            coarse: 0.0,
            reason: None,
            map: None,
        },
        twist: Twist {
            direction: Ok((TwistDirection::S, 0.99)),
            plies: Ok((2, 0.95)),
            plies_stated: false,
            plies_seen: None,
            seen: true,
            angle_reason: Reason::TwistNotVisible,
            turns_reason: Reason::TwistNotVisible,
            pieces: vec![twist],
            readings: Vec::new(),
        },
    }
}

fn request() -> Request {
    let region = Region { min: Point::new(5.0, 5.0), max: Point::new(770.0, 395.0) };
    Request { strand: StrandRequest { region: Some(region), ..Default::default() }, ..Default::default() }
}

fn drawn(photo: &Photo, request: &Request, evidence: &Evidence) -> image::RgbImage {
    let report = crate::measure::pipeline::report(photo, request, evidence);
    let bytes = png(photo, request, &report, evidence).expect("an overlay");
    image::load_from_memory(&bytes).expect("a PNG").into_rgb8()
}

/// Colour of the page where a place of the photo is shown.
fn seen(page: &image::RgbImage, x: f64, y: f64) -> [u8; 3] {
    let place = |v: f64, from: f64| (from + (v + 0.5) * SCALE).floor() as u32;
    page.get_pixel(place(x, MARGIN), place(y, HEADER)).0
}

/// A line thinner than two px mixes with its casing; every two colours of the palette differ by more in some channel.
fn near(colour: [u8; 3], wanted: [u8; 3]) -> bool {
    colour.iter().zip(wanted).all(|(a, b)| a.abs_diff(b) < 60)
}

#[test]
fn marks_stand_where_the_evidence_says() {
    let page = drawn(&photo(), &request(), &evidence());
    assert_eq!(page.width(), PAGE_WIDTH);
    let ink = |meaning: Meaning| {
        let ink = meaning.look().ink;
        [ink.0, ink.1, ink.2]
    };
    for x in [300.0, 420.0, 555.0] {
        for edge in [130.0, 170.0] {
            assert!(near(seen(&page, x, edge), ink(Meaning::Edge)), "edge at {x}, {edge}: {:?}", seen(&page, x, edge));
        }
        assert_eq!(seen(&page, x, 140.0), GROUND, "between edge and centre line nothing is drawn");
        assert_eq!(seen(&page, x, 200.0), GROUND);
    }
    assert!(near(seen(&page, 230.0, 370.0), ink(Meaning::Tick)), "a used mark: {:?}", seen(&page, 230.0, 370.0));
    assert!(near(seen(&page, 170.0, 370.0), ink(Meaning::OddTick)), "one left out: {:?}", seen(&page, 170.0, 370.0));
    assert!(near(seen(&page, 700.0, 60.0), ink(Meaning::Wrap)), "a wrap");
}

#[test]
fn every_meaning_can_be_reached() {
    let evidence = evidence();
    let mut request = request();
    request.scale = ScaleRequest {
        stated: Some(StatedScale::TwoPoints {
            from: Point::new(10.0, 10.0),
            to: Point::new(60.0, 10.0),
            distance_mm: 5.0,
        }),
        ..Default::default()
    };
    let mut report = crate::measure::pipeline::report(&photo(), &request, &evidence);
    report.sample.evenness.faults = Some(crate::figures::report::Faults {
        searched_mm: 50.0,
        list: vec![crate::figures::report::Fault {
            kind: crate::figures::report::FaultKind::Thick,
            strand: 1,
            start_mm: 20.0,
            length_mm: 5.0,
            deviation_percent: 45.0,
        }],
    });
    let marks = marks::on_photo(&request, &report, &evidence, 1.0 / SCALE);
    let panel = Panel::new(&evidence.strands.pieces[0], &report, &evidence).expect("a measured piece");
    let mut met: Vec<Meaning> = marks.iter().map(|m| m.meaning).chain(panel.meanings()).collect();
    met.sort_unstable();
    met.dedup();
    assert_eq!(met, Meaning::ALL);
    let words: Vec<&str> = marks
        .iter()
        .filter_map(|m| match &m.shape {
            Shape::Word(_, word) => Some(word.as_str()),
            _ => None,
        })
        .collect();
    for word in ["off-card", "a pencil", "thick +45 %", "+1 cm", "5 mm, stated"] {
        assert!(words.contains(&word), "{word} in {words:?}");
    }
}

#[test]
fn nothing_found_is_a_picture_too() {
    let nothing = Evidence {
        scale: ScaleFound {
            scale: Scale::Unknown(Reason::NoScale),
            rulers: Vec::new(),
            cards: Vec::new(),
            print_factor: None,
            card_outline: None,
            unit_against_marks: false,
            numerals_backwards: false,
        },
        strands: Strands {
            arrangement: Arrangement::Separate,
            pieces: Vec::new(),
            wraps: None,
            refused: Vec::new(),
            pointed_at: false,
            coarse: 0.0,
            reason: Some(Reason::NoStrand),
            map: None,
        },
        twist: Twist { pieces: Vec::new(), direction: Err(Reason::NoStrand), ..evidence().twist },
    };
    let page = drawn(&photo(), &Request::default(), &nothing);
    assert_eq!(seen(&page, 300.0, 130.0), GROUND);
    for (width, height) in [(1, 1), (1, 5000), (5000, 1), (40, 30)] {
        let tiny = Photo { rgb: Raster::filled(width, height, GROUND), ..photo() };
        assert_eq!(drawn(&tiny, &Request::default(), &nothing).width(), PAGE_WIDTH);
    }
}

/// Evidence that no stage should give still gives a picture or an error, never a panic.
#[test]
fn absurd_evidence_does_no_harm() {
    let mut absurd = evidence();
    for strand in &mut absurd.strands.pieces {
        for (i, station) in strand.stations.iter_mut().enumerate() {
            match i % 4 {
                0 => station.centre = Point::new(f64::NAN, f64::INFINITY),
                1 => station.left.offset_px = -1e300,
                2 => station.right.offset_px = f64::NAN,
                _ => station.normal = Point::new(0.0, 0.0),
            }
        }
    }
    absurd.scale.card_outline = Some(vec![Point::new(f64::NAN, 0.0), Point::new(1e18, -1e18)]);
    absurd.strands.refused.push(Refused { outline: Vec::new(), why: "" });
    if let Some(twist) = absurd.twist.pieces.first_mut() {
        twist.angle_rad = vec![Some(f64::NAN); 10_000];
        twist.bumps.push(Point::new(f64::NAN, -1e9));
    }
    drawn(&photo(), &Request::default(), &absurd);
    let no_pixels = Photo { rgb: Raster::filled(0, 0, GROUND), ..photo() };
    let report = crate::measure::pipeline::report(&photo(), &Request::default(), &absurd);
    assert!(png(&no_pixels, &Request::default(), &report, &absurd).is_err());
}

#[test]
fn long_names_are_shortened_in_the_middle() {
    assert_eq!(shortened("abcdefgh", 4), "ab\u{2026}gh");
    assert_eq!(shortened("abcd", 4), "abcd");
}
