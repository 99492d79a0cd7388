//! What is in the rendered pictures, by counting pixels, against the truth written beside them.

use approx::assert_relative_eq;
use strandrule::base::raster::Raster;
use strandrule::measure::photo::{Limits, decode};
use strandrule::synth::{
    Camera, Face, FaultSpec, HairSpec, PlySpec, Scene, Shot, Turning, YarnSpec, encode, random_scene, shoot, shoot_jpeg,
};

fn green(picture: &Raster<[u8; 3]>, x: usize, y: usize) -> f64 {
    // Undo the sRGB curve by its formula (IEC 61966-2-1), not by the table that the renderer uses.
    let v = f64::from(picture.get(x, y).expect("inside")[1]) / 255.0;
    if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
}

/// Width of black yarn across a column, px: whole dark pixels, and at either edge the share of the mixed one, against
/// the ground right beside it.
fn width_px(picture: &Raster<[u8; 3]>, x: usize, middle: f64) -> f64 {
    let middle = middle.round() as usize;
    let edge = |step: i64| {
        // From the middle outwards: the first pixel that is no longer dark is mixed, the next but one is ground.
        let mut y = middle as i64;
        while green(picture, x, y as usize) < 0.02 {
            y += step;
        }
        let ground = green(picture, x, (y + 2 * step) as usize);
        let mixed: f64 = (0..2).map(|k| 1.0 - (green(picture, x, (y + k * step) as usize) / ground).min(1.0)).sum();
        (y - middle as i64).abs() as f64 - 0.5 + mixed
    };
    edge(1) + edge(-1)
}

/// Silhouettes in the picture agree with the truth to 0.5 %: a pixel is 1/45 of the width, and its nine samples place
/// an edge to a fifth of a pixel at worst, far better on average.
#[test]
fn silhouettes_are_as_wide_as_the_truth_says() {
    for (plies, relief) in [(1, 0.0), (2, 0.0), (3, 0.02), (4, 0.0)] {
        let mut yarn = YarnSpec::even(plies, Turning::Z, 1.5, 25.0);
        yarn.relief = relief;
        yarn.plies.iter_mut().for_each(|p| p.colour = [0.0; 3]);
        let scene = Scene::plain("silhouette", Some(yarn));
        let shot = shoot(&scene);
        let strand = &shot.truth.strands[0];
        let p = &strand.profile;
        let (mut seen, mut told, mut n) = (0.0, 0.0, 0);
        for i in 0..p.s_mm.len() {
            if p.used_in_means[i] && p.px_x[i] > 20.0 && p.px_x[i] < 1580.0 {
                let x = p.px_x[i].round() as usize;
                // Truth at the station, picture at the nearest column: half a column is a 1/150 of a turn.
                seen += width_px(&shot.picture, x, p.px_y[i]) / p.px_per_mm_across[i];
                told += p.width_mm[i];
                n += 1;
            }
        }
        assert!(n > 200, "{n} stations");
        assert_relative_eq!(seen / told, 1.0, max_relative = 0.005);
    }
}

/// On a strand that runs from left to right, lines of Z fall and lines of S rise: the strand turned upright by a
/// quarter turn anticlockwise shows the letters' middle strokes (ISO 2).
#[test]
fn z_falls_to_the_right_on_a_level_strand_and_s_rises() {
    for (turning, sense) in [(Turning::Z, 1.0), (Turning::S, -1.0)] {
        for plies in 1..=3 {
            let mut yarn = YarnSpec::even(plies, turning, 2.0, 30.0);
            yarn.fibre_lean_deg = 30.0;
            let mut scene = Scene::plain("sense", Some(yarn));
            scene.camera.target = [0.0, 0.0];
            let shot = shoot(&scene);
            let shift = shift_across(&shot.picture, 600, 8);
            assert!(shift * sense > 2.0, "{plies} plies {turning:?}: lines move by {shift} px over 16 rows");
        }
    }
}

/// How far the pattern `half` rows below `middle` lies to the right of the one as far above, px: the best of all
/// shifts up to 70 px by correlation.
fn shift_across(picture: &Raster<[u8; 3]>, middle: usize, half: usize) -> f64 {
    let row = |y: usize| (100..1500).map(|x| green(picture, x, y)).collect::<Vec<_>>();
    let (above, below) = (row(middle - half), row(middle + half));
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let (ma, mb) = (mean(&above), mean(&below));
    let score = |shift: i64| {
        (70..above.len() as i64 - 70)
            .map(|i| (above[i as usize] - ma) * (below[(i + shift) as usize] - mb))
            .sum::<f64>()
    };
    let best = (-70..=70i64).max_by(|a, b| score(*a).total_cmp(&score(*b))).unwrap_or(0);
    // A parabola through the best and its neighbours.
    let (a, b, c) = (score(best - 1), score(best), score(best + 1));
    best as f64 + 0.5 * (a - c) / (a - 2.0 * b + c)
}

/// Source: the unrolled cylinder, x = R sin(phi): fibres at the angle `a` to the axis move along it by
/// 2 R asin(h / R) / tan(a) between the rows h above and below the middle. The step of rows is whole pixels, and the
/// fibres' own texture moves the best shift by some tenths of a pixel: 2 degrees.
#[test]
fn fibres_of_singles_run_at_the_true_angle() {
    for angle in [20.0f64, 30.0, 42.0] {
        let yarn = YarnSpec::even(1, Turning::S, 2.4, angle);
        let shot = shoot(&Scene::plain("fibres", Some(yarn)));
        let strand = &shot.truth.strands[0];
        let radius = 0.5 * strand.width_mm.mean * strand.px_per_mm_across_at_axis;
        let middle = strand.profile.px_y[150];
        assert!((middle - 599.5).abs() < 0.6, "the strand runs through the middle: {middle}");
        let half = 9.0;
        let shift = shift_across(&shot.picture, 600, 9);
        let seen = (2.0 * radius * (half / radius).asin() / shift.abs()).atan().to_degrees();
        assert!((seen - angle).abs() < 2.0, "{angle} degrees, seen {seen}");
    }
}

/// Two colours change places once a turn: black runs along the middle row, counted between first and last start,
/// within 1 % (a start is placed to about a pixel in 900).
#[test]
fn colours_of_a_plied_strand_repeat_once_a_turn() {
    let mut yarn = YarnSpec::even(2, Turning::Z, 1.6, 28.0);
    yarn.plies[1] = PlySpec { relative_radius: 1.0, colour: [0.01; 3] };
    let shot = shoot(&Scene::plain("turns", Some(yarn)));
    let dark: Vec<bool> = (0..1600).map(|x| green(&shot.picture, x, 600) < 0.04).collect();
    let starts: Vec<usize> = (1..1600).filter(|x| dark[*x] && !dark[x - 1]).collect();
    // Fibres and grooves break a run here and there: starts within a third of a turn of the last one are no new turn.
    let strand = &shot.truth.strands[0];
    let pitch_px = 25.4 / strand.tpi_mean * strand.px_per_mm_along_at_axis;
    let mut turns: Vec<usize> = Vec::new();
    for s in starts {
        if turns.last().is_none_or(|last| (s - last) as f64 > 0.55 * pitch_px) {
            turns.push(s);
        }
    }
    let seen = (turns[turns.len() - 1] - turns[0]) as f64 / (turns.len() - 1) as f64;
    assert!(turns.len() > 6);
    assert_relative_eq!(seen, pitch_px, max_relative = 0.01);
}

/// Ticks are where the camera sees their places on the card, at the true spacing.
#[test]
fn ticks_are_where_the_camera_sees_them() {
    let mut scene = Scene::plain("ticks", None);
    scene.camera.target = [0.0, -25.0];
    scene.camera.tilt_deg = 12.0;
    scene.camera.tilt_azimuth_deg = 70.0;
    scene.camera.k1 = -0.05;
    let shot = shoot(&scene);
    let camera = Camera::new(&scene.camera);
    let mut tried = 0;
    for mm in 30..=80 {
        let at = [f64::from(mm) + 5.0 - 60.0, 1.6 - 35.0];
        let seen = |dx: f64| {
            let [x, y, _] = camera.project(&nalgebra::Vector3::new(at[0] + dx, at[1], 0.0)).expect("in front");
            let (x, y) = (x.round(), y.round());
            (x >= 0.0 && y >= 0.0 && x < 1600.0 && y < 1200.0).then(|| green(&shot.picture, x as usize, y as usize))
        };
        if let (Some(tick), Some(left), Some(right)) = (seen(0.0), seen(-0.5), seen(0.5)) {
            assert!(tick < 0.35 * left && tick < 0.35 * right, "{mm} mm: {left} {tick} {right}");
            tried += 1;
        }
    }
    assert!(tried > 35, "{tried} ticks in the picture");
}

/// The same scene, the same bytes: twice, and on one thread or several.
#[test]
fn a_scene_gives_the_same_bytes_on_any_number_of_threads() {
    let scene = random_scene(4).reduced(640);
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool");
        pool.install(|| shoot_jpeg(&scene)).expect("encodes")
    };
    let (one, several) = (on(1), on(3));
    assert!(one.0 == several.0, "pictures differ");
    assert_eq!(one.1, several.1);
    assert_eq!(serde_json::to_string(&one.1).expect("JSON"), serde_json::to_string(&on(2).1).expect("JSON"));
}

/// All eight orientations are stored so that a decoder that knows EXIF shows the same picture; focal length and time
/// are read back. The decoder and the EXIF reader are not the renderer's own.
#[test]
fn every_orientation_is_displayed_alike() {
    let mut scene = Scene::plain("orientation", Some(YarnSpec::even(2, Turning::Z, 3.0, 30.0))).reduced(320);
    scene.camera.roll_deg = 20.0;
    scene.sensor.jpeg_quality = 98;
    scene.sensor.focal_35mm = Some(52);
    scene.sensor.taken = Some("2031:04:05 10:20:30".to_owned());
    let shown = shoot(&scene).picture;
    for orientation in 1..=8 {
        scene.sensor.orientation = orientation;
        let bytes = encode(&shown, &scene.sensor).expect("encodes");
        let photo = decode(std::path::Path::new("o.jpg"), bytes, &Limits::default()).expect("decodes");
        assert_eq!((photo.rgb.width(), photo.rgb.height()), (320, 240), "orientation {orientation}");
        let difference: f64 = (0..240)
            .flat_map(|y| (0..320).map(move |x| (x, y)))
            .map(|(x, y)| (green(&photo.rgb, x, y) - green(&shown, x, y)).abs())
            .sum::<f64>()
            / (320.0 * 240.0);
        assert!(difference < 0.01, "orientation {orientation}: {difference}");
        assert_eq!(photo.camera.focal_35mm_mm, Some(52.0));
        assert_eq!(photo.camera.taken_at.as_deref(), Some("2031-04-05T10:20:30"));
        let truth = shoot(&scene).truth;
        let p = &truth.strands[0].profile;
        assert!((p.px_display_x[0] - p.px_x[0]).abs() < 1e-9 || orientation != 1);
        let sideways = orientation > 4;
        assert_eq!(truth.camera.stored_width == 240, sideways);
    }
}

/// Hairs that leave the body by more than a tenth of the diameter do not change the truth of its width, and the few of these that
/// stay nearer change it by what they cover. Source of the tenth: the contract's definition of the core edge.
#[test]
fn hairs_are_no_width() {
    let bald = YarnSpec::even(1, Turning::Z, 1.5, 25.0);
    let hair = HairSpec { per_cm: 150.0, length_mm: 3.0, height_mm: 0.5, radius_mm: 0.012 };
    let hairy = YarnSpec { hair, ..bald.clone() };
    // Loops are raised by an exponential of mean 5 mm: next to none stays within 0.15 mm.
    let flying = YarnSpec { hair: HairSpec { height_mm: 5.0, ..hair }, ..bald.clone() };
    // Raised by 0.03 mm: most stay within 0.15 mm, and 6 in a mm, each 3 mm long and 0.024 mm thick, about 4.7 mm around.
    let felted = YarnSpec { hair: HairSpec { height_mm: 0.03, per_cm: 600.0, ..hair }, ..bald.clone() };
    let [a, b, c, d] = [bald, hairy, flying, felted].map(|y| shoot(&Scene::plain("hair", Some(y)).reduced(800)));
    let width = |shot: &Shot| shot.truth.yarn.as_ref().map_or(0.0, |y| y.width_mm.mean);
    assert!((width(&a) - 1.5).abs() < 0.001);
    assert!((1.0..1.01).contains(&(width(&b) / width(&a))), "{}", width(&b));
    assert!((1.0..1.001).contains(&(width(&c) / width(&a))), "{}", width(&c));
    assert!((1.02..1.1).contains(&(width(&d) / width(&a))), "{}", width(&d));
    let darker = (0..800).filter(|x| green(&b.picture, *x, 250) < 0.97 * green(&a.picture, *x, 250)).count();
    let same = (0..800).filter(|x| green(&b.picture, *x, 60) != green(&a.picture, *x, 60)).count();
    assert!(darker > 0 || (280..290).any(|y| (0..800).any(|x| green(&b.picture, x, y) != green(&a.picture, x, y))));
    assert_eq!(same, 0, "no hair reaches 8 mm out");
}

/// A planted thick place is where and how thick it was asked to be: a raised cosine's mean over its middle half is
/// (1/2 + 1/pi) of its height (integral), the yarn's mean taken without it.
#[test]
fn planted_faults_are_in_the_truth() {
    let mut yarn = YarnSpec::even(1, Turning::Z, 1.0, 30.0);
    yarn.faults = vec![FaultSpec { at: 0.5, length_mm: 10.0, amplitude: 0.8, ply: None }];
    let shot = shoot(&Scene::plain("fault", Some(yarn)).reduced(800));
    let fault = &shot.truth.strands[0].planted_faults[0];
    assert_eq!(fault.kind, "thick");
    assert!(fault.in_image && fault.on_card);
    let expected = 1.0 + 0.8 * (0.5 + std::f64::consts::FRAC_1_PI);
    // The strand's mean holds the fault too.
    let mean = 1.0 + 0.8 * 10.0 / 2.0 / shot.truth.strands[0].on_card_length_mm;
    assert_relative_eq!(fault.width_rel_measured_mid_half, expected / mean - 1.0, epsilon = 0.02);
    assert!((fault.px[0] - 399.5).abs() < 3.0, "{:?}", fault.px);
}

/// Random scenes cover what they are meant to cover, and each can be rendered.
#[test]
fn random_scenes_cover_the_ranges() {
    let scenes: Vec<Scene> = (0..600).map(random_scene).collect();
    let yarns: Vec<_> = scenes.iter().filter_map(|s| s.yarn.as_ref().map(|(y, _)| y)).collect();
    for plies in 1..=4 {
        assert!(yarns.iter().filter(|y| y.plies.len() == plies).count() > 25, "{plies} plies");
    }
    let spans = |low: f64, high: f64, of: &dyn Fn(&Scene) -> Option<f64>| {
        let all: Vec<f64> = scenes.iter().filter_map(of).collect();
        let (least, most) =
            (all.iter().copied().fold(f64::MAX, f64::min), all.iter().copied().fold(f64::MIN, f64::max));
        assert!(least < low && most > high, "{least} to {most}, wanted {low} to {high}");
    };
    spans(0.4, 12.0, &|s| s.yarn.as_ref().map(|(y, _)| y.diameter_mm));
    spans(6.0, 55.0, &|s| s.yarn.as_ref().map(|(y, _)| y.angle_deg));
    spans(1.0, 19.0, &|s| Some(s.camera.tilt_deg));
    spans(73.0, 93.0, &|s| Some(f64::from(s.sensor.jpeg_quality)));
    assert!(scenes.iter().filter(|s| s.refuse.is_some()).count() > 12);
    assert!(scenes.iter().filter(|s| matches!(s.card.face, Face::RulerCard(_))).count() > 40);
    assert!(yarns.iter().filter(|y| y.turning == Turning::S).count() > 200);
    for scene in scenes.into_iter().take(12) {
        let shot = shoot(&scene.clone().reduced(200));
        assert_eq!(shot.truth.yarn.is_some(), scene.yarn.is_some(), "{}", scene.name);
    }
}
