//! What the learned eye says of a piece as a whole.

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
    /// How often a ply passes along it, per px of the photo, by the pattern's phase; `None` where that is seen too seldom.
    pub passes_per_px: Option<f64>,
    /// Length it was told from, diameters.
    pub length: f64,
}

/// Natural log of the odds of yarn from which on the eye is believed alone: of 228 strips of what is none, on scenes of the
/// calibration seeds, two have more, and 79 % of 1,194 strips of yarn.
const SURE_YARN: f64 = 4.0;

/// Natural log of the odds of yarn from which on a thing may be some: 10 of those 228 strips have more, and 90 % of yarn.
const LIKELY_YARN: f64 = 1.0;

/// Natural log of the odds of one direction over the other, twenty to one, below which no twist is seen: what makes yarn.
const TWISTED: f64 = 3.0;

/// Length of the strips that it was taught on, diameters: 512 columns. Of shorter ones it is sure too soon, by the root of how
/// much shorter, as a mean over fewer columns is.
const TAUGHT: f64 = 25.6;

/// What the eye's logits of plies are divided by to make probabilities (C. Guo et al., "On calibration of modern neural networks",
/// ICML 2017). Of 1,194 strips of the calibration seeds (2080500 on) the likelihood is greatest here; of those between 0.5 and 0.6
/// are right 58 %, then 64, 72, 86, and 98 % of those above 0.9.
pub(crate) const TEMPERATURE: f64 = 1.5;

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
            passes_per_px: median(&looks.iter().filter_map(|l| l.passes_per_px).collect::<Vec<_>>()),
            length: of(&|l| l.length),
        }
    }

    /// Probability of 1, 2, 3 and 4 plies by this look alone.
    fn probability(&self) -> [f64; 4] {
        softmax(self.plies.map(|l| l / TEMPERATURE))
    }

    /// Whether this is yarn for sure: like yarn, and twisted. Beads have its bumps and no direction.
    pub(super) fn sure_yarn(&self) -> bool {
        self.yarn_from(SURE_YARN)
    }

    /// Whether this is yarn if its twist shows by other means, too.
    pub(super) fn likely_yarn(&self) -> bool {
        self.yarn_from(LIKELY_YARN)
    }

    fn yarn_from(&self, least: f64) -> bool {
        let more = (TAUGHT / self.length).sqrt().max(1.0);
        self.yarn > least * more && self.z_over_s.abs() > TWISTED * more
    }
}

/// What is said of the columns whose edges are known; these are `step_px` apart.
pub(super) fn says(look: &Look, edges: &[Option<[f64; 2]>], step_px: f64) -> Option<EyeSays> {
    let with_body = |k: usize| (k * STRIDE..(k + 1) * STRIDE).all(|c| edges.get(c).is_some_and(Option::is_some));
    let glances: Vec<_> = look.glances.iter().enumerate().filter(|(k, _)| with_body(*k)).map(|(_, g)| g).collect();
    let n = glances.len() as f64;
    let mean = |value: &dyn Fn(usize) -> f32| (0..glances.len()).map(|i| f64::from(value(i))).sum::<f64>() / n;
    (!glances.is_empty()).then(|| EyeSays {
        yarn: mean(&|i| glances[i].yarn),
        z_over_s: mean(&|i| glances[i].z_over_s),
        plies: [0, 1, 2, 3].map(|k: usize| mean(&|i| glances[i].plies[k])),
        repeats: mean(&|i| glances[i].phase[0].hypot(glances[i].phase[1])),
        passes_per_px: passes(look, &with_body).map(|per_glance| per_glance / (STRIDE as f64 * step_px)),
        length: n * STRIDE as f64 / ROWS_PER_DIAMETER,
    })
}

/// Length of a phase from which on it is told: half of what a sure one has.
const PHASE: f64 = 0.5;

/// Passing plies from which on they are counted: the phase is off by a tenth of one at either end.
const LEAST_PASSES: f64 = 8.0;

/// Plies that pass from one glance to the next on average, by the phase where two neighbours of those `wanted` are sure of it.
fn passes(look: &Look, wanted: &dyn Fn(usize) -> bool) -> Option<f64> {
    let sure = |k: usize| {
        let [c, s] = look.glances.get(k)?.phase.map(f64::from);
        (wanted(k) && c.hypot(s) > PHASE).then_some((c, s))
    };
    let steps = (0..look.glances.len()).filter_map(|k| {
        let ((a, b), (c, d)) = (sure(k)?, sure(k + 1)?);
        Some((a * d - b * c).atan2(a * c + b * d))
    });
    let (sum, count) = steps.fold((0.0, 0.0), |(sum, count), step| (sum + step, count + 1.0));
    let passes = f64::abs(sum) / std::f64::consts::TAU;
    (passes > LEAST_PASSES).then(|| passes / count)
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
        Self::by(Look::at, picture, line, width_px)
    }

    /// The same by one look at half the price, to choose by.
    pub(super) fn glance(picture: &Raster<[u8; 3]>, line: Vec<Point<Image>>, width_px: f64) -> Option<Self> {
        Self::by(Look::once, picture, line, width_px)
    }

    fn by(
        look: impl Fn(&EyeStrip) -> Option<Look>,
        picture: &Raster<[u8; 3]>,
        line: Vec<Point<Image>>,
        width_px: f64,
    ) -> Option<Self> {
        let strip = EyeStrip::lay(picture, &line, width_px)?;
        let look = look(&strip)?;
        let edges: Vec<Option<[f64; 2]>> = (0..strip.rgb.width())
            .map(|column| look.edges(column).map(|rows| rows.map(|row| strip.across_px(row))))
            .collect();
        let width_px = median(&edges.iter().flatten().map(|[a, b]| b - a).collect::<Vec<_>>())?;
        let says = says(&look, &edges, strip.step_px)?;
        Some(Self { line, strip, look, edges, width_px, says })
    }

    /// Two more looks, guessed narrower and wider.
    pub(super) fn again(&self, picture: &Raster<[u8; 3]>) -> Option<[Self; 2]> {
        let guessed = |off: f64| Self::along(picture, self.line.clone(), off * self.width_px);
        Some([guessed(1.0 / OFF)?, guessed(OFF)?])
    }
}

/// Standard uncertainty of an edge by its colours, diameters, at which it is as likely as not that they follow something else,
/// inside or beside the strand: fitted on scenes of the calibration seeds. There the eye was right where both differed by more
/// than 0.04 and the uncertainty was above 0.04, and the colours where it was below.
const ASTRAY_U: f64 = 0.035;

/// Standard uncertainty of where the eye sees an edge, diameters: half of 56 strands of the calibration seeds within 0.03.
const EYE_U: f64 = 0.045;

/// Moves an edge from where its colours place it, with standard uncertainty `u`, towards where the eye sees it, by the chance
/// that its colours follow something else; all in one unit. The whole edge moves, since of thick and thin places the eye sees less
/// than there is. Returned is the standard uncertainty of the mixture of both.
pub(super) fn agree(placed: &mut [f64], seen: &[f64], width: f64, u: f64) -> f64 {
    let apart: Vec<f64> = placed.iter().zip(seen).map(|(p, s)| p - s).collect();
    let apart = median(&apart).unwrap_or(0.0);
    let odds = (u / width / ASTRAY_U).powi(4);
    let astray = odds / (1.0 + odds);
    placed.iter_mut().for_each(|p| *p -= astray * apart);
    let own = (1.0 - astray) * u * u + astray * (EYE_U * width).powi(2);
    (own + astray * (1.0 - astray) * apart * apart).sqrt()
}
