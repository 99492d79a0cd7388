//! The chart of a yarn over dates or lots, as SVG.

use maud::{Markup, PreEscaped, html};

use super::Control;
use crate::show::page::axis::Axis;
use crate::show::page::own;

const WIDTH: f64 = 760.0;
const HEIGHT: f64 = 340.0;
const LEFT: f64 = 64.0;
const RIGHT: f64 = 96.0;
const TOP: f64 = 28.0;
const BOTTOM: f64 = 76.0;

const STYLE: &str = "svg{font:13px system-ui,sans-serif;color:#1d2a2c;background:#fdfcf8}\
     .l{stroke:currentColor;stroke-width:1}.m{stroke:#2f6f73;stroke-width:1.5}\
     .k{stroke:#a4502f;stroke-width:1.5;stroke-dasharray:7 5}.p{fill:#2f6f73;stroke:#2f6f73}\
     .b{fill:#a4502f;stroke:#a4502f}text{fill:currentColor}\
     @media(prefers-color-scheme:dark){svg{color:#e9e6dc;background:#172022}.m{stroke:#7fc4c4}\
     .p{fill:#7fc4c4;stroke:#7fc4c4}.k{stroke:#e59a76}.b{fill:#e59a76;stroke:#e59a76}}";

/// The chart as an SVG document of its own: points with their intervals, mean and limits, all also told in its
/// description. It has no script, and reads on light and dark ground.
#[must_use]
pub fn svg(control: &Control) -> String {
    let figure = control.figure;
    let ends = control.points.iter().flat_map(|p| p.2).chain(control.limits.iter().flat_map(|l| [l.low, l.high]));
    let axis = Axis::over(ends, HEIGHT - BOTTOM, TOP);
    let step = (WIDTH - LEFT - RIGHT) / control.points.len().max(1) as f64;
    let x = |i: usize| LEFT + step * (i as f64 + 0.5);
    let unit = if figure.unit().is_empty() { String::new() } else { format!(", {}", figure.unit()) };
    let limits = control.limits.iter().flat_map(|l| {
        [(l.high, "k", "upper limit"), (l.centre, "m", "mean"), (l.low, "k", "lower limit")]
            .map(|(value, class, name)| (axis.at(value), class, name))
    });
    let end = WIDTH - RIGHT;
    let drawn = html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-labelledby="t d" {
            title id="t" { (figure.words()) (unit) " by lot" }
            desc id="d" { (own(&control.sentences().join(" "))) }
            style { (PreEscaped(STYLE)) }
            @for (value, y) in axis.ticks() {
                line class="l" x1=(at(LEFT - 5.0)) x2=(LEFT) y1=(at(y)) y2=(at(y)) {}
                text x=(at(LEFT - 9.0)) y=(at(y + 4.5)) text-anchor="end" { (value) }
            }
            text x=(LEFT) y="16" { (figure.words()) (unit) }
            @for (y, class, name) in limits {
                line class=(class) x1=(LEFT) x2=(end) y1=(at(y)) y2=(at(y)) {}
                text x=(at(end + 6.0)) y=(at(y + 4.5)) { (name) }
            }
            @for (i, (name, value, interval)) in control.points.iter().enumerate() {
                @let interval = interval.map(|end| axis.at(end));
                (point(name, control.beyond.contains(&i), x(i), axis.at(*value), interval))
            }
        }
    };
    drawn.into_string() + "\n"
}

/// A lot's point at (x, y) with the ends of its interval, and its name below.
fn point(name: &str, beyond: bool, x: f64, y: f64, [low, high]: [f64; 2]) -> Markup {
    let class = if beyond { "b" } else { "p" };
    let mut short: String = name.chars().take(18).collect();
    if name.chars().nth(18).is_some() {
        short.push('…');
    }
    let (tx, ty) = (at(x + 4.0), at(HEIGHT - BOTTOM + 16.0));
    html! {
        line class=(class) x1=(at(x)) x2=(at(x)) y1=(at(low)) y2=(at(high)) stroke-width="2" {}
        // Beyond the limits is a square, so that colour is not the only sign.
        @if beyond {
            rect class="b" x=(at(x - 5.5)) y=(at(y - 5.5)) width="11" height="11" {}
        } @else {
            circle class="p" cx=(at(x)) cy=(at(y)) r="4.5" {}
        }
        text x=(tx) y=(ty) text-anchor="end" transform=(format!("rotate(-35 {tx} {ty})")) { (own(&short)) }
    }
}

/// A place, in the drawing's units.
fn at(value: f64) -> String {
    format!("{value:.1}")
}
