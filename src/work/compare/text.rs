//! A comparison in plain words.

use super::{Compared, Comparison, Difference, Plying, Verdict, plying};
use crate::figures::balance::TURNS;
use crate::work::figure::Figure;

/// How more and less of a figure is called.
fn called(figure: Figure) -> (&'static str, &'static str) {
    match figure {
        Figure::DiameterMm | Figure::EnvelopeDiameterMm => ("thicker", "thinner"),
        Figure::TwistsPerInch | Figure::TwistsPerMetre | Figure::BumpsPerInch | Figure::BumpsPerDiameter => {
            ("more twisted", "less twisted")
        }
        Figure::TwistAngleDeg => ("steeper in its twist angle", "flatter in its twist angle"),
        Figure::FibreAngleDeg => {
            ("further along the ply twist in its surface fibres", "further against the ply twist in its surface fibres")
        }
        Figure::DiameterCvPercent => ("less even in thickness", "more even in thickness"),
        Figure::TwistCvPercent => ("less even in twist", "more even in twist"),
        Figure::Hairiness => ("hairier", "less hairy"),
        Figure::Kinks => ("more kinked", "less kinked"),
        Figure::WrapsPerInch => ("finer in wraps", "thicker in wraps"),
    }
}

fn digits(size: f64) -> usize {
    // Two significant digits of the interval's half width, none behind the point for large numbers.
    (1.0 - size.abs().max(1e-4).log10().floor()).clamp(0.0, 4.0) as usize
}

fn sentence(d: &Difference, questions: usize) -> String {
    let [low, high] = d.interval95;
    let n = digits((high - low) / 2.0);
    let unit = d.figure.unit();
    let unit = if unit.is_empty() || unit == "°" { unit.to_owned() } else { format!(" {unit}") };
    match d.verdict {
        Verdict::Different => {
            let (more, less) = called(d.figure);
            let word = if d.difference > 0.0 { more } else { less };
            let percent = d.percent.map(|p| format!(", {:.0} %", p.abs())).unwrap_or_default();
            let (near, far) = (low.abs().min(high.abs()), low.abs().max(high.abs()));
            format!(
                "{} is {word} than {} by {:.n$}{unit} ({near:.n$} to {far:.n$}{percent}).",
                d.second,
                d.first,
                d.difference.abs()
            )
        }
        // Clear of nothing if it were the only question; of many, one such answer comes by chance.
        Verdict::NotTold if low * high > 0.0 => format!(
            "{} and {} cannot be told apart in {}: taken alone, {} minus {} lies between {low:+.n$} and {high:+.n$}{unit}, but of \
             {questions} differences looked at, one such may be chance; measure more of both.",
            d.first,
            d.second,
            d.figure.words(),
            d.second,
            d.first
        ),
        Verdict::NotTold => format!(
            "{} and {} cannot be told apart in {}: {} minus {} lies between {low:+.n$} and {high:+.n$}{unit}.",
            d.first,
            d.second,
            d.figure.words(),
            d.second,
            d.first
        ),
    }
}

/// One sentence for each difference, real ones first within each pair, then what else is to be known of the pair.
pub(super) fn sentences(comparison: &Comparison) -> Vec<String> {
    let mut all = Vec::new();
    let told = |d: &Difference| sentence(d, comparison.differences.len());
    for (i, first) in comparison.samples.iter().enumerate() {
        for second in comparison.samples.iter().skip(i + 1) {
            all.extend(words(first, second));
            let pair = || comparison.differences.iter().filter(|d| d.first == first.name && d.second == second.name);
            all.extend(pair().filter(|d| d.verdict == Verdict::Different).map(told));
            all.extend(pair().filter(|d| d.verdict == Verdict::NotTold).map(told));
        }
    }
    for sample in &comparison.samples {
        let s = &sample.pooled.sample;
        if s.strands < 2 {
            all.push(format!(
                "{} was measured on one piece: what is said of it holds for that piece, and for the whole yarn only as far as the piece is like the rest.",
                sample.name
            ));
        }
    }
    all
}

/// What differs in kind: direction, plies, and the balance of singles beside their ply.
fn words(first: &Compared, second: &Compared) -> Vec<String> {
    let (a, b) = (&first.pooled.sample, &second.pooled.sample);
    let mut all = Vec::new();
    if let (Some(x), Some(y)) = (a.twist_direction.value(), b.twist_direction.value())
        && x != y
    {
        all.push(format!("{} is twisted {x:?}, {} {y:?}.", first.name, second.name));
    }
    if let (Some(x), Some(y)) = (a.plies.value(), b.plies.value())
        && x != y
    {
        let name = |n: u32| if n == 1 { "singles".to_owned() } else { format!("{n}-ply") };
        all.push(format!(
            "{} is {}, {} is {}: their widths and twists measure different things.",
            first.name,
            name(*x),
            second.name,
            name(*y)
        ));
    }
    if let Some(found) = plying(a, b) {
        let (singles, plied) = if found.first_is_singles { (first, second) } else { (second, first) };
        all.push(balance_sentence(&singles.name, &plied.name, &found));
    }
    all
}

fn balance_sentence(singles: &str, plied: &str, found: &Plying) -> String {
    let percent = |part: f64| if part.is_finite() { format!("{:.0}", 100.0 * part) } else { "any".to_owned() };
    let [low, high] = found.range.map(percent);
    let told = format!(
        "If {plied} was plied from {singles}, its ply twist is {} % of the singles' ({low} to {high}; {} to {} is called balanced)",
        percent(found.ratio),
        percent(TURNS[0]),
        percent(TURNS[1])
    );
    match (found.by_turns, found.by_fibres) {
        (Some(turns), Some(fibres)) if turns != fibres => format!(
            "{told}, {} by that, but its surface fibres look {}: it may not be plied from these, or was finished since.",
            turns.word(),
            fibres.word()
        ),
        (Some(turns), _) => format!("{told}: {}.", turns.word()),
        (None, _) => format!("{told}, too wide a range to say more."),
    }
}

/// A comparison as a person reads it, one sentence a line.
#[must_use]
pub fn text(comparison: &Comparison) -> String {
    comparison.sentences.iter().map(|s| format!("{s}\n")).collect()
}
