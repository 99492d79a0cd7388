//! Figures as JSON: keys in the order of the types, numbers to six significant digits, lists of numbers on one line.

use std::io;

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::ser::{CompactFormatter, Formatter, Serializer};

/// Significant digits of every number that is not whole. A photo never fixes a figure to better than one part in ten
/// thousand, so six keep two in reserve; more would only make equal measurements look different.
pub const SIGNIFICANT_DIGITS: usize = 6;

/// Anything serialisable as indented JSON with a line end. Numbers that are not finite become `null`.
///
/// # Errors
/// Only where the value itself cannot be serialised (map keys that are no text).
pub fn text<T: Serialize>(value: &T) -> Result<String, serde_json::Error> {
    Ok(indented(&compact(value)?))
}

/// The same on one line, for JSON Lines.
///
/// # Errors
/// As [`text`].
pub fn line<T: Serialize>(value: &T) -> Result<String, serde_json::Error> {
    compact(value).map(|text| text + "\n")
}

/// The JSON Schema (draft 2020-12) of a type that leaves the program.
#[must_use]
pub fn schema_of<T: JsonSchema>() -> String {
    let schema = schemars::generate::SchemaSettings::draft2020_12().into_generator().into_root_schema_for::<T>();
    indented(&schema.as_value().to_string())
}

/// A number to [`SIGNIFICANT_DIGITS`]. Rounding keeps order, so an interval still holds its value.
#[must_use]
pub fn rounded(number: f64) -> f64 {
    if !number.is_finite() || number == 0.0 {
        return number;
    }
    format!("{number:.*e}", SIGNIFICANT_DIGITS - 1).parse().unwrap_or(number)
}

/// Compact JSON, numbers rounded and in the shortest text that reads back as the same number.
struct ShortNumbers;

impl Formatter for ShortNumbers {
    fn write_f64<W: ?Sized + io::Write>(&mut self, writer: &mut W, value: f64) -> io::Result<()> {
        CompactFormatter.write_f64(writer, rounded(value))
    }
}

fn compact<T: Serialize>(value: &T) -> Result<String, serde_json::Error> {
    let mut out = Vec::new();
    value.serialize(&mut Serializer::with_formatter(&mut out, ShortNumbers))?;
    String::from_utf8(out).map_err(serde::ser::Error::custom)
}

/// Compact JSON spread over lines. What holds no list or object of its own stays on one line if it is a list.
fn indented(compact: &str) -> String {
    let mut out = String::with_capacity(compact.len() * 2);
    let mut rest = compact;
    // For each open bracket whether it is spread over lines.
    let mut spread: Vec<bool> = Vec::new();
    while let Some(first) = rest.chars().next() {
        let token = if first == '"' { text_length(rest) } else { first.len_utf8() };
        let (piece, after) = rest.split_at(token.min(rest.len()));
        rest = after;
        match first {
            '{' | '[' => {
                out.push(first);
                spread.push(if first == '{' { !rest.starts_with('}') } else { holds_brackets(rest) });
                new_line(&spread, &mut out);
            }
            '}' | ']' => {
                if spread.pop() == Some(true) {
                    out.push('\n');
                    out.extend(std::iter::repeat_n("  ", depth(&spread)));
                }
                out.push(first);
            }
            ',' if spread.last() == Some(&true) => {
                out.push(',');
                new_line(&spread, &mut out);
            }
            ',' => out.push_str(", "),
            ':' => out.push_str(": "),
            _ => out.push_str(piece),
        }
    }
    out.push('\n');
    out
}

fn depth(spread: &[bool]) -> usize {
    spread.iter().filter(|lines| **lines).count()
}

fn new_line(spread: &[bool], out: &mut String) {
    if spread.last() == Some(&true) {
        out.push('\n');
        out.extend(std::iter::repeat_n("  ", depth(spread)));
    }
}

/// Bytes of the quoted text that `json` begins with, quotes included.
fn text_length(json: &str) -> usize {
    let mut escaped = false;
    for (i, byte) in json.bytes().enumerate().skip(1) {
        match byte {
            b'"' if !escaped => return i + 1,
            b'\\' => escaped = !escaped,
            _ => escaped = false,
        }
    }
    json.len()
}

/// Whether the list whose inside `json` begins with holds a list or an object.
fn holds_brackets(json: &str) -> bool {
    let mut rest = json;
    while let Some(first) = rest.chars().next() {
        match first {
            '{' | '[' => return true,
            ']' => return false,
            '"' => rest = rest.get(text_length(rest)..).unwrap_or_default(),
            c => rest = rest.get(c.len_utf8()..).unwrap_or_default(),
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use proptest::prelude::*;

    use super::*;

    #[test]
    fn numbers_are_short_and_keys_keep_their_order() {
        #[derive(Serialize)]
        struct Example {
            z: f64,
            a: [Option<f64>; 3],
            n: u32,
            e: BTreeMap<u8, u8>,
            l: [BTreeMap<&'static str, &'static str>; 1],
        }
        let l = [BTreeMap::from([("k", "\u{7}\"[{,")])];
        let value = Example { z: 1.0 / 3.0, a: [Some(1.0), Some(2.5), None], n: 7, e: BTreeMap::new(), l };
        let wanted = "{\n  \"z\": 0.333333,\n  \"a\": [1.0, 2.5, null],\n  \"n\": 7,\n  \"e\": {},\n  \"l\": [\n    {\n      \"k\": \"\\u0007\\\"[{,\"\n    }\n  ]\n}\n";
        assert_eq!(text(&value).unwrap(), wanted);
        assert_eq!(
            line(&value).unwrap(),
            "{\"z\":0.333333,\"a\":[1.0,2.5,null],\"n\":7,\"e\":{},\"l\":[{\"k\":\"\\u0007\\\"[{,\"}]}\n"
        );
    }

    proptest! {
        #[test]
        fn rounding_keeps_order_and_six_digits(a in -1e9f64..1e9, b in -1e9f64..1e9) {
            let (low, high) = (a.min(b), a.max(b));
            prop_assert!(rounded(low) <= rounded(high));
            prop_assert!((rounded(a) - a).abs() <= 5e-6 * a.abs());
        }

        #[test]
        fn indenting_changes_nothing_but_space(texts in proptest::collection::vec(".{0,8}", 0..4)) {
            let value = serde_json::json!({ "a": [texts, [1, [2]], { "b": [] }] });
            prop_assert_eq!(&serde_json::from_str::<serde_json::Value>(&text(&value).unwrap()).unwrap(), &value);
        }

        #[test]
        fn what_is_written_reads_back(a in proptest::num::f64::NORMAL) {
            let back: f64 = serde_json::from_str(&text(&a).unwrap()).unwrap();
            prop_assert_eq!(back, rounded(a));
        }
    }
}
