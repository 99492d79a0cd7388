//! How clean a laid-out path is, and its cleanest run.

use std::ops::Range;

use super::lay::{Laid, PER_WIDTH, along_rows, smoothed};
use crate::base::stats::{mean, standard_deviation};

/// Least local contrast of body to brighter crease: yarns that touch in flat light show some 15 % once the crease is followed.
const LEAST_CONTRAST: f64 = 0.12;

/// Shortest clean run, strand widths: some four plies pass at usual twist (one a width).
pub(in super::super) const SHORTEST_WIDTHS: f64 = 4.5;

/// A run and how clean it is.
#[derive(Debug, Clone)]
pub(in super::super) struct Clean {
    /// Columns of the laid-out path.
    pub(in super::super) run: Range<usize>,
    /// 0 to 1; see [`cleanest`].
    pub(in super::super) quality: f64,
}

/// The longest run in which both creases are darker than the body; `None` where it is shorter than
/// [`SHORTEST_WIDTHS`].
///
/// Its quality is the contrast, times the part of the columns in which both creases are seen, lessened by the part in
/// which the body itself is as dark as a crease and by the spread of the width. On a true strand the body is never
/// interrupted and the width nearly constant; a path across strands, along plies that happen to lie in line, is cut by
/// every gap that it crosses.
pub(in super::super) fn cleanest(laid: &Laid) -> Option<Clean> {
    let smooth = along_rows(&laid.luma, 0.12 * PER_WIDTH);
    let middle = smooth.height() / 2;
    let columns = laid.columns();
    let reach = (0.25 * laid.width_px / laid.step_px).round() as usize;
    let body: Vec<f64> = (0..columns)
        .map(|c| {
            let rows = middle.saturating_sub(reach)..=(middle + reach).min(smooth.height() - 1);
            rows.clone().map(|r| f64::from(smooth.row(r)[c])).sum::<f64>() / rows.count() as f64
        })
        .collect();
    let steady = smoothed(&body, PER_WIDTH);
    let crease = |side: usize| -> Vec<f64> {
        laid.creases[side]
            .iter()
            .enumerate()
            .map(|(c, row)| f64::from(smooth.clamped(c as isize, row.round() as isize)))
            .collect()
    };
    let (left, right) = (crease(0), crease(1));
    let contrast: Vec<f64> = (0..columns).map(|c| (steady[c] - left[c].max(right[c])) / (steady[c] + 8.0)).collect();
    let local = smoothed(&contrast, 0.7 * PER_WIDTH);
    let run = longest_run(&local, LEAST_CONTRAST);
    if (run.len() as f64) < SHORTEST_WIDTHS * laid.width_px / laid.step_px {
        return None;
    }
    let n = run.len() as f64;
    let seen = run.clone().filter(|c| contrast[*c] > 0.08).count() as f64 / n;
    let interrupted =
        run.clone().filter(|c| body[*c] < 0.5 * steady[*c] + 0.25 * (left[*c] + right[*c])).count() as f64 / n;
    let widths: Vec<f64> = run.clone().map(|c| laid.creases[1][c] - laid.creases[0][c]).collect();
    let spread = standard_deviation(&widths)? / mean(&widths)?;
    let quality =
        mean(contrast.get(run.clone())?)? * seen * (1.0 - 3.0 * interrupted).max(0.0) * (1.0 - 2.0 * spread).max(0.0);
    Some(Clean { run, quality })
}

fn longest_run(values: &[f64], least: f64) -> Range<usize> {
    let mut best = 0..0;
    let mut start = 0;
    for (i, v) in values.iter().enumerate() {
        if *v < least {
            start = i + 1;
        } else if i + 1 - start > best.len() {
            best = start..i + 1;
        }
    }
    best
}
