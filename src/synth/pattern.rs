//! Further patterns of tables and papers: how much of the second colour shows at a place.

use std::f64::consts::TAU;

use super::chance::{cloud, hash, lattice};
use super::scene::Pattern;
use super::shade::smooth;
use super::thing::length;

/// Share of the second colour, 0 to 1, over a pixel of `size` mm; places in mm, already turned.
pub(super) fn accent(pattern: Pattern, u: f64, v: f64, size: f64, seed: u64) -> f64 {
    let rough = 0.06 * cloud(seed ^ 90, u / 0.5, v / 0.5);
    let t = match pattern {
        Pattern::Stripes => bands(u, 24.0, size, seed),
        Pattern::Dots => {
            let (i, j) = ((u / 9.0).floor(), (v / 9.0).floor());
            let aside = if (j as i64) % 2 == 0 { 0.0 } else { 4.5 };
            let i = if aside > 0.0 { ((u - aside) / 9.0).floor() } else { i };
            let radius = 2.4 + 0.8 * lattice(seed, i as i64, j as i64) * lattice(seed, 0, 0).abs();
            let away = (u - aside - (i + 0.5) * 9.0).hypot(v - (j + 0.5) * 9.0);
            edge(radius - away, size)
        }
        Pattern::Plaid => 0.5 * bands(u, 32.0, size, seed) + 0.5 * bands(v, 32.0, size, seed ^ 1),
        Pattern::Weave => {
            let (i, j) = (u.floor(), v.floor());
            let (x, y) = (u - i - 0.5, v - j - 0.5);
            let along = (i as i64 + j as i64) % 2 == 0;
            let (over, beside) = if along { (x, y) } else { (y, x) };
            let round = 1.0 - 1.6 * over * over - 2.4 * beside * beside;
            let thread = if along { lattice(seed, 0, j as i64) } else { lattice(seed ^ 2, i as i64, 0) };
            faded(0.55 - 0.6 * round.max(0.0) + 0.1 * thread + if along { 0.1 } else { 0.0 }, 0.35, size, 0.5)
        }
        Pattern::Twill => {
            let line = (u + v) / 1.4 + 0.15 * cloud(seed, u, v);
            let rib = 0.5 + 0.4 * (TAU * line).sin() + 0.25 * lattice(seed ^ 3, line.floor() as i64, (u / 3.0) as i64);
            faded(rib, 0.5, size, 0.5)
        }
        Pattern::Ribs => {
            let at = u / 3.2;
            let across = 2.0 * (at - at.floor()) - 1.0;
            faded(across * across * 0.9 + 0.1 * cloud(seed, u / 0.3, v / 2.0), 0.3, size, 1.6)
        }
        Pattern::Print => print(u, v, size, seed),
        Pattern::Gradient => 0.5 + 0.5 * (u / 80.0 + lattice(seed, 1, 1)).sin() + 0.1 * cloud(seed, u / 30.0, v / 30.0),
        Pattern::Grain => {
            0.5 + 0.35 * cloud(seed, u / 0.6, v / 0.6)
                + 0.3 * cloud(seed ^ 4, u / 2.5, v / 2.5)
                + 0.2 * cloud(seed ^ 5, u / 11.0, v / 11.0)
        }
        Pattern::Tiles => {
            let row = (v / 12.0).floor();
            let shifted = u + if lattice(seed, 0, 0) > 0.0 { 12.0 * (row / 2.0).fract().abs() } else { 0.0 };
            let column = (shifted / 24.0).floor();
            let gap = (shifted / 24.0 - column - 0.5).abs() * 24.0;
            let joint = edge(gap.max((v / 12.0 - row - 0.5).abs() * 12.0 + 6.0) - 11.4, size);
            0.35 + 0.25 * lattice(seed ^ 6, column as i64, row as i64) + 0.6 * joint
        }
        Pattern::Cells => {
            let (first, second) = cells(u / 7.0, v / 7.0, seed);
            let joint = 1.0 - smooth((second.0 - first.0) / 0.18);
            0.4 + 0.35 * lattice(seed ^ 8, first.1, first.2) + 0.5 * joint
        }
        Pattern::Plain | Pattern::Wood | Pattern::Gingham | Pattern::Linen | Pattern::Marble => 0.5,
    };
    (t + rough).clamp(0.0, 1.0)
}

/// Share of a pixel that lies inside an edge.
fn edge(inside: f64, size: f64) -> f64 {
    (inside / size + 0.5).clamp(0.0, 1.0)
}

/// A pattern of the period `fine` fades into its mean where pixels are as large.
fn faded(t: f64, mean: f64, size: f64, fine: f64) -> f64 {
    mean + (t - mean) * (1.0 - smooth(size / fine - 0.5))
}

/// Stripes of random widths within one period.
fn bands(at: f64, period: f64, size: f64, seed: u64) -> f64 {
    let place = (at / period).rem_euclid(1.0) * period;
    let mut t: f64 = 0.0;
    for k in 0..4 {
        let middle = period * (0.1 + 0.8 * (0.5 + 0.5 * lattice(seed ^ 11, k, 0)));
        let half = period * (0.01 + 0.1 * lattice(seed ^ 12, k, 0).abs());
        let away = (place - middle).abs().min(period - (place - middle).abs());
        t = t.max((0.5 + 0.5 * lattice(seed ^ 13, k, 0).abs()) * edge(half - away, size));
    }
    t
}

/// Lines of something like print: words of strokes, with paragraphs.
fn print(u: f64, v: f64, size: f64, seed: u64) -> f64 {
    let pitch = 4.2;
    let row = (v / pitch).floor();
    let y = v - row * pitch;
    let line = row as i64;
    if lattice(seed ^ 14, line.div_euclid(7), 3) < -0.3 && line.rem_euclid(7) == 6 {
        return 0.0;
    }
    // Letters of some 1.6 mm; a gap after every few.
    let letter = (u / 1.6).floor();
    let x = u - letter * 1.6;
    let key = hash(seed ^ hash(line as u64) ^ (letter as i64 as u64).wrapping_mul(31));
    if key.is_multiple_of(6) || !(0.6..=3.2).contains(&y) {
        return 0.0;
    }
    let tall = if key & 64 == 0 { 0.6 } else { 1.3 };
    let stroke = |on: bool, away: f64| if on { edge(0.13 - away, size) } else { 0.0 };
    let within = edge(y - tall, size) * edge(2.9 - y, size);
    let across = edge(x - 0.1, size) * edge(1.3 - x, size);
    let upright = [(0.25, key & 1), (1.15, key & 2), (0.7, key & 4)].map(|(at, on)| stroke(on != 0, (x - at).abs()));
    let level = [(1.4, key & 8), (2.1, key & 16), (2.8, key & 32)].map(|(at, on)| stroke(on != 0, (y - at).abs()));
    let ink = upright.iter().fold(0.0, |a: f64, b| a.max(*b)) * within;
    ink.max(level.iter().fold(0.0, |a: f64, b| a.max(*b)) * across)
}

type Seed = (f64, i64, i64);

/// Distances to the nearest two of points strewn one to a cell, and whose they are (Worley, "A cellular texture basis
/// function", SIGGRAPH 1996).
fn cells(u: f64, v: f64, seed: u64) -> (Seed, Seed) {
    let (i, j) = (u.floor() as i64, v.floor() as i64);
    let (mut first, mut second) = ((f64::MAX, 0, 0), (f64::MAX, 0, 0));
    for (a, b) in (-1..=1).flat_map(|a| (-1..=1).map(move |b| (i + a, j + b))) {
        let x = a as f64 + 0.5 + 0.45 * lattice(seed ^ 15, a, b);
        let y = b as f64 + 0.5 + 0.45 * lattice(seed ^ 16, a, b);
        let away = length(x - u, y - v);
        if away < first.0 {
            second = first;
            first = (away, a, b);
        } else if away < second.0 {
            second = (away, a, b);
        }
    }
    (first, second)
}
