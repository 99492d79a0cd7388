//! Whether the figures of a saved report can be at all: somebody's hand, another program or a disk may have changed them,
//! and what is worked out from them would be nonsense.

use serde_json::Value;

use crate::figures::Report;
use crate::figures::report::{Faults, Profile};
use crate::show::columns::{ANGLE_DEG, Cell, Column, LENGTH_MM, PLIES, SAMPLE, SCALE, WIDTH_MM};

/// No number of a report comes near this; squares and products of such numbers stay numbers.
const LARGEST: f64 = 1e9;

/// What is wrong with the first number that is beyond all others, or does not lie in its own interval, with its place.
pub(super) fn problem_in(report: &Value) -> Option<String> {
    fn look(value: &Value, at: &str) -> Option<String> {
        match value {
            Value::Number(n) => {
                let n = n.as_f64().unwrap_or(f64::INFINITY);
                (n.abs() > LARGEST).then(|| format!("{at} is {n}, which cannot be"))
            }
            Value::Array(items) => items.iter().enumerate().find_map(|(i, item)| look(item, &format!("{at}[{i}]"))),
            Value::Object(fields) => beside(fields, at).or_else(|| {
                fields.iter().find_map(|(name, field)| look(field, format!("{at}.{name}").trim_start_matches('.')))
            }),
            _ => None,
        }
    }
    fn beside(fields: &serde_json::Map<String, Value>, at: &str) -> Option<String> {
        let number = |v: Option<&Value>| v.and_then(Value::as_f64);
        let (figure, ends) = number(fields.get("value")).zip(fields.get("interval95").and_then(Value::as_array))?;
        let outside = number(ends.first()).is_some_and(|low| figure < low)
            || number(ends.get(1)).is_some_and(|high| figure > high);
        outside.then(|| format!("{at} is {figure}, which does not lie in its own interval"))
    }
    look(report, "")
}

/// What is wrong with the first figure that lies where it cannot.
pub(super) fn problem_of(report: &Report) -> Option<String> {
    let sample = &report.sample;
    let plies = sample.plies.value().map(|n| f64::from(*n));
    let scale = SCALE.iter().find_map(|column| beyond(column, &report.scale));
    scale
        .or_else(|| SAMPLE.iter().find_map(|column| beyond(column, sample)))
        .or_else(|| outside("sample.plies", plies, PLIES))
        .or_else(|| outside("sample.ply_angles_deg", sample.ply_angles_deg.iter().flatten().copied(), ANGLE_DEG))
        .or_else(|| outside("scale.print_factor", report.scale.print_factor.filter(|f| *f <= 0.0), LENGTH_MM))
        .or_else(|| sample.evenness.faults.as_ref().and_then(faults))
        .or_else(|| {
            report.strands.iter().find_map(|strand| {
                let named = |problem: String| format!("strand {}: {problem}", strand.number);
                let lengths = outside("length_mm", strand.length_mm, LENGTH_MM);
                lengths.or_else(|| profile(&strand.profile)).map(named)
            })
        })
}

/// A figure outside its range, or a number without an interval that reaches not absurdly far.
fn beyond<Of>(column: &Column<Of>, of: &Of) -> Option<String> {
    let Cell::Number(value, interval) = (column.get)(of) else { return None };
    let Some(ends) = interval else { return Some(format!("{} has a value and no interval", column.path)) };
    let [low, high] = column.within;
    outside(column.path, Some(value), column.within)
        // An interval may reach below what can be, by as much as the figure is unsure.
        .or_else(|| outside(&format!("an end of the interval of {}", column.path), ends, [-high.max(-low), 2.0 * high]))
}

fn outside(name: &str, values: impl IntoIterator<Item = f64>, [low, high]: [f64; 2]) -> Option<String> {
    let wrong = values.into_iter().find(|value| !(low..=high).contains(value))?;
    Some(format!("{name} is {wrong}, and can only lie between {low} and {high}"))
}

fn faults(faults: &Faults) -> Option<String> {
    let lengths = faults.list.iter().map(|fault| fault.length_mm);
    outside("sample.evenness.faults.searched_mm", Some(faults.searched_mm), LENGTH_MM)
        .or_else(|| outside("sample.evenness.faults.list.length_mm", lengths, LENGTH_MM))
}

fn profile(profile: &Profile) -> Option<String> {
    let Profile { at_mm, width_mm, twist_angle_deg, twists_per_inch, x_px, y_px } = profile;
    let lengths =
        [width_mm, x_px, y_px].map(Vec::len).into_iter().chain([twist_angle_deg, twists_per_inch].map(Vec::len));
    // A list may be left out.
    if lengths.into_iter().any(|length| length != at_mm.len() && length != 0) {
        return Some("the lists of its profile differ in length".to_owned());
    }
    outside("profile.width_mm", width_mm.iter().copied(), [0.0, WIDTH_MM[1]])
        .or_else(|| outside("profile.twist_angle_deg", twist_angle_deg.iter().flatten().copied(), ANGLE_DEG))
}
