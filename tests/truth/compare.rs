//! Holds a report against a photo's truth.

use serde_json::Value;

/// One figure of one photo.
#[derive(Debug, Clone)]
pub(super) struct Figure {
    /// Error: per cent, degrees, or 1 where a word or count is wrong; `None` where not answered.
    pub(super) error: Option<f64>,
    /// Whether the interval holds the truth.
    pub(super) covered: bool,
    /// Whether a person could read it.
    pub(super) readable: bool,
    /// What breaks the contract.
    pub(super) fault: Option<String>,
}

/// How errors count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Right or wrong.
    Word,
    /// Per cent of the truth.
    Percent,
    /// The difference.
    Plain,
}

/// Name, place in the report, kind, and whether it needs twist that can be seen.
pub(super) const FIGURES: [(&str, &str, Kind, bool); 7] = [
    ("direction", "/sample/twist_direction", Kind::Word, true),
    ("plies", "/sample/plies", Kind::Word, true),
    ("scale", "/scale/px_per_mm", Kind::Percent, false),
    ("diameter", "/sample/diameter_mm", Kind::Percent, false),
    ("envelope", "/sample/envelope_diameter_mm", Kind::Percent, false),
    ("turns", "/sample/twists_per_inch", Kind::Percent, true),
    ("angle", "/sample/twist_angle_deg", Kind::Plain, true),
];

/// Lengths, none of which may be given where the truth says `refuse`.
const LENGTHS: [&str; 7] = [
    "/sample/diameter_mm",
    "/sample/envelope_diameter_mm",
    "/sample/wraps_per_inch",
    "/sample/twists_per_inch",
    "/sample/twists_per_metre",
    "/sample/bumps_per_inch",
    "/sample/length_mm",
];

/// Lengths that a report gives although it should refuse.
pub(super) fn given_lengths(report: &Value) -> Vec<&'static str> {
    LENGTHS.into_iter().filter(|path| report.pointer(path).is_some_and(|q| !q["value"].is_null())).collect()
}

/// The admissible truths of a figure: over the card, or over the whole picture; empty where it has none.
fn truths(name: &str, truth: &Value) -> Vec<Value> {
    let yarn = &truth["yarn"];
    let some = |values: Vec<&Value>| values.into_iter().filter(|v| !v.is_null()).cloned().collect();
    match name {
        "direction" => some(vec![&yarn["direction"]]),
        "plies" => some(vec![&yarn["plies"]]),
        "diameter" => some(vec![&yarn["width_mm"]["mean"], &yarn["width_mm_mean_in_image"]]),
        "envelope" => some(vec![&yarn["envelope_diameter_mm_mean"]]),
        "turns" => some(vec![&yarn["tpi_mean"], &yarn["tpi_mean_in_image"]]),
        "angle" => match yarn["ply_band_angle_deg"].as_array() {
            Some(bands) => {
                let all: Vec<f64> = bands.iter().filter_map(Value::as_f64).collect();
                let (low, high) = (all.iter().copied().fold(90.0, f64::min), all.iter().copied().fold(0.0, f64::max));
                let mut out = vec![Value::from(all.iter().sum::<f64>() / all.len() as f64)];
                // Plies of clearly different bands: any of them will do.
                if high - low > 4.0 {
                    out.extend(bands.iter().cloned());
                }
                out
            }
            None => some(vec![&yarn["surface_fibre_angle_deg"]]),
        },
        "scale" if yarn["wraps_per_inch_true"].is_null() => {
            let all: Vec<f64> = strands(truth).filter_map(|s| s["px_per_mm_across_at_axis"].as_f64()).collect();
            if all.is_empty() { Vec::new() } else { vec![Value::from(all.iter().sum::<f64>() / all.len() as f64)] }
        }
        _ => Vec::new(),
    }
}

fn strands(truth: &Value) -> impl Iterator<Item = &Value> {
    truth["strands"].as_array().into_iter().flatten().filter(|s| s["visible"] != false)
}

/// Could a person read the twist? About 12 px of strand, and a blur well below it.
fn readable(truth: &Value) -> bool {
    let number = |v: &Value| v.as_f64().unwrap_or(0.0);
    let Some(first) = strands(truth).next() else { return false };
    let px = number(&truth["yarn"]["width_mm"]["mean"]) * number(&first["px_per_mm_across_at_axis"]);
    let camera = &truth["camera"];
    let blur = number(&camera["defocus_circle_diameter_px_at_target"]) + 2.0 * number(&camera["extra_blur_px"]);
    px >= 12.0 && blur <= if truth["yarn"]["plies"] == 1 { 0.2 } else { 0.35 } * px
}

/// A figure of a report against the truth; `None` where the truth has none.
pub(super) fn figure(name: &str, report: &Value, truth: &Value) -> Option<Figure> {
    let (_, path, kind, needs_twist) = FIGURES.into_iter().find(|f| f.0 == name)?;
    let truths = truths(name, truth);
    if truths.is_empty() {
        return None;
    }
    let readable = !needs_twist || readable(truth);
    let unanswered = |fault: Option<&str>| {
        Some(Figure { error: None, covered: false, readable, fault: fault.map(|f| format!("{path}: {f}")) })
    };
    let Some(quantity) = report.pointer(path) else { return unanswered(Some("missing")) };
    let value = &quantity["value"];
    if value.is_null() {
        let reasoned = quantity["reason"]["code"].is_string();
        return unanswered((!reasoned).then_some("null without a reason"));
    }
    if kind == Kind::Word {
        // Numbers compare as numbers: 2 and 2.0 are one.
        let same = |t: &Value| t == value || (t.is_number() && t.as_f64() == value.as_f64());
        let error = if truths.iter().any(same) { 0.0 } else { 1.0 };
        return Some(Figure { error: Some(error), covered: true, readable, fault: None });
    }
    let Some(v) = value.as_f64().filter(|v| v.is_finite()) else { return unanswered(Some("value is no number")) };
    let numbers: Vec<f64> = truths.iter().filter_map(Value::as_f64).collect();
    let nearest = numbers.iter().copied().min_by(|a, b| (a - v).abs().total_cmp(&(b - v).abs()))?;
    let error = (v - nearest).abs() / if kind == Kind::Percent { nearest / 100.0 } else { 1.0 };
    let (low, high) = (quantity["interval95"][0].as_f64(), quantity["interval95"][1].as_f64());
    let (fault, covered) = match (low, high) {
        (Some(a), Some(b)) if a <= v && v <= b => (None, numbers.iter().any(|t| (a..=b).contains(t))),
        (Some(_), Some(_)) => (Some(format!("{path}: value outside its own interval")), false),
        _ => (Some(format!("{path}: no interval")), false),
    };
    Some(Figure { error: Some(error), covered, readable, fault })
}
