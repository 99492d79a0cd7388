//! S or Z: the odds from the evidence that fits the yarn's kind.

use super::piece::{AGREEING, PieceLook};
use crate::base::stats;

/// Natural log of the odds for Z against S of one piece.
///
/// Singles: the fine lines' median angle against its standard error, half-overlapping windows counting as one and a half,
/// and nothing where a good part of them runs another way. Plied: the power of coarse patterns that run one way against the
/// other (fibres of a balanced yarn run along the axis).
pub(super) fn log_odds(look: &PieceLook, plies: u32) -> f64 {
    let coarse = look.coarse.as_ref().map_or(0.0, |c| c.track.sense * c.track.log_sense_ratio * c.repeats().sqrt());
    if plies != 1 {
        return 2.0 * coarse;
    }
    let (share, middle) = look.concentration();
    let angles: Vec<f64> = look.fine.iter().map(|w| look.angle_of(w)).collect();
    let spread = stats::robust_deviation(&angles).unwrap_or(1.0);
    // Straightening leaves a degree.
    let error = (spread / (angles.len() as f64 / 1.5).max(1.0).sqrt()).hypot(1f64.to_radians());
    let clear = ((share - AGREEING) / 0.15).clamp(0.0, 1.0);
    middle.signum() * (0.5 * (middle / error).powi(2)).min(12.0) * clear + 0.3 * coarse
}
