//! Figures that hang on the number of plies, where that number is open.

use super::gathered::{Gathered, Reading};
use crate::figures::words::Reason;

/// Largest uncertainty that the open number may bring, as a fraction of the figure: above it the figure says less than its
/// lack.
const MOST_BETWEEN: f64 = 0.5;

/// A figure over the readings of the plies, `under` giving it and its standard uncertainty under each: the mean by their
/// probabilities, and the standard uncertainty of what is left, within the readings and between them (law of total variance).
///
/// # Errors
/// Why the plies are not known, where they are not and the readings lie too far apart or one of them gives nothing;
/// `lacking` where they are known and give nothing.
pub(super) fn mixed(
    gathered: &Gathered,
    lacking: &Reason,
    under: impl Fn(&Reading) -> Option<(f64, f64)>,
) -> Result<(f64, f64), Reason> {
    let none = || if gathered.plies.is_some() { lacking.clone() } else { plies_reason(gathered) };
    if gathered.readings.iter().any(|r| r.plies.is_none()) {
        return Err(none());
    }
    let figures: Option<Vec<(f64, f64, f64)>> =
        gathered.readings.iter().map(|r| under(r).map(|(value, u)| (value, u, r.share))).collect();
    let figures = figures.ok_or_else(none)?;
    let mean: f64 = figures.iter().map(|(value, _, share)| value * share).sum();
    let between: f64 = figures.iter().map(|(value, _, share)| share * (value - mean).powi(2)).sum();
    let within: f64 = figures.iter().map(|(_, u, share)| share * u * u).sum();
    if between.sqrt() > MOST_BETWEEN * mean.abs() { Err(none()) } else { Ok((mean, (within + between).sqrt())) }
}

/// Why the plies are not known.
pub(super) fn plies_reason(gathered: &Gathered) -> Reason {
    gathered.evidence.twist.plies.as_ref().err().cloned().unwrap_or(Reason::PliesUnclear)
}
