//! Each figure by itself: name, value, interval, certainty, or why it is missing.

use serde::Serialize;

use super::by_hand;
use crate::base::units::MM_PER_INCH;
use crate::figures::quantity::Quantity;
use crate::figures::report::Sample;
use crate::show::page::{number, sure};

/// A figure in the units of one kind of reader.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Shown {
    /// The value with its unit, as many digits as the interval supports.
    pub value: String,
    /// The 95 % interval with its unit.
    pub range: String,
}

/// A figure, told.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Told {
    /// Its name in the report.
    pub key: &'static str,
    /// What it is.
    pub name: &'static str,
    /// For who reads metric units; null where it is missing.
    pub metric: Option<Shown>,
    /// For who reads imperial units; null where it is missing.
    pub imperial: Option<Shown>,
    /// A word or count (plies, direction); null for numbers.
    pub word: Option<String>,
    /// How sure a word is.
    pub sure: Option<String>,
    /// Why it is missing.
    pub why: Option<String>,
}

/// A number and what it takes to make it imperial.
struct Row<'a> {
    key: &'static str,
    name: &'static str,
    quantity: &'a Quantity<f64>,
    metric: (f64, &'static str),
    imperial: (f64, &'static str),
}

/// Every figure of a sample, those asked first at the top.
#[must_use]
pub fn figures(sample: &Sample) -> Vec<Told> {
    let inches = (1.0 / MM_PER_INCH, " in");
    let same = |key, name, quantity, unit: &'static str| Row {
        key,
        name,
        quantity,
        metric: (1.0, unit),
        imperial: (1.0, unit),
    };
    let length = |key, name, quantity| Row { key, name, quantity, metric: (1.0, " mm"), imperial: inches };
    let turns = |key, name, quantity| Row {
        key,
        name,
        quantity,
        metric: (10.0 / MM_PER_INCH, " /cm"),
        imperial: (1.0, " /in"),
    };
    let even = &sample.evenness;
    let numbers = [
        length("diameter_mm", "Thickness", &sample.diameter_mm),
        same("wraps_per_inch", "Wraps per inch", &sample.wraps_per_inch, ""),
        turns("twists_per_inch", "Turns of twist", &sample.twists_per_inch),
        same("twist_angle_deg", "Twist angle, as seen", &sample.twist_angle_deg, "°"),
        same("diameter_cv_percent", "Unevenness of thickness", &even.diameter_cv_percent, " %"),
        same("twist_cv_percent", "Unevenness of twist", &even.twist_cv_percent, " %"),
        same("between_strands_cv_percent", "Unevenness between pieces", &even.between_strands_cv_percent, " %"),
        same("fibre_angle_deg", "Angle of the surface fibres", &sample.fibre_angle_deg, "°"),
        length("envelope_diameter_mm", "Width that the turning plies fill", &sample.envelope_diameter_mm),
        turns("bumps_per_inch", "Ply bumps along one edge", &sample.bumps_per_inch),
        same("bumps_per_diameter", "Ply bumps per diameter", &sample.bumps_per_diameter, ""),
        same("hairiness", "Hairiness", &sample.hairiness, ""),
        Row {
            key: "kinks",
            name: "Kinks",
            quantity: &sample.kinks,
            metric: (1.0, " /m"),
            // A yard is 0.9144 m exactly (international yard, 1959).
            imperial: (0.9144, " /yd"),
        },
        length("length_mm", "Length measured", &sample.length_mm),
        same("diameter_px", "Thickness in the photo", &sample.diameter_px, " px"),
    ];
    let mut told = vec![
        word("plies", "Plies", &sample.plies, |n| if *n == 1 { "singles".to_owned() } else { format!("{n}-ply") }),
        word("twist_direction", "Direction of twist", &sample.twist_direction, |d| format!("{d:?}")),
    ];
    told.extend(numbers.iter().map(|row| Told {
        key: row.key,
        name: row.name,
        metric: shown(row.quantity, row.metric),
        imperial: shown(row.quantity, row.imperial),
        word: None,
        sure: None,
        why: row.quantity.reason().map(by_hand::reason),
    }));
    told
}

fn shown(quantity: &Quantity<f64>, (factor, unit): (f64, &str)) -> Option<Shown> {
    let (value, range) = number(&quantity.scaled(factor))?;
    Some(Shown { value: format!("{value}{unit}"), range: format!("{range}{unit}") })
}

fn word<T>(key: &'static str, name: &'static str, quantity: &Quantity<T>, said: impl Fn(&T) -> String) -> Told {
    let probability = match quantity {
        Quantity::Measured { probability, .. } => *probability,
        Quantity::Unanswered(_) => None,
    };
    Told {
        key,
        name,
        metric: None,
        imperial: None,
        word: quantity.value().map(said),
        sure: probability.map(sure),
        why: quantity.reason().map(by_hand::reason),
    }
}
