//! Plied or singles: what the evidence of one piece says.
//!
//! Singles carry no pattern that repeats: what can be followed in them is a small share of what is seen and has no second
//! harmonic, nothing repeats along their edges, and coarse lines run as the fine ones do. Plies repeat, the outline and its
//! shadow wave with them, and the fibres in them run another way than the plies.

use std::f64::consts::PI;

use super::piece::{Coarse, PieceLook};

/// Natural log of the odds that a piece is plied.
///
/// The weights are those of a logistic regression (ridge 1) of plied against singles over 406 scenes of our own synth: with
/// what a quiet piece says, wrong in 3 of 394 that it is 75 % sure of (4 of 397 in tenfold cross-validation of the regression); over the photos with truth
/// beside the project, on which nothing was fitted, in none of 47.
pub(super) fn log_odds(piece: &PieceLook, coarse: &Coarse) -> f64 {
    let width = piece.outline.mean_width;
    // Too short for its rim to be looked at: as singles have it in the middle.
    let (clear, rim_rate) = coarse.rim.as_ref().map_or((1.0, 0.25), |r| (r.clear, r.rate * width));
    let second = (coarse.second_over_noise.max(LEAST_SECOND) / 6.0).ln();
    // An outline is read to about half a per cent of the half width at best.
    let wave = coarse
        .waves
        .iter()
        .map(|w| (w.width.powi(2) + w.middle.powi(2)) / (2.0 * w.noise.max(0.004).powi(2)))
        .fold(0.0, f64::max);
    let wave = (0.7 * (wave / 8.0).max(1e-3).ln()).clamp(-1.0, 4.0);
    // Coarse and fine lines of singles are the same fibres and run within some 2.5 degrees of each other.
    let crossing = (0.5 * (coarse.coarse_less_fine.to_degrees() / 2.5).powi(2)).min(7.0);
    let crossing = crossing * (piece.fine.len() as f64 / 6.0).min(1.0);
    // What is seen of singles runs along the fibres: a pattern that passes `k` times per diameter repeats
    // `pi k / tan(angle)` times a turn.
    let tangent = piece.concentration().1.abs().tan().max(0.03);
    let odds = -0.84
        + 0.67 * clear.clamp(0.0, 3.0)
        + 1.55 * (coarse.share.max(LEAST_SHARE) / 0.26).ln()
        + 2.12 * second
        + 1.27 * wave
        + 0.71 * crossing
        // Plies seldom pass less than once in ten diameters, which is where an outline wanders most.
        + 1.45 * (rim_rate.max(0.02) / 0.25).ln().clamp(-1.0, 0.7)
        + 1.25 * (PI * rim_rate.max(0.02) / tangent).ln();
    // Where nothing repeats beside a strand that is long enough and nothing crosses its fibres, it is singles, unless the
    // pattern itself says otherwise: of such pieces 150 were singles and 2 plied, which is -4. What is found on the face and
    // beside it, however faint, is none of that where it is the same: one in ten of singles, two in three of plied.
    let apart = coarse.rim.as_ref().map_or(1.0, |r| {
        let off = (r.rate / coarse.rate.max(1e-9)).ln() / 0.05;
        1.0 - (-0.5 * off * off).exp()
    });
    let quiet = apart * (-crossing).exp() / (1.0 + ((clear - 1.3) / 0.1).exp())
        * ((piece.diameters() - 8.0) / 20.0).clamp(0.0, 1.0);
    let chance = |odds: f64| 1.0 / (1.0 + (-odds).exp());
    let plied = quiet * chance(2.12 * second.max(0.0) + 1.27 * wave.max(0.0) - 4.0) + (1.0 - quiet) * chance(odds);
    (plied.max(1e-12) / (1.0 - plied).max(1e-12)).ln()
}

/// Share of what is seen, and second harmonic over noise, that the follower finds in a picture without any pattern.
const LEAST_SHARE: f64 = 0.1;
const LEAST_SECOND: f64 = 1.5;
