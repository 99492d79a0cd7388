//! A saved report with a few of its places changed as bytes say: what is no JSON teaches a fuzzer only the parser.

use serde_json::{Value, json};

/// What is put in a place: what people and programs write by mistake, and the ends of what numbers can be.
fn mistake(choice: u8, finer: u8) -> Value {
    let x = f64::from(finer);
    match choice % 16 {
        0 => Value::Null,
        1 => json!(0),
        2 => json!(-0.0),
        3 => json!(x),
        4 => json!(-x / 7.0),
        5 => json!(1e300 * x),
        6 => json!(1e-300 * x),
        7 => json!(10f64.powf(x / 8.0 - 16.0)),
        8 => json!(u64::MAX),
        9 => json!(i64::MIN),
        10 => json!(""),
        11 => json!([]),
        12 => json!({}),
        13 => json!("<script>\u{0}\u{202e}=1+1"),
        14 => json!(finer.is_multiple_of(2)),
        _ => json!([x, x, x]),
    }
}

/// A figure that agrees with itself, however absurd.
fn absurd(choice: u8, finer: u8) -> Value {
    let x = match choice % 8 {
        0 => 0.0,
        1 => 1e300,
        2 => -1e300,
        3 => 1e-300,
        4 => f64::from(finer) - 128.0,
        5 => 10f64.powf(f64::from(finer) / 8.0 - 16.0),
        6 => f64::MAX,
        _ => f64::MIN_POSITIVE,
    };
    let half = if finer.is_multiple_of(3) { 0.0 } else { (x / 3.0).abs() };
    let budget = json!([{ "source": "sampling", "standard_uncertainty": half / 2.0 }]);
    json!({ "value": x, "interval95": [x - half, x + half], "method": "combined", "reason": null, "budget": budget })
}

/// Pointers (RFC 6901) to every place below `value`.
fn places(value: &Value, at: &str, found: &mut Vec<String>) {
    found.push(at.to_owned());
    match value {
        Value::Array(items) => {
            for (i, item) in items.iter().enumerate() {
                places(item, &format!("{at}/{i}"), found);
            }
        }
        Value::Object(fields) => {
            for (name, item) in fields {
                places(item, &format!("{at}/{name}"), found);
            }
        }
        _ => {}
    }
}

/// `report` with an edit for every four bytes: two say where, one what, one how much.
pub(crate) fn report(report: &str, bytes: &[u8]) -> String {
    let mut value: Value = serde_json::from_str(report).expect("the reference is JSON");
    for [high, low, choice, finer] in bytes.as_chunks::<4>().0.iter().take(12) {
        let mut all = Vec::new();
        places(&value, "", &mut all);
        let at = &all[usize::from(u16::from_be_bytes([*high, *low])) % all.len()];
        let is_figure = value.pointer(at).is_some_and(|v| v.get("interval95").is_some());
        if let Some(place) = value.pointer_mut(at) {
            *place = if is_figure && choice % 4 != 0 { absurd(*choice, *finer) } else { mistake(*choice, *finer) };
        }
    }
    value.to_string()
}
