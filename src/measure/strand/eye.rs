//! What the learned eye says of a piece as a whole.

use super::{Edge, Station, Strand};
use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;
use crate::base::stats::{median, softmax};
use crate::measure::seen::look::{Look, STRIDE};
use crate::measure::seen::strip::{EyeStrip, ROWS_PER_DIAMETER};

/// What the eye says of a piece, over the columns in which it sees a body.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EyeSays {
    /// Natural log of the odds that it is yarn at all.
    pub yarn: f64,
    /// Natural log of the odds of Z over S.
    pub z_over_s: f64,
    /// Natural log of the probability of 1, 2, 3 and 4 plies, but for a common term.
    pub plies: [f64; 4],
    /// How plainly a pattern of plies repeats along it, 0 to 1: mean length of the pattern's phase as the eye sees it.
    pub repeats: f64,
    /// Length it was told from, diameters.
    pub length: f64,
}

/// Natural log of the odds of yarn from which on the eye is believed alone: of 333 strips of what is none, on scenes of the
/// calibration seeds, one has more, and 77 % of 994 strips of yarn.
const SURE_YARN: f64 = 4.0;

/// Natural log of the odds of one direction over the other, twenty to one, below which no twist is seen: what makes yarn.
const TWISTED: f64 = 3.0;

/// What the eye's logits of plies are divided by to make probabilities (C. Guo et al., "On calibration of modern neural networks",
/// ICML 2017), fitted on scenes kept for calibration: see `twist::plies`.
pub(crate) const TEMPERATURE: f64 = 2.5;

impl EyeSays {
    /// What several looks at the same strand say together: of plies the mean of their probabilities, so that looks that contradict
    /// each other leave it open.
    pub(super) fn mean(looks: &[Self]) -> Self {
        let of = |value: &dyn Fn(&Self) -> f64| looks.iter().map(value).sum::<f64>() / looks.len().max(1) as f64;
        Self {
            yarn: of(&|l| l.yarn),
            z_over_s: of(&|l| l.z_over_s),
            plies: [0, 1, 2, 3].map(|k: usize| of(&|l| l.probability()[k]).ln() * TEMPERATURE),
            repeats: of(&|l| l.repeats),
            length: of(&|l| l.length),
        }
    }

    /// Probability of 1, 2, 3 and 4 plies by this look alone.
    fn probability(&self) -> [f64; 4] {
        softmax(self.plies.map(|l| l / TEMPERATURE))
    }

    /// Whether this is yarn for sure: like yarn, and twisted. Beads have its bumps and no direction.
    pub(super) fn sure_yarn(&self) -> bool {
        self.yarn > SURE_YARN && self.z_over_s.abs() > TWISTED
    }
}

/// What is said of the columns whose edges are known.
pub(super) fn says(look: &Look, edges: &[Option<[f64; 2]>]) -> Option<EyeSays> {
    let with_body = |k: usize| (k * STRIDE..(k + 1) * STRIDE).all(|c| edges.get(c).is_some_and(Option::is_some));
    let glances: Vec<_> = look.glances.iter().enumerate().filter(|(k, _)| with_body(*k)).map(|(_, g)| g).collect();
    let n = glances.len() as f64;
    let mean = |value: &dyn Fn(usize) -> f32| (0..glances.len()).map(|i| f64::from(value(i))).sum::<f64>() / n;
    (!glances.is_empty()).then(|| EyeSays {
        yarn: mean(&|i| glances[i].yarn),
        z_over_s: mean(&|i| glances[i].z_over_s),
        plies: [0, 1, 2, 3].map(|k: usize| mean(&|i| glances[i].plies[k])),
        repeats: mean(&|i| glances[i].phase[0].hypot(glances[i].phase[1])),
        length: n * STRIDE as f64 / ROWS_PER_DIAMETER,
    })
}

/// A strand as the eye sees it, laid along `line`.
pub(super) struct Seen {
    pub(super) line: Vec<Point<Image>>,
    pub(super) strip: EyeStrip,
    pub(super) look: Look,
    /// Edges of the body per column, px from the line; `None` where there is none.
    pub(super) edges: Vec<Option<[f64; 2]>>,
    /// Median width, px.
    pub(super) width_px: f64,
    pub(super) says: EyeSays,
}

/// How much wider and narrower two more looks guess. What is seen must differ by less: else no look comes nearer to the truth than
/// the guess before it was.
pub(super) const OFF: f64 = 1.25;

impl Seen {
    /// Looks along a line for a body of about this width.
    pub(super) fn along(picture: &Raster<[u8; 3]>, line: Vec<Point<Image>>, width_px: f64) -> Option<Self> {
        let strip = EyeStrip::lay(picture, &line, width_px)?;
        let look = Look::at(&strip)?;
        let edges: Vec<Option<[f64; 2]>> = (0..strip.rgb.width())
            .map(|column| look.edges(column).map(|rows| rows.map(|row| strip.across_px(row))))
            .collect();
        let width_px = median(&edges.iter().flatten().map(|[a, b]| b - a).collect::<Vec<_>>())?;
        let says = says(&look, &edges)?;
        Some(Self { line, strip, look, edges, width_px, says })
    }

    /// What three looks at three sizes say together, since what only one of them says has little weight; and by how much the width
    /// goes with the guess, natural logarithm.
    pub(super) fn again(&self, picture: &Raster<[u8; 3]>) -> Option<(EyeSays, f64)> {
        let guessed = |off: f64| Self::along(picture, self.line.clone(), off * self.width_px);
        let (narrow, wide) = guessed(1.0 / OFF).zip(guessed(OFF))?;
        let says = EyeSays::mean(&[self.says, narrow.says, wide.says]);
        Some((says, (wide.width_px / narrow.width_px).ln().abs()))
    }
}

/// How far the eye is off at one edge, diameters: scale of a Laplace distribution, whose tails are as long as those found on 56
/// strands of the calibration seeds (half within 0.03, one in ten beyond 0.09).
const ERR: f64 = 0.045;

/// How far off an edge may be that is placed by its colours, diameters: no farther than its course is sought.
const ASTRAY: f64 = 0.35;

/// Chance that an edge placed by its colours is that of something inside or beside the strand: of diameters placed so, one in eight
/// was off by more than a tenth on photos that nobody had seen.
const MISPLACED: f64 = 0.06;

/// Looks at a piece that was found and measured by other means. Only what is sure to be yarn has edges that the eye knows.
pub(super) fn look(piece: &mut Strand, picture: &Raster<[u8; 3]>) {
    let line: Vec<_> = piece.stations.iter().map(|s| s.centre).collect();
    let Some(width_px) = median(&piece.stations.iter().map(Station::width_px).collect::<Vec<_>>()) else { return };
    let Some(seen) = Seen::along(picture, line, width_px) else { return };
    piece.eye = Some(seen.says);
    if !seen.says.sure_yarn() {
        return;
    }
    let Some((says, _)) = seen.again(picture) else { return };
    piece.eye = Some(says);
    if !says.sure_yarn() {
        return;
    }
    let per_station = piece.step_px / seen.strip.step_px;
    for side in [0, 1] {
        let mut placed: Vec<f64> = piece.stations.iter_mut().map(|s| edge(s, side).offset_px).collect();
        let at = |i: usize| seen.edges.get((i as f64 * per_station).round() as usize).copied().flatten();
        let edges: Vec<f64> = placed.iter().enumerate().map(|(i, own)| at(i).map_or(*own, |e| e[side])).collect();
        let u = agree(&mut placed, &edges, width_px);
        piece.stations.iter_mut().zip(placed).for_each(|(station, offset)| edge(station, side).offset_px = offset);
        piece.edge_systematic_u_px = piece.edge_systematic_u_px.hypot(u);
    }
}

/// The left edge or the right one.
fn edge(station: &mut Station, side: usize) -> &mut Edge {
    if side == 0 { &mut station.left } else { &mut station.right }
}

/// Moves an edge from where its colours place it towards where the eye sees it; all in one unit. Either may have followed something
/// else: the mean of both is taken, weighted by how likely so great a difference is. The whole edge moves, since of thick and thin
/// places the eye sees less than there is. Returned is the standard uncertainty that this adds.
pub(super) fn agree(placed: &mut [f64], seen: &[f64], width: f64) -> f64 {
    let apart: Vec<f64> = placed.iter().zip(seen).map(|(p, s)| (p - s) / width).collect();
    let apart = median(&apart).unwrap_or(0.0);
    let right = (1.0 - MISPLACED) * (-apart.abs() / ERR).exp() / (2.0 * ERR);
    let trust = right / (right + MISPLACED / (2.0 * ASTRAY));
    placed.iter_mut().for_each(|p| *p -= (1.0 - trust) * apart * width);
    ((1.0 - trust) * (trust * apart * apart + 2.0 * ERR * ERR)).sqrt() * width
}
