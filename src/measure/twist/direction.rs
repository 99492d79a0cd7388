//! S or Z: the odds from the evidence that fits the yarn's kind.

use super::piece::PieceLook;

/// Natural log of the odds for Z against S of one piece.
///
/// Singles: the power of fine lines that run one way against those that run the other, each window a witness of its own.
/// Plied: the power of coarse patterns that run one way against the other; fibres of a balanced yarn run along the axis.
pub(super) fn log_odds(look: &PieceLook, plies: u32) -> f64 {
    let fine: f64 = look
        .fine
        .iter()
        .map(|w| {
            let (mut z, mut s) = (0.0, 0.0);
            for (d, p) in w.power.iter().enumerate() {
                // Within 2 degrees of the axis a line has no letter; beyond 75 no yarn is twisted.
                match d as i64 - 90 {
                    3..=75 => z += p.max(0.0),
                    -75..=-3 => s += p.max(0.0),
                    _ => {}
                }
            }
            if z + s > 0.0 { (z - s) / (z + s) * w.anisotropy } else { 0.0 }
        })
        .sum();
    let coarse = look.coarse.as_ref().map_or(0.0, |c| {
        let repeats = c.track.phase.last().unwrap_or(&0.0) - c.track.phase.first().unwrap_or(&0.0);
        c.track.sense * c.track.log_sense_ratio * (repeats / std::f64::consts::TAU).max(0.0).sqrt()
    });
    if plies == 1 { 2.0 * fine + coarse } else { 2.0 * coarse }
}
