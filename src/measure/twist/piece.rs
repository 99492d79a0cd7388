//! Everything that is looked at in one piece before the number of plies is decided.

use super::super::strand::Strand;
use super::face::{Face, Outline, Sampling, around};
use super::fibres::phase_at;
use super::fold::{self, Fit, Fold};
use super::geometry::Bundle;
use super::orient::{Ring, Window, windows};
use super::rim::{self, Rim};
use super::track::{self, Track};
use rustfft::num_complex::Complex;

/// A way in which the followed pattern may belong to a yarn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Candidate {
    /// Plies.
    pub(super) plies: u32,
    /// How often the followed pattern repeats in one turn.
    pub(super) harmonic: u32,
    /// Radius of the thin ply over that of the thick one; `None`: equal plies.
    pub(super) thin: Option<f64>,
}

impl Candidate {
    /// The plies that this candidate stands for; `turns_per_width` are turns per mean width.
    pub(super) fn bundle(&self, turns_per_width: f64, closeness: f64) -> Bundle {
        match self.thin {
            Some(ratio) => Bundle::thick_and_thin(ratio, closeness, turns_per_width),
            None => Bundle::equal_plies(self.plies, closeness, turns_per_width),
        }
    }
}

/// Distance of ply axes over that of round plies just touching. Plies press into each other: their sections flatten where
/// they touch. Common practice, no source; 0.85 to 1 covers firm to open yarn.
pub(super) const CLOSENESS: f64 = 0.93;

/// Closenesses at which the candidates are tried: from firm to touching.
const CLOSE_TO_OPEN: [f64; 3] = [0.86, CLOSENESS, 1.0];

/// All candidates.
pub(super) const CANDIDATES: [Candidate; 14] = [
    Candidate { plies: 2, harmonic: 2, thin: None },
    Candidate { plies: 2, harmonic: 1, thin: None },
    Candidate { plies: 2, harmonic: 1, thin: Some(0.8) },
    Candidate { plies: 2, harmonic: 1, thin: Some(0.65) },
    Candidate { plies: 2, harmonic: 1, thin: Some(0.5) },
    Candidate { plies: 2, harmonic: 2, thin: Some(0.8) },
    Candidate { plies: 2, harmonic: 2, thin: Some(0.65) },
    Candidate { plies: 2, harmonic: 2, thin: Some(0.5) },
    Candidate { plies: 3, harmonic: 3, thin: None },
    Candidate { plies: 3, harmonic: 1, thin: None },
    Candidate { plies: 3, harmonic: 2, thin: None },
    Candidate { plies: 4, harmonic: 4, thin: None },
    Candidate { plies: 4, harmonic: 1, thin: None },
    Candidate { plies: 4, harmonic: 2, thin: None },
];

/// The coarse pattern of a piece.
#[derive(Debug, Clone)]
pub(super) struct Coarse {
    /// Half width and middle per station, averaged along the strand.
    pub(super) half_width: Vec<f64>,
    /// Row of the strip on the strand's middle, averaged along the strand.
    pub(super) centre: Vec<f64>,
    /// Stations per column of the track.
    pub(super) stations_per_column: f64,
    /// The followed component.
    pub(super) track: Track,
    /// Mean repeats per station.
    pub(super) rate: f64,
    /// Coherent power of the second harmonic over that of its neighbours.
    pub(super) second_over_noise: f64,
    /// Share of the face's variance that repeats.
    pub(super) share: f64,
    /// Direction of the coarse lines less that of the fine ones, in the sense of twist, radians.
    pub(super) coarse_less_fine: f64,
    /// How well each of `CANDIDATES` explains the folded picture.
    pub(super) fits: Vec<Fit>,
    /// Coherent power at fractions of the pattern's repeat, over that of their neighbours: at halves, thirds and quarters for
    /// two, three and four repeats a turn; 1 for one repeat.
    pub(super) fractions: Vec<f64>,
    /// How the outline waves with the pattern.
    pub(super) waves: Vec<Wave>,
    /// The folded picture over one repeat and over two.
    pub(super) folds: [Fold; 2],
    /// What repeats beside the strand, its rate per station.
    pub(super) rim: Option<Rim>,
    /// Whether it was followed there, and not on the face.
    pub(super) beside: bool,
    /// Relative standard uncertainty of the count that comes from the two counting otherwise.
    pub(super) count_u: f64,
}

/// Waves of the outline that go with the followed pattern, over the half width.
#[derive(Debug, Clone, Copy)]
pub(super) struct Wave {
    /// Repeats of the wave in one of the pattern.
    pub(super) ratio: f64,
    /// Amplitude of the half width.
    pub(super) width: f64,
    /// Amplitude of the middle.
    pub(super) middle: f64,
    /// Standard deviation of either amplitude, from waves of neighbouring frequencies.
    pub(super) noise: f64,
}

/// Share of windows that must agree on a direction: lines that run anywhere give a sixth, two crossing sets of lines a half.
pub(super) const AGREEING: f64 = 0.72;

/// Lean of lines that may be twisted fibres, degrees: below, what runs along a thing (its edges, its gloss, the facets of a
/// pencil) does as well, above what crosses it (teeth, links, letters). Twist of 3 to 60 degrees is made; straightening and
/// reading err by a few.
const LEAN: std::ops::RangeInclusive<f64> = 4.0..=64.0;

/// Logarithm of the power of a pattern that runs one way round over the other from which on it has a sense: beads, links and
/// letters have none, but chance makes a little.
const ONE_WAY: f64 = 0.5;

/// Windows up to which a share of them says little.
const FEW_WINDOWS: usize = 8;

/// Direction in which the fine lines of all pieces run; `None` where they do not agree or are too few.
pub(super) fn common_direction(pieces: &[PieceLook]) -> Option<f64> {
    let angles: Vec<f64> = pieces.iter().flat_map(|p| p.fine.iter().map(|w| p.angle_of(w))).collect();
    let middle = crate::base::stats::median(&angles)?;
    let near = angles.iter().filter(|a| (**a - middle).abs() < 15f64.to_radians()).count();
    (angles.len() >= 4 && near as f64 >= AGREEING * angles.len() as f64).then_some(middle)
}

/// What was looked at in a piece.
#[derive(Debug, Clone)]
pub(super) struct PieceLook {
    /// Where its yarn lies in the strip.
    pub(super) outline: Outline,
    /// Half width per station, averaged over about a diameter.
    pub(super) local_half_width: Vec<f64>,
    /// The fine lines, window by window.
    pub(super) fine: Vec<Window>,
    /// Stations per column of the fine windows.
    pub(super) fine_stations_per_column: f64,
    /// Radius per row of the fine face, rows.
    pub(super) fine_row_radius: f64,
    /// The coarse pattern.
    pub(super) coarse: Option<Coarse>,
}

impl PieceLook {
    /// Looks at one piece; `None` where too little of it can be used.
    pub(super) fn at(strand: &Strand) -> Option<Self> {
        let outline = Outline::of(strand)?;
        let width = outline.mean_width;
        if width < 4.0 {
            return None;
        }
        let (local_half_width, local_centre) = outline.smoothed(width * 0.7);
        // 60 columns a diameter resolve every line that is wider than 1/30 of it; more only costs time.
        let per = (width / 60.0).floor().max(1.0);
        let sampling = Sampling {
            offsets: around(2.0 * per / width, 1.05),
            stations_per_column: per,
            high_pass: 3.0 * width,
            planes: 2,
        };
        let face = Face::sample(strand, &outline, &local_half_width, &local_centre, sampling)?;
        let columns = width / per;
        let fine = Ring { low: 2.5 / columns, high: 0.35 };
        let coarse = Ring { low: 0.7 / columns, high: 2.2 / columns };
        let mut lines = windows(&face, (4.0 * columns) as usize, fine, coarse);
        // Lines at a low angle change slowly along the strand: a short window blurs their spectrum along the strand by as
        // much as the narrow face does across it, which pulls steeply falling power away from the axis.
        let slopes: Vec<f64> = lines.fine.iter().map(|w| w.slope_angle.abs()).collect();
        let low = crate::base::stats::median(&slopes).is_some_and(|a| a < 22f64.to_radians());
        if low && face.columns as f64 >= 24.0 * columns {
            lines.fine = windows(&face, (10.0 * columns) as usize, fine, coarse).fine;
        }
        let mut look = Self {
            local_half_width,
            fine_stations_per_column: per,
            fine_row_radius: width / 2.0,
            fine: lines.fine,
            outline,
            coarse: None,
        };
        look.coarse = look.coarse_pattern(strand, &lines.coarse);
        Some(look)
    }

    /// Length that can be looked at, diameters.
    pub(super) fn diameters(&self) -> f64 {
        self.outline.usable.iter().filter(|u| **u).count() as f64 / self.outline.mean_width
    }

    /// Signed angle of the lines seen in a window, at the middle of the face.
    pub(super) fn angle_of(&self, window: &Window) -> f64 {
        self.at_middle(window, window.slope_angle)
    }

    /// The same angle as the fibres have it: freed of what falling power does to a fan of lines. What compares lines with lines,
    /// both seen through the same fall, takes them as they are seen.
    pub(super) fn fibres_of(&self, window: &Window) -> f64 {
        self.at_middle(window, window.freed)
    }

    /// An angle on a window's face, at the middle of the strand.
    fn at_middle(&self, window: &Window, on_face: f64) -> f64 {
        (on_face.tan() * window.radius / self.fine_row_radius).atan()
    }

    /// Share of the windows whose fine lines run within 15 degrees of their median, which is given too. Lines that run
    /// anywhere (noise, blur, a plait) fill a sixth of half a turn.
    pub(super) fn concentration(&self) -> (f64, f64) {
        let angles: Vec<f64> = self.fine.iter().map(|w| self.angle_of(w)).collect();
        let Some(middle) = crate::base::stats::median(&angles) else { return (0.0, 0.0) };
        let near = angles.iter().filter(|a| (**a - middle).abs() < 15f64.to_radians()).count();
        (near as f64 / angles.len() as f64, middle)
    }

    /// Whether there is anything to be read: fine lines that run one way and lean as twisted fibres do, or a coarse pattern
    /// that repeats and runs one way round. `all` is the median direction of the fine lines of all pieces where those agree:
    /// a piece too short to show agreement by itself is taken where it agrees with the others, or with its own coarse pattern.
    pub(super) fn readable(&self, all: Option<f64>) -> bool {
        let (share, middle) = self.concentration();
        let leaning = LEAN.contains(&middle.to_degrees().abs());
        let lines = leaning
            && if self.fine.len() >= 3 {
                // Of few windows all must agree: five of six may follow the edge of a facet.
                share >= if self.fine.len() < FEW_WINDOWS { 1.0 } else { AGREEING }
            } else {
                !self.fine.is_empty() && all.is_some_and(|a| (a - middle).abs() < 20f64.to_radians())
            };
        let short = leaning
            && self.fine.len() >= 2
            && share >= 1.0
            && self.coarse.as_ref().is_some_and(|c| c.track.log_sense_ratio >= 1.0 && c.track.sense * middle > 0.0);
        let pattern = self.coarse.as_ref().is_some_and(|c| {
            let repeating = c.second_over_noise > 6.0 && c.share > 0.35;
            // What repeats beside a thing (the eyes of a lace, the teeth of a zip) is no pattern that runs round it.
            !c.beside
                && c.track.repeats() >= 8.0
                && c.track.log_sense_ratio > ONE_WAY
                && (repeating || c.second_over_noise > 10.0 || c.track.log_sense_ratio > 2.0)
        });
        lines || short || pattern
    }

    fn median_angle(&self, windows: &[Window]) -> f64 {
        crate::base::stats::median(&windows.iter().map(|w| self.angle_of(w)).collect::<Vec<_>>()).unwrap_or(0.0)
    }

    fn coarse_pattern(&self, strand: &Strand, coarse_lines: &[Window]) -> Option<Coarse> {
        let width = self.outline.mean_width;
        let (half_width, centre) = self.outline.smoothed(width * 2.0);
        let radius: Vec<f64> = half_width.iter().map(|r| r * 1.1).collect();
        let per = (width / 10.0).max(1.0);
        let sampling =
            Sampling { offsets: around(0.1, 1.1), stations_per_column: per, high_pass: 5.0 * width, planes: 2 };
        let face = Face::sample(strand, &self.outline, &radius, &centre, sampling)?;
        let beside = Sampling { offsets: rim::rows(), stations_per_column: per, high_pass: 3.0 * width, planes: 1 };
        let beside = Face::sample(strand, &self.outline, &half_width, &centre, beside)?;
        let rim = Rim::of(&beside, width / per);
        let Followed { track, beside: from_rim, count_u } = followed(&face, &beside, rim.as_ref(), width / per)?;
        let rim = rim.map(|rim| Rim { rate: rim.rate / per, ..rim });
        let good: Vec<f64> = face.usable.iter().zip(&track.rate).filter(|(u, _)| **u).map(|(_, r)| *r / per).collect();
        let rate = crate::base::stats::mean(&good)?;
        let power =
            |ratio: f64| -> f64 { track::lines(&face, &track, ratio).iter().flatten().map(|z| z.norm_sqr()).sum() };
        let beside = [2.21, 2.29, 2.39, 2.61, 2.71, 2.79];
        let noise = beside.iter().map(|q| power(*q)).sum::<f64>() / beside.len() as f64;
        let second = power(2.0);
        let between = [0.61, 0.71, 0.79, 1.21, 1.29, 1.41, 1.59];
        let floor = (between.iter().map(|q| power(*q)).sum::<f64>() / between.len() as f64).max(1e-30);
        let at = |list: &[f64]| list.iter().map(|q| power(*q)).sum::<f64>() / list.len() as f64 / floor;
        let third = 1.0 / 3.0;
        let fractions =
            vec![1.0, at(&[0.5, 1.5]), at(&[third, 2.0 * third, 4.0 * third, 5.0 * third]), at(&[0.25, 0.75, 1.25])];
        let total: f64 =
            face.planes.iter().flatten().map(|v| f64::from(*v) * f64::from(*v)).sum::<f64>() / good.len().max(1) as f64;
        let share = 2.0 * (power(1.0) + second + power(3.0)) / total.max(1e-30);
        let folds = [1, 2].map(|h| fold::fold(strand, &self.outline, &face, &track, h, &half_width, &centre));
        let fits = CANDIDATES
            .iter()
            .map(|c| {
                let turns = rate * width / f64::from(c.harmonic);
                let fits = CLOSE_TO_OPEN.map(|closeness| fit(c, &folds, turns, closeness, track.sense));
                fits.into_iter().fold(fits[0], |a, b| if b.explained > a.explained { b } else { a })
            })
            .collect();
        let waves = self.waves(&half_width, &centre, &track, per);
        let coarse_less_fine = track.sense * (self.median_angle(coarse_lines) - self.median_angle(&self.fine));
        Some(Coarse {
            half_width,
            centre,
            stations_per_column: per,
            rate,
            second_over_noise: second / noise.max(1e-30),
            share,
            coarse_less_fine,
            fits,
            fractions,
            waves,
            folds,
            rim,
            beside: from_rim,
            count_u,
            track,
        })
    }

    /// How the outline waves at 1, 2, 3 and 4 times the pattern's repeat.
    fn waves(&self, half_width: &[f64], centre: &[f64], track: &Track, per: f64) -> Vec<Wave> {
        let stations = self.outline.usable.len();
        let amplitude = |ratio: f64| -> (f64, f64) {
            let (mut w, mut m, mut n) = (Complex::new(0.0, 0.0), Complex::new(0.0, 0.0), 0.0);
            for i in 0..stations {
                if !self.outline.usable[i] || half_width[i] <= 0.0 {
                    continue;
                }
                let turn = Complex::from_polar(2.0, -ratio * phase_at(track, per, i as f64));
                w += turn * ((self.outline.half_width[i] - half_width[i]) / half_width[i]);
                m += turn * ((self.outline.centre_row[i] - centre[i]) / half_width[i]);
                n += 1.0;
            }
            (w.norm() / f64::max(n, 1.0), m.norm() / f64::max(n, 1.0))
        };
        [1.0, 2.0, 3.0, 4.0]
            .into_iter()
            .map(|ratio| {
                let (width, middle) = amplitude(ratio);
                let beside: Vec<f64> = [-0.37, -0.29, -0.21, 0.21, 0.29, 0.37]
                    .iter()
                    .map(|d| {
                        let (w, m) = amplitude(ratio + d);
                        w * w + m * m
                    })
                    .collect();
                let noise = (crate::base::stats::mean(&beside).unwrap_or(0.0) / 2.0).sqrt();
                Wave { ratio, width, middle, noise }
            })
            .collect()
    }
}

/// The pattern that was followed.
struct Followed {
    track: Track,
    beside: bool,
    count_u: f64,
}

/// Follows the pattern on the face, or where that has nothing to do with what clearly repeats beside the strand or has lost count
/// of it, the latter.
fn followed(face: &Face, beside: &Face, rim: Option<&Rim>, width: f64) -> Option<Followed> {
    let follower = track::Follower::new(face, width)?;
    let strongest = follower.strongest();
    let Some(rim) = rim.filter(|r| r.clear > CLEAR_RIM) else {
        return Some(Followed { track: strongest, beside: false, count_u: 0.0 });
    };
    let known = follower.known(&rim.bands, beside);
    // Lines beside the strand over what stands between them, at the rates that some number of plies allows.
    let line = |track: &Track, ratio: f64| -> f64 {
        let power = |q: f64| track::lines(beside, track, q).iter().flatten().map(|z| z.norm_sqr()).sum::<f64>();
        let between = [0.79, 0.86, 1.16, 1.27].map(|q| power(q * ratio)).iter().sum::<f64>() / 4.0;
        power(ratio) / between.max(1e-30)
    };
    let ratios = CANDIDATES.iter().map(|c| f64::from(c.plies) / f64::from(c.harmonic));
    let with_it = ratios.map(|r| line(&strongest, r)).fold(0.0, f64::max);
    let clearer = line(&known, 1.0) / with_it;
    // Where a pattern fades, what is followed on is slower: locks of fibres are longer than plies.
    let more = known.repeats() / strongest.repeats();
    let lost = LOST_COUNT.contains(&more) && known.sense * strongest.sense > 0.0 && clearer > CLEARER;
    if clearer > APART || lost {
        return Some(Followed { track: known, beside: true, count_u: 0.0 });
    }
    // Two counts of one pattern, the fainter one followed: the truth may lie anywhere between them (rectangular).
    let between = (more - 1.0).abs();
    let count_u = if clearer > CLEARER && between < LOST_COUNT.start - 1.0 { between / 3f64.sqrt() } else { 0.0 };
    Some(Followed { track: strongest, beside: false, count_u })
}

/// How much faster something may repeat beside the strand and still be the pattern of the face, part of which was lost: by less
/// it is the same count, and from 4/3 on another pattern (plies and their turns stand as 4 to 3 at the nearest).
const LOST_COUNT: std::ops::Range<f64> = 1.05..1.3;
/// How much stronger its line must then be.
const CLEARER: f64 = 1.5;

/// How clearly something must repeat beside the strand to be followed: singles reach 1.5 in one of fifty.
const CLEAR_RIM: f64 = 1.6;
/// How much stronger the line beside the strand must be than with the pattern of the face.
const APART: f64 = 3.0;

/// How well a candidate explains the folded picture over one repeat (or two).
pub(super) fn fit(c: &Candidate, folds: &[Fold; 2], turns_per_width: f64, closeness: f64, sense: f64) -> Fit {
    let bundle = c.bundle(turns_per_width, closeness);
    let [base, double] = folds;
    match (c.harmonic, c.thin) {
        (1, _) => fold::fit(base, &bundle, sense),
        (2, Some(_)) => fold::fit(double, &bundle, sense),
        (h, _) => fold::fit(&base.tiled(h), &bundle, sense),
    }
}
