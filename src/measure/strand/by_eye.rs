//! Strands that the scout finds where no ground could be told from what lies on it: a ruler beside the yarn on a table, grain,
//! cloth, print. Their edges are those that the eye sees, with the uncertainty that has.

use super::centre_line::stations;
use super::eye::{EyeSays, says};
use super::{Edge, LeftOutWhy, Strand, Strip};
use crate::base::geometry::{Image, Point};
use crate::base::line::{smooth_values, smoothed};
use crate::base::raster::Raster;
use crate::base::stats::median;
use crate::measure::seen::look::Look;
use crate::measure::seen::paths::Path;
use crate::measure::seen::strip::{EyeStrip, ROWS, ROWS_PER_DIAMETER};

/// Shortest strand that is believed by eye alone, diameters: the eye was taught on stretches of 25 (512 columns), and of shorter
/// ones, a plank's grain or a row of holes, it is sure too soon.
const LEAST_DIAMETERS: f64 = 24.0;

/// Widest strand, in stations across, before the step grows: as where edges are placed by their colours.
const MAX_STATIONS_ACROSS: f64 = 80.0;

/// Half width of the strip that is handed on, diameters: the strand, its edges and some ground with hairs.
const STRIP_DIAMETERS: f64 = 1.3;

/// First guess of the width over what the scout says, which is a sixth too much in the middle and two thirds at the most: from
/// below, since a guess that is too wide may take a shadow in, which then belongs to what is found.
const FIRST_GUESS: f64 = 0.65;

/// Most looks before width and course are settled; each halves what the guess was off by, and more.
const LOOKS: usize = 5;

/// Logarithm of the width's change, and shift of the middle over the width, below which a guess was good: the eye was taught on
/// guesses as bad as this.
const SETTLED: f64 = 0.15;

/// Relative standard uncertainty of the eye's width: on strips kept back it is off by 4 % in the middle and 24 % in one of twenty.
const WIDTH_U: f64 = 0.1;

/// How much wider a last look guesses, and the difference in the width seen from which on what is seen hangs on the guess.
const WIDER: f64 = 1.25;
const HANGS_ON_GUESS: f64 = 0.2;

/// Share of another strand's body within the width of this one, from which on a column is not measured.
const OTHER: f32 = 0.3;

/// How much the eye's edges are smoothed along the strand, diameters: less than a ply's bump.
const SMOOTH: f64 = 0.1;

/// A strand as the eye sees it, laid along `line`.
struct Seen {
    line: Vec<Point<Image>>,
    strip: EyeStrip,
    look: Look,
    /// Edges of the body per column, px from the line; `None` where there is none.
    edges: Vec<Option<[f64; 2]>>,
    /// Median width, px.
    width_px: f64,
}

impl Seen {
    /// Looks along a line for a body of about this width.
    fn along(picture: &Raster<[u8; 3]>, line: Vec<Point<Image>>, width_px: f64) -> Option<Self> {
        let strip = EyeStrip::lay(picture, &line, width_px)?;
        let look = Look::at(&strip)?;
        let edges: Vec<Option<[f64; 2]>> = (0..strip.rgb.width())
            .map(|column| look.edges(column).map(|rows| rows.map(|row| strip.across_px(row))))
            .collect();
        let widths: Vec<f64> = edges.iter().flatten().map(|[a, b]| b - a).collect();
        let width_px = median(&widths).filter(|_| 3 * widths.len() > edges.len())?;
        Some(Self { line, strip, look, edges, width_px })
    }

    /// Looks at a path until what is seen agrees with what was guessed.
    fn settled(picture: &Raster<[u8; 3]>, path: &Path) -> Option<Self> {
        let spacing = path.length_px() / (path.line.len().max(2) - 1) as f64;
        let line = smoothed(&path.line, 1.2 * path.width_px / spacing.max(1e-6));
        let mut seen = Self::along(picture, line, FIRST_GUESS * path.width_px)?;
        for _ in 1..LOOKS {
            let guessed = seen.strip.step_px * ROWS_PER_DIAMETER;
            let middles = seen.middles();
            let aside = middles.iter().map(|m| m.abs()).sum::<f64>() / middles.len() as f64;
            if (seen.width_px / guessed).ln().abs() < SETTLED && aside < SETTLED * seen.width_px {
                break;
            }
            let line = seen.strip.steps.iter().zip(&middles).map(|(s, m)| s.centre + s.normal * *m).collect();
            // Not farther at once than the strip shows.
            let width = seen.width_px.clamp(0.5 * guessed, 2.0 * guessed);
            seen = Self::along(picture, line, width)?;
        }
        Some(seen)
    }

    /// How far the strand's middle lies from the line, px per column, smooth.
    fn middles(&self) -> Vec<f64> {
        let known: Vec<Option<f64>> = self.edges.iter().map(|e| e.map(|[a, b]| (a + b) / 2.0)).collect();
        smooth_values(&filled(&known), ROWS_PER_DIAMETER)
    }

    /// One edge per column, px from the line.
    fn edge(&self, which: usize) -> Vec<f64> {
        let known: Vec<Option<f64>> = self.edges.iter().map(|e| e.map(|e| e[which])).collect();
        smooth_values(&filled(&known), SMOOTH * ROWS_PER_DIAMETER)
    }

    /// Why a column is not measured.
    fn left_out(&self, column: usize) -> Option<LeftOutWhy> {
        let Some(Some([a, b])) = self.edges.get(column) else { return Some(LeftOutWhy::EdgeUnclear) };
        let middle = (ROWS - 1) as f64 / 2.0;
        let row = |px: f64| (px / self.strip.step_px + middle).round().clamp(0.0, 2.0 * middle) as usize;
        let rows = row(*a)..=row(*b);
        let count = rows.clone().count() as f32;
        let other = rows.map(|r| self.look.cover.row(r)[column].other).sum::<f32>() / count;
        (other > OTHER).then_some(LeftOutWhy::Crossing)
    }
}

/// Values with the gaps filled from the nearest known one.
fn filled(values: &[Option<f64>]) -> Vec<f64> {
    let known: Vec<usize> = (0..values.len()).filter(|i| values[*i].is_some()).collect();
    let mut k = 0;
    (0..values.len())
        .map(|i| {
            while k + 1 < known.len() && known[k + 1].abs_diff(i) <= known[k].abs_diff(i) {
                k += 1;
            }
            known.get(k).and_then(|j| values[*j]).unwrap_or(0.0)
        })
        .collect()
}

/// Measures the strand along a path; in few words why not, where it is none.
pub(super) fn measure(picture: &Raster<[u8; 3]>, path: &Path) -> Result<Strand, &'static str> {
    let seen = Seen::settled(picture, path).ok_or("no yarn")?;
    let says = says(&seen.look, &seen.edges).filter(EyeSays::sure_yarn).ok_or("no yarn")?;
    if says.length < LEAST_DIAMETERS {
        return Err("too short");
    }
    // What hangs on the guess is no more than a guess.
    let wider = Seen::along(picture, seen.line.clone(), WIDER * seen.width_px).ok_or("edges unclear")?;
    let apart = (wider.width_px / seen.width_px).ln().abs();
    if apart > HANGS_ON_GUESS {
        return Err("edges unclear");
    }
    let step_px = (seen.width_px / MAX_STATIONS_ACROSS).max(1.0);
    let eye_columns = step_px / seen.strip.step_px;
    let mut stations = stations(&seen.line, step_px);
    stations.truncate((seen.edges.len() as f64 / eye_columns) as usize);
    let (left, right) = (seen.edge(0), seen.edge(1));
    let between = |values: &[f64], at: f64| {
        let (k, t) = (at as usize, at.fract());
        let (a, b) = (values[k], values[(k + 1).min(values.len() - 1)]);
        a + (b - a) * t
    };
    let drift = smooth_values(
        &left.iter().zip(&right).map(|(l, r)| (l + r) / 2.0).collect::<Vec<_>>(),
        2.0 * ROWS_PER_DIAMETER,
    );
    let last = (seen.edges.len() - 1) as f64;
    for (i, station) in stations.iter_mut().enumerate() {
        let at = (i as f64 * eye_columns).min(last);
        let aside = between(&drift, at);
        let edge = |values: &[f64]| Edge { offset_px: between(values, at) - aside, u_px: 0.5 * seen.strip.step_px };
        (station.left, station.right) = (edge(&left), edge(&right));
        station.centre = station.centre + station.normal * aside;
        station.left_out = seen.left_out(at as usize);
    }
    let strip = Strip::straighten(picture, &stations, step_px, STRIP_DIAMETERS * seen.width_px + 6.0);
    Ok(Strand {
        number: 0,
        chosen: true,
        parted: false,
        step_px,
        stations,
        strip,
        edge_systematic_u_px: WIDTH_U.hypot(apart / 3f64.sqrt()) * seen.width_px,
        blur_px: seen.strip.step_px.max(1.0),
        kinks: None,
        beside: false,
        eye: Some(says),
    })
}
