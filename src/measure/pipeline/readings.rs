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
    figures.and_then(|figures| mixture(&figures)).ok_or_else(none)
}

/// Mean and standard uncertainty of figures given as value, standard uncertainty and share; `None` where they lie too far apart.
fn mixture(figures: &[(f64, f64, f64)]) -> Option<(f64, f64)> {
    let mean: f64 = figures.iter().map(|(value, _, share)| value * share).sum();
    let between: f64 = figures.iter().map(|(value, _, share)| share * (value - mean).powi(2)).sum();
    let within: f64 = figures.iter().map(|(_, u, share)| share * u * u).sum();
    (between.sqrt() <= MOST_BETWEEN * mean.abs()).then(|| (mean, (within + between).sqrt()))
}

/// Why the plies are not known.
pub(super) fn plies_reason(gathered: &Gathered) -> Reason {
    gathered.evidence.twist.plies.as_ref().err().cloned().unwrap_or(Reason::PliesUnclear)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: two values one to either side of their mean add a variance of one to that within.
    #[test]
    fn the_spread_of_the_readings_widens_the_figure() {
        assert_eq!(mixture(&[(9.0, 0.0, 0.5), (11.0, 0.0, 0.5)]), Some((10.0, 1.0)));
        let (mean, u) = mixture(&[(8.0, 0.6, 0.8), (8.0, 0.6, 0.2)]).expect("they agree");
        assert!((mean - 8.0).abs() < 1e-12 && (u - 0.6).abs() < 1e-12, "{mean} +- {u}");
    }

    #[test]
    fn readings_far_apart_tell_nothing() {
        assert_eq!(mixture(&[(4.0, 0.3, 0.5), (16.0, 0.3, 0.5)]), None);
    }
}
