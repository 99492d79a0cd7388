//! How many plies: the evidence of all pieces weighed together.

use std::f64::consts::TAU;

use super::super::strand::{EyeSays, Strand, TEMPERATURE};
use super::fold::Fit;
use super::piece::{CANDIDATES, Candidate, Coarse, PieceLook};
use super::plied;
use crate::base::stats;

/// Independent places in a folded picture: about three across and eight along one turn.
const INDEPENDENT_PLACES: f64 = 24.0;

/// What the evidence says.
#[derive(Debug, Clone)]
pub(super) struct Weighed {
    /// Probability of 1, 2, 3 and 4 plies.
    pub(super) probability: [f64; 4],
}

impl Weighed {
    /// The numbers that have at least so much probability, with it, likeliest first.
    pub(super) fn from(&self, least: f64) -> Vec<(u32, f64)> {
        let mut open: Vec<(u32, f64)> = (1..).zip(self.probability).filter(|(_, p)| *p >= least).collect();
        open.sort_by(|a, b| b.1.total_cmp(&a.1));
        open
    }

    /// The same where the picture's shades leave the widths open by `coarse`, as a fraction: what waves, leans and repeats was
    /// weighed on pictures with all their shades, and with so much of them missing it tells as much less.
    pub(super) fn through_few_shades(mut self, coarse: f64) -> Self {
        let lost = (COARSE_TELLS_NOTHING * coarse).clamp(0.0, 1.0);
        let even = 1.0 / self.probability.len() as f64;
        self.probability.iter_mut().for_each(|p| *p += lost * (even - *p));
        self
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
///
/// Pieces of one yarn under one light are no independent witnesses: their evidence is averaged.
pub(super) fn weigh(pieces: &[PieceLook]) -> Weighed {
    let looks: Vec<(&PieceLook, &Coarse)> = pieces.iter().filter_map(|p| Some((p, p.coarse.as_ref()?))).collect();
    let odds: Vec<f64> = looks.iter().map(|(piece, coarse)| plied::log_odds(piece, coarse)).collect();
    let odds = stats::mean(&odds).unwrap_or(0.0);
    // That nothing repeats can only be said where it would have been seen: 15 diameters hold as few as one repeat of a softly
    // plied yarn, 40 at least three. Several pieces count by the root of their number.
    let diameters = looks.iter().map(|(piece, _)| piece.diameters()).sum::<f64>() / (looks.len().max(1) as f64).sqrt();
    let odds = if odds < 0.0 { odds * ((diameters - 15.0) / 25.0).clamp(0.0, 1.0) } else { odds };
    let plied = 1.0 / (1.0 + (-odds.clamp(-SUREST_SINGLES, 30.0)).exp());
    // How much the best piece tells goes with the average over all, each by how much it tells.
    let told: Vec<f64> = looks.iter().map(|(_, coarse)| repeats_told(coarse)).collect();
    let most = told.iter().copied().fold(0.0, f64::max);
    let mut logs = OFFSETS;
    for (k, log) in logs.iter_mut().enumerate() {
        let of = looks.iter().map(|(_, c)| best_candidate(c, k as u32 + 2).map_or(0.0, |(_, _, l)| l));
        *log += most * stats::weighted_mean(of.zip(told.iter().copied())).unwrap_or(0.0);
    }
    let [two, three, four] = stats::softmax(logs);
    Weighed { probability: [1.0 - plied, plied * two, plied * three, plied * four] }
}

/// How fast evidence of the plies is lost with the shades: where the width is unsure by half of itself, nothing of how it swells
/// and what crosses it is seen.
const COARSE_TELLS_NOTHING: f64 = 2.0;

/// What the eye says of the pieces, beside the evidence: two witnesses, whose probabilities are multiplied.
pub(super) fn with_eye(weighed: Weighed, pieces: &[&Strand]) -> Weighed {
    let says: Vec<&EyeSays> = pieces.iter().filter_map(|s| s.eye.as_ref()).collect();
    let all: f64 = says.iter().map(|e| e.length).sum();
    if all <= 0.0 {
        return weighed;
    }
    let mean = |value: &dyn Fn(&EyeSays) -> f64| says.iter().map(|e| e.length * value(e)).sum::<f64>() / all;
    let repeats = mean(&|e| e.repeats);
    let singles = REPEATS_WEIGHT * (NO_REPEAT - repeats);
    let logs: [f64; 4] = std::array::from_fn(|k| {
        let eye = mean(&|e| e.plies[k]) / TEMPERATURE + if k == 0 { singles } else { 0.0 };
        EVIDENCE_WEIGHT * weighed.probability[k].max(LEAST_PROBABILITY).ln() + eye
    });
    Weighed { probability: stats::softmax(logs) }
}

/// What the evidence weighs beside the eye's logits, and, of the mean length of the pattern's phase, how much the odds of singles
/// grow with what is missing to that which singles and plied yarn have equally often: fitted on 94 scenes kept for calibration
/// (`demo --scenes 110 --seed 2000000 --width 2000`), for the nets before those of today.
const EVIDENCE_WEIGHT: f64 = 0.6;
const NO_REPEAT: f64 = 0.4;
const REPEATS_WEIGHT: f64 = 25.0;

/// Probability below which the evidence is not believed: it is wrong altogether in one of fifty.
const LEAST_PROBABILITY: f64 = 0.02;

/// Most that the lack of a pattern can say for singles, logarithm of odds: of yarns whose plies are pressed together and whose
/// fibres run along with them, one in some fifteen shows none.
const SUREST_SINGLES: f64 = 2.7;

/// What two, three and four plies have ahead, logarithms, and what the kinds of evidence weigh: those of a conditional logit
/// over 223 plied scenes of our own synth.
const OFFSETS: [f64; 3] = [-0.54, 0.0, -1.5];
const PICTURE: f64 = 0.31;
const OUTLINE: f64 = 0.8;
const FRACTIONS: f64 = 1.92;
const RIM: f64 = 0.33;

/// How much a pattern can tell about its repeating: nothing from three repeats, all from nine.
fn repeats_told(coarse: &Coarse) -> f64 {
    ((coarse.track.repeats() - 3.0) / 6.0).clamp(0.0, 1.0)
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

/// Each edge swells once for each ply of equal plies, and once or twice a turn where one is thin: log likelihood of how often
/// something repeats beside the strand against the pattern of the face.
fn rim_evidence(coarse: &Coarse, candidate: &Candidate) -> f64 {
    let Some(rim) = coarse.rim.as_ref() else { return 0.0 };
    let seen = (rim.rate / coarse.rate.max(1e-9)).ln();
    // Either rate is read to some five per cent; what is not read may lie anywhere in four octaves (natural logs of 2.8).
    let near = |repeats: u32| {
        let off = (seen - (f64::from(repeats) / f64::from(candidate.harmonic)).ln()) / 0.08;
        (-0.5 * off * off).exp() / (0.08 * TAU.sqrt())
    };
    let (every, once) = if candidate.thin.is_some() { (0.5, 0.4) } else { (0.8, 0.1) };
    // Singles reach 1.3 in one of twenty.
    let real = 1.0 / (1.0 + (-(rim.clear - 1.3) / 0.25).exp());
    (real * (every * near(candidate.plies) + once * near(1) + 0.1 / 4.0) + (1.0 - real) / 4.0).ln()
}

/// The best candidate of a piece for a number of plies, its fit and its log likelihood.
pub(super) fn best_candidate(coarse: &Coarse, plies: u32) -> Option<(Candidate, Fit, f64)> {
    CANDIDATES
        .iter()
        .zip(&coarse.fits)
        .filter(|(c, _)| c.plies == plies)
        .map(|(c, f)| {
            let picture = -0.5 * INDEPENDENT_PLACES * (1.0 - f.explained.clamp(0.0, 0.999)).ln();
            let all = PICTURE * picture
                + OUTLINE * outline_evidence(coarse, c)
                + FRACTIONS * fraction_evidence(coarse, c)
                + RIM * rim_evidence(coarse, c);
            (*c, *f, all)
        })
        .max_by(|a, b| a.2.total_cmp(&b.2))
}

/// The best candidate of a piece for a number of plies.
pub(super) fn candidate(piece: &PieceLook, plies: u32) -> Option<(Candidate, Fit)> {
    best_candidate(piece.coarse.as_ref()?, plies).map(|(c, f, _)| (c, f))
}
