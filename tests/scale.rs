//! The scale stage against photos with a known truth.
#![expect(clippy::print_stdout, clippy::print_stderr, reason = "the table and the skipping must be seen")]

use std::path::Path;
use std::time::Instant;

use serde_json::Value;
use strandrule::base::geometry::{Image, Point};
use strandrule::base::stats::quantile;
use strandrule::base::units::Mm;
use strandrule::measure::photo::{self, Limits};
use strandrule::measure::scale::{Scale, ScaleParams, ScaleRequest, find_scale};

/// Photos of the folder that `STRANDRULE_PHOTOS` names, with the truth beside each.
fn folder() -> Option<Vec<(std::path::PathBuf, Value)>> {
    let folder = std::env::var_os("STRANDRULE_PHOTOS")?;
    let mut all: Vec<_> = std::fs::read_dir(Path::new(&folder))
        .expect("the folder can be read")
        .map(|e| e.expect("an entry").path())
        .filter(|p| p.extension().is_some_and(|e| e == "json"))
        .collect();
    all.sort();
    Some(
        all.into_iter()
            .filter(|p| p.with_extension("jpg").exists())
            .map(|p| {
                let truth =
                    serde_json::from_slice(&std::fs::read(&p).expect("truth can be read")).expect("truth is JSON");
                (p.with_extension("jpg"), truth)
            })
            .collect(),
    )
}

fn numbers(v: &Value) -> Vec<f64> {
    v.as_array().map(|a| a.iter().filter_map(Value::as_f64).collect()).unwrap_or_default()
}

/// Mean scale across the strand at its axis, over the stations used in the truth's means: (ours, truth, our relative u).
fn across(strand: &Value, scale: &strandrule::measure::scale::KnownScale) -> Option<(f64, f64, f64)> {
    let p = &strand["profile"];
    let (x, y) = (numbers(&p["px_display_x"]), numbers(&p["px_display_y"]));
    let height = numbers(&p["axis_height_mm"]);
    let truth = numbers(&p["px_per_mm_across"]);
    let used: Vec<bool> =
        p["used_in_means"].as_array()?.iter().map(|v| v.as_bool() == Some(true) || v.as_i64() == Some(1)).collect();
    let (mut ours, mut theirs, mut u, mut n) = (0.0, 0.0, 0.0, 0.0);
    for i in 1..x.len().saturating_sub(1) {
        if !used[i] {
            continue;
        }
        let along: Point<Image> = Point::new(x[i + 1] - x[i - 1], y[i + 1] - y[i - 1]);
        let at = Point::new(x[i], y[i]);
        // Across on the card, which under tilt is not square to the strand in the photo.
        let h = Mm(height[i]);
        let on_card = scale.map.card_from_image(at, h)?;
        let tangent = (scale.map.card_from_image(at + along, h)? - scale.map.card_from_image(at - along, h)?).unit()?;
        let across = tangent.quarter_turn() * 0.5;
        ours += scale.map.image_from_card(on_card + across, h).distance(scale.map.image_from_card(on_card - across, h));
        theirs += truth[i];
        u += scale.map.relative_u_along(at, along.quarter_turn());
        n += 1.0;
    }
    (n > 0.0).then(|| (ours / n, theirs / n, u / n))
}

#[test]
fn rulers_in_photos_with_truth() {
    let Some(photos) = folder() else {
        eprintln!("skipped: STRANDRULE_PHOTOS names no folder of photos with truth");
        return;
    };
    let only = std::env::var("STRANDRULE_ONLY").ok();
    let (mut errors, mut sigmas, mut tilts, mut with_ruler, mut answered) = (vec![], vec![], vec![], 0, 0);
    println!(
        "{:<30} {:>9} {:>9} {:>7} {:>6} {:>5}  {:>6} {:>6} {:>5}  ms",
        "photo", "px/mm", "truth", "err %", "u %", "z", "tilt", "err", "u"
    );
    for (path, truth) in photos {
        let name = path.file_stem().expect("a name").to_string_lossy().into_owned();
        if only.as_ref().is_some_and(|o| !name.contains(o.as_str())) {
            continue;
        }
        let photo = photo::read(&path, &Limits::default()).expect("the photo can be read");
        let start = Instant::now();
        let found = find_scale(&photo, &ScaleRequest::default(), &ScaleParams::default());
        let ms = start.elapsed().as_secs_f64() * 1e3;
        let measurable = truth["expected"] == "measure";
        with_ruler += usize::from(measurable);
        match &found.scale {
            Scale::Unknown(reason) => println!("{name:<30} {} {ms:.0}", reason.code()),
            Scale::Known(scale) => {
                assert!(truth["card"]["unit"] != "none", "{name}: a ruler where there is none");
                answered += usize::from(measurable);
                let tilt = scale.tilt_deg.unwrap_or((f64::NAN, f64::NAN));
                let tilt_error = tilt.0 - truth["camera"]["tilt_deg"].as_f64().unwrap_or(f64::NAN);
                for strand in truth["strands"].as_array().into_iter().flatten() {
                    let Some((ours, theirs, u)) = across(strand, scale) else { continue };
                    let error = 100.0 * (ours / theirs - 1.0);
                    println!(
                        "{name:<30} {ours:>9.3} {theirs:>9.3} {error:>7.2} {:>6.2} {:>5.1}  {:>6.2} {tilt_error:>6.2} {:>5.2}  {ms:.0} {}",
                        100.0 * u,
                        error / 100.0 / u,
                        tilt.0,
                        tilt.1,
                        if error.abs() > 1.0 { "<<<" } else { "" },
                    );
                    errors.push(error.abs());
                    sigmas.push((error / 100.0 / u).abs());
                }
                tilts.push((tilt_error / tilt.1).abs());
            }
        }
    }
    let q = |v: &[f64], p: f64| quantile(v, p).unwrap_or(f64::NAN);
    println!(
        "answered {answered}/{with_ruler}; error % median {:.2} p95 {:.2} worst {:.2}; |z| p50 {:.2} p95 {:.2}; tilt |z| p95 {:.2}",
        q(&errors, 0.5),
        q(&errors, 0.95),
        q(&errors, 1.0),
        q(&sigmas, 0.5),
        q(&sigmas, 0.95),
        q(&tilts, 0.95),
    );
}
