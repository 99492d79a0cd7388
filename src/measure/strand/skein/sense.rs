//! Whether what runs between the gaps is twisted: the evidence that stripes, boards and braids do not give.

use super::super::Strand;
use super::lay::along_rows;
use crate::base::colour::luminance;
use crate::base::raster::Raster;
use crate::base::stats::{mean, running_mean, standard_deviation};

/// Part of the half width that is looked at: towards the edges a round strand's shading outweighs its structure.
const FACE: f64 = 0.7;

/// Least angle of the lines to the axis that counts as twist, radians (14 degrees). Grain of wood that wavers about the
/// axis leans by ten and more; singles spun as softly as that are not known for yarn in a skein, and none is measured.
const LEAST_ANGLE_RAD: f64 = 0.25;

/// Obliqueness of one strand's structure, -1 to 1: positive where it leans as in S, negative as in Z.
///
/// The structure tensor of the strip, less each row's own slow course (so that the round body's shading does not enter):
/// `J_st / sqrt(J_ss J_tt)`. 1 is lines of one direction, 0 is structure without a lean, or with one under [`LEAST_ANGLE_RAD`]: a plain stripe, boards, the two
/// symmetric directions of a braid. (Bigun and Granlund, ICCV 1987, for the tensor.)
pub(in super::super) fn obliqueness(strand: &Strand) -> f64 {
    let picture = &strand.strip.rgb;
    let light: Raster<f32> = picture.map(|v| luminance(v).max(0.0).sqrt());
    let width = strand.stations.iter().map(super::super::Station::width_px).sum::<f64>()
        / strand.stations.len().max(1) as f64
        / strand.step_px;
    let fine = along_rows(&light, (0.04 * width).max(0.7));
    let slow = running_means(&light, (2.0 * width).ceil() as usize);
    let (mut ss, mut tt, mut st) = (0.0f64, 0.0f64, 0.0f64);
    let value = |row: usize, column: usize| fine.row(row)[column] - slow.row(row)[column];
    let (rows, columns) = (light.height(), light.width());
    for (column, station) in strand.stations.iter().enumerate() {
        if column == 0 || column + 1 >= columns {
            continue;
        }
        let centre =
            strand.strip.middle_row + (station.left.offset_px + station.right.offset_px) / 2.0 / strand.step_px;
        let half = FACE * station.width_px() / 2.0 / strand.step_px;
        let (from, to) = (
            (centre - half).ceil().max(1.0) as usize,
            ((centre + half).floor().max(0.0) as usize).min(rows.saturating_sub(2)),
        );
        for row in from..=to {
            let s = f64::from(value(row, column + 1) - value(row, column - 1));
            let t = f64::from(value(row + 1, column) - value(row - 1, column));
            ss += s * s;
            tt += t * t;
            st += s * t;
        }
    }
    let norm = (ss * tt).sqrt();
    // Lines at an angle a to the axis have ss / (ss + tt) = sin^2 a; structure without direction has more.
    let oblique = ss >= LEAST_ANGLE_RAD.sin().powi(2) * (ss + tt);
    if norm > 0.0 && oblique { st / norm } else { 0.0 }
}

/// Mean over `half` columns to either side.
fn running_means(light: &Raster<f32>, half: usize) -> Raster<f32> {
    let mut out = Raster::filled(light.width(), light.height(), 0.0f32);
    for row in 0..light.height() {
        let means = running_mean(light.row(row).iter().map(|v| f64::from(*v)), half);
        for (o, mean) in out.row_mut(row).iter_mut().zip(means) {
            *o = mean as f32;
        }
    }
    out
}

/// Mean obliqueness and how many times its standard error it is; `None` for fewer than two.
pub(in super::super) fn common(leans: &[f64]) -> Option<(f64, f64)> {
    let m = mean(leans)?;
    let s = standard_deviation(leans)?;
    // A twentieth at least: what two strands lean by chance.
    Some((m, m.abs() / (s.max(0.05) / (leans.len() as f64).sqrt())))
}
