//! Core edges: on drawn strands of exactly known width, and on photos with truth where a folder of them is named.

use strandrule::base::colour::srgb_of_linear;
use strandrule::base::raster::Raster;
use strandrule::measure::photo::{CameraFacts, Photo};
use strandrule::measure::scale::{Scale, ScaleFound};
use strandrule::measure::strand::{StrandRequest, Strands, find_strands};

/// A drawn scene: a straight strand across a card, with fibres, a soft shadow below it, noise and blur.
#[derive(Clone, Copy)]
struct Drawn {
    width_px: f64,
    /// Direction of the strand, degrees clockwise from the x axis.
    direction_deg: f64,
    /// Linear light of the yarn.
    yarn: [f64; 3],
    /// How dark the shadow is at its darkest: 1 is none.
    shadow: f64,
    /// Factor on all light.
    exposure: f64,
    /// Distance between hairs along the strand, px, on alternating sides; none where 0.
    hair_spacing_px: f64,
}

const HAIR_WIDTH_PX: f64 = 2.0;
const HAIR_LENGTH_PX: f64 = 50.0;
const SIDE: usize = 900;
const CARD: [f64; 3] = [0.72, 0.71, 0.66];

impl Drawn {
    fn photo(self) -> Photo {
        let (sin, cos) = self.direction_deg.to_radians().sin_cos();
        let middle = (SIDE as f64 - 1.0) / 2.0;
        let mut seed = 0x2545_f491_4f6c_dd1d_u64;
        let mut rgb = Raster::filled(SIDE, SIDE, [0u8; 3]);
        for y in 0..SIDE {
            for x in 0..SIDE {
                // A pixel is the mean of 3 x 3 points over twice its side: about the blur of a sharp phone picture.
                let mut sum = [0.0; 3];
                for i in 0..9 {
                    let (dx, dy) = (f64::from(i % 3 - 1) * 0.67, f64::from(i / 3 - 1) * 0.67);
                    let (u, v) = (x as f64 + dx - middle, y as f64 + dy - middle);
                    let light = self.light(u * cos + v * sin, v * cos - u * sin);
                    for c in 0..3 {
                        sum[c] += light[c] / 9.0;
                    }
                }
                let pixel = sum.map(|l| {
                    seed ^= seed << 13;
                    seed ^= seed >> 7;
                    seed ^= seed << 17;
                    let noise = (seed % 1000) as f64 / 1000.0 - 0.5;
                    srgb_of_linear(((l + 0.012 * noise) * self.exposure) as f32)
                });
                rgb.set(x, y, pixel);
            }
        }
        Photo { name: "drawn.png".to_owned(), rgb, camera: CameraFacts::default() }
    }

    /// Light at a point: along the strand, and across it from its axis.
    fn light(self, along: f64, across: f64) -> [f64; 3] {
        let half = self.width_px / 2.0;
        if across.abs() <= half {
            let round = 0.55 + 0.45 * (1.0 - (across / half).powi(2)).sqrt();
            // Fibres 2.6 px apart, on a helix, with some irregularity.
            let phase = (along + 0.9 * half * (across / half).asin()) / 2.6;
            let fibre = 1.0 + 0.3 * (phase.sin() * (0.37 * phase).sin() + 0.5 * (2.3 * phase).cos());
            return self.yarn.map(|l| (l * round * fibre).clamp(0.0, 1.0));
        }
        let hair = (along / self.hair_spacing_px).floor();
        if self.hair_spacing_px > 0.0
            && along - hair * self.hair_spacing_px < HAIR_WIDTH_PX
            && across.abs() - half < HAIR_LENGTH_PX
            && (across > 0.0) == (hair.rem_euclid(2.0) < 1.0)
        {
            return self.yarn;
        }
        let reach = if across > 0.0 { (across - half) / (0.6 * self.width_px) } else { 2.0 };
        let shade = self.shadow + (1.0 - self.shadow) * reach.clamp(0.0, 1.0);
        CARD.map(|l| l * shade)
    }

    fn found(self) -> Strands {
        find_strands(&self.photo(), &no_scale(), &StrandRequest::default())
    }

    fn mean_width(self) -> f64 {
        let strands = self.found();
        assert_eq!(strands.pieces.len(), 1, "one strand was drawn: {self:?}");
        let widths: Vec<f64> = strands.pieces[0]
            .stations
            .iter()
            .filter(|station| station.left_out.is_none())
            .map(strandrule::measure::strand::Station::width_px)
            .collect();
        assert!(widths.len() > 300, "too little was measured");
        widths.iter().sum::<f64>() / widths.len() as f64
    }
}

impl std::fmt::Debug for Drawn {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} px at {} degrees, shadow {}", self.width_px, self.direction_deg, self.shadow)
    }
}

fn no_scale() -> ScaleFound {
    ScaleFound {
        scale: Scale::Unknown(strandrule::figures::words::Reason::NoScale),
        rulers: Vec::new(),
        card_outline: None,
        cards: Vec::new(),
        print_factor: None,
        unit_against_marks: false,
        numerals_backwards: false,
    }
}

const NAVY: [f64; 3] = [0.03, 0.04, 0.1];
const RUST: [f64; 3] = [0.35, 0.1, 0.04];

/// Truth: the drawing's own width. Tolerance 3 %: the edge of a drawn fibre pattern itself wavers by half a pixel.
#[test]
fn drawn_strands_have_their_width_at_any_angle() {
    for (width_px, direction_deg, yarn, shadow) in
        [(40.0, 0.0, NAVY, 1.0), (40.0, 33.0, RUST, 0.5), (28.0, 90.0, RUST, 1.0), (60.0, -71.0, NAVY, 0.5)]
    {
        let drawn = Drawn { width_px, direction_deg, yarn, shadow, exposure: 1.0, hair_spacing_px: 0.0 };
        let measured = drawn.mean_width();
        let error = 100.0 * (measured / width_px - 1.0);
        assert!(error.abs() < 3.0, "{drawn:?}: {measured:.2} px, {error:+.1} %");
    }
}

/// A quarter turn, and half the light, change nothing but the light. Tolerance: 2 % of the width.
#[test]
fn turning_and_darkening_leave_the_width() {
    let drawn =
        Drawn { width_px: 36.0, direction_deg: 8.0, yarn: RUST, shadow: 0.6, exposure: 1.0, hair_spacing_px: 0.0 };
    let first = drawn.mean_width();
    for other in [Drawn { direction_deg: 98.0, ..drawn }, Drawn { exposure: 0.5, ..drawn }] {
        let second = other.mean_width();
        assert!((second / first - 1.0).abs() < 0.02, "{first:.2} and {second:.2} px");
    }
}

/// An empty card has no strand on it, and says so.
#[test]
fn an_empty_card_has_no_strand() {
    let strands =
        Drawn { width_px: 0.0, direction_deg: 0.0, yarn: CARD, shadow: 1.0, exposure: 1.0, hair_spacing_px: 0.0 }
            .found();
    assert!(strands.pieces.is_empty());
    assert_eq!(strands.reason, Some(strandrule::figures::words::Reason::NoStrand));
}

/// The whole folder of photos with truth: width, station by station in pixels, so without any scale.
#[test]
fn photos_with_truth() {
    let Some(folder) = std::env::var_os("STRANDRULE_PHOTOS") else {
        eprintln!("skipped: STRANDRULE_PHOTOS names no folder of photos with truth");
        return;
    };
    let mut files: Vec<_> =
        std::fs::read_dir(folder).expect("the folder can be read").map(|entry| entry.expect("entry").path()).collect();
    files.retain(|path| path.extension().is_some_and(|e| e == "jpg"));
    files.sort();
    let (mut errors, mut covered, mut missed) = (Vec::new(), 0, Vec::new());
    for path in files {
        let text = std::fs::read_to_string(path.with_extension("json")).expect("truth beside the photo");
        let truth: serde_json::Value = serde_json::from_str(&text).expect("truth is JSON");
        let kind = truth["kind"].as_str().unwrap_or("");
        if truth["expected"] != "measure" || kind.contains("wrapped") {
            continue;
        }
        let photo =
            strandrule::measure::photo::read(&path, &strandrule::measure::photo::Limits::default()).expect("photo");
        let scale = strandrule::measure::scale::find_scale(&photo, &Default::default(), &Default::default());
        let strands = find_strands(&photo, &scale, &StrandRequest::default());
        match width_error(&truth, &strands) {
            Some((error, u)) => {
                eprintln!("{:24} {:+6.2} % (u {:.2} %)", photo.name, 100.0 * error, 100.0 * u);
                covered += usize::from(error.abs() <= 1.96 * u);
                errors.push(error.abs());
            }
            None => missed.push(photo.name.clone()),
        }
    }
    assert!(!errors.is_empty(), "no photo was compared");
    errors.sort_by(f64::total_cmp);
    let median = errors[errors.len() / 2];
    eprintln!("median {:.2} %, covered {covered} of {}, missed {missed:?}", 100.0 * median, errors.len());
    assert!(missed.len() * 5 <= errors.len(), "one in five or more not found: {missed:?}");
    assert!(median < 0.06, "median error {:.2} %", 100.0 * median);
}

/// Relative error of the mean width over the stations that have truth, and its claimed standard uncertainty.
fn width_error(truth: &serde_json::Value, strands: &Strands) -> Option<(f64, f64)> {
    let (mut measured, mut true_sum, mut u, mut n) = (0.0, 0.0, 0.0, 0);
    for strand in truth["strands"].as_array()? {
        let profile = &strand["profile"];
        let list = |key: &str| profile[key].as_array().cloned().unwrap_or_default();
        let (x, y) = (list("px_display_x"), list("px_display_y"));
        let (width, scale, used) = (list("width_mm"), list("px_per_mm_across"), list("used_in_means"));
        for i in 0..x.len() {
            let (Some(x), Some(y), Some(w), Some(s)) =
                (x[i].as_f64(), y[i].as_f64(), width[i].as_f64(), scale[i].as_f64())
            else {
                continue;
            };
            if used[i] != true || w <= 0.0 {
                continue;
            }
            let near = strands
                .pieces
                .iter()
                .filter(|piece| piece.chosen)
                .flat_map(|piece| piece.stations.iter().map(move |station| (piece, station)))
                .min_by(|a, b| {
                    let d = |s: &strandrule::measure::strand::Station| (s.centre.x - x).hypot(s.centre.y - y);
                    d(a.1).total_cmp(&d(b.1))
                });
            if let Some((piece, station)) = near
                && (station.centre.x - x).hypot(station.centre.y - y) < w * s
                && station.left_out.is_none()
            {
                measured += station.width_px();
                true_sum += w * s;
                u += piece.edge_systematic_u_px;
                n += 1;
            }
        }
    }
    (n >= 20).then(|| (measured / true_sum - 1.0, u / true_sum))
}

/// Source: the definition of the hair area index, hairs times width times length over the core's area (geometry; the report's
/// hairiness is the same, per length): straight hairs normal to the core. Twice the hairs give twice the cover, and the core
/// stays as wide within 1 %.
#[test]
fn hairs_cover_what_they_cover() {
    let drawn = |hair_spacing_px| Drawn {
        width_px: 40.0,
        direction_deg: 0.0,
        yarn: RUST,
        shadow: 0.6,
        exposure: 1.0,
        hair_spacing_px,
    };
    let cover = |drawn: Drawn| {
        let strands = drawn.found();
        let all: Vec<f64> = strands.pieces[0].stations.iter().filter_map(|s| s.hair_cover_px).collect();
        assert!(all.len() > 300, "too little was looked at");
        all.iter().sum::<f64>() / all.len() as f64
    };
    let bare = cover(drawn(0.0));
    assert!(bare < 0.1, "no hairs, yet {bare:.2} px");
    for spacing in [60.0, 30.0] {
        let measured = cover(drawn(spacing));
        let expected = HAIR_WIDTH_PX * HAIR_LENGTH_PX / spacing;
        let error = measured / expected - 1.0;
        assert!(error.abs() < 0.25, "{spacing} px between hairs: {measured:.2} px for {expected:.2} px");
    }
    let (with, without) = (drawn(30.0).mean_width(), drawn(0.0).mean_width());
    assert!((with / without - 1.0).abs() < 0.01, "{without:.2} px become {with:.2} px");
}
