//! Figures on a page: the three that are asked first, the whole table, and what to do about what is missing.

use maud::{Markup, html};

use super::{capital, own, scrolled};
use crate::figures::report::Sample;
use crate::figures::{Balance, Quantity, Reason, Warning};

/// Digits behind the point that an interval supports: one significant digit of its half width, two where that begins
/// with 1 or 2 and rounding it to one would move it by up to half. At most four.
fn digits(low: f64, high: f64) -> usize {
    let half = ((high - low) / 2.0).abs().max(1e-9);
    let decade = half.log10().floor();
    let two = half / 10f64.powf(decade) < 3.0;
    (if two { 1.0 - decade } else { -decade }).clamp(0.0, 4.0) as usize
}

/// A probability in words; nothing is certain.
pub(in crate::show) fn sure(probability: f64) -> String {
    if probability > 0.99 { "more than 99 % sure".to_owned() } else { format!("{:.0} % sure", 100.0 * probability) }
}

/// A number with `n` digits behind the point; one that rounds to nothing has no sign.
pub(super) fn fixed(value: f64, n: usize) -> String {
    let text = format!("{value:.n$}");
    match text.strip_prefix('-') {
        Some(digits) if digits.bytes().all(|b| matches!(b, b'0' | b'.')) => digits.to_owned(),
        _ => text,
    }
}

/// A number and its interval, as far as the interval supports digits.
pub(in crate::show) fn number(quantity: &Quantity<f64>) -> Option<(String, String)> {
    let value = *quantity.value()?;
    let [low, high] = quantity.interval95()?;
    let n = digits(low, high);
    Some((fixed(value, n), format!("{} to {}", fixed(low, n), fixed(high, n))))
}

fn tile(name: &str, quantity: &Quantity<f64>, unit: &str, also: &str) -> Markup {
    html! {
        div {
            dt { (name) }
            @if let Some((value, range)) = number(quantity) {
                dd {
                    (value) (unit)
                    small { (range) (unit) }
                    @if !also.is_empty() { small { (also) } }
                }
            } @else {
                dd class="none" {
                    "not answered"
                    small { (quantity.reason().map(|r| own(&r.message())).unwrap_or_default()) }
                }
            }
        }
    }
}

/// The probability that an answer carries.
fn probability<T>(quantity: &Quantity<T>) -> Option<f64> {
    match quantity {
        Quantity::Measured { probability, .. } => *probability,
        Quantity::Unanswered(_) => None,
    }
}

/// The figures that are asked first: thickness, twist, kind, evenness.
#[must_use]
pub fn lead(sample: &Sample) -> Markup {
    let wraps = number(&sample.wraps_per_inch).map(|(v, _)| format!("{v} wraps per inch")).unwrap_or_default();
    let angle = number(&sample.twist_angle_deg).map(|(v, r)| format!("at {v}° ({r})")).unwrap_or_default();
    let plies = match sample.plies.value() {
        Some(1) => "singles".to_owned(),
        Some(n) => format!("{n}-ply"),
        None => "plies not told".to_owned(),
    };
    let direction = match sample.twist_direction.value() {
        Some(d) => format!("{d:?} twist"),
        None => "direction not told".to_owned(),
    };
    let told = [("plies", probability(&sample.plies)), ("direction", probability(&sample.twist_direction))];
    html! {
        dl class="lead" {
            div {
                dt { "Kind" }
                dd {
                    (plies) ", " (direction)
                    @for (name, p) in told.iter().filter_map(|(name, p)| Some((name, (*p)?))) {
                        small { (name) " " (sure(p)) }
                    }
                }
            }
            (tile("Thickness", &sample.diameter_mm, " mm", &wraps))
            (tile("Twist", &sample.twists_per_inch, " turns/in", &angle))
            (tile("Unevenness of thickness", &sample.evenness.diameter_cv_percent, " %", "0 % is perfectly even"))
        }
    }
}

/// Every figure with its interval, or why there is none.
#[must_use]
pub fn figures_table(sample: &Sample) -> Markup {
    let balance = Balance::of_fibres(&sample.fibre_angle_deg).map(|b| format!(": {}", b.word())).unwrap_or_default();
    let fibres = format!("Angle of the surface fibres (0: along the yarn){balance}");
    let rows: [(&str, &str, &Quantity<f64>); 14] = [
        ("Thickness (mean width of the yarn's body)", " mm", &sample.diameter_mm),
        ("Width filled by the turning plies", " mm", &sample.envelope_diameter_mm),
        ("Wraps per inch", "", &sample.wraps_per_inch),
        ("Twist angle, as seen", "°", &sample.twist_angle_deg),
        ("Turns per inch", "", &sample.twists_per_inch),
        ("Turns per metre", "", &sample.twists_per_metre),
        ("Ply bumps per inch along one edge", "", &sample.bumps_per_inch),
        ("Ply bumps per diameter", "", &sample.bumps_per_diameter),
        (&fibres, "°", &sample.fibre_angle_deg),
        ("Unevenness of thickness", " %", &sample.evenness.diameter_cv_percent),
        ("Unevenness between pieces", " %", &sample.evenness.between_strands_cv_percent),
        ("Unevenness of twist", " %", &sample.evenness.twist_cv_percent),
        ("Hairiness (cover of hairs per diameter)", "", &sample.hairiness),
        ("Kinks per metre", "", &sample.kinks),
    ];
    let why = |quantity: &Quantity<f64>| quantity.reason().map(|r| own(&r.message())).unwrap_or_default();
    // A reason is told where it first stands.
    let before = std::iter::once(None).chain(rows.iter().map(|(.., q)| Some(why(q))));
    let table = html! {
        table {
            caption { "All figures. Where one is missing, the reason stands in its place." }
            thead {
                tr {
                    th scope="col" { "Figure" }
                    th scope="col" class="r" { "Value" }
                    th scope="col" { "95\u{a0}% interval" }
                }
            }
            tbody {
                @for ((name, unit, quantity), before) in rows.iter().zip(before) {
                    tr {
                        th scope="row" { (name) }
                        @if let Some((value, range)) = number(quantity) {
                            td class="r" { (value) (unit) }
                            td { (range) (unit) }
                        } @else {
                            @let why = why(quantity);
                            td class="r" { "none" }
                            td class="why" { @if before.as_ref() == Some(&why) { "as above" } @else { (why) } }
                        }
                    }
                }
            }
        }
    };
    html! {
        (scrolled("All figures", &table))
        @if !sample.weight_categories.is_empty() { (categories(sample)) }
    }
}

/// The weight categories, grouped by what is meant by wraps.
fn categories(sample: &Sample) -> Markup {
    let mut meanings: Vec<&str> = Vec::new();
    for category in &sample.weight_categories {
        if !meanings.contains(&category.meaning.as_str()) {
            meanings.push(&category.meaning);
        }
    }
    let names = |meaning: &str| {
        let these = sample.weight_categories.iter().filter(|c| c.meaning == meaning);
        these.map(|c| own(&c.name)).collect::<Vec<_>>().join(", ")
    };
    html! {
        h3 { "Yarn weight, as charts call it" }
        p { "Charts overlap and do not agree on what a wrap is, so all that fit are named." }
        ul class="said" {
            @for meaning in meanings {
                li { strong { (names(meaning)) } ": " (own(meaning)) }
            }
        }
    }
}

/// Figures that one reason is told for by name; with more, the whole photo is meant.
const NAMED: usize = 4;

/// What to do: each different reason and warning once, in plain words, with the figures that it keeps back.
#[must_use]
pub fn advice(sample: &Sample, warnings: &[Warning]) -> Markup {
    let mut said: Vec<(Vec<&str>, String)> = Vec::new();
    for warning in warnings {
        if !said.iter().any(|(_, message)| *message == warning.message) {
            said.push((Vec::new(), warning.message.clone()));
        }
    }
    let reasons = [
        ("length", sample.length_mm.reason()),
        ("thickness", sample.diameter_mm.reason()),
        ("twist angle", sample.twist_angle_deg.reason()),
        ("turns per inch", sample.twists_per_inch.reason()),
        ("angle of the surface fibres", sample.fibre_angle_deg.reason()),
        ("unevenness of thickness", sample.evenness.diameter_cv_percent.reason()),
        ("unevenness of twist", sample.evenness.twist_cv_percent.reason()),
        ("hairiness", sample.hairiness.reason()),
        ("kinks", sample.kinks.reason()),
        ("plies", sample.plies.reason()),
        ("direction of twist", sample.twist_direction.reason()),
    ];
    for (figure, reason) in reasons {
        // That singles have no plies, or that one piece has no neighbours, is nothing to mend.
        let Some(reason) = reason
            .filter(|r| !matches!(r, Reason::Singles | Reason::OnePiece | Reason::SeveralPhotos | Reason::NotYet))
        else {
            continue;
        };
        let message = reason.message();
        match said.iter_mut().find(|(_, other)| *other == message) {
            Some((figures, _)) => figures.push(figure),
            None => said.push((vec![figure], message)),
        }
    }
    if said.is_empty() {
        return Markup::default();
    }
    html! {
        h2 { "What to do for a better answer" }
        ul class="todo" {
            @for (figures, message) in &said {
                li {
                    @if !figures.is_empty() && figures.len() <= NAMED {
                        strong { (capital(&figures.join(", "))) ":" } " "
                    }
                    (own(message))
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_rounds_to_nothing_has_no_sign() {
        assert_eq!(fixed(-0.04, 1), "0.0");
        assert_eq!(fixed(-0.06, 1), "-0.1");
        assert_eq!(fixed(-0.3, 0), "0");
    }
}
