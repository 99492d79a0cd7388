//! Thick and thin places.

use super::turning::AveragedWidth;
use crate::base::stats::median;
use crate::figures::report::FaultKind;

/// Which places count as faults.
#[derive(Debug, Clone, Copy)]
pub struct FaultParams {
    /// Least deviation from the strand's median, as a fraction. The project's own choice: what a knitter sees at a glance.
    pub min_deviation: f64,
    /// Least length beyond half the peak, in mean diameters.
    pub min_diameters: f64,
}

impl Default for FaultParams {
    fn default() -> Self {
        Self { min_deviation: 0.30, min_diameters: 2.0 }
    }
}

/// A thick or thin place of one piece, in the piece's unit of length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FaultFound {
    /// Thick or thin.
    pub kind: FaultKind,
    /// First station beyond half the peak.
    pub first_station: usize,
    /// Last station beyond half the peak.
    pub last_station: usize,
    /// Where it begins to be beyond half the peak.
    pub start: f64,
    /// How long it stays so.
    pub length: f64,
    /// Mean over that part against the median, signed fraction.
    pub deviation: f64,
}

/// Finds the thick and thin places in a piece's averaged widths. A place reaches as far as it is beyond half its own
/// peak; it counts when its mean deviation there and its length pass `params`.
#[must_use]
pub fn find_faults(averaged: &[AveragedWidth], mean_width: f64, params: &FaultParams) -> Vec<FaultFound> {
    let Some(middle) = median(&averaged.iter().map(|a| a.width).collect::<Vec<_>>()).filter(|m| *m > 0.0) else {
        return Vec::new();
    };
    let deviations: Vec<f64> = averaged.iter().map(|a| a.width / middle - 1.0).collect();
    let mut out = Vec::new();
    for (kind, sign) in [(FaultKind::Thick, 1.0), (FaultKind::Thin, -1.0)] {
        let mut free = vec![true; averaged.len()];
        // Strongest first; each takes its stretch, so that no place is told twice.
        while let Some((peak, height)) = (0..averaged.len())
            .filter(|i| free[*i])
            .map(|i| (i, deviations[i] * sign))
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .filter(|(_, height)| *height >= params.min_deviation)
        {
            let beyond = |i: &usize| deviations[*i] * sign >= height / 2.0 && free[*i] && joined(averaged, *i, peak);
            let first = (0..peak).rev().take_while(beyond).last().unwrap_or(peak);
            let last = (peak..averaged.len()).take_while(beyond).last().unwrap_or(peak);
            free[first..=last].fill(false);
            let part = &deviations[first..=last];
            let deviation = part.iter().sum::<f64>() / part.len() as f64;
            let length = averaged[last].at - averaged[first].at;
            if deviation.abs() >= params.min_deviation && length >= params.min_diameters * mean_width {
                out.push(FaultFound {
                    kind,
                    first_station: averaged[first].station,
                    last_station: averaged[last].station,
                    start: averaged[first].at,
                    length,
                    deviation,
                });
            }
        }
    }
    out.sort_by(|a, b| a.start.total_cmp(&b.start));
    out
}

/// Whether the stations between two averaged widths were all measured.
fn joined(averaged: &[AveragedWidth], a: usize, b: usize) -> bool {
    averaged[a].station.abs_diff(averaged[b].station) == a.abs_diff(b)
}
