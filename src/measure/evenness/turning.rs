//! Local turns of twist, and the width averaged over one of them: the swelling of each ply is structure, not unevenness.

use std::f64::consts::PI;

use super::ruled::{RuledPiece, RuledStation};
use crate::measure::twist::StrandTwist;

/// Turns per unit of length at each station of a piece; `None` where unknown.
///
/// Plied: the slope of the counted turns over half a turn to either side. Singles: `tan(angle) / (pi width)` with the
/// width averaged over one diameter. Source: idealised helix, Hearle, Grosberg & Backer (1969), from memory.
#[must_use]
pub fn local_turns(piece: &RuledPiece, twist: &StrandTwist, plies: u32) -> Vec<Option<f64>> {
    if plies > 1 {
        return slopes(piece, &twist.turns);
    }
    let widths = smoothed_over_a_diameter(piece);
    piece
        .stations
        .iter()
        .enumerate()
        .map(|(i, station)| {
            let angle = (*twist.angle_rad.get(i)?)?;
            let width = (*widths.get(i)?)?;
            (width > 0.0).then(|| angle.tan() * station.tan_factor / (PI * width))
        })
        .collect()
}

/// Derivative of the counted turns, by the difference over the stations within half a turn.
fn slopes(piece: &RuledPiece, turns: &[Option<f64>]) -> Vec<Option<f64>> {
    let stations = &piece.stations;
    let at = |i: usize| Some((stations.get(i)?.at, (*turns.get(i)?)?));
    (0..stations.len())
        .map(|i| {
            let (_, here) = at(i)?;
            let (mut low, mut high) = (i, i);
            while let Some((_, t)) = low.checked_sub(1).and_then(at).filter(|(_, t)| *t <= here && here - *t <= 0.5) {
                let _ = t;
                low -= 1;
            }
            while at(high + 1).is_some_and(|(_, t)| t >= here && t - here <= 0.5) {
                high += 1;
            }
            let ((x0, t0), (x1, t1)) = (at(low)?, at(high)?);
            (t1 - t0 >= 0.5 && x1 > x0).then(|| (t1 - t0) / (x1 - x0))
        })
        .collect()
}

fn smoothed_over_a_diameter(piece: &RuledPiece) -> Vec<Option<f64>> {
    let mut out = vec![None; piece.stations.len()];
    let mut first = 0;
    for run in piece.stations.split(|s| s.left_out.is_some()) {
        if run.len() > 2 {
            let area = cumulative(run, |s| s.width);
            let mean = mean_width(run);
            for (k, station) in run.iter().enumerate() {
                let (from, to) = clipped(run, station.at - mean / 2.0, station.at + mean / 2.0);
                if to > from {
                    out[first + k] = Some((interpolate(run, &area, to) - interpolate(run, &area, from)) / (to - from));
                }
            }
        }
        first += run.len() + 1;
    }
    out
}

fn clipped(run: &[RuledStation], from: f64, to: f64) -> (f64, f64) {
    let (first, last) = (run.first().map_or(0.0, |s| s.at), run.last().map_or(0.0, |s| s.at));
    (from.max(first), to.min(last))
}

fn mean_width(run: &[RuledStation]) -> f64 {
    run.iter().map(|s| s.width).sum::<f64>() / run.len().max(1) as f64
}

/// Integral of `value` along the run by the trapezoidal rule, one entry a station, starting at 0.
fn cumulative(run: &[RuledStation], value: impl Fn(&RuledStation) -> f64) -> Vec<f64> {
    let mut sum = 0.0;
    let mut out = vec![0.0];
    out.extend(run.windows(2).map(|pair| {
        sum += (pair[1].at - pair[0].at) * (value(&pair[0]) + value(&pair[1])) / 2.0;
        sum
    }));
    out
}

/// Value at `at` of a series given at the run's stations; clamped to its ends.
fn interpolate(run: &[RuledStation], series: &[f64], at: f64) -> f64 {
    let i = run.partition_point(|s| s.at <= at).clamp(1, run.len().saturating_sub(1).max(1));
    let (Some(a), Some(b)) = (run.get(i - 1), run.get(i)) else { return series.first().copied().unwrap_or(0.0) };
    let t = if b.at > a.at { ((at - a.at) / (b.at - a.at)).clamp(0.0, 1.0) } else { 0.0 };
    series[i - 1] + (series[i] - series[i - 1]) * t
}

/// The width averaged over one turn (plied) or one mean diameter (singles) about a station.
#[derive(Debug, Clone, Copy)]
pub struct AveragedWidth {
    /// Index of the station.
    pub station: usize,
    /// Along the piece.
    pub at: f64,
    /// The averaged width.
    pub width: f64,
    /// The extent that the turning plies fill: farthest right edge less farthest left edge within the window.
    pub envelope: f64,
}

/// Widths averaged as the report defines: by integration over the stretch in which the local twist makes one whole turn
/// (plied), over one mean diameter (singles); windows never bridge a gap and are never cut.
#[must_use]
pub fn averaged_widths(piece: &RuledPiece, turns_per_length: &[Option<f64>], plies: u32) -> Vec<AveragedWidth> {
    let mut out = Vec::new();
    let all: Vec<&[RuledStation]> = piece.runs();
    let mean = {
        let (sum, count) =
            all.iter().fold((0.0, 0), |(s, n), run| (s + run.iter().map(|x| x.width).sum::<f64>(), n + run.len()));
        sum / f64::from(u32::try_from(count.max(1)).unwrap_or(u32::MAX))
    };
    let mut first = 0;
    for run in piece.stations.split(|s| s.left_out.is_some()) {
        if plies > 1 {
            let known: Vec<Option<f64>> =
                (0..run.len()).map(|k| turns_per_length.get(first + k).copied().flatten()).collect();
            let mut start = 0;
            for part in known.split(Option::is_none) {
                over_turns(&run[start..start + part.len()], part, first + start, &mut out);
                start += part.len() + 1;
            }
        } else {
            over_length(run, mean, first, &mut out);
        }
        first += run.len() + 1;
    }
    out
}

fn over_turns(run: &[RuledStation], turns: &[Option<f64>], first: usize, out: &mut Vec<AveragedWidth>) {
    if run.len() < 8 {
        return;
    }
    let area = cumulative(run, |s| s.width);
    let mut counted = vec![0.0];
    let mut sum = 0.0;
    for (pair, rates) in run.windows(2).zip(turns.windows(2)) {
        sum += (pair[1].at - pair[0].at) * (rates[0].unwrap_or(0.0) + rates[1].unwrap_or(0.0)) / 2.0;
        counted.push(sum);
    }
    let (mut low, mut high) = (0, 0);
    for (k, station) in run.iter().enumerate() {
        let (from, to) = (counted[k] - 0.5, counted[k] + 0.5);
        if from < 0.0 || to > sum {
            continue;
        }
        while low + 1 < run.len() && counted[low + 1] <= from {
            low += 1;
        }
        while high + 1 < run.len() && counted[high] < to {
            high += 1;
        }
        let (a, b) = (at_count(run, &counted, from, low), at_count(run, &counted, to, high.saturating_sub(1)));
        if b > a {
            push_window(run, &area, (a, b), (low, high), first + k, station.at, out);
        }
    }
}

/// Where the count reaches `turns`, between stations `low` and `low + 1`.
fn at_count(run: &[RuledStation], counted: &[f64], turns: f64, low: usize) -> f64 {
    let high = (low + 1).min(run.len() - 1);
    let span = counted[high] - counted[low];
    let t = if span > 0.0 { ((turns - counted[low]) / span).clamp(0.0, 1.0) } else { 0.0 };
    run[low].at + (run[high].at - run[low].at) * t
}

fn over_length(run: &[RuledStation], length: f64, first: usize, out: &mut Vec<AveragedWidth>) {
    if run.len() < 8 {
        return;
    }
    let area = cumulative(run, |s| s.width);
    let (begin, end) = (run[0].at, run[run.len() - 1].at);
    let (mut low, mut high) = (0, 0);
    for (k, station) in run.iter().enumerate() {
        let (a, b) = (station.at - length / 2.0, station.at + length / 2.0);
        if a < begin || b > end {
            continue;
        }
        while low + 1 < run.len() && run[low + 1].at <= a {
            low += 1;
        }
        while high + 1 < run.len() && run[high].at < b {
            high += 1;
        }
        push_window(run, &area, (a, b), (low, high), first + k, station.at, out);
    }
}

fn push_window(
    run: &[RuledStation],
    area: &[f64],
    (a, b): (f64, f64),
    (low, high): (usize, usize),
    station: usize,
    at: f64,
    out: &mut Vec<AveragedWidth>,
) {
    let width = (interpolate(run, area, b) - interpolate(run, area, a)) / (b - a);
    let window = &run[low..=high];
    let right = window.iter().map(|s| s.right).fold(f64::MIN, f64::max);
    let left = window.iter().map(|s| s.left).fold(f64::MAX, f64::min);
    out.push(AveragedWidth { station, at, width, envelope: right - left });
}

/// Means of the local turns over windows side by side: two turns long (plied) or five diameters (singles).
#[must_use]
pub fn twist_windows(piece: &RuledPiece, turns_per_length: &[Option<f64>], plies: u32, mean_width: f64) -> Vec<f64> {
    let known: Vec<(f64, f64)> =
        piece.stations.iter().zip(turns_per_length).filter_map(|(s, t)| Some((s.at, (*t)?))).collect();
    let Some(mean) = crate::base::stats::mean(&known.iter().map(|k| k.1).collect::<Vec<_>>()).filter(|m| *m > 0.0)
    else {
        return Vec::new();
    };
    let length = if plies > 1 { 2.0 / mean } else { 5.0 * mean_width };
    let mut out = Vec::new();
    let mut window: Vec<f64> = Vec::new();
    let mut start = known.first().map_or(0.0, |k| k.0);
    let mut before = start;
    for (at, turns) in known {
        // A gap of a tenth of the window starts a new one: a window never bridges it.
        if at - before > length / 10.0 {
            window.clear();
            start = at;
        }
        if at - start >= length {
            out.extend(crate::base::stats::mean(&window));
            window.clear();
            start = at;
        }
        window.push(turns);
        before = at;
    }
    out
}
