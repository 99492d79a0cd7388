//! What lies at and beside the placed edges of a body, and what it tells against them.

use super::band::{Band, between_rows};
use super::body::{DARKEST_SHADOW, OWN_FLOOR, SHADOW_TINT};
use super::edges::{EdgeLine, Side};
use crate::base::stats::{median, quantile, upper_median};

/// Moves an edge that took the yarn's shadow for yarn, and widens what is not sure of one.
pub(super) fn weigh(band: &Band, left: &mut EdgeLine, right: &mut EdgeLine, diameter: f64) {
    let shaded = [(Side::Left, &*left, &*right), (Side::Right, &*right, &*left)]
        .map(|(side, edge, other)| grey_flank(band, side, edge, other, diameter));
    for (side, edge, shaded) in [(Side::Left, left, shaded[0]), (Side::Right, right, shaded[1])] {
        if let Some(width) = shaded {
            edge.rows.iter_mut().for_each(|row| *row -= side.outward() * width);
            edge.shared_u = edge.shared_u.hypot(SHADED_U * width);
            continue;
        }
        // What is too dark for a shadow and yet was left outside may be the yarn's own shaded flank.
        let beyond = dark_beyond(band, side, edge, diameter);
        if beyond > DARK_RIM * diameter {
            edge.shared_u = edge.shared_u.hypot(0.55 * beyond);
        }
        // Beyond a crease of one colour with the ground, what looks like the yarn's flank may be its shadow.
        if let Some(crease) = crease_within(band, side, edge, diameter) {
            edge.shared_u = edge.shared_u.hypot(0.55 * crease);
        }
    }
}

/// Standard uncertainty of an edge that was moved in from a shadow's border, as a part of the move: where the tint sets in, the
/// yarn's own shade and the light that it throws back pass into each other.
const SHADED_U: f64 = 0.3;

/// Tint of a body, over its light, from which on it shows beside the ground's: medians along a strand are steady to 0.005.
const LEAST_TINT: f64 = 0.03;

/// Tint above which colour by itself tells yarn from shadow where the edge is placed: two thirds of the most that a shadow has.
const MOST_TINT: f64 = 0.08;

/// Parts of the body's tint: a flank with less is of the ground's colour, one with more of the yarn's; and where a move ends.
const GREY: f64 = 0.4;
const TINTED: f64 = 0.75;
const SETS_IN: f64 = 0.6;

/// Median of a plane along a line so many rows inside an edge.
fn inside(band: &Band, plane: usize, side: Side, edge: &EdgeLine, inward: f64) -> Option<f64> {
    let rows = edge.rows.iter().enumerate().step_by(5);
    let values =
        rows.map(|(column, row)| f64::from(between_rows(&band.planes[plane], column, row - side.outward() * inward)));
    median(&values.collect::<Vec<_>>())
}

/// Width of the flank inside an edge, rows, that has the ground's own colour while the body and its other flank have a faint one of
/// theirs: that is shadow, which on yarn of nearly the ground's colour has no border of its own. `None` where there is none.
fn grey_flank(band: &Band, side: Side, edge: &EdgeLine, other: &EdgeLine, diameter: f64) -> Option<f64> {
    let tint = |side: Side, edge: &EdgeLine, inward: f64| -> Option<f64> {
        let [light, red, blue] = [0, 1, 2].map(|plane| inside(band, plane, side, edge, inward));
        Some(red?.hypot(blue?) / (light?.max(0.0) + f64::from(OWN_FLOOR)))
    };
    let opposite = if side == Side::Left { Side::Right } else { Side::Left };
    let flank = |side: Side, edge: &EdgeLine| {
        Some((tint(side, edge, 0.08 * diameter)? + tint(side, edge, 0.15 * diameter)?) / 2.0)
    };
    let body = (tint(side, edge, 0.45 * diameter)? + tint(opposite, other, 0.45 * diameter)?) / 2.0;
    let grey = (LEAST_TINT..MOST_TINT).contains(&body)
        && flank(side, edge)? < GREY * body
        && flank(opposite, other)? > TINTED * body;
    let mut inward = (1..(0.45 * diameter) as usize).map(|z| z as f64);
    inward.find(|z| grey && tint(side, edge, *z).is_some_and(|t| t >= SETS_IN * body)).filter(|z| *z > 0.15 * diameter)
}

/// Width of what is too dark for a shadow beside an edge from which on it is no mere crease between yarn and ground, diameters.
const DARK_RIM: f64 = 0.15;

/// How far what is too dark for a shadow reaches beyond an edge, rows: median over the columns, one diameter at most.
fn dark_beyond(band: &Band, side: Side, edge: &EdgeLine, diameter: f64) -> f64 {
    let reach: Vec<f64> = edge
        .rows
        .iter()
        .enumerate()
        .step_by(3)
        .map(|(column, row)| {
            let light = |n: &usize| between_rows(&band.planes[0], column, row + side.outward() * *n as f64);
            (1..diameter as usize).take_while(|n| light(n) < DARKEST_SHADOW).count() as f64
        })
        .collect();
    median(&reach).unwrap_or(0.0)
}

/// Rise of light from a crease out to what lies beyond it, from which on it is no noise.
const CREASE_RISE: f64 = 1.2;

/// Where a dark crease runs inside an edge, rows from it, with something brighter and of the ground's own colour beyond it:
/// between yarn and shadow it is darkest. `None` where there is none, or where colour tells yarn from shadow.
fn crease_within(band: &Band, side: Side, edge: &EdgeLine, diameter: f64) -> Option<f64> {
    let depth = (0.45 * diameter) as usize;
    let at = |plane: usize, inward: usize| inside(band, plane, side, edge, inward as f64);
    let light: Vec<f64> = (0..=depth).map(|z| at(0, z).unwrap_or(0.0)).collect();
    let first = (0.1 * diameter).ceil() as usize + 1;
    let crease = (first..depth).min_by(|a, b| light[*a].total_cmp(&light[*b]))?;
    let rim = (0.05 * diameter) as usize + 1..crease;
    let brightest = rim.clone().max_by(|a, b| light[*a].total_cmp(&light[*b]))?;
    let tint = |z: usize| Some(at(1, z)?.hypot(at(2, z)?) / light[z].max(0.02));
    // A crease lies between two brighter things; a flank that only darkens has none.
    let deeper = light[crease..].iter().copied().fold(0.0, f64::max);
    (light[brightest].min(deeper) > CREASE_RISE * light[crease].max(0.02)
        && tint(brightest)? < f64::from(SHADOW_TINT)
        && tint(depth)? < f64::from(SHADOW_TINT))
    .then_some(crease as f64)
}

/// Lightness over the ground's from which on what lies beside an edge is no ground: shadows are darker, light thrown back by
/// the yarn and the unevenness of a table make a tenth or two.
const NO_GROUND: f64 = 1.4;

/// How far beside the edges to look, diameters.
const BESIDE: [f64; 4] = [0.35, 0.5, 0.6, 0.7];

/// Columns and rows beside one edge, at all distances of `BESIDE`.
fn beside(side: Side, edge: &EdgeLine, diameter: f64) -> impl Iterator<Item = (usize, f64)> + '_ {
    edge.rows
        .iter()
        .enumerate()
        .step_by(3)
        .flat_map(move |(column, row)| BESIDE.map(|part| (column, row + side.outward() * part * diameter)))
}

/// Whether what lies beside a piece is brighter than ground. On a dark ground one bright line of a thick strand is easily taken
/// for a strand of its own; then the rest of the strand lies beside it.
pub(super) fn bright_beside(band: &Band, left: &EdgeLine, right: &EdgeLine, diameter: f64) -> bool {
    [(Side::Left, left), (Side::Right, right)].into_iter().any(|(side, edge)| {
        let light: Vec<f64> = beside(side, edge, diameter)
            .map(|(column, row)| f64::from(between_rows(&band.planes[0], column, row)))
            .collect();
        // Dark lines between bright fibres are no ground either.
        quantile(&light, 0.75).is_some_and(|light| light >= NO_GROUND)
    })
}

/// Part of the body's tint from which on what lies beside it is more of the same: light thrown back by the yarn and hairs tint
/// the ground by a tenth or two of it.
const SAME_TINT: f64 = 0.5;

/// Whether a coloured thing goes on beside a piece in its own colour: a leaf or a feather is parted along its rib. No look by
/// presence follows: it would part the thing as well.
pub(super) fn same_beside(band: &Band, left: &EdgeLine, right: &EdgeLine, diameter: f64) -> bool {
    // Medians of each plane first: the length of a tint would turn noise into colour.
    let tint = |places: &[(usize, f64)]| -> Option<[f64; 2]> {
        let typical = |plane: usize| {
            let samples = places.iter().map(|(column, row)| between_rows(&band.planes[plane], *column, *row));
            upper_median(samples).map(f64::from)
        };
        let own_light = typical(0)?.max(0.0) + f64::from(OWN_FLOOR);
        Some([typical(1)? / own_light, typical(2)? / own_light])
    };
    let middles = left.rows.iter().zip(&right.rows).map(|(l, r)| (l + r) / 2.0);
    let Some([red, blue]) = tint(&middles.enumerate().step_by(3).collect::<Vec<_>>()) else { return false };
    let square = red * red + blue * blue;
    square.sqrt() > 2.0 * f64::from(SHADOW_TINT)
        && [(Side::Left, left), (Side::Right, right)].into_iter().any(|(side, edge)| {
            tint(&beside(side, edge, diameter).collect::<Vec<_>>())
                .is_some_and(|[r, b]| r * red + b * blue > SAME_TINT * square)
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::raster::Raster;

    const BODY: std::ops::Range<usize> = 60..120;

    /// Yarn of a faint tint on bare ground, and its grey shadow from its last row on up to `shadow_end`.
    fn band(shadow_end: usize) -> Band {
        let plane = |ground: f32, body: f32, shadow: f32| {
            let value = |row: usize| match row {
                _ if BODY.contains(&row) => body,
                _ if (BODY.end..shadow_end).contains(&row) => shadow,
                _ => ground,
            };
            let samples = (0..200).flat_map(|row| vec![value(row); 50]).collect();
            Raster::from_samples(50, 200, samples).expect("as many as columns times rows")
        };
        Band { planes: [plane(1.0, 0.5, 0.4), plane(0.0, 0.036, 0.0), plane(0.0, 0.0, 0.0)], middle: 100 }
    }

    fn edge(row: f64) -> EdgeLine {
        EdgeLine { rows: vec![row; 50], u: vec![0.1; 50], shared_u: 0.5, blur: None }
    }

    #[test]
    fn an_edge_round_a_grey_shadow_moves_to_where_the_yarn_begins() {
        let (mut left, mut right) = (edge(60.0), edge(140.0));
        weigh(&band(140), &mut left, &mut right, 80.0);
        assert!((left.rows[0] - 60.0).abs() < 1e-9, "{}", left.rows[0]);
        assert!((right.rows[0] - 120.0).abs() <= 2.0, "{}", right.rows[0]);
        assert!(right.shared_u > 3.0, "{}", right.shared_u);
    }

    #[test]
    fn edges_of_the_yarn_itself_stay() {
        let (mut left, mut right) = (edge(60.0), edge(120.0));
        weigh(&band(140), &mut left, &mut right, 60.0);
        assert!((left.rows[0] - 60.0).abs() < 1e-9 && (right.rows[0] - 120.0).abs() < 1e-9);
    }
}
