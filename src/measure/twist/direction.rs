//! S or Z: the odds from the evidence that fits the yarn's kind.

use super::super::strand::Strand;
use super::piece::{AGREEING, PieceLook};
use crate::base::stats;

/// Most that the eye may say, natural log of odds: of its directions one in fifty is wrong on scenes it never saw.
const MOST_SEEN: f64 = 4.0;

/// What the eye says for Z against S, natural log of the odds, mean over the pieces by their length.
pub(super) fn seen_odds(pieces: &[&Strand]) -> f64 {
    let says = || pieces.iter().filter_map(|s| s.eye.as_ref());
    let all: f64 = says().map(|e| e.length).sum();
    (says().map(|e| e.length * e.z_over_s).sum::<f64>() / all.max(1e-9)).clamp(-MOST_SEEN, MOST_SEEN)
}

/// Logarithm of the power of coarse patterns that run one way over the other which says nothing: lines that cross, and an
/// outline that is not quite followed, leave as much.
const EITHER_WAY: f64 = 0.5;

/// Lean of the fine lines of plied yarn up to which they may as well be fibres that run against the plies, degrees: those of
/// balanced yarn run along the axis, those of yarn plied too little or too much stray from it by some ten degrees. From there
/// on the odds grow by one in their logarithm per so many degrees, up to 20 to 1. Common practice, no source.
const FIBRES_STRAY: f64 = 12.0;
const DEGREES_PER_ODDS: f64 = 5.0;
const MOST_ODDS: f64 = 3.0;

/// Natural log of the odds for Z against S of one piece.
///
/// Singles: the fine lines' median angle against its standard error, half-overlapping windows counting as one and a half,
/// and nothing where a good part of them runs another way. Plied: the power of coarse patterns that run one way against the
/// other, and the lean of the fine lines, as far as it is more than that of fibres.
pub(super) fn log_odds(look: &PieceLook, plies: u32) -> f64 {
    let coarse = look.coarse.as_ref().map_or(0.0, |c| {
        let clear = c.track.log_sense_ratio.signum() * (c.track.log_sense_ratio.abs() - EITHER_WAY).max(0.0);
        c.track.sense * clear * c.track.repeats().sqrt()
    });
    let (share, middle) = look.concentration();
    let agreeing = ((share - AGREEING) / 0.15).clamp(0.0, 1.0);
    if plies != 1 {
        let lean = (middle.to_degrees().abs() - FIBRES_STRAY) / DEGREES_PER_ODDS;
        return 2.0 * coarse + middle.signum() * agreeing * lean.clamp(0.0, MOST_ODDS);
    }
    let angles: Vec<f64> = look.fine.iter().map(|w| look.angle_of(w)).collect();
    let spread = stats::robust_deviation(&angles).unwrap_or(1.0);
    // Straightening leaves a degree.
    let error = (spread / (angles.len() as f64 / 1.5).max(1.0).sqrt()).hypot(1f64.to_radians());
    middle.signum() * (0.5 * (middle / error).powi(2)).min(12.0) * agreeing + 0.3 * coarse
}
