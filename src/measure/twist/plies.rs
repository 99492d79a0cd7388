//! How many plies: the evidence of all pieces weighed together.

use super::piece::{CANDIDATES, Candidate, PieceLook};

/// Independent places in a folded picture: about three across and eight along one turn.
const INDEPENDENT_PLACES: f64 = 24.0;

/// What the evidence says.
#[derive(Debug, Clone)]
pub(super) struct Weighed {
    /// Probability of 1, 2, 3 and 4 plies.
    pub(super) probability: [f64; 4],
}

impl Weighed {
    /// The likeliest number and its probability.
    pub(super) fn best(&self) -> (u32, f64) {
        let mut best = (1, self.probability[0]);
        for (k, p) in self.probability.iter().enumerate() {
            if *p > best.1 {
                best = (k as u32 + 1, *p);
            }
        }
        best
    }
}

/// Weighs the evidence of all pieces.
pub(super) fn weigh(pieces: &[PieceLook]) -> Weighed {
    // Two plies are the commonest by far, then three. Common practice, no source.
    let prior: [f64; 3] = [0.55, 0.3, 0.15];
    let mut plied = 0.0;
    let mut logs = [0.0f64; 3];
    for (k, log) in logs.iter_mut().enumerate() {
        *log = prior[k].ln();
    }
    for coarse in pieces.iter().filter_map(|p| p.coarse.as_ref()) {
        plied += plied_evidence(coarse.share, coarse.second_over_noise, coarse.coarse_less_fine);
        for (k, log) in logs.iter_mut().enumerate() {
            let best = CANDIDATES
                .iter()
                .zip(&coarse.fits)
                .filter(|(c, _)| c.plies == k as u32 + 2)
                .map(|(_, f)| -0.5 * INDEPENDENT_PLACES * (1.0 - f.explained.clamp(0.0, 0.999)).ln())
                .fold(f64::NEG_INFINITY, f64::max);
            *log += best;
        }
    }
    let plied = 1.0 / (1.0 + (-plied.clamp(-30.0, 30.0)).exp());
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = logs.iter().map(|l| (l - top).exp()).collect();
    let sum: f64 = weights.iter().sum();
    let [two, three, four] = [0, 1, 2].map(|k| weights[k] / sum);
    Weighed { probability: [1.0 - plied, plied * two, plied * three, plied * four] }
}

/// Natural log of the odds that a piece is plied.
///
/// Singles carry no pattern that repeats: what can be followed in them is a small share of what is seen and has no second
/// harmonic, and coarse lines run as the fine ones do. Plies repeat; and the fibres in them run another way than the plies.
fn plied_evidence(share: f64, second_over_noise: f64, coarse_less_fine: f64) -> f64 {
    2.2 * (share / 0.26).max(1e-3).ln()
        + (second_over_noise / 6.0).max(1e-3).ln()
        + ((coarse_less_fine.to_degrees() - 9.0) / 4.0).clamp(-1.5, 5.0)
}

/// The best candidate of a piece for a number of plies.
pub(super) fn candidate(piece: &PieceLook, plies: u32) -> Option<(Candidate, super::fold::Fit)> {
    let coarse = piece.coarse.as_ref()?;
    CANDIDATES
        .iter()
        .zip(&coarse.fits)
        .filter(|(c, _)| c.plies == plies)
        .max_by(|a, b| a.1.explained.total_cmp(&b.1.explained))
        .map(|(c, f)| (*c, *f))
}
