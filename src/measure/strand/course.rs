//! The edge's course along the strand: where each short window of columns looks most like the strand's own edge.
//!
//! One window alone cannot tell body from shadow, rim and hair; all windows together can, for they share one edge profile.
//! So the profile is learnt from the piece itself: windows are shifted across until they agree with the mean profile, the
//! mean is taken anew, and so on (an iterated template alignment, as in Kneip & Gasser, "Statistical tools to analyze
//! data representing a sample of curves", Annals of Statistics 20, 1992; cited from memory). The shifts are joined by
//! dynamic programming. What comes out is the course of the edge; how far the whole course lies from the core edge is
//! `place`'s to say.

use std::f32::consts::FRAC_1_SQRT_2;

use super::band::{Band, between_rows};
use super::edges::Side;
use crate::base::line::{between, running_median, smooth_values};
use crate::base::raster::Raster;
use crate::base::stats::{quantile, standard_deviation, upper_median};

/// An edge's course.
#[derive(Debug, Clone)]
pub(super) struct Course {
    /// Row per column.
    pub(super) rows: Vec<f64>,
    /// Standard uncertainty of a row against its neighbours, rows, per column.
    pub(super) u: Vec<f64>,
    /// Part of the edge that a column belongs to, each with a profile of its own: which of the yarn's colours it has, 0
    /// throughout where there is one.
    pub(super) part: Vec<usize>,
    /// Third of the edge's heights that it belongs to, from the grooves between plies to their crests; 0 throughout where
    /// the edge does not rise and fall.
    pub(super) height: Vec<usize>,
}

impl Course {
    /// How many parts there are.
    pub(super) fn parts(&self) -> usize {
        self.part.iter().copied().max().unwrap_or(0) + 1
    }
}

/// Light, two colours, and texture.
const FEATURES: usize = 4;

/// Spreads below which differences are noise and rounding: logarithm of light, colours relative to the pixel's own light,
/// logarithm of texture.
const LEAST_SPREAD: [f32; FEATURES] = [0.05, 0.03, 0.03, 0.15];

/// Light below which colour and relative light are mostly noise, relative to the ground.
const OWN_FLOOR: f32 = 0.06;

/// Relative change along the strand that rounding makes.
const QUIET: f32 = 0.02;

/// Length of a window, diameters: shorter than a ply's bump, longer than a fibre is wide.
const WINDOW: f64 = 0.1;

/// Standard deviation of the edge's slope against the smooth base. The bumps of hard-twisted plies rise with up to half a
/// row per column.
const SLOPE: f64 = 0.4;

/// Rounds of learning; more change the width by less than a hundredth of it, either way.
const ROUNDS: usize = 4;

/// Most plies of different colours.
const MOST_COLOURS: usize = 3;

/// Distance of two colours' means, standard deviations within them, from which on they are two. Halves of one normal
/// distribution are 2.7 apart, of a uniform one 3.5.
const APART: f32 = 4.0;

/// What a difference in the logarithm of light counts for beside one of colour: grooves and flanks of one colour are a third
/// to three times as bright, too.
const SHADE_WEIGHT: f32 = 0.2;

/// Rounds before windows of one colour are divided into two kinds, each with its own profile (lit and shaded flanks).
const ONE_KIND_ROUNDS: usize = 2;

/// Standard deviation of the edge about where the eye sees it, diameters.
const WANDER: f64 = 0.1;

/// Most that one sample may count, squared deviations: a hair, a speck.
const CAP: f32 = 9.0;

/// Profiles of all windows about the base line.
struct Windows {
    /// `samples[(window * FEATURES + feature) * taps + tap]`.
    samples: Vec<f32>,
    count: usize,
    taps: usize,
    /// First window's middle column, and columns between windows.
    first: usize,
    stride: usize,
}

impl Windows {
    fn of(&self, window: usize, feature: usize) -> &[f32] {
        let from = (window * FEATURES + feature) * self.taps;
        self.samples.get(from..from + self.taps).unwrap_or(&[])
    }
}

/// Mean and spread of the windows of one kind, from inside to outside.
struct Template {
    mean: Vec<f32>,
    /// What a deviation is multiplied by so that its square is half the square in spreads.
    scale: Vec<f32>,
    log_spread: Vec<f32>,
}

/// Follows one edge from `start`, the row per column where the eye sees it; `None` where the piece is too short for a profile of its
/// own. `diameter` in rows.
pub(super) fn course(band: &Band, side: Side, start: &[f64], diameter: f64) -> Option<Course> {
    let base = base_line(start, diameter);
    let half_template = (0.35 * diameter).round().clamp(5.0, 14.0) as usize;
    let reach = (0.35 * diameter).round().max(4.0) as usize;
    let windows = windows(band, side, &base, half_template + reach, diameter)?;
    let columns = base.len();
    let outward = side.outward();
    // Where the eye sees the edge in the middle of each window.
    let seen: Vec<f64> = (0..windows.count)
        .map(|w| (windows.first + w * windows.stride).min(columns - 1))
        .map(|column| (outward * (start[column] - base[column])).clamp(-(reach as f64), reach as f64))
        .collect();
    let mut shifts: Vec<isize> = seen.iter().map(|s| s.round() as isize).collect();
    // The colour inside of the base decides a window's kind for good: one that could choose would take the border between
    // two plies for the edge of the yarn.
    let colours = colours_of(&windows, half_template, reach, diameter);
    let plain = colours.is_none();
    let mut kinds = colours.unwrap_or_else(|| vec![0usize; windows.count]);
    let mut costs = Vec::new();
    for round in 0..ROUNDS {
        if plain && round == ONE_KIND_ROUNDS {
            kinds = two_kinds(&windows, &shifts, half_template, reach);
        }
        let templates: Vec<Option<Template>> =
            (0..MOST_COLOURS).map(|kind| template(&windows, &shifts, &kinds, kind, half_template, reach)).collect();
        costs = shift_costs(&windows, &templates, half_template, reach, &mut kinds, plain);
        for (of_window, seen) in costs.chunks_exact_mut(2 * reach + 1).zip(&seen) {
            for (k, cost) in of_window.iter_mut().enumerate() {
                *cost += (((k as f64 - reach as f64 - seen) / (WANDER * diameter)).powi(2) / 2.0) as f32;
            }
        }
        shifts = best_shifts(&costs, reach, SLOPE * windows.stride as f64);
    }
    // Between whole rows by a parabola through the costs.
    let candidates = 2 * reach + 1;
    let mut fine = Vec::with_capacity(windows.count);
    let mut u = Vec::with_capacity(windows.count);
    for (window, shift) in shifts.iter().enumerate() {
        let k = (*shift + reach as isize) as usize;
        let cost = |k: usize| f64::from(costs[window * candidates + k.min(candidates - 1)]);
        let (before, here, after) = (cost(k.saturating_sub(1)), cost(k), cost(k + 1));
        let curvature = before + after - 2.0 * here;
        let inner = k > 0 && k + 1 < candidates && curvature > 1e-3;
        let part = if inner { (0.5 * (before - after) / curvature).clamp(-0.5, 0.5) } else { 0.0 };
        fine.push(*shift as f64 + part);
        u.push(if inner { (1.0 / curvature).sqrt().clamp(0.1, reach as f64) } else { reach as f64 / 2.0 });
    }
    let heights = heights(&fine, diameter);
    let mut course = Course {
        rows: Vec::with_capacity(columns),
        u: Vec::with_capacity(columns),
        part: Vec::with_capacity(columns),
        height: Vec::with_capacity(columns),
    };
    for (column, row) in base.iter().enumerate() {
        let at =
            ((column as f64 - windows.first as f64) / windows.stride as f64).clamp(0.0, (windows.count - 1) as f64);
        let k = at as usize;
        course.rows.push(row + outward * between(&fine, at));
        course.u.push(u[k]);
        course.part.push(if plain { 0 } else { kinds[k] });
        course.height.push(heights[k]);
    }
    Some(course)
}

/// Thirds of the edge by height: grooves between plies, flanks and crests, where the edge rises and falls with the plies; all
/// in one where it does not.
fn heights(shifts: &[f64], diameter: f64) -> Vec<usize> {
    let third = |k: f64| quantile(shifts, k / 3.0).unwrap_or(0.0);
    let (low, high) = (third(1.0), third(2.0));
    let spread = standard_deviation(shifts).unwrap_or(0.0);
    if spread < RIPPLE * diameter {
        return vec![0; shifts.len()];
    }
    shifts.iter().map(|s| usize::from(*s > low) + usize::from(*s > high)).collect()
}

/// Standard deviation of the edge's height from which on it is divided by height, diameters: two plies make some 0.07, slow
/// changes of thickness within a few diameters less than half of that.
const RIPPLE: f64 = 0.03;

/// The start without its own wandering: the median over four diameters, smoothed.
fn base_line(start: &[f64], diameter: f64) -> Vec<f64> {
    let half = (2.0 * diameter).round() as usize;
    let stride = ((diameter / 4.0).round() as usize).max(1);
    let known: Vec<Option<f64>> = start.iter().copied().map(Some).collect();
    let line: Vec<f64> =
        running_median(&known, half, stride).into_iter().zip(start).map(|(m, s)| m.unwrap_or(*s)).collect();
    smooth_values(&line, diameter)
}

fn windows(band: &Band, side: Side, base: &[f64], half_taps: usize, diameter: f64) -> Option<Windows> {
    let columns = band.columns().min(base.len());
    let taps = 2 * half_taps + 1;
    let half = ((WINDOW * diameter / 2.0).round() as usize).max(1);
    let lag = (diameter / 12.0).round().clamp(2.0, 4.0) as usize;
    let (first, stride) = (half, half.max(2));
    if columns < 2 * half + 1 + 16 * stride {
        return None;
    }
    let count = (columns - 2 * half - 1) / stride + 1;
    let outward = side.outward();
    let along: Vec<Raster<f32>> = band
        .planes
        .iter()
        .map(|plane| {
            let mut out = Raster::filled(columns, taps, 0.0f32);
            for tap in 0..taps {
                let offset = outward * (tap as f64 - half_taps as f64);
                for (column, (sample, row)) in out.row_mut(tap).iter_mut().zip(base).enumerate() {
                    *sample = between_rows(plane, column, row + offset);
                }
            }
            out
        })
        .collect();
    let mut samples = vec![0.0f32; count * FEATURES * taps];
    for tap in 0..taps {
        let [light, red, blue] = [0, 1, 2].map(|c: usize| along[c].row(tap));
        let own: Vec<f32> = light.iter().map(|l| l.max(0.0) + OWN_FLOOR).collect();
        let over_own = |plane: &[f32]| plane.iter().zip(&own).map(|(v, own)| v / own).collect::<Vec<f32>>();
        let change: Vec<f32> = (0..columns)
            .map(|i| {
                let (a, b) = (i.saturating_sub(lag), (i + lag).min(columns - 1));
                (light[a] + light[b] - 2.0 * light[i]).abs() / own[i]
            })
            .collect();
        let mut lights = window_medians(&own, half, stride, count);
        lights.iter_mut().for_each(|l| *l = l.ln());
        let textures = (0..count)
            .map(|w| {
                (change[w * stride..w * stride + 2 * half + 1].iter().sum::<f32>() / (2 * half + 1) as f32 + QUIET).ln()
            })
            .collect();
        let [red, blue] = [red, blue].map(|plane| window_medians(&over_own(plane), half, stride, count));
        for (feature, values) in [lights, red, blue, textures].iter().enumerate() {
            for (window, value) in values.iter().enumerate() {
                samples[(window * FEATURES + feature) * taps + tap] = *value;
            }
        }
    }
    Some(Windows { samples, count, taps, first, stride })
}

/// Medians of `count` windows of `2 half + 1` values, the first from the start, `stride` apart. Windows are sorted side by side,
/// as far as their middle value.
fn window_medians(values: &[f32], half: usize, stride: usize, count: usize) -> Vec<f32> {
    const SIDE_BY_SIDE: usize = 32;
    let span = 2 * half + 1;
    let last = values.len().saturating_sub(1);
    let mut lanes = vec![[0.0f32; SIDE_BY_SIDE]; span];
    let mut out = Vec::with_capacity(count + SIDE_BY_SIDE);
    for block in (0..count).step_by(SIDE_BY_SIDE) {
        for (j, lane) in lanes.iter_mut().enumerate() {
            for (w, value) in lane.iter_mut().enumerate() {
                *value = values[((block + w) * stride + j).min(last)];
            }
        }
        // After each pass one more of the largest lies at the end.
        for pass in 0..=half {
            for j in 0..span - 1 - pass {
                let (lower, upper) = lanes.split_at_mut(j + 1);
                for (a, b) in lower[j].iter_mut().zip(&mut upper[0]) {
                    (*a, *b) = if *a < *b { (*a, *b) } else { (*b, *a) };
                }
            }
        }
        out.extend(lanes[half]);
    }
    out.truncate(count);
    out
}

/// The part of a window's profile that lies under the template at a shift.
fn under(profile: &[f32], shift: isize, half_template: usize, reach: usize) -> &[f32] {
    let from = (reach as isize + shift).max(0) as usize;
    profile.get(from..from + 2 * half_template + 1).unwrap_or(&[])
}

/// Medians and robust spreads of the windows of one kind.
fn template(
    windows: &Windows,
    shifts: &[isize],
    kinds: &[usize],
    kind: usize,
    half_template: usize,
    reach: usize,
) -> Option<Template> {
    let members: Vec<usize> = (0..windows.count).filter(|w| kinds[*w] == kind).collect();
    if members.len() < LEAST_MEMBERS {
        return None;
    }
    let taps = 2 * half_template + 1;
    let mut out = Template {
        mean: vec![0.0; FEATURES * taps],
        scale: vec![0.0; FEATURES * taps],
        log_spread: vec![0.0; FEATURES * taps],
    };
    // A few hundred windows tell a median to a twentieth of the spread.
    let skip = (members.len() / 300).max(1);
    let mut values = Vec::with_capacity(members.len());
    for feature in 0..FEATURES {
        for tap in 0..taps {
            values.clear();
            values.extend(
                members
                    .iter()
                    .step_by(skip)
                    .filter_map(|w| under(windows.of(*w, feature), shifts[*w], half_template, reach).get(tap)),
            );
            let mean = upper_median(values.iter().copied())?;
            let deviation = 1.4826 * upper_median(values.iter().map(|v| (v - mean).abs()))?;
            let spread = deviation.hypot(LEAST_SPREAD[feature]);
            let at = feature * taps + tap;
            (out.mean[at], out.scale[at], out.log_spread[at]) = (mean, FRAC_1_SQRT_2 / spread, spread.ln());
        }
    }
    Some(out)
}

/// Divides the windows by the first principal component of what lies inside the edge.
fn two_kinds(windows: &Windows, shifts: &[isize], half_template: usize, reach: usize) -> Vec<usize> {
    let length = FEATURES * half_template;
    let mut rows: Vec<f32> = Vec::with_capacity(windows.count * length);
    for (window, shift) in shifts.iter().enumerate() {
        for feature in 0..FEATURES {
            let part = under(windows.of(window, feature), *shift, half_template, reach);
            rows.extend((0..half_template).map(|tap| part.get(tap).copied().unwrap_or(0.0)));
        }
    }
    for i in 0..length {
        let column = || rows.iter().skip(i).step_by(length);
        let n = windows.count as f32;
        let mean = column().sum::<f32>() / n;
        let deviation = (column().map(|v| (v - mean).powi(2)).sum::<f32>() / n).sqrt() + 1e-3;
        rows.iter_mut().skip(i).step_by(length).for_each(|v| *v = (*v - mean) / deviation);
    }
    // Power iteration; the sign does not matter.
    let mut direction = vec![1.0f32; length];
    let mut scores = vec![0.0f32; windows.count];
    for _ in 0..20 {
        for (score, row) in scores.iter_mut().zip(rows.chunks_exact(length)) {
            *score = row.iter().zip(&direction).map(|(a, b)| a * b).sum();
        }
        direction.iter_mut().for_each(|d| *d = 0.0);
        for (score, row) in scores.iter().zip(rows.chunks_exact(length)) {
            direction.iter_mut().zip(row).for_each(|(d, v)| *d += score * v);
        }
        let norm = direction.iter().map(|d| d * d).sum::<f32>().sqrt().max(1e-12);
        direction.iter_mut().for_each(|d| *d /= norm);
    }
    let middle = upper_median(scores.iter().copied()).unwrap_or(0.0);
    scores.iter().map(|s| usize::from(*s > middle)).collect()
}

/// Divides the windows by the colour just inside of the base line; `None` where the body is of one colour.
fn colours_of(windows: &Windows, half_template: usize, reach: usize, diameter: f64) -> Option<Vec<usize>> {
    // Mean between two depths below the base, diameters.
    let look = |window: usize, deep: f64, shallow: f64| -> [f32; 3] {
        let from = half_template.saturating_sub((deep * diameter).round() as usize);
        let to = half_template.saturating_sub((shallow * diameter).round().max(1.0) as usize).max(from + 1);
        std::array::from_fn(|feature| {
            let part = under(windows.of(window, feature), 0, half_template, reach).get(from..to).unwrap_or(&[]);
            let weight = if feature == 0 { SHADE_WEIGHT } else { 1.0 };
            weight * part.iter().sum::<f32>() / part.len().max(1) as f32
        })
    };
    // Which colours there are is learnt deeper than plies move the edge, which of them a window's edge has, beside the edge:
    // where plies cross, the one below is not the one at the edge.
    let body: Vec<[f32; 3]> = (0..windows.count).map(|window| look(window, 0.3, 0.12)).collect();
    let colours = (2..=MOST_COLOURS).rev().find_map(|count| clusters(&body, count))?;
    let mut kinds: Vec<usize> = (0..windows.count).map(|window| nearest(&colours, &look(window, 0.2, 0.05))).collect();
    let counts: Vec<usize> = (0..colours.len()).map(|kind| kinds.iter().filter(|k| **k == kind).count()).collect();
    let commonest = (0..counts.len()).max_by_key(|k| counts[*k])?;
    kinds.iter_mut().filter(|k| counts[**k] < LEAST_MEMBERS).for_each(|k| *k = commonest);
    Some(kinds)
}

fn distance(a: &[f32; 3], b: &[f32; 3]) -> f32 {
    a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum()
}

fn nearest(centres: &[[f32; 3]], point: &[f32; 3]) -> usize {
    (0..centres.len())
        .min_by(|a, b| distance(&centres[*a], point).total_cmp(&distance(&centres[*b], point)))
        .unwrap_or(0)
}

/// Means of `count` clusters of points (k-means, started from the points furthest from each other); `None` unless all are
/// well apart.
fn clusters(points: &[[f32; 3]], count: usize) -> Option<Vec<[f32; 3]>> {
    let mean_of = |members: &mut dyn Iterator<Item = &[f32; 3]>| {
        let (mut sum, mut n) = ([0.0f32; 3], 0.0f32);
        for point in members {
            sum.iter_mut().zip(point).for_each(|(s, v)| *s += v);
            n += 1.0;
        }
        (sum.map(|s| s / n.max(1.0)), n as usize)
    };
    let mut centres = vec![mean_of(&mut points.iter()).0];
    for k in 0..count {
        let far = |p: &&[f32; 3]| centres.iter().map(|c| distance(c, p)).fold(f32::MAX, f32::min);
        let next = *points.iter().max_by(|a, b| far(a).total_cmp(&far(b)))?;
        // The first centre was the mean of all.
        if k == 0 { centres[0] = next } else { centres.push(next) }
    }
    let mut kinds = vec![0usize; points.len()];
    for _ in 0..20 {
        for (kind, point) in kinds.iter_mut().zip(points) {
            *kind = nearest(&centres, point);
        }
        for (k, centre) in centres.iter_mut().enumerate() {
            let (mean, n) = mean_of(&mut points.iter().zip(&kinds).filter(|(_, kind)| **kind == k).map(|(p, _)| p));
            if n < LEAST_MEMBERS.max(points.len() / LEAST_SHARE) {
                return None;
            }
            *centre = mean;
        }
    }
    // Spread of two clusters along the line that joins their centres.
    let apart = |a: usize, b: usize| {
        let axis: [f32; 3] = std::array::from_fn(|i| centres[b][i] - centres[a][i]);
        let length = distance(&centres[a], &centres[b]).sqrt().max(1e-6);
        let (mut square, mut n) = (0.0f32, 0.0f32);
        for (point, kind) in points.iter().zip(&kinds).filter(|(_, kind)| **kind == a || **kind == b) {
            let along: f32 = (0..3).map(|i| (point[i] - centres[*kind][i]) * axis[i]).sum::<f32>() / length;
            square += along * along;
            n += 1.0;
        }
        length > APART * (square / n).sqrt() && length > LEAST_SPREAD[1]
    };
    (0..count).all(|a| (0..a).all(|b| apart(a, b))).then_some(centres)
}

/// Part of all windows that a ply of its own colour shows in: of eight plies one is in sight an eighth of the time.
const LEAST_SHARE: usize = 8;

/// Windows that a profile needs.
const LEAST_MEMBERS: usize = 12;

/// Shifts whose costs are summed side by side: as many as the narrowest reach has, and one less.
const SIDE_BY_SIDE: usize = 8;

/// Cost of every shift of every window, `2 reach + 1` a window: half the capped squared deviations plus the logarithm of
/// the spread, per feature, against the template of the window's kind. Beyond the template's ends its last values go on:
/// inside is yarn, outside is not. Where windows may `choose`, their kind becomes the one that fits best.
fn shift_costs(
    windows: &Windows,
    templates: &[Option<Template>],
    half_template: usize,
    reach: usize,
    kinds: &mut [usize],
    choose: bool,
) -> Vec<f32> {
    let (candidates, taps) = (2 * reach + 1, 2 * half_template + 1);
    let mut costs = vec![f32::MAX; windows.count * candidates];
    let mut head = vec![0.0f32; candidates];
    let mut tail = vec![0.0f32; candidates];
    let mut under = vec![0.0f32; candidates];
    let mut own = vec![0.0f32; candidates];
    for (window, out) in costs.chunks_exact_mut(candidates).enumerate() {
        let mut best_kind = (f32::MAX, kinds[window]);
        for (kind, template) in templates.iter().enumerate() {
            let Some(template) = template.as_ref().filter(|_| choose || kind == kinds[window]) else { continue };
            own.iter_mut().for_each(|c| *c = 0.0);
            for feature in 0..FEATURES {
                let profile = windows.of(window, feature);
                let part = feature * taps..(feature + 1) * taps;
                let (mean, scale, log) =
                    (&template.mean[part.clone()], &template.scale[part.clone()], &template.log_spread[part]);
                // Without the logarithm, which all shifts share: this is where most of the time goes.
                let cost = |value: f32, mean: f32, scale: f32| {
                    let z = (value - mean) * scale;
                    let half = z * z;
                    if half < 0.5 * CAP { half } else { 0.5 * CAP }
                };
                let logs = log.iter().sum::<f32>();
                let last = taps - 1;
                // Before the template lie as many taps as it is shifted, after it those that are left.
                let after = profile.get(taps..).unwrap_or(&[]);
                for (shift, value) in profile.iter().take(candidates - 1).enumerate() {
                    head[shift + 1] = head[shift] + cost(*value, mean[0], scale[0]) + log[0];
                }
                for (shift, value) in after.iter().enumerate().rev() {
                    tail[shift] = tail[shift + 1] + cost(*value, mean[last], scale[last]) + log[last];
                }
                // Some shifts side by side; the last of them overlap those before.
                for start in (0..candidates - SIDE_BY_SIDE).step_by(SIDE_BY_SIDE).chain([candidates - SIDE_BY_SIDE]) {
                    let mut sums = [0.0f32; SIDE_BY_SIDE];
                    let values =
                        profile[start..].windows(SIDE_BY_SIDE).filter_map(<[f32]>::first_chunk::<SIDE_BY_SIDE>);
                    for ((values, mean), scale) in values.zip(mean).zip(scale) {
                        sums.iter_mut().zip(values).for_each(|(sum, value)| *sum += cost(*value, *mean, *scale));
                    }
                    under[start..start + SIDE_BY_SIDE].copy_from_slice(&sums);
                }
                for (((total, under), head), tail) in own.iter_mut().zip(&under).zip(&head).zip(&tail) {
                    *total += head + under + tail + logs;
                }
            }
            let least = own.iter().copied().fold(f32::MAX, f32::min);
            if least < best_kind.0 {
                best_kind = (least, kind);
            }
            for (c, o) in out.iter_mut().zip(&own) {
                *c = c.min(o / FEATURES as f32);
            }
        }
        kinds[window] = best_kind.1;
    }
    costs
}

/// The shifts of least summed cost, neighbours' differences Gaussian with `deviation` rows (Viterbi).
fn best_shifts(costs: &[f32], reach: usize, deviation: f64) -> Vec<isize> {
    let candidates = 2 * reach + 1;
    let count = costs.len() / candidates;
    let bend: Vec<f32> = (0..candidates).map(|d| ((d as f64 / deviation).powi(2) / 2.0) as f32).collect();
    // Farther than five standard deviations nothing goes in one step.
    let most = (5.0 * deviation).ceil() as usize;
    let mut total = costs[..candidates].to_vec();
    let mut from = vec![0u16; costs.len()];
    let mut next = vec![0.0f32; candidates];
    for window in 1..count {
        for k in 0..candidates {
            let (low, high) = (k.saturating_sub(most), (k + most).min(candidates - 1));
            let (mut best, mut which) = (f32::MAX, k);
            for (j, t) in total[low..=high].iter().enumerate() {
                let c = t + bend[k.abs_diff(low + j)];
                if c < best {
                    (best, which) = (c, low + j);
                }
            }
            next[k] = best + costs[window * candidates + k];
            from[window * candidates + k] = which as u16;
        }
        std::mem::swap(&mut total, &mut next);
    }
    let mut k = (0..candidates).min_by(|a, b| total[*a].total_cmp(&total[*b])).unwrap_or(reach);
    let mut shifts = vec![0isize; count];
    for window in (0..count).rev() {
        shifts[window] = k as isize - reach as isize;
        k = usize::from(from[window * candidates + k]);
    }
    shifts
}
