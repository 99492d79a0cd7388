//! The truth along a strand, brought to a strip's columns and rows.

use serde::Serialize;
use strandrule::base::geometry::{Image, Point};
use strandrule::measure::seen::strip::{EyeStrip, ROWS};

use super::scene::Strand;

/// Every so many columns the net says what it sees; the truth is told in the middle of each.
const STRIDE: usize = 4;

/// What is true at every fourth column.
#[derive(Serialize, Default)]
pub struct Columns {
    /// 0 where there is no yarn.
    pub plies: usize,
    /// +1 Z, -1 S, 0 without yarn.
    pub direction: f64,
    /// Width that was guessed, over the true one; 0 without yarn.
    pub guess_ratio: f64,
    /// px of the photo a row.
    pub step_px: f64,
    /// Rows of the edges, the smaller first.
    pub top: Vec<f32>,
    pub bottom: Vec<f32>,
    pub phase: Vec<f32>,
    pub tan: Vec<f32>,
    pub valid: Vec<bool>,
}

/// A strip of no yarn.
pub fn nothing(strip: &EyeStrip) -> Columns {
    let n = strip.steps.len() / STRIDE;
    Columns {
        step_px: strip.step_px,
        top: vec![0.0; n],
        bottom: vec![0.0; n],
        phase: vec![0.0; n],
        tan: vec![0.0; n],
        valid: vec![false; n],
        ..Columns::default()
    }
}

/// The truth of `strand` in `strip`; `forward` is the way the strip runs.
pub fn of(strand: &Strand, strip: &EyeStrip, forward: Point<Image>) -> Columns {
    let mut out = Columns {
        plies: strand.plies,
        direction: strand.sign,
        step_px: strip.step_px,
        guess_ratio: strand.width_px().map_or(0.0, |w| strip.step_px * 20.0 / w),
        ..Columns::default()
    };
    // Phase is told along the strand's own way; laid the other way round, its angle turns round.
    let own = *strand.centre.last().unwrap_or(&forward) - *strand.centre.first().unwrap_or(&forward);
    let sense = if own.dot(forward) < 0.0 { -1.0 } else { 1.0 };
    let mut near = 0usize;
    for k in 0..strip.steps.len() / STRIDE {
        // Between the second and the third of four columns.
        let (a, b) = (strip.steps[k * STRIDE + 1], strip.steps[k * STRIDE + 2]);
        let (centre, normal) = (a.centre.lerp(b.centre, 0.5), a.normal);
        let tangent = normal.quarter_turn() * -1.0;
        near = nearest(&strand.centre, centre, near);
        // Where the column's normal crosses the station's neighbourhood.
        let along = |i: usize| (strand.centre[i] - centre).dot(tangent) * sense;
        let (i, t) = bracket(strand.centre.len(), near, &along);
        let row = |p: Point<Image>| (p - centre).dot(normal) / strip.step_px + (ROWS - 1) as f64 / 2.0;
        let mix = |values: &dyn Fn(usize) -> f64| values(i) + (values(i + 1) - values(i)) * t;
        let edges = strand.edges[i].zip(strand.edges[i + 1]);
        let ok = strand.valid[i] && strand.valid[i + 1] && along(i).abs() < 4.0 * strip.step_px * 20.0;
        let rows = edges.map(|(p, q)| {
            let mut rows = [0, 1].map(|e: usize| row(p[e].lerp(q[e], t)));
            rows.sort_by(f64::total_cmp);
            rows
        });
        let beyond = along(0) > 0.0 || along(strand.centre.len() - 1) < 0.0;
        let [top, bottom] = rows.unwrap_or([0.0, 0.0]);
        out.top.push(top as f32);
        out.bottom.push(bottom as f32);
        out.phase.push((sense * mix(&|j| strand.phase[j])) as f32);
        out.tan.push(mix(&|j| strand.tan[j]) as f32);
        // A strand whose middle lies in the strip's outer quarters is not what was looked at.
        let at_middle = (top + bottom - (ROWS - 1) as f64).abs() < (ROWS / 2) as f64;
        out.valid.push(ok && rows.is_some() && !beyond && at_middle);
    }
    out
}

/// The station nearest to a place, looked for about the one before.
fn nearest(centre: &[Point<Image>], p: Point<Image>, before: usize) -> usize {
    let by_distance = |a: &usize, b: &usize| centre[*a].distance(p).total_cmp(&centre[*b].distance(p));
    let local = before.saturating_sub(400)..(before + 400).min(centre.len());
    let near = local.min_by(by_distance).unwrap_or(0);
    let coarse = (0..centre.len()).step_by(16).min_by(by_distance).unwrap_or(0);
    if centre[coarse].distance(p) + 16.0 < centre[near].distance(p) {
        (coarse.saturating_sub(16)..(coarse + 17).min(centre.len())).min_by(by_distance).unwrap_or(coarse)
    } else {
        near
    }
}

/// The two neighbouring stations between which `along` changes its sign near `i`, and how far between them.
fn bracket(n: usize, i: usize, along: &dyn Fn(usize) -> f64) -> (usize, f64) {
    let low = if along(i) > 0.0 { i.saturating_sub(1) } else { i }.min(n - 2);
    let (a, b) = (along(low), along(low + 1));
    (low, if (b - a).abs() > 1e-9 { (-a / (b - a)).clamp(0.0, 1.0) } else { 0.0 })
}
