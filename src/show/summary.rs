//! A few lines for a person: the figures with their intervals in plain words, what could not be told and why.

use super::columns::{Cell, SAMPLE, answers_anything};
use super::escape;
use crate::base::units::MM_PER_INCH;
use crate::figures::quantity::{Interval, Quantity};
use crate::figures::report::{FaultKind, Sample, TwistDirection};
use crate::figures::{Balance, Method, Reason, Report, Warning};

/// Column at which values begin.
const VALUES_AT: usize = 22;

/// One photo's figures, with a line end after every line.
#[must_use]
pub fn text(report: &Report) -> String {
    of_sample(&report.photo.file, &report.sample, &report.warnings)
}

/// A sample's figures under a title of any origin, with a line end after every line.
#[must_use]
pub fn of_sample(title: &str, sample: &Sample, warnings: &[Warning]) -> String {
    let mut lines = vec![format!("{}: {}", escape::one_line(title), headline(sample))];
    if let Some(label) = &sample.label {
        lines.push(entry("sample", &escape::one_line(label)));
    }
    let measured = [
        figure("diameter", &sample.diameter_mm, "mm", Some((1.0 / MM_PER_INCH, "in"))),
        figure("wraps per inch", &sample.wraps_per_inch, wraps_note(&sample.wraps_per_inch), None),
        figure("twists per inch", &sample.twists_per_inch, "", Some((1000.0 / MM_PER_INCH, "per metre"))),
        figure("twist angle", &sample.twist_angle_deg, "degrees", None),
        figure("fibre angle", &sample.fibre_angle_deg, &fibres_note(&sample.fibre_angle_deg), None),
        figure("width varies by", &sample.evenness.diameter_cv_percent, "% (coefficient of variation)", None),
        figure("pieces differ by", &sample.evenness.between_strands_cv_percent, "%", None),
        figure("twist varies by", &sample.evenness.twist_cv_percent, "%", None),
        figure("hairiness", &sample.hairiness, "", None),
        figure("kinks", &sample.kinks, "per metre", None).filter(|_| sample.kinks.value().is_some_and(|k| *k > 0.0)),
        figure("length measured", &sample.length_mm, "mm", Some((1.0 / MM_PER_INCH, "in"))),
    ];
    lines.extend(measured.into_iter().flatten());
    if sample.diameter_mm.value().is_none() {
        lines.extend(figure("diameter", &sample.diameter_px, "px", None));
        lines.extend(figure("bumps per diameter", &sample.bumps_per_diameter, "", None));
    }
    lines.extend(categories(sample));
    lines.extend(faults(sample));
    lines.extend(unanswered(sample));
    lines.extend(warnings.iter().map(|w| entry("note", &escape::one_line(&w.message))));
    lines.iter().map(|line| format!("{}\n", line.trim_end())).collect()
}

/// Plies and direction, in words.
#[must_use]
pub fn headline(sample: &Sample) -> String {
    let plies = sample.plies.value().map(|n| if *n == 1 { "singles".to_owned() } else { format!("{n}-ply yarn") });
    let direction = sample.twist_direction.value().map(|d| match d {
        TwistDirection::S => "S twist",
        TwistDirection::Z => "Z twist",
    });
    match (plies, direction) {
        (Some(plies), Some(direction)) => format!("{plies}, {direction}"),
        (Some(plies), None) => format!("{plies}, twist direction not seen"),
        (None, Some(direction)) => format!("yarn with {direction}, plies not told"),
        // Pieces that may be anything long and narrow, of which no figure is given, are no yarn yet.
        (None, None) if answers_anything(sample) => "yarn, twist not seen".to_owned(),
        (None, None) => "no yarn measured".to_owned(),
    }
}

/// The main figures on one line, or why there is none.
#[must_use]
pub fn brief(sample: &Sample) -> String {
    let short = |name: &str, quantity: &Quantity<f64>, unit: &str| {
        let (value, interval) = with_interval(*quantity.value()?, quantity.interval95());
        let interval = interval.map(|i| format!(" ({i})")).unwrap_or_default();
        Some(format!("{name} {value}{unit}{interval}"))
    };
    let diameter =
        short("diameter", &sample.diameter_mm, " mm").or_else(|| short("diameter", &sample.diameter_px, " px"));
    let figures = [
        diameter,
        short("wraps/in", &sample.wraps_per_inch, ""),
        short("twists/in", &sample.twists_per_inch, ""),
        short("angle", &sample.twist_angle_deg, "°"),
        short("width varies by", &sample.evenness.diameter_cv_percent, " %"),
    ];
    let answered: Vec<String> = figures.into_iter().flatten().collect();
    if answered.is_empty() {
        return sample.diameter_px.reason().map(Reason::message).unwrap_or_default();
    }
    answered.join("   \u{b7}   ")
}

/// A number, rounded to what its interval supports (two digits of half its width), and the interval.
#[must_use]
pub fn with_interval(value: f64, interval: Option<Interval>) -> (String, Option<String>) {
    let Some([low, high]) = interval else { return (format!("{value:.3}"), None) };
    let half = (high - low) / 2.0;
    let decimals = if half > 0.0 { (1.0 - half.log10().floor()).clamp(0.0, 6.0) as usize } else { 3 };
    (format!("{value:.decimals$}"), Some(format!("{low:.decimals$} to {high:.decimals$}")))
}

fn entry(name: &str, value: &str) -> String {
    format!("  {name:<VALUES_AT$}{value}")
}

/// One line of a figure; `None` where it has no value. `also` is another unit: its factor and name.
fn figure(name: &str, quantity: &Quantity<f64>, unit: &str, also: Option<(f64, &str)>) -> Option<String> {
    let value = *quantity.value()?;
    let (shown, interval) = with_interval(value, quantity.interval95());
    let other = also.map(|(factor, unit)| {
        let other = quantity.scaled(factor);
        // One digit of half the interval: the figure was given in full before.
        let half = other.half_width().filter(|half| *half > 0.0);
        let decimals = half.map_or(3, |half| (-half.log10().floor()).clamp(0.0, 4.0) as usize);
        format!(" = {:.decimals$} {unit}", value * factor)
    });
    let interval = interval.map(|i| format!("   ({i})")).unwrap_or_default();
    let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
    Some(entry(name, &format!("{shown}{unit}{}{interval}", other.unwrap_or_default())))
}

fn wraps_note(wraps: &Quantity<f64>) -> &'static str {
    match wraps {
        Quantity::Measured { method: Method::WrapsCounted, .. } => "counted",
        Quantity::Measured { .. } => "if laid side by side without pressing",
        Quantity::Unanswered(_) => "",
    }
}

fn fibres_note(fibre_angle_deg: &Quantity<f64>) -> String {
    let word = Balance::of_fibres(fibre_angle_deg).map(|b| format!(": {}", b.word())).unwrap_or_default();
    format!("degrees to the yarn's axis{word}")
}

/// Weight categories, those of one meaning together.
fn categories(sample: &Sample) -> Vec<String> {
    let mut groups: Vec<(&str, Vec<&str>)> = Vec::new();
    for category in &sample.weight_categories {
        match groups.iter_mut().find(|(meaning, _)| *meaning == category.meaning) {
            Some((_, names)) => names.push(&category.name),
            None => groups.push((&category.meaning, vec![&category.name])),
        }
    }
    groups.iter().map(|(meaning, names)| entry("yarn weight", &format!("{} ({meaning})", names.join(", ")))).collect()
}

fn faults(sample: &Sample) -> Option<String> {
    let faults = sample.evenness.faults.as_ref()?;
    let count = |kind| faults.list.iter().filter(|f| f.kind == kind).count();
    let (thick, thin) = (count(FaultKind::Thick), count(FaultKind::Thin));
    Some(entry("uneven places", &format!("{thick} thick, {thin} thin in {:.0} mm", faults.searched_mm)))
}

/// What has no value, grouped by its reason; figures that do not apply to singles or to one piece are no loss.
fn unanswered(sample: &Sample) -> Vec<String> {
    let mut groups: Vec<(Reason, Vec<&str>)> = Vec::new();
    for column in SAMPLE {
        if let Cell::Unanswered(reason) = (column.get)(sample) {
            if matches!(reason, Reason::Singles | Reason::OnePiece) {
                continue;
            }
            match groups.iter_mut().find(|(known, _)| *known == reason) {
                Some((_, names)) => names.push(column.meaning),
                None => groups.push((reason, vec![column.meaning])),
            }
        }
    }
    groups
        .iter()
        .map(|(reason, names)| {
            let what = match names.as_slice() {
                [one] => (*one).to_owned(),
                [first, rest @ ..] => format!("{first} and {} more", rest.len()),
                [] => String::new(),
            };
            entry("not answered", &format!("{what}: {}", escape::one_line(&reason.message())))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_follow_the_interval() {
        // Source: JCGM 100:2008, 7.2.6: an uncertainty is stated with at most two significant digits.
        assert_eq!(with_interval(1.462_31, Some([1.412, 1.512])), ("1.462".into(), Some("1.412 to 1.512".into())));
        assert_eq!(with_interval(191.3, Some([170.0, 212.6])), ("191".into(), Some("170 to 213".into())));
        assert_eq!(with_interval(27.42, Some([24.9, 29.9])), ("27.4".into(), Some("24.9 to 29.9".into())));
    }
}
