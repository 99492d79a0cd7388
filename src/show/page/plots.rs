//! Plots as SVG inside a page. Each says in its description what it shows.

use std::fmt::Write;

use maud::{Markup, html};

use super::axis::Axis;
use crate::base::stats;
use crate::figures::report::Profile;

// Units of the drawing: letters are about 10 of them on a wide screen and 20 on a narrow one, where the whole drawing is
// shrunk to half; the margins leave room for the larger ones.
const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 220.0;
const LEFT: f64 = 56.0;
const RIGHT: f64 = 14.0;
const TOP: f64 = 36.0;
const BOTTOM: f64 = 50.0;

/// A place, in the drawing's units.
fn at(value: f64) -> String {
    format!("{value:.1}")
}

/// What a plot is, for those who do not see it, and the names of its axes.
struct Told<'a> {
    id: &'a str,
    title: &'a str,
    described: &'a str,
    x_name: &'a str,
    y_name: &'a str,
}

/// A plot: both axes with their numbers and names, and what is drawn between them.
fn framed(told: &Told<'_>, x: &Axis, y: &Axis, drawn: &Markup) -> Markup {
    let (right, bottom) = (WIDTH - RIGHT, HEIGHT - BOTTOM);
    let (title, desc) = (format!("{}-t", told.id), format!("{}-d", told.id));
    html! {
        svg class="plot" viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-labelledby=(format!("{title} {desc}")) {
            title id=(title) { (told.title) }
            desc id=(desc) { (told.described) }
            @for (value, place) in y.ticks() {
                line class="grid" x1=(LEFT) x2=(right) y1=(at(place)) y2=(at(place)) {}
                text x=(at(LEFT - 7.0)) y=(at(place + 4.0)) text-anchor="end" { (value) }
            }
            @for (value, place) in x.ticks() {
                line class="axis" x1=(at(place)) x2=(at(place)) y1=(bottom) y2=(at(bottom + 4.0)) {}
                text x=(at(place)) y=(at(bottom + 20.0)) text-anchor="middle" { (value) }
            }
            line class="axis" x1=(LEFT) x2=(right) y1=(bottom) y2=(bottom) {}
            text x=(right) y=(at(HEIGHT - 6.0)) text-anchor="end" { (told.x_name) }
            text x="4" y="16" { (told.y_name) }
            (drawn)
        }
    }
}

/// Width along a piece; empty where the profile is.
#[must_use]
pub fn profile(id: &str, profile: &Profile) -> Markup {
    let points: Vec<(f64, f64)> = profile.at_mm.iter().copied().zip(profile.width_mm.iter().copied()).collect();
    let (Some(mean), Some(first), Some(last)) = (stats::mean(&profile.width_mm), points.first(), points.last()) else {
        return Markup::default();
    };
    let x = Axis::exactly(first.0, last.0, LEFT, WIDTH - RIGHT);
    // From zero, so that unevenness is not made to look larger than it is.
    let top = profile.width_mm.iter().copied().fold(0.0, f64::max) * 1.1;
    let y = Axis::exactly(0.0, top, HEIGHT - BOTTOM, TOP);
    let (low, high) = profile.width_mm.iter().fold((f64::MAX, 0.0f64), |(l, h), w| (l.min(*w), h.max(*w)));
    let described =
        format!("Width along {:.0} mm of yarn: mean {mean:.2} mm, from {low:.2} to {high:.2} mm.", last.0 - first.0);
    // More points than pixels add nothing but bytes.
    let every = points.len().div_ceil(900).max(1);
    // A gap in the stations is a part that was left out: the line does not bridge it.
    let usual = stats::median(&points.windows(2).filter_map(|w| Some(w.get(1)?.0 - w.first()?.0)).collect::<Vec<_>>());
    let mut before: Option<f64> = None;
    let mut line = String::new();
    for (along, width) in points.iter().step_by(every) {
        let joined = before.zip(usual).is_some_and(|(b, u)| along - b < 3.0 * u * every as f64);
        // Writing to a string cannot fail.
        let _ = write!(line, "{}{:.1} {:.1}", if joined { "L" } else { "M" }, x.at(*along), y.at(*width));
        before = Some(*along);
    }
    let drawn = html! {
        line class="mean" x1=(LEFT) x2=(WIDTH - RIGHT) y1=(at(y.at(mean))) y2=(at(y.at(mean))) {}
        path class="line" d=(line) {}
    };
    let (title, x_name, y_name) = ("Width along the yarn", "along the yarn, mm", "width, mm");
    framed(&Told { id, title, described: &described, x_name, y_name }, &x, &y, &drawn)
}

/// How often each width occurs, in bins of a fortieth of the mean; empty without widths.
#[must_use]
pub fn histogram(id: &str, widths: &[f64]) -> Markup {
    let Some(mean) = stats::mean(widths).filter(|m| *m > 0.0) else { return Markup::default() };
    let bin = mean / 40.0;
    let low = widths.iter().copied().fold(f64::MAX, f64::min);
    let high = widths.iter().copied().fold(0.0, f64::max);
    let (from, to) = ((low / bin).floor() as i64, (high / bin).floor() as i64);
    // Widths beyond ten times the mean are no yarn.
    let bins = usize::try_from(to - from + 1).unwrap_or(0).min(400);
    let mut counts = vec![0usize; bins];
    for width in widths {
        let k = usize::try_from((width / bin).floor() as i64 - from).unwrap_or(0);
        if let Some(count) = counts.get_mut(k) {
            *count += 1;
        }
    }
    let share = |count: usize| 100.0 * count as f64 / widths.len() as f64;
    let most = counts.iter().copied().max().unwrap_or(0);
    let x = Axis::exactly((from as f64 - 1.0) * bin, (to as f64 + 2.0) * bin, LEFT, WIDTH - RIGHT);
    let y = Axis::exactly(0.0, share(most) * 1.1, HEIGHT - BOTTOM, TOP);
    let described = format!("Share of the yarn's length by width; mean {mean:.2} mm, from {low:.2} to {high:.2} mm.");
    let bottom = HEIGHT - BOTTOM;
    let bars = counts.iter().enumerate().filter(|(_, count)| **count > 0).map(|(k, count)| {
        let left = x.at((from + k as i64) as f64 * bin);
        let right = x.at((from + k as i64 + 1) as f64 * bin);
        (left, y.at(share(*count)), (right - left - 1.0).max(0.5))
    });
    let drawn = html! {
        @for (left, top, width) in bars {
            rect class="bar" x=(at(left)) y=(at(top)) width=(at(width)) height=(at(bottom - top)) {}
        }
        line class="mean" x1=(at(x.at(mean))) x2=(at(x.at(mean))) y1=(TOP) y2=(bottom) {}
    };
    let (title, x_name, y_name) = ("How often each width occurs", "width, mm", "share of length, %");
    framed(&Told { id, title, described: &described, x_name, y_name }, &x, &y, &drawn)
}
