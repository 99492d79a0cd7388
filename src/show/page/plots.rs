//! Plots as SVG inside a page. Each says in its description what it shows.

use std::fmt::Write;

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

/// The frame: both axes with their numbers and names.
fn frame(id: &str, title: &str, described: &str, x: &Axis, y: &Axis, x_name: &str, y_name: &str) -> String {
    let mut out = format!(
        "<svg class=\"plot\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" aria-labelledby=\"{id}-t {id}-d\">\
         <title id=\"{id}-t\">{title}</title><desc id=\"{id}-d\">{described}</desc>"
    );
    let (right, bottom) = (WIDTH - RIGHT, HEIGHT - BOTTOM);
    for (value, at) in y.ticks() {
        // Writing to a string cannot fail.
        let _ = write!(
            out,
            "<line class=\"grid\" x1=\"{LEFT}\" x2=\"{right}\" y1=\"{at:.1}\" y2=\"{at:.1}\"/>\
             <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{value}</text>",
            LEFT - 7.0,
            at + 4.0
        );
    }
    for (value, at) in x.ticks() {
        let _ = write!(
            out,
            "<line class=\"axis\" x1=\"{at:.1}\" x2=\"{at:.1}\" y1=\"{bottom}\" y2=\"{:.1}\"/>\
             <text x=\"{at:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{value}</text>",
            bottom + 4.0,
            bottom + 20.0
        );
    }
    let _ = write!(
        out,
        "<line class=\"axis\" x1=\"{LEFT}\" x2=\"{right}\" y1=\"{bottom}\" y2=\"{bottom}\"/>\
         <text x=\"{right}\" y=\"{:.1}\" text-anchor=\"end\">{x_name}</text><text x=\"4\" y=\"16\">{y_name}</text>",
        HEIGHT - 6.0
    );
    out
}

/// Width along a piece; empty where the profile is.
#[must_use]
pub fn profile(id: &str, profile: &Profile) -> String {
    let points: Vec<(f64, f64)> = profile.at_mm.iter().copied().zip(profile.width_mm.iter().copied()).collect();
    let (Some(mean), Some(first), Some(last)) = (stats::mean(&profile.width_mm), points.first(), points.last()) else {
        return String::new();
    };
    let x = Axis::exactly(first.0, last.0, LEFT, WIDTH - RIGHT);
    // From zero, so that unevenness is not made to look larger than it is.
    let top = profile.width_mm.iter().copied().fold(0.0, f64::max) * 1.1;
    let y = Axis::exactly(0.0, top, HEIGHT - BOTTOM, TOP);
    let (low, high) = profile.width_mm.iter().fold((f64::MAX, 0.0f64), |(l, h), w| (l.min(*w), h.max(*w)));
    let described =
        format!("Width along {:.0} mm of yarn: mean {mean:.2} mm, from {low:.2} to {high:.2} mm.", last.0 - first.0);
    let mut out = frame(id, "Width along the yarn", &described, &x, &y, "along the yarn, mm", "width, mm");
    let _ = write!(
        out,
        "<line class=\"mean\" x1=\"{LEFT}\" x2=\"{}\" y1=\"{:.1}\" y2=\"{:.1}\"/><path class=\"line\" d=\"",
        WIDTH - RIGHT,
        y.at(mean),
        y.at(mean)
    );
    // More points than pixels add nothing but bytes.
    let every = points.len().div_ceil(900).max(1);
    // A gap in the stations is a part that was left out: the line does not bridge it.
    let usual = stats::median(&points.windows(2).filter_map(|w| Some(w.get(1)?.0 - w.first()?.0)).collect::<Vec<_>>());
    let mut before: Option<f64> = None;
    for (at, width) in points.iter().step_by(every) {
        let joined = before.zip(usual).is_some_and(|(b, u)| at - b < 3.0 * u * every as f64);
        let _ = write!(out, "{}{:.1} {:.1}", if joined { "L" } else { "M" }, x.at(*at), y.at(*width));
        before = Some(*at);
    }
    out.push_str("\"/></svg>");
    out
}

/// How often each width occurs, in bins of a fortieth of the mean; empty without widths.
#[must_use]
pub fn histogram(id: &str, widths: &[f64]) -> String {
    let Some(mean) = stats::mean(widths).filter(|m| *m > 0.0) else { return String::new() };
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
    let mut out = frame(id, "How often each width occurs", &described, &x, &y, "width, mm", "share of length, %");
    let bottom = HEIGHT - BOTTOM;
    for (k, count) in counts.iter().enumerate().filter(|(_, c)| **c > 0) {
        let left = x.at((from + k as i64) as f64 * bin);
        let right = x.at((from + k as i64 + 1) as f64 * bin);
        let top = y.at(share(*count));
        let _ = write!(
            out,
            "<rect class=\"bar\" x=\"{left:.1}\" y=\"{top:.1}\" width=\"{:.1}\" height=\"{:.1}\"/>",
            (right - left - 1.0).max(0.5),
            bottom - top
        );
    }
    let _ = write!(
        out,
        "<line class=\"mean\" x1=\"{0:.1}\" x2=\"{0:.1}\" y1=\"{TOP}\" y2=\"{bottom}\"/></svg>",
        x.at(mean)
    );
    out
}
