//! How many plies: the evidence of all pieces weighed together.

use std::f64::consts::PI;

use super::fold::Fit;
use super::piece::{CANDIDATES, Candidate, Coarse, PieceLook};
use super::track::STEEPEST_SLOPE;

/// Independent places in a folded picture: about three across and eight along one turn.
const INDEPENDENT_PLACES: f64 = 24.0;

/// What the evidence says.
#[derive(Debug, Clone)]
pub(super) struct Weighed {
    /// Probability of 1, 2, 3 and 4 plies.
    pub(super) probability: [f64; 4],
}

impl Weighed {
    /// The next likeliest number.
    pub(super) fn second(&self) -> u32 {
        let (best, _) = self.best();
        let rest = (1..=4u32).zip(self.probability).filter(|(n, _)| *n != best);
        rest.max_by(|a, b| a.1.total_cmp(&b.1)).map_or(best, |(n, _)| n)
    }

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
    let mut logs = prior.map(f64::ln);
    let mut count = 0.0f64;
    for (piece, coarse) in pieces.iter().filter_map(|p| Some((p, p.coarse.as_ref()?))) {
        let told = repeats_told(coarse);
        plied += plied_evidence(piece, coarse, told);
        count += 1.0;
        for (k, log) in logs.iter_mut().enumerate() {
            *log += told * best_candidate(coarse, k as u32 + 2).map_or(0.0, |(_, _, l)| l);
        }
    }
    // Pieces of one yarn under one light are no independent witnesses: their odds grow as the root of their number.
    let root = count.max(1.0).sqrt();
    let plied = 1.0 / (1.0 + (-(plied / root).clamp(-SUREST_SINGLES, 30.0)).exp());
    for (log, prior) in logs.iter_mut().zip(prior) {
        *log = prior.ln() + (*log - prior.ln()) / root;
    }
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights = logs.map(|l| (l - top).exp());
    let sum: f64 = weights.iter().sum();
    let [two, three, four] = weights.map(|w| w / sum);
    Weighed { probability: [1.0 - plied, plied * two, plied * three, plied * four] }
}

/// Most that the lack of a pattern can say for singles, logarithm of odds: of yarns whose plies are pressed together and whose
/// fibres run along with them, one in some fifteen shows none.
const SUREST_SINGLES: f64 = 2.7;

/// Natural log of the odds that a piece is plied.
///
/// Singles carry no pattern that repeats: what can be followed in them is a small share of what is seen and has no second
/// harmonic, and coarse lines run as the fine ones do. Plies repeat, the outline waves with them, and the fibres in them run
/// another way than the plies.
fn plied_evidence(piece: &PieceLook, coarse: &Coarse, told: f64) -> f64 {
    // An outline is read to about half a per cent of the half width at best.
    let wave = coarse
        .waves
        .iter()
        .map(|w| (w.width.powi(2) + w.middle.powi(2)) / (2.0 * w.noise.max(0.004).powi(2)))
        .fold(0.0, f64::max);
    // Where next to nothing was followed, how little does not matter: the pattern of softly lit plies is lost as well.
    let repeating = 2.6 * (coarse.share.max(LEAST_SHARE) / 0.26).ln()
        + (coarse.second_over_noise.max(LEAST_SECOND) / 6.0).ln()
        + (0.7 * (wave / 8.0).max(1e-3).ln()).clamp(-1.0, 4.0);
    // In singles coarse and fine lines are the same fibres and run within 2 or 3 degrees of each other; in plied yarn they
    // differ by anything up to 30 degrees: ln(2.5 / 15) = -1.8 where they agree.
    // The followed pattern and the windows of coarse lines answer the same question: the clearer one counts, not both.
    let off = 0.5 * (coarse.coarse_less_fine.to_degrees() / 2.5).powi(2);
    let crossing = off.max(too_many_repeats(piece, coarse)).min(7.0) - 1.8;
    let odds = told * repeating + (piece.fine.len() as f64 / 6.0).min(1.0) * crossing;
    // That nothing repeats can only be said of a piece in which it would have been seen: 15 diameters hold as few as one
    // repeat of a softly plied yarn, 40 at least three.
    let diameters = piece.outline.usable.iter().filter(|u| **u).count() as f64 / piece.outline.mean_width;
    if odds < 0.0 { odds * ((diameters - 15.0) / 25.0).clamp(0.0, 1.0) } else { odds }
}

/// Half the squared deviations by which the followed pattern repeats too often in a turn for singles.
///
/// All that is seen of singles runs along the fibres, so that a pattern that passes `k` times per diameter repeats
/// `m = pi k / tan(angle)` times a turn, and its phase runs through `m` radians per radian around the face. The follower looks
/// up to `STEEPEST_SLOPE`, through a face that is `SLOPE_SPREAD` blunt: what lies far beyond cannot run along the fibres.
fn too_many_repeats(piece: &PieceLook, coarse: &Coarse) -> f64 {
    let angle = coarse.track.sense * piece.concentration().1;
    if angle <= 0.0 {
        return 0.0;
    }
    let repeats = PI * coarse.rate * piece.outline.mean_width / angle.tan();
    // Fine lines are read to about 1.5 degrees, and dm / m = u / (sin cos): a low angle says little.
    let from_angle = repeats * 1.5f64.to_radians() / (angle.sin() * angle.cos());
    0.5 * ((repeats - STEEPEST_SLOPE).max(0.0) / SLOPE_SPREAD.hypot(from_angle)).powi(2)
}

/// Standard deviation of the slopes that a cosine over the sampled face lets through, radians per radian: its power falls to
/// half at 1.62 from the slope looked at, which is 1.18 standard deviations of a Gaussian.
const SLOPE_SPREAD: f64 = 1.4;

/// Share of what is seen, and second harmonic over noise, that the follower finds in a picture without any pattern.
const LEAST_SHARE: f64 = 0.1;
const LEAST_SECOND: f64 = 1.5;

/// How much a pattern can tell about its repeating: nothing from three repeats, all from nine.
fn repeats_told(coarse: &Coarse) -> f64 {
    ((coarse.repeats() - 3.0) / 6.0).clamp(0.0, 1.0)
}

/// What the outline of round touching plies does, over the half width: amplitude of the width's wave and of the
/// middle's, at as many repeats a turn as there are plies, and by how much it may differ.
///
/// Two plies swell and narrow together on both edges, three in turn on either edge, four together but little: first
/// harmonics of `r + Rc |sin|` and its like, halved by hairs, locks and blur that round the notches off.
const OUTLINES: [[(f64, f64); 2]; 3] =
    [[(0.14, 0.06), (0.0, 0.045)], [(0.0, 0.03), (0.07, 0.03)], [(0.03, 0.02), (0.0, 0.02)]];

/// Log likelihood of the outline's waves under a candidate, no worse than -6: edges may be wrong altogether.
fn outline_evidence(coarse: &Coarse, candidate: &Candidate) -> f64 {
    let ratio = f64::from(candidate.plies) / f64::from(candidate.harmonic);
    let Some(wave) = coarse.waves.iter().find(|w| (w.ratio - ratio).abs() < 0.01) else { return -3.0 };
    let Some([width, middle]) = OUTLINES.get(candidate.plies as usize - 2) else { return -3.0 };
    let term = |seen: f64, (expected, spread): (f64, f64)| {
        let s2 = spread * spread + wave.noise * wave.noise;
        0.5 * (seen - expected).powi(2) / s2 + 0.5 * s2.ln()
    };
    // A thin ply round a thick one moves the middle as well; a middle that never moves was not measured.
    let middle = if candidate.thin.is_some() { (0.1, 0.1) } else { *middle };
    let moves = coarse.waves.iter().any(|w| w.middle > 1e-9);
    let all = term(wave.width, *width) + if moves { term(wave.middle, middle) } else { 0.5 * 0.03f64.powi(2).ln() };
    // Against the tightest that a perfect agreement can give.
    (-all - 7.0).max(-6.0)
}

/// Plies are never quite alike: what repeats only once a turn shows as lines between the followed pattern's harmonics, at
/// fractions of it that say how often it repeats in one turn.
fn fraction_evidence(coarse: &Coarse, candidate: &Candidate) -> f64 {
    let over = coarse.fractions.get(candidate.harmonic as usize - 1).copied().unwrap_or(1.0);
    0.8 * (over / 2.0).max(1.0).ln().min(4.0)
}

/// The best candidate of a piece for a number of plies, its fit and its log likelihood.
pub(super) fn best_candidate(coarse: &Coarse, plies: u32) -> Option<(Candidate, Fit, f64)> {
    CANDIDATES
        .iter()
        .zip(&coarse.fits)
        .filter(|(c, _)| c.plies == plies)
        .map(|(c, f)| {
            let picture = -0.5 * INDEPENDENT_PLACES * (1.0 - f.explained.clamp(0.0, 0.999)).ln();
            (*c, *f, picture + outline_evidence(coarse, c) + fraction_evidence(coarse, c))
        })
        .max_by(|a, b| a.2.total_cmp(&b.2))
}

/// The best candidate of a piece for a number of plies.
pub(super) fn candidate(piece: &PieceLook, plies: u32) -> Option<(Candidate, Fit)> {
    best_candidate(piece.coarse.as_ref()?, plies).map(|(c, f, _)| (c, f))
}
