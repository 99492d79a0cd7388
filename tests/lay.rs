//! Strands side by side: skeins and wraps, on pictures drawn here with exact truth, and what must not be taken for them.
//!
//! Tolerances: centre lines within a tenth of the width (the creases beside them are found to a pixel or two of 36);
//! counts exactly; the distance from the first to the last centre within 1 % (the outermost wraps have no crease).

use std::path::PathBuf;

use strandrule::base::geometry::{Image, Point};
use strandrule::base::raster::Raster;
use strandrule::figures::quantity::Quantity;
use strandrule::figures::report::TwistDirection;
use strandrule::figures::words::Method;
use strandrule::measure::photo::{CameraFacts, Limits, Photo, read};
use strandrule::measure::pipeline::{Params, Request, measure};
use strandrule::measure::scale::{ScaleFound, ScaleParams, ScaleRequest, StatedScale, find_scale};
use strandrule::measure::strand::{Arrangement, StrandRequest, Strands, find_strands};

/// A number between 0 and 1 that depends on the place only.
fn hash(x: usize, y: usize) -> f64 {
    let mut h = (x as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ (y as u64).wrapping_mul(0xc2b2_ae3d_27d4_eb4f);
    h ^= h >> 29;
    h = h.wrapping_mul(0xbf58_476d_1ce4_e5b9);
    h ^= h >> 32;
    (h % 10_000) as f64 / 10_000.0
}

/// A picture of the light (0 to 1) and hue that `paint` gives, with a little grain.
fn drawn(width: usize, height: usize, paint: impl Fn(f64, f64) -> [f64; 3]) -> Photo {
    let mut rgb = Raster::filled(width, height, [0u8; 3]);
    for y in 0..height {
        for x in 0..width {
            let grain = 8.0 * (hash(x, y) - 0.5);
            let colour = paint(x as f64, y as f64).map(|c| (255.0 * c + grain).clamp(0.0, 255.0) as u8);
            rgb.set(x, y, colour);
        }
    }
    Photo { name: "drawn".to_owned(), rgb, camera: CameraFacts::default() }
}

fn mirrored(photo: &Photo) -> Photo {
    let mut rgb = photo.rgb.clone();
    for y in 0..rgb.height() {
        rgb.row_mut(y).reverse();
    }
    Photo { rgb, ..photo.clone() }
}

/// A stated scale: no ruler is looked for, and where strands lie does not depend on it.
fn any_scale(photo: &Photo) -> ScaleFound {
    let stated = Some(StatedScale::DotsPerInch(500.0));
    find_scale(photo, &ScaleRequest { stated, ..ScaleRequest::default() }, &ScaleParams::default())
}

fn found(photo: &Photo) -> Strands {
    let scale = any_scale(photo);
    find_strands(photo, &scale, &StrandRequest::default())
}

/// Light of a round strand at `x` from its axis (radius `r`) and `z` along it: `lines` lines a turn wind with `turn` px
/// to the turn. On an upright strand, y down, `sense` 1 is Z: the line phi = -2 pi z / turn moves left on its way down.
fn strand_light(x: f64, z: f64, r: f64, turn: f64, lines: f64, sense: f64, phase: f64) -> f64 {
    let phi = (x / r).clamp(-1.0, 1.0).asin();
    let around = phi + sense * std::f64::consts::TAU * z / turn + phase;
    phi.cos().powf(0.7) * (0.6 + 0.4 * (0.5 * lines * around).sin().abs()) * (0.95 + 0.05 * (7.0 * around).sin())
}

const SKEIN_WIDTH: f64 = 36.0;
const SKEIN_RADIUS: f64 = 17.0;
const SKEIN_LEAN: f64 = 0.35;

/// Two-ply strands side by side over the whole picture, their axes leaning by `SKEIN_LEAN`, 2 px of shade between them.
fn drawn_skein(sense: f64) -> Photo {
    let (s, c) = SKEIN_LEAN.sin_cos();
    drawn(900, 700, move |x, y| {
        let (u, z) = (x * c + y * s, y * c - x * s);
        let i = (u / SKEIN_WIDTH).floor();
        let across = u - (i + 0.5) * SKEIN_WIDTH;
        let light = if across.abs() > SKEIN_RADIUS {
            0.08
        } else {
            0.08 + 0.7 * strand_light(across, z, SKEIN_RADIUS, 120.0, 2.0, sense, 2.4 * i)
        };
        [light, 0.85 * light, 0.6 * light]
    })
}

#[test]
fn drawn_skein_is_followed_strand_by_strand() {
    let strands = found(&drawn_skein(1.0));
    assert_eq!(strands.arrangement, Arrangement::Skein);
    assert!(strands.wraps.is_none());
    assert!(strands.pieces.len() >= 8, "{} pieces", strands.pieces.len());
    let (s, c) = SKEIN_LEAN.sin_cos();
    let mut checked = 0;
    for piece in &strands.pieces {
        for station in &piece.stations {
            let u = station.centre.x * c + station.centre.y * s;
            let off = (u / SKEIN_WIDTH).fract() - 0.5;
            assert!(off.abs() < 0.1, "piece {}: {off} widths off", piece.number);
            checked += 1;
        }
        let width = piece.stations.iter().map(|s| s.width_px()).sum::<f64>() / piece.stations.len() as f64;
        let u = piece.edge_systematic_u_px;
        assert!(u < 0.1 * SKEIN_WIDTH, "piece {}: u {u}", piece.number);
        assert!((width - 2.0 * SKEIN_RADIUS).abs() < 2.0 * u.max(0.5), "piece {}: {width} px, u {u}", piece.number);
        // Along the axis: (sin, cos) of the lean turned, either way round.
        let (first, last) = (piece.stations[0].centre, piece.stations[piece.stations.len() - 1].centre);
        let along = (last - first).unit().expect("a piece has length");
        assert!(along.dot(Point::<Image>::new(-s, c)).abs() > 0.999, "piece {}", piece.number);
    }
    assert!(checked > 1000);
}

#[test]
fn skein_shows_its_direction_and_the_mirrored_one_the_other() {
    for (sense, direction, other) in
        [(1.0, TwistDirection::Z, TwistDirection::S), (-1.0, TwistDirection::S, TwistDirection::Z)]
    {
        let photo = drawn_skein(sense);
        let one = measure(&photo, &Request::default(), &Params::default());
        assert_eq!(one.report.sample.twist_direction.value().copied(), Some(direction));
        // No scale, no length.
        assert!(one.report.sample.diameter_mm.value().is_none());
        let two = measure(&mirrored(&photo), &Request::default(), &Params::default());
        assert_eq!(two.report.sample.twist_direction.value().copied(), Some(other));
    }
}

#[test]
fn region_of_a_skein_is_enough() {
    let photo = drawn_skein(1.0);
    let region = strandrule::base::geometry::Region { min: Point::new(200.0, 150.0), max: Point::new(700.0, 600.0) };
    let scale = any_scale(&photo);
    let request = StrandRequest { region: Some(region), ..StrandRequest::default() };
    let strands = find_strands(&photo, &scale, &request);
    assert_eq!(strands.arrangement, Arrangement::Skein);
    assert!(!strands.pieces.is_empty());
    for station in strands.pieces.iter().flat_map(|p| &p.stations) {
        assert!(region.contains(station.centre));
    }
}

/// Singles wound on a pale strip that lies on a wooden table, ticks along the strip's lower edge.
fn drawn_wraps(count: usize, pitch: f64, sense: f64) -> Photo {
    let block = count as f64 * pitch;
    let width = (block + 500.0).max(900.0);
    let left = (width - block) / 2.0;
    drawn(width as usize, 700, move |x, y| {
        let i = ((x - left) / pitch).floor();
        let across = x - left - (i + 0.5) * pitch;
        let radius = 0.48 * pitch;
        if (130.0..570.0).contains(&y) && i >= 0.0 && i < count as f64 {
            if across.abs() > radius {
                return [0.12, 0.08, 0.08];
            }
            let light = 0.1 + 0.6 * strand_light(across, y, radius, 3.2 * pitch, 6.0, sense, 1.7 * i);
            return [light, 0.6 * light, 0.65 * light];
        }
        if (150.0..550.0).contains(&y) {
            let tick = y > 500.0 && (x % 20.0) < 2.0;
            return if tick { [0.1, 0.1, 0.1] } else { [0.88, 0.88, 0.84] };
        }
        let grain = 0.55 + 0.04 * (0.23 * x + 0.9 * y).sin() + 0.03 * (0.05 * x + 0.31 * y).sin();
        [grain, 0.8 * grain, 0.6 * grain]
    })
}

#[test]
fn drawn_wraps_are_counted() {
    for (count, pitch) in [(5, 60.0), (9, 31.0), (13, 40.0), (24, 22.0), (37, 15.0)] {
        let strands = found(&drawn_wraps(count, pitch, 1.0));
        assert_eq!(strands.arrangement, Arrangement::Wraps, "{count} wraps {pitch} px apart");
        let wraps = strands.wraps.expect("wraps");
        assert_eq!(wraps.centres.len(), count, "{pitch} px apart");
        let (first, last) = (wraps.centres[0], wraps.centres[count - 1]);
        let truth = (count - 1) as f64 * pitch;
        let distance = first.distance(last);
        assert!((distance - truth).abs() < (0.01 * truth).max(1.0), "{count} x {pitch}: {distance} for {truth}");
        assert!((distance - truth).abs() < 3.0 * wraps.u_px, "{count} x {pitch}: u {}", wraps.u_px);
        assert!(strands.pieces.len() * 2 > count);
    }
}

// Source: wraps per inch counted between marks, (wraps - 1) over the distance from first to last centre in inches;
// 12 wraps whose first and last centres are 25.4 mm apart make 11. Common practice of wrapping a ruler, no source.
#[test]
fn twelve_wraps_in_an_inch_between_centres_are_eleven_per_inch() {
    let dots_per_inch = 500.0;
    let photo = drawn_wraps(12, dots_per_inch / 11.0, -1.0);
    let mut request = Request::default();
    request.scale.stated = Some(StatedScale::DotsPerInch(dots_per_inch));
    let report = measure(&photo, &request, &Params::default()).report;
    let wraps = &report.sample.wraps_per_inch;
    let value = wraps.value().copied().expect("wraps per inch");
    assert!((value - 11.0).abs() < 0.11, "{value}");
    assert!(matches!(wraps, Quantity::Measured { method: Method::WrapsCounted, .. }));
    let [low, high] = wraps.interval95().expect("interval");
    assert!(low < 11.0 && 11.0 < high, "{low} to {high}");
    assert_eq!(report.sample.twist_direction.value().copied(), Some(TwistDirection::S));
}

#[test]
fn what_is_no_yarn_is_neither_skein_nor_wraps() {
    let tau = std::f64::consts::TAU;
    let grey = |v: f64| [v, v, v];
    let pictures: [(&str, Photo); 9] = [
        ("noise", drawn(800, 600, |x, y| grey(hash(x as usize + 7, y as usize)))),
        ("stripes", drawn(800, 600, move |x, y| grey(0.5 + 0.3 * (tau * (0.9 * x + 0.3 * y) / 30.0).sin()))),
        (
            "checkerboard",
            drawn(800, 600, |x, y| grey(if ((x / 25.0) as i32 + (y / 25.0) as i32) % 2 == 0 { 0.8 } else { 0.2 })),
        ),
        (
            "gingham",
            drawn(800, 600, |x, y| {
                let dark =
                    f64::from(u8::from((x / 20.0) as i32 % 2 == 0)) + f64::from(u8::from((y / 20.0) as i32 % 2 == 0));
                grey(0.9 - 0.35 * dark)
            }),
        ),
        (
            "fence",
            drawn(800, 600, move |x, y| {
                let in_board = x % 40.0;
                let grain = 0.05 * (tau * in_board / 7.0 + 0.01 * y).sin();
                grey(if in_board < 5.0 { 0.08 } else { 0.6 + grain })
            }),
        ),
        (
            "comb",
            drawn(800, 600, |x, y| {
                let tooth = (250.0..550.0).contains(&x) && (150.0..450.0).contains(&y) && x % 16.0 < 10.0;
                if tooth { [0.3, 0.2, 0.15] } else { [0.9, 0.9, 0.88] }
            }),
        ),
        (
            "ticks",
            drawn(800, 600, |x, y| {
                let tick = (300.0..420.0).contains(&y) && (100.0..700.0).contains(&x) && x % 20.0 < 3.0;
                grey(if tick { 0.1 } else { 0.9 })
            }),
        ),
        (
            "round bars without twist",
            drawn(900, 700, |x, y| {
                let bar = (250.0..650.0).contains(&x) && (150.0..550.0).contains(&y);
                let across = (x % 40.0) / 20.0 - 1.0;
                if bar { [0.1 + 0.6 * (1.0 - across * across).sqrt(), 0.3, 0.3] } else { [0.9, 0.9, 0.88] }
            }),
        ),
        (
            "wood",
            drawn(800, 600, move |x, y| {
                let rings =
                    (0.08 * x + 0.6 * y + 6.0 * (0.01 * x).sin()).sin() * 0.12 + (0.31 * y + 0.02 * x).sin() * 0.1;
                [0.5 + rings, 0.38 + rings, 0.25 + rings]
            }),
        ),
    ];
    for (name, photo) in &pictures {
        let strands = found(photo);
        assert!(strands.wraps.is_none(), "{name} taken for wraps");
        let skein = strands.arrangement == Arrangement::Skein && !strands.pieces.is_empty();
        assert!(!skein, "{name} taken for a skein");
        assert!(strands.reason.is_some() || strands.arrangement == Arrangement::Separate, "{name}");
    }
}

fn folder(variable: &str) -> Option<PathBuf> {
    let folder = std::env::var_os(variable).map(PathBuf::from);
    if folder.is_none() {
        eprintln!("skipped: {variable} names no folder");
    }
    folder
}

/// Photographs of skeins, the direction read by eye. Wherever a direction is given it is the right one.
#[test]
fn photographed_skeins_twist_as_the_eye_reads() {
    let Some(folder) = folder("STRANDRULE_REAL") else { return };
    let mut answered = 0;
    let mut seen = 0;
    for entry in std::fs::read_dir(&folder).expect("the folder can be read") {
        let path = entry.expect("an entry").path();
        let name = path.file_name().expect("a name").to_string_lossy().into_owned();
        let by_eye = match &name[..3] {
            "y01" | "y02" | "y03" | "y04" | "y05" | "y06" | "y08" => Some(TwistDirection::S),
            "y07" | "n01" => None,
            _ => continue,
        };
        seen += 1;
        let photo = read(&path, &Limits::default()).expect("a picture");
        let report = measure(&photo, &Request::default(), &Params::default()).report;
        let direction = report.sample.twist_direction.value().copied();
        if by_eye.is_none() || direction.is_some() {
            assert_eq!(direction, by_eye, "{name}");
        }
        answered += usize::from(by_eye.is_some() && direction.is_some());
    }
    assert_eq!(seen, 9);
    assert!(answered >= 5, "{answered} of 7 answered");
}

/// Ray-traced photos: wraps where the truth has wraps, and nowhere else.
#[test]
fn wraps_are_found_where_they_are_and_nowhere_else() {
    let Some(folder) = folder("STRANDRULE_PHOTOS") else { return };
    let mut paths: Vec<PathBuf> = std::fs::read_dir(&folder)
        .expect("the folder can be read")
        .map(|e| e.expect("an entry").path())
        .filter(|p| p.extension().is_some_and(|e| e == "json"))
        .collect();
    paths.sort();
    let (mut with, mut without) = (0, 0);
    for path in paths {
        let truth: serde_json::Value =
            serde_json::from_str(&std::fs::read_to_string(&path).expect("text")).expect("JSON");
        let photo = read(&path.with_extension("jpg"), &Limits::default()).expect("a picture");
        let strands = found(&photo);
        match truth["yarn"]["wrap_count"].as_u64() {
            Some(count) => {
                let wraps = strands.wraps.expect("wraps");
                assert_eq!(wraps.centres.len() as u64, count, "{}", path.display());
                with += 1;
            }
            None => {
                assert_eq!(strands.arrangement, Arrangement::Separate, "{}", path.display());
                without += 1;
            }
        }
    }
    assert!(with >= 1 && without >= 20, "{with} with, {without} without");
}
