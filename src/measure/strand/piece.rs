//! From a rough trace to a measured piece.

use super::band::Band;
use super::body::{SeenBy, per_column, rough_bodies, steady};
use super::centre_line::stations;
use super::course::{Course, course};
use super::edges::{EdgeLine, Side, split};
use super::flanks;
use super::ground::Ground;
use super::likelihood::{self, Features};
use super::place::{BETWEEN_PARTS, Placed, place};
use super::trace::Trace;
use super::{Edge, Station, Strand, Strip};
use crate::base::geometry::{Image, Point};
use crate::base::line::{smooth_values, smoothed};
use crate::base::raster::Raster;
use crate::base::stats::median;
use crate::measure::photo::Photo;

/// Widest strand, in stations across, before the step grows: the strip then has at most some 500 rows.
pub(super) const MAX_STATIONS_ACROSS: f64 = 80.0;

/// Half width of the strip that is handed on, px: the strand, its edges and some ground with hairs.
pub(super) fn strip_half_px(width_px: f64) -> f64 {
    1.3 * width_px + 6.0
}

/// Traces one piece; `None` where no body can be made out along the trace.
pub(super) fn measure(photo: &Photo, ground: &Ground, trace: &Trace) -> Option<Strand> {
    match seen(photo, ground, trace, SeenBy::Amount) {
        Err(Unseen::NoBody) => seen(photo, ground, trace, SeenBy::Presence).ok(),
        measured => measured.ok(),
    }
}

/// Why a trace is no piece.
enum Unseen {
    /// Nothing that could be a body, or one bright line of it: what merely differs from the ground may show the whole.
    NoBody,
    /// Part of a thing that goes on beside it.
    PartOfMore,
}

/// How far off a rough edge may be, diameters: half of the evidence leaves out the plainer part of a flank, presence only what
/// is as plain as the ground.
fn rough_reach(seen_by: SeenBy) -> f64 {
    match seen_by {
        SeenBy::Amount => 0.35,
        SeenBy::Presence => 0.12,
    }
}

/// A body and the line along its middle, found coarsely beside its shadow.
struct Rough {
    first: Vec<Station>,
    step_px: f64,
    /// The row on the first line, and the body's rows per station.
    middle: f64,
    body: Vec<(f64, f64)>,
    steady: bool,
}

impl Rough {
    /// Looks along a line for a body of about this width with its shadow.
    fn along(
        photo: &Photo,
        ground: &Ground,
        line: &[Point<Image>],
        (width_px, free_px): (f64, f64),
        seen_by: SeenBy,
    ) -> Option<Self> {
        let step_px = (width_px / 16.0).max(1.0);
        let first = stations(line, step_px);
        if first.len() < 16 {
            return None;
        }
        // No further than to the next strand, but over the whole of its own shadow.
        let reach = (2.0 * width_px).min(free_px.max(0.6 * width_px)) + 6.0;
        let strip = Strip::straighten(&photo.rgb, &first, step_px, reach);
        let mut band = Band::on(&strip, &first, ground);
        band.bare_off(ground, &first, step_px, 0.75 * width_px);
        let bodies = rough_bodies(&band, (2.0 * width_px / step_px) as usize, seen_by);
        let body = per_column(&bodies, first.len());
        (!body.is_empty()).then(|| Self { first, step_px, middle: band.middle as f64, body, steady: steady(&bodies) })
    }

    fn width_px(&self) -> Option<f64> {
        Some(median(&self.body.iter().map(|(t, b)| b - t + 1.0).collect::<Vec<_>>())? * self.step_px)
    }

    /// The line along the body's middle.
    fn line(&self) -> Option<Vec<Point<Image>>> {
        let middles: Vec<f64> = self.body.iter().map(|(t, b)| ((t + b) / 2.0 - self.middle) * self.step_px).collect();
        Some(moved(&self.first, &smooth_values(&middles, 1.5 * self.width_px()? / self.step_px)))
    }
}

/// How much wider than a body what is looked through for it the second time.
const WITH_SHADOW: f64 = 1.5;

/// The body along a trace. A wide shadow that comes and goes bends the trace, and the body then wanders to and fro in the first
/// look: a second one along its own middle finds it steady, grain of the ground it does not.
fn rough_body(photo: &Photo, ground: &Ground, trace: &Trace, seen_by: SeenBy) -> Option<Rough> {
    let line = smoothed(&trace.path, (1.2 * trace.width_px / ground.reduced.factor as f64).max(2.0));
    let rough = Rough::along(photo, ground, &line, (trace.width_px, trace.free_px), seen_by)?;
    if rough.steady {
        return Some(rough);
    }
    let width_px = WITH_SHADOW * rough.width_px()?;
    let again = Rough::along(photo, ground, &rough.line()?, (width_px, trace.free_px), seen_by)?;
    again.steady.then_some(again)
}

fn seen(photo: &Photo, ground: &Ground, trace: &Trace, seen_by: SeenBy) -> Result<Strand, Unseen> {
    let rough = rough_body(photo, ground, trace, seen_by).ok_or(Unseen::NoBody)?;
    let width = rough.width_px().ok_or(Unseen::NoBody)?;
    let line = rough.line().ok_or(Unseen::NoBody)?;
    // Second pass: edges at full resolution.
    let step = (width / MAX_STATIONS_ACROSS).max(1.0);
    let second = stations(&line, step);
    if second.len() < 16 {
        return Err(Unseen::NoBody);
    }
    let strip = Strip::straighten(&photo.rgb, &second, step, 1.3 * width + 6.0);
    let band = Band::on(&strip, &second, ground);
    let body = match seen_by {
        SeenBy::Amount => per_column(&rough_bodies(&band, (2.0 * width / step) as usize, seen_by), second.len()),
        // Finer steps only take evidence of presence away: a dark ply between bright ones has none of its own.
        SeenBy::Presence => around_middle(&rough.body, second.len(), rough.step_px / step, band.middle as f64),
    };
    if body.is_empty() {
        return Err(Unseen::NoBody);
    }
    let diameter = median(&body.iter().map(|(t, b)| b - t + 1.0).collect::<Vec<_>>()).ok_or(Unseen::NoBody)?;
    let inset = 0.22 * diameter;
    let inside: Vec<(f64, f64)> = body
        .iter()
        .map(|(t, b)| {
            let (middle, half) = ((t + b) / 2.0, (b - t) / 2.0);
            let half = (half - inset).max(1.0);
            (middle - half, middle + half)
        })
        .collect();
    let lag = (diameter / 12.0).round().clamp(2.0, 4.0) as usize;
    let features = Features::of(&band, &inside, lag, (0.4 * diameter) as usize);
    let ratio = likelihood::ratio(&features, &inside, &body, 0.08 * diameter + 1.0, 0.6 * diameter);
    let (tops, bottoms): (Vec<f64>, Vec<f64>) = body.iter().copied().unzip();
    let tops = split(&ratio, &features, Side::Left, &tops, diameter, rough_reach(seen_by) * diameter);
    let bottoms = split(&ratio, &features, Side::Right, &bottoms, diameter, rough_reach(seen_by) * diameter);
    let (mut left, mut right) = edges(&band, &tops, &bottoms, diameter);
    if seen_by == SeenBy::Presence {
        // Dark or glinting rims may be yarn or its shadow: what lies between the split and the placed edge may be either.
        for (edge, split) in [(&mut left, &tops), (&mut right, &bottoms)] {
            let apart = edge.rows.iter().zip(split).map(|(a, b)| (a - b).abs()).sum::<f64>() / edge.rows.len() as f64;
            edge.shared_u = edge.shared_u.hypot(apart);
        }
    }
    flanks::weigh(&band, &mut left, &mut right, diameter);
    if flanks::bright_beside(&band, &left, &right, diameter) {
        return Err(Unseen::NoBody);
    }
    if flanks::same_beside(&band, &left, &right, diameter) {
        return Err(Unseen::PartOfMore);
    }
    Ok(finish(&photo.rgb, &second, (&left, &right), &band, step, diameter * step))
}

/// Core edges from their splits: their courses first, then how far each whole course lies from the edge.
pub(super) fn edges(band: &Band, tops: &[f64], bottoms: &[f64], diameter: f64) -> (EdgeLine, EdgeLine) {
    let follow = |side, start: &[f64]| {
        course(band, side, start, diameter).unwrap_or_else(|| Course {
            rows: smooth_values(start, 0.5 * diameter),
            u: vec![0.1 * diameter; start.len()],
            part: vec![0; start.len()],
            height: vec![0; start.len()],
        })
    };
    let (mut left, mut right) = rayon::join(|| follow(Side::Left, tops), || follow(Side::Right, bottoms));
    let placed = place(band, [&mut left, &mut right], diameter);
    let [of_left, of_right] = placed.map_or([None, None], |[l, r]| [Some(l), Some(r)]);
    (edge_line(Side::Left, left, of_left, diameter), edge_line(Side::Right, right, of_right, diameter))
}

fn edge_line(side: Side, course: Course, placed: Option<Vec<Placed>>, diameter: f64) -> EdgeLine {
    let Some(placed) = placed else {
        return EdgeLine { rows: course.rows, u: course.u, shared_u: 0.06 * diameter, blur: None };
    };
    let offsets: Vec<f64> = course.part.iter().map(|part| placed.get(*part).map_or(0.0, |p| p.offset)).collect();
    // From one part to the next within the length of a window, as the course itself goes.
    let offsets = if placed.len() > 1 { smooth_values(&offsets, 0.05 * diameter) } else { offsets };
    EdgeLine {
        rows: course.rows.iter().zip(&offsets).map(|(row, offset)| row + side.outward() * offset).collect(),
        shared_u: shared_u(&course, &placed, diameter),
        u: course.u,
        blur: placed.iter().map(|p| p.blur).reduce(f64::min),
    }
}

/// Part of the diameter by which an edge is off that is not the core's: the rim of the lit flank, the border of the shadow
/// and the end of the fuzz lie about an eighth of it away.
const MISTAKEN: f64 = 0.12;

/// Clarity over which the chance of such a mistake falls to 1 / e: neighbouring taps and planes err together, so that the
/// likelihood counts the same evidence some five times.
const CLARITY_SCALE: f64 = 5.0;

/// Standard uncertainty of one edge that does not average out along the strand, rows: of its place for each part, of the
/// course, which sways together over many windows, and of having followed something else.
fn shared_u(course: &Course, placed: &[Placed], diameter: f64) -> f64 {
    let columns = course.rows.len().max(1) as f64;
    let share = |part: usize| course.part.iter().filter(|p| **p == part).count() as f64 / columns;
    let shares: Vec<f64> = (0..placed.len()).map(share).collect();
    let total = |value: &dyn Fn(&Placed) -> f64| shares.iter().zip(placed).map(|(s, p)| s * value(p)).sum::<f64>();
    let own = shares.iter().zip(placed).map(|(s, p)| (s * p.u).powi(2)).sum::<f64>().sqrt();
    let mistaken = MISTAKEN * diameter * total(&|p| (-p.clarity / CLARITY_SCALE).exp());
    // Parts whose courses lie further apart than two followed edges do: one of them follows something else.
    let mean = total(&|p| p.offset);
    let apart = total(&|p| (p.offset - mean).powi(2)).sqrt();
    let apart = if apart > BETWEEN_PARTS { apart } else { 0.0 };
    let course = COURSE_SHARED * median(&course.u).unwrap_or(0.0);
    [own, mistaken, apart, course, FIBRES].iter().fold(0.0, |sum: f64, u| sum.hypot(*u))
}

/// Standard uncertainty of what half cover is, rows: the body ends in single fibres, each about as wide as the blur, and tangles
/// of them draw the course outwards where they lie close. Rendered with and without its fibres the same yarn differed by 0.3 to
/// 0.6 rows an edge.
const FIBRES: f64 = 0.5;

/// Part of a course's trembling that windows share: the profile they all follow is only known so well.
const COURSE_SHARED: f64 = 0.8;

/// The piece between two edges that were placed along `second`.
pub(super) fn finish(
    picture: &Raster<[u8; 3]>,
    second: &[Station],
    (left, right): (&EdgeLine, &EdgeLine),
    band: &Band,
    step: f64,
    width: f64,
) -> Strand {
    let middle = band.middle as f64;
    // The centre line of the body, smooth over a turn of the plies.
    let middles: Vec<f64> = left.rows.iter().zip(&right.rows).map(|(l, r)| ((l + r) / 2.0 - middle) * step).collect();
    let drift = smooth_values(&middles, 2.0 * width / step);
    // Moving the centre by a slowly varying offset changes step and normal by its slope, far below a per cent.
    let final_stations: Vec<Station> = second
        .iter()
        .enumerate()
        .map(|(i, s)| Station {
            centre: s.centre + s.normal * drift[i],
            left: Edge { offset_px: (left.rows[i] - middle) * step - drift[i], u_px: left.u[i] * step },
            right: Edge { offset_px: (right.rows[i] - middle) * step - drift[i], u_px: right.u[i] * step },
            ..*s
        })
        .collect();
    let strip = Strip::straighten(picture, &final_stations, step, strip_half_px(width));
    Strand {
        number: 0,
        chosen: true,
        parted: false,
        step_px: step,
        stations: final_stations,
        strip,
        edge_systematic_u_px: left.shared_u.hypot(right.shared_u) * step,
        blur_px: left.blur.into_iter().chain(right.blur).reduce(f64::min).unwrap_or(1.0) * step,
        kinks: None,
        beside: false,
        eye: None,
    }
}

/// Body edges of as many columns as wanted from those of a coarser pass (rows `coarser` times as high), about a new centre line.
fn around_middle(body: &[(f64, f64)], columns: usize, coarser: f64, middle: f64) -> Vec<(f64, f64)> {
    (0..columns)
        .map(|column| {
            let (top, bottom) = body[column * body.len() / columns];
            let half = (bottom - top + 1.0) / 2.0 * coarser;
            (middle - half, middle + half)
        })
        .collect()
}

fn moved(stations: &[Station], offsets: &[f64]) -> Vec<Point<Image>> {
    stations.iter().zip(offsets).map(|(s, o)| s.centre + s.normal * *o).collect()
}
