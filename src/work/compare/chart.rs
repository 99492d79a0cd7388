//! The chart of a yarn over dates or lots, as SVG.

use std::fmt::Write;

use super::Control;
use crate::show::escape;
use crate::show::page::axis::Axis;

const WIDTH: f64 = 760.0;
const HEIGHT: f64 = 340.0;
const LEFT: f64 = 64.0;
const RIGHT: f64 = 96.0;
const TOP: f64 = 28.0;
const BOTTOM: f64 = 76.0;

/// The chart as an SVG document of its own: points with their intervals, mean and limits, all also told in its
/// description. It has no script, and reads on light and dark ground.
#[must_use]
pub fn svg(control: &Control) -> String {
    let figure = control.figure;
    let ends = control.points.iter().flat_map(|p| p.2).chain(control.limits.iter().flat_map(|l| [l.low, l.high]));
    let axis = Axis::over(ends, HEIGHT - BOTTOM, TOP);
    let step = (WIDTH - LEFT - RIGHT) / control.points.len().max(1) as f64;
    let x = |i: usize| LEFT + step * (i as f64 + 0.5);
    let mut out = String::new();
    let unit = if figure.unit().is_empty() { String::new() } else { format!(", {}", figure.unit()) };
    // Writing to a string cannot fail.
    let _ = write!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" aria-labelledby=\"t d\">\
         <title id=\"t\">{}{unit} by lot</title><desc id=\"d\">{}</desc>\
         <style>svg{{font:13px system-ui,sans-serif;color:#1d2a2c;background:#fdfcf8}}\
         .l{{stroke:currentColor;stroke-width:1}}.m{{stroke:#2f6f73;stroke-width:1.5}}\
         .k{{stroke:#a4502f;stroke-width:1.5;stroke-dasharray:7 5}}.p{{fill:#2f6f73;stroke:#2f6f73}}\
         .b{{fill:#a4502f;stroke:#a4502f}}text{{fill:currentColor}}\
         @media(prefers-color-scheme:dark){{svg{{color:#e9e6dc;background:#172022}}.m{{stroke:#7fc4c4}}\
         .p{{fill:#7fc4c4;stroke:#7fc4c4}}.k{{stroke:#e59a76}}.b{{fill:#e59a76;stroke:#e59a76}}}}</style>",
        figure.words(),
        escape::html(&control.sentences().join(" "))
    );
    for (value, y) in axis.ticks() {
        let _ = write!(
            out,
            "<line class=\"l\" x1=\"{:.1}\" x2=\"{LEFT}\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>\
             <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{value}</text>",
            LEFT - 5.0,
            LEFT - 9.0,
            y + 4.5
        );
    }
    let _ = write!(out, "<text x=\"{LEFT}\" y=\"16\">{}{unit}</text>", figure.words());
    if let Some(limits) = control.limits {
        for (value, class, name) in
            [(limits.high, "k", "upper limit"), (limits.centre, "m", "mean"), (limits.low, "k", "lower limit")]
        {
            let y = axis.at(value);
            let end = WIDTH - RIGHT;
            let _ = write!(
                out,
                "<line class=\"{class}\" x1=\"{LEFT}\" x2=\"{end}\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>\
                 <text x=\"{:.1}\" y=\"{:.1}\">{name}</text>",
                end + 6.0,
                y + 4.5
            );
        }
    }
    for (i, (name, value, [low, high])) in control.points.iter().enumerate() {
        let class = if control.beyond.contains(&i) { "b" } else { "p" };
        let (x, y) = (x(i), axis.at(*value));
        let _ = write!(
            out,
            "<line class=\"{class}\" x1=\"{x:.1}\" x2=\"{x:.1}\" y1=\"{:.1}\" y2=\"{:.1}\" stroke-width=\"2\"/>",
            axis.at(*low),
            axis.at(*high)
        );
        // Beyond the limits is a square, so that colour is not the only sign.
        let _ = if class == "b" {
            write!(out, "<rect class=\"b\" x=\"{:.1}\" y=\"{:.1}\" width=\"11\" height=\"11\"/>", x - 5.5, y - 5.5)
        } else {
            write!(out, "<circle class=\"p\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4.5\"/>")
        };
        let mut short: String = name.chars().take(18).collect();
        if name.chars().nth(18).is_some() {
            short.push('…');
        }
        let (tx, ty) = (x + 4.0, HEIGHT - BOTTOM + 16.0);
        let _ = write!(
            out,
            "<text x=\"{tx:.1}\" y=\"{ty:.1}\" text-anchor=\"end\" transform=\"rotate(-35 {tx:.1} {ty:.1})\">{}</text>",
            escape::html(&short)
        );
    }
    out.push_str("</svg>\n");
    out
}
