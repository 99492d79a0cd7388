//! The paragraph.

use super::{Units, by_hand};
use crate::base::units::MM_PER_INCH;
use crate::figures::quantity::Quantity;
use crate::figures::report::{FaultKind, Sample};
use crate::figures::{Balance, Interval, Reason};
use crate::show::page::number;

/// A word or count below this probability is only probable.
const SURE: f64 = 0.95;

/// Where the firmness of a twist changes its name, degrees of the seen angle: loose, medium, tight. Source: Emery, "The
/// Primary Structures of Fabrics" (1966), angles of twist to 10, 25 and 45 degrees (from memory).
const FIRMNESS: [(f64, &str); 3] = [(10.0, "loosely"), (25.0, "moderately"), (f64::INFINITY, "firmly")];

/// What a spinner would say: how thick, which way and how firmly twisted, even or not, balanced or not as far as the photo
/// shows. Every number in it is a figure of the sample, rounded to what its interval supports.
#[must_use]
pub fn paragraph(sample: &Sample, units: Units) -> String {
    if sample.strands == 0 {
        return sample.diameter_px.reason().map(by_hand::reason).unwrap_or_default();
    }
    let sentences =
        [Some(thickness(sample, units)), Some(twist(sample, units)), evenness(sample, units), balance(sample)];
    sentences.into_iter().flatten().collect::<Vec<_>>().join(" ")
}

/// A figure as it is spoken, and its interval: as many digits as the interval supports, and never more than three that
/// count.
fn spoken(quantity: &Quantity<f64>) -> Option<(String, String)> {
    let (value, range) = number(quantity)?;
    let counting = value.trim_start_matches(['-', '0', '.']).bytes().filter(u8::is_ascii_digit).count();
    let behind = value.split_once('.').map_or(0, |(_, digits)| digits.len());
    let fewer = behind.saturating_sub(counting.saturating_sub(3));
    Some((format!("{:.fewer$}", quantity.value()?), range))
}

/// "a two-ply yarn".
fn kind(sample: &Sample) -> String {
    let Quantity::Measured { value, probability, .. } = &sample.plies else { return "a yarn".to_owned() };
    let named = match value {
        1 => "singles".to_owned(),
        2 => "a two-ply yarn".to_owned(),
        3 => "a three-ply yarn".to_owned(),
        4 => "a four-ply yarn".to_owned(),
        n => format!("a yarn of {n} plies"),
    };
    if probability.unwrap_or(1.0) < SURE { format!("probably {named}") } else { named }
}

fn thickness(sample: &Sample, units: Units) -> String {
    let (factor, unit) = match units {
        Units::Metric => (1.0, "mm"),
        Units::Imperial => (1.0 / MM_PER_INCH, "in"),
    };
    let kind = kind(sample);
    let Some((value, range)) = spoken(&sample.diameter_mm.scaled(factor)) else {
        let why = sample.diameter_mm.reason().map(by_hand::reason).unwrap_or_default();
        return format!("This is {kind}. {why}");
    };
    let mut said = format!("This is {kind}, {value} {unit} thick ({range})");
    if let Some((wraps, _)) = spoken(&sample.wraps_per_inch) {
        said.push_str(&format!("; about {wraps} strands side by side fill an inch"));
    }
    let mut names: Vec<&str> = Vec::new();
    for category in &sample.weight_categories {
        if !names.contains(&category.name.as_str()) {
            names.push(&category.name);
        }
    }
    // More names than these say nothing; the list below has them all.
    if (1..=3).contains(&names.len()) {
        said.push_str(&format!(", which charts call {}", joined(&names, "or")));
    }
    said + "."
}

fn twist(sample: &Sample, units: Units) -> String {
    let what = if sample.plies.value().is_some_and(|n| *n > 1) { "Its plies are twisted" } else { "It is twisted" };
    let (turns, length) = match units {
        Units::Metric => (sample.twists_per_inch.scaled(10.0 / MM_PER_INCH), "centimetre"),
        Units::Imperial => (sample.twists_per_inch.clone(), "inch"),
    };
    let turns = spoken(&turns).map(|(value, _)| format!("{value} turns to the {length}"));
    let angle = spoken(&sample.twist_angle_deg).map(|(value, _)| format!("seen at {value} degrees"));
    let firm = sample.twist_angle_deg.interval95().map(firmness);
    let how = [turns, angle].into_iter().flatten().collect::<Vec<_>>().join(", ");
    let how = if how.is_empty() { how } else { format!(": {how}") };
    match &sample.twist_direction {
        Quantity::Measured { value, probability, .. } => {
            let sure = if probability.unwrap_or(1.0) < SURE { " probably" } else { "" };
            let firm = firm.map(|f| format!(", {f}")).unwrap_or_default();
            format!("{what}{sure} {value:?}{firm}{how}.")
        }
        Quantity::Unanswered(reason) if how.is_empty() => {
            format!("Which way it is twisted is not seen here. {}", by_hand::reason(reason))
        }
        Quantity::Unanswered(_) => {
            let firm = firm.map(|f| format!(" {f}")).unwrap_or_default();
            format!("{what}{firm}{how}; which way is not seen.")
        }
    }
}

/// How firmly, for all angles of the interval.
fn firmness([low, high]: Interval) -> String {
    let name = |deg: f64| FIRMNESS.iter().find(|(to, _)| deg <= *to).map_or("firmly", |(_, name)| name);
    let (least, most) = (name(low.abs()), name(high.abs()));
    if least == most { least.to_owned() } else { format!("{least} to {most}") }
}

/// What an unevenness of thickness is called. From memory: handspun 10 to 25 %, machine-spun worsted 6 to 10 %.
#[must_use]
pub(crate) fn evenness_called(cv_percent: f64) -> &'static str {
    match cv_percent {
        cv if cv < 10.0 => "as even as machine-spun worsted (6 to 10 %)",
        cv if cv <= 25.0 => "ordinary for handspun (10 to 25 %)",
        _ => "uneven, more than is ordinary for handspun (10 to 25 %)",
    }
}

fn evenness(sample: &Sample, units: Units) -> Option<String> {
    let cv = *sample.evenness.diameter_cv_percent.value()?;
    let (value, _) = spoken(&sample.evenness.diameter_cv_percent)?;
    let seen = sample.length_mm.value().map(|mm| match units {
        Units::Metric => format!(" along the {mm:.0} mm seen"),
        Units::Imperial => format!(" along the {:.1} in seen", mm / MM_PER_INCH),
    });
    let mut said = format!("Its thickness varies by {value} %{}: {}", seen.unwrap_or_default(), evenness_called(cv));
    if let Some(faults) = sample.evenness.faults.as_ref().filter(|f| !f.list.is_empty()) {
        let count = |kind| faults.list.iter().filter(|f| f.kind == kind).count();
        let places =
            |n: usize, name: &str| (n > 0).then(|| format!("{n} {name} {}", if n == 1 { "place" } else { "places" }));
        let found: Vec<String> = [places(count(FaultKind::Thick), "thick"), places(count(FaultKind::Thin), "thin")]
            .into_iter()
            .flatten()
            .collect();
        let found: Vec<&str> = found.iter().map(String::as_str).collect();
        said.push_str(&format!(", with {}", joined(&found, "and")));
    }
    Some(said + ".")
}

/// Fibres along the yarn are what the trade calls balanced; loops that stand off tell of live twist (common practice, no
/// source). The word is used only where the whole interval supports it.
fn balance(sample: &Sample) -> Option<String> {
    if sample.kinks.interval95().is_some_and(|[low, _]| low > 0.0) {
        return Some("It doubles back on itself in places: more twist is in it than it will hold at rest.".to_owned());
    }
    if sample.plies.value().is_none_or(|n| *n < 2) {
        return None;
    }
    let Some((value, _)) = spoken(&sample.fibre_angle_deg) else {
        let why = sample.fibre_angle_deg.reason().filter(|r| !matches!(r, Reason::Singles | Reason::NotYet));
        return why.map(|_| "Whether it is balanced this photo does not show.".to_owned());
    };
    let lean = value.trim_start_matches('-');
    Some(match Balance::of_fibres(&sample.fibre_angle_deg) {
        Some(Balance::Balanced) => {
            "As far as the photo shows it is balanced: the fibres on its surface lie along the yarn.".to_owned()
        }
        Some(Balance::Overplied) => format!(
            "The fibres on its surface lean {lean} degrees the way the plies turn: it has more ply twist than balance asks."
        ),
        Some(Balance::Underplied) => format!(
            "The fibres on its surface lean {lean} degrees against the plies: it has less ply twist than balance asks."
        ),
        None => {
            "Whether it is balanced this photo does not tell: the fibres on its surface are not seen surely enough."
                .to_owned()
        }
    })
}

fn joined(names: &[&str], last: &str) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [before @ .., end] => format!("{} {last} {end}", before.join(", ")),
    }
}
