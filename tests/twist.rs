//! The twist stage against truth: straightened strands made from photos whose yarn is known.

use std::path::{Path, PathBuf};

use serde_json::Value;
use strandrule::base::geometry::{Image, Point};
use strandrule::figures::report::TwistDirection;
use strandrule::measure::photo::{Limits, Photo, read};
use strandrule::measure::strand::{Arrangement, Edge, LeftOutWhy, Station, Strand, Strands, Strip};
use strandrule::measure::twist::{Twist, TwistParams, TwistRequest, read_twist};

fn numbers(v: &Value) -> Vec<f64> {
    v.as_array().map(|a| a.iter().map(|x| x.as_f64().unwrap_or(f64::NAN)).collect()).unwrap_or_default()
}

/// Value at `x` of the polyline (xs, ys).
fn along(xs: &[f64], ys: &[f64], x: f64) -> f64 {
    let i = xs.partition_point(|v| *v <= x).clamp(1, xs.len() - 1);
    let t = (x - xs[i - 1]) / (xs[i] - xs[i - 1]);
    ys[i - 1] + (ys[i] - ys[i - 1]) * t.clamp(0.0, 1.0)
}

/// Catmull-Rom through (xs, ys), with its derivative.
fn smooth_along(xs: &[f64], ys: &[f64], x: f64) -> (f64, f64) {
    let i = xs.partition_point(|v| *v <= x).clamp(1, xs.len() - 1);
    let h = xs[i] - xs[i - 1];
    let slope = |k: usize| {
        let (a, b) = (k.saturating_sub(1), (k + 1).min(xs.len() - 1));
        (ys[b] - ys[a]) / (xs[b] - xs[a])
    };
    let (m0, m1) = (slope(i - 1) * h, slope(i) * h);
    let (p0, p1, t) = (ys[i - 1], ys[i], (x - xs[i - 1]) / h);
    let (t2, t3) = (t * t, t * t * t);
    (
        (2.0 * t3 - 3.0 * t2 + 1.0) * p0 + (t3 - 2.0 * t2 + t) * m0 + (3.0 * t2 - 2.0 * t3) * p1 + (t3 - t2) * m1,
        ((6.0 * t2 - 6.0 * t) * (p0 - p1) + (3.0 * t2 - 4.0 * t + 1.0) * m0 + (3.0 * t2 - 2.0 * t) * m1) / h,
    )
}

/// The pieces of yarn of one photo, traced from its truth instead of by the strand stage.
fn strands_of_truth(photo: &Photo, truth: &Value) -> Strands {
    let mut pieces = Vec::new();
    for (k, s) in truth["strands"].as_array().into_iter().flatten().enumerate() {
        if s["visible"] == Value::Bool(false) {
            continue;
        }
        let p = &s["profile"];
        let (x, y) = (numbers(&p["px_display_x"]), numbers(&p["px_display_y"]));
        let width: Vec<f64> =
            numbers(&p["width_mm"]).iter().zip(numbers(&p["px_per_mm_across"])).map(|(w, k)| w * k).collect();
        let used: Vec<bool> = p["used_in_means"].as_array().into_iter().flatten().map(|v| v == true).collect();
        let mut at = vec![0.0];
        for i in 1..x.len() {
            at.push(at[i - 1] + (x[i] - x[i - 1]).hypot(y[i] - y[i - 1]));
        }
        let length = at[at.len() - 1];
        let mut stations = Vec::new();
        let mut t = 0.0;
        while t < length {
            let ((cx, dx), (cy, dy)) = (smooth_along(&at, &x, t), smooth_along(&at, &y, t));
            let n = dx.hypot(dy);
            let half = along(&at, &width, t) / 2.0;
            let i = at.partition_point(|v| *v <= t).clamp(1, at.len() - 1);
            stations.push(Station {
                centre: Point::<Image>::new(cx, cy),
                normal: Point::new(-dy / n, dx / n),
                left: Edge { offset_px: -half, u_px: 0.3 },
                right: Edge { offset_px: half, u_px: 0.3 },
                hair_cover_px: 0.0,
                left_out: (!(used[i - 1] && used[i])).then_some(LeftOutWhy::Kink),
            });
            t += 1.0;
        }
        let widest = width.iter().copied().fold(0.0, f64::max);
        let blur = truth["camera"]["defocus_circle_diameter_px_at_target"].as_f64().unwrap_or(0.0) / 4.0
            + truth["camera"]["extra_blur_px"].as_f64().unwrap_or(0.0);
        pieces.push(Strand {
            number: k as u32 + 1,
            chosen: true,
            step_px: 1.0,
            strip: Strip::straighten(&photo.rgb, &stations, 1.0, widest * 0.75),
            stations,
            edge_systematic_u_px: 0.3,
            blur_px: blur.hypot(0.6),
            kinks: Vec::new(),
        });
    }
    Strands { arrangement: Arrangement::Separate, pieces, wraps: None, refused: Vec::new(), reason: None }
}

/// Photos with truth in the folder that the environment names; `None`, said aloud, without it.
fn truths() -> Option<Vec<(PathBuf, Value)>> {
    let Ok(folder) = std::env::var("STRANDRULE_PHOTOS") else {
        eprintln!("skipped: STRANDRULE_PHOTOS names no folder of photos with truth");
        return None;
    };
    let only = std::env::var("STRANDRULE_ONLY").unwrap_or_default();
    let mut list: Vec<(PathBuf, Value)> = std::fs::read_dir(Path::new(&folder))
        .unwrap()
        .filter_map(|e| Some(e.ok()?.path()))
        .filter(|p| p.extension().is_some_and(|e| e == "json") && p.with_extension("jpg").exists())
        .filter(|p| p.to_string_lossy().contains(&only))
        .filter_map(|p| Some((p.with_extension("jpg"), serde_json::from_str(&std::fs::read_to_string(&p).ok()?).ok()?)))
        .filter(|(_, v): &(PathBuf, Value)| v["strands"].as_array().is_some_and(|s| !s.is_empty()))
        .collect();
    list.sort_by(|a, b| a.0.cmp(&b.0));
    Some(list)
}

/// Turns per inch of all pieces, weighed as the report weighs them; lengths from the truth.
fn turns_per_inch(strands: &Strands, twist: &Twist, truth: &Value, plies: u32) -> Option<f64> {
    let (mut turns, mut inches) = (0.0, 0.0);
    for piece in &twist.pieces {
        let strand = strands.pieces.iter().find(|s| s.number == piece.strand)?;
        let profile = &truth["strands"][piece.strand as usize - 1]["profile"];
        let (s, x, y) =
            (numbers(&profile["s_mm"]), numbers(&profile["px_display_x"]), numbers(&profile["px_display_y"]));
        let mut at = vec![0.0];
        for i in 1..x.len() {
            at.push(at[i - 1] + (x[i] - x[i - 1]).hypot(y[i] - y[i - 1]));
        }
        let mm: Vec<f64> = (0..strand.stations.len()).map(|i| along(&at, &s, i as f64)).collect();
        let scale = numbers(&profile["px_per_mm_across"]);
        for i in 1..strand.stations.len() {
            if strand.stations[i].left_out.is_some() || strand.stations[i - 1].left_out.is_some() {
                continue;
            }
            if plies > 1 {
                let (Some(a), Some(b)) = (piece.turns[i - 1], piece.turns[i]) else { continue };
                turns += b - a;
            } else {
                let Some(angle) = piece.angle_rad[i] else { continue };
                let width = strand.stations[i].width_px() / along(&at, &scale, i as f64);
                turns += angle.tan() / (std::f64::consts::PI * width) * (mm[i] - mm[i - 1]);
            }
            inches += (mm[i] - mm[i - 1]) / 25.4;
        }
    }
    (inches > 0.0).then(|| turns / inches)
}

/// Whether a person could read the twist: 12 px across and a blur well below that.
fn readable(truth: &Value) -> bool {
    let y = &truth["yarn"];
    let number = |v: &Value| v.as_f64().unwrap_or(0.0);
    let px = number(&y["width_mm"]["mean"]) * number(&truth["strands"][0]["px_per_mm_across_at_axis"]);
    let camera = &truth["camera"];
    let blur = number(&camera["defocus_circle_diameter_px_at_target"]) + 2.0 * number(&camera["extra_blur_px"]);
    px >= 12.0 && blur <= px * if y["plies"] == 1 { 0.2 } else { 0.35 }
}

#[test]
fn photos_traced_from_truth() {
    let Some(list) = truths() else { return };
    eprintln!("photo        plies          S/Z         angle   err  +-    turns/inch  err %  fibre  ms");
    for (path, truth) in list {
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let y = &truth["yarn"];
        let plies = y["plies"].as_u64().unwrap() as u32;
        let angles = if plies == 1 {
            vec![y["surface_fibre_angle_deg"].as_f64().unwrap()]
        } else {
            numbers(&y["ply_band_angle_deg"])
        };
        let angle = angles.iter().sum::<f64>() / angles.len() as f64;
        let photo = read(&path, &Limits::default()).unwrap();
        let strands = strands_of_truth(&photo, &truth);
        let start = std::time::Instant::now();
        let t = read_twist(&strands, &TwistRequest::default(), &TwistParams::default());
        let ms = start.elapsed().as_secs_f64() * 1e3;
        let (dir, dp) = match &t.direction {
            Ok((TwistDirection::S, p)) => ("S", *p),
            Ok((TwistDirection::Z, p)) => ("Z", *p),
            Err(_) => ("-", 0.0),
        };
        let (n, np) = t.plies.clone().unwrap_or((0, 0.0));
        let mean = |f: &dyn Fn(&strandrule::measure::twist::StrandTwist) -> Option<f64>| {
            let v: Vec<f64> = t.pieces.iter().filter_map(f).collect();
            v.iter().sum::<f64>() / v.len() as f64
        };
        let a = mean(&|p| p.mean_angle_rad.map(|e| e.value.to_degrees()));
        let u = mean(&|p| p.mean_angle_rad.map(|e| e.u.to_degrees()));
        let fibre = mean(&|p| p.fibre_angle_rad.as_ref().ok().map(|e| e.value.to_degrees()));
        let tpi = if n > 0 { turns_per_inch(&strands, &t, &truth, n) } else { None }.unwrap_or(f64::NAN);
        let truth_tpi = y["tpi_mean"].as_f64().unwrap();
        eprintln!(
            "{name:<12.8}{} {plies}->{n} {np:.3}  {} {dir} {dp:.4}  {angle:5.1} {:6.2} {:4.2}{}  {truth_tpi:6.2} {:7.2}{}  {:5.1}/{:5.1}  {ms:.0} {}",
            if n == plies { " " } else { "X" },
            y["direction"].as_str().unwrap(),
            a - angle,
            1.96 * u,
            if (a - angle).abs() > 1.96 * u { "!" } else { " " },
            (tpi / truth_tpi - 1.0) * 100.0,
            if t.pieces.first().is_some_and(|p| (tpi / truth_tpi - 1.0).abs() > 1.96 * p.turns_relative_u && plies > 1)
            {
                "!"
            } else {
                " "
            },
            fibre,
            y["surface_fibre_angle_to_yarn_axis_deg_approx"].as_f64().unwrap_or(f64::NAN),
            if readable(&truth) { "" } else { "(hardly readable)" },
        );
    }
}
