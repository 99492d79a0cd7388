//! Both core edges along a line, and the piece between them.

use super::band::Band;
use super::course::{Course, course};
use super::edges::{EdgeLine, Side};
use super::place::{BETWEEN_PARTS, Placed, place};
use super::{Edge, Station, Strand, Strip};
use crate::base::line::smooth_values;
use crate::base::raster::Raster;
use crate::base::stats::median;

/// Widest strand, in stations across, before the step grows: the strip then has at most some 500 rows.
pub(super) const MAX_STATIONS_ACROSS: f64 = 80.0;

/// Half width of the strip that is handed on, px: the strand, its edges and some ground with hairs.
pub(super) fn strip_half_px(width_px: f64) -> f64 {
    1.3 * width_px + 6.0
}

/// Core edges from where they are seen: their courses first, then how far each whole course lies from the edge.
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
