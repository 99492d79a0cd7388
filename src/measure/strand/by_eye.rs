//! A strand that the scout found: the eye says where its edges are, the picture at full resolution how exactly.

use super::band::Band;
use super::centre_line::stations;
use super::eye::{EyeSays, OFF, Seen, agree};
use super::piece::{MAX_STATIONS_ACROSS, edges, finish, strip_half_px};
use super::{LeftOutWhy, Strand, Strip, bare};
use crate::base::geometry::{Image, Point};
use crate::base::line::{between, smooth_values, smoothed};
use crate::base::raster::Raster;
use crate::measure::seen::look::STRIDE;
use crate::measure::seen::paths::Path;
use crate::measure::seen::strip::{ROWS, ROWS_PER_DIAMETER};

/// Guesses of the width over what the scout says, which is a sixth too much in the middle and two thirds at the most, the likeliest
/// first. The first with which the eye is sure of yarn is gone on from, or the one with which it is surest.
const GUESSES: [f64; 4] = [0.8, 0.57, 1.13, 0.4];

/// Narrowest guess, px: half of the eight below which neither lines nor plies can be told.
const NARROWEST_PX: f64 = 4.0;

/// Length of the stretch on which guesses are tried, diameters: as long as the strips that the eye was taught on, and half as long
/// again, for something may lie across it.
const GLANCED: f64 = 40.0;

/// Most looks before width and course are settled; each halves what the guess was off by, and more.
const LOOKS: usize = 3;

/// Logarithm of the width's change, and shift of the middle over the width, below which a guess was good: the eye was taught on
/// guesses as bad as this.
const SETTLED: f64 = 0.15;

/// Shortest strand that is looked at, diameters: shorter things have no pattern that repeats.
const LEAST_DIAMETERS: f64 = 8.0;

/// Cover by the strand's own body that some cell of a column must have: more likely there than not.
const BODY: f32 = 0.5;

/// Share of another strand's body within the width of this one, from which on a column is not measured.
const OTHER: f32 = 0.3;

/// Jump of a strand's middle, widths, over this length along it, diameters, that no strand makes: round a thin core the winding ply
/// moves the middle half as far in three times the length.
const JUMP: f64 = 0.3;
const SLIP: f64 = 0.5;

/// How much the eye's edges are smoothed along the strand, diameters: less than a ply's bump.
const SMOOTH: f64 = 0.1;

impl Seen {
    /// Looks at a path until what is seen agrees with what was guessed.
    fn settled(picture: &Raster<[u8; 3]>, path: &Path) -> Option<Self> {
        let spacing = path.length_px() / (path.line.len().max(2) - 1) as f64;
        let line = smoothed(&path.line, 1.2 * path.width_px / spacing.max(1e-6));
        let mut best: Option<Self> = None;
        for width in GUESSES.map(|guess| guess * path.width_px).into_iter().filter(|width| *width > NARROWEST_PX) {
            let stretch = middle(&line, GLANCED * width / spacing.max(1e-6)).to_vec();
            let seen = Seen::glance(picture, stretch, width).filter(Seen::plain);
            best = best.into_iter().chain(seen).max_by(|a, b| a.says.yarn.total_cmp(&b.says.yarn));
            if best.as_ref().is_some_and(|seen| seen.says.sure_yarn()) {
                break;
            }
        }
        // What is rather no yarn on that stretch is looked at no further.
        let mut seen = along(picture, line, best.filter(|seen| seen.says.yarn > 0.0)?.width_px)?;
        for _ in 0..LOOKS {
            let guessed = seen.strip.step_px * ROWS_PER_DIAMETER;
            let middles = seen.middles();
            let aside = middles.iter().map(|m| m.abs()).sum::<f64>() / middles.len() as f64;
            if (seen.width_px / guessed).ln().abs() < SETTLED && aside < SETTLED * seen.width_px {
                break;
            }
            let line = seen.strip.steps.iter().zip(&middles).map(|(s, m)| s.centre + s.normal * *m).collect();
            // Not farther at once than the strip shows.
            let width = seen.width_px.clamp(0.5 * guessed, 2.0 * guessed);
            seen = along(picture, line, width)?;
        }
        Some(seen)
    }

    /// Whether a body is seen in a third of its columns or more.
    fn plain(&self) -> bool {
        3 * self.edges.iter().flatten().count() > self.edges.len()
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
        let yarn = self.look.glances.get(column / STRIDE).is_some_and(|glance| glance.yarn > 0.0);
        if !yarn || !(0..ROWS).any(|row| self.look.cover.row(row)[column].own > BODY) {
            return Some(LeftOutWhy::EdgeUnclear);
        }
        let middle = (ROWS - 1) as f64 / 2.0;
        let row = |px: f64| (px / self.strip.step_px + middle).round().clamp(0.0, 2.0 * middle) as usize;
        let rows = row(*a)..=row(*b);
        let count = rows.clone().count() as f32;
        let other = rows.map(|r| self.look.cover.row(r)[column].other).sum::<f32>() / count;
        (other > OTHER).then_some(LeftOutWhy::Crossing)
    }
}

/// The middle `count` points of a line, or all.
fn middle(line: &[Point<Image>], count: f64) -> &[Point<Image>] {
    let aside = (line.len() - (count as usize).min(line.len())) / 2;
    &line[aside..line.len() - aside]
}

/// Leaves out where the course slips to a strand beside this one, and its middle jumps; a diameter to either side with it.
fn leave_out_slips(piece: &mut Strand, width_px: f64) {
    let count = piece.stations.len();
    let middles: Vec<f64> = piece.stations.iter().map(|s| (s.left.offset_px + s.right.offset_px) / 2.0).collect();
    let (over, near) = ((SLIP * width_px / piece.step_px) as usize, (width_px / piece.step_px) as usize);
    for i in 0..count.saturating_sub(over) {
        if (middles[i + over] - middles[i]).abs() > JUMP * width_px {
            let about = i.saturating_sub(near)..(i + over + near).min(count);
            piece.stations[about].iter_mut().for_each(|s| s.left_out = s.left_out.or(Some(LeftOutWhy::Crossing)));
        }
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

/// Looks along a line for a body of about this width.
fn along(picture: &Raster<[u8; 3]>, line: Vec<Point<Image>>, width_px: f64) -> Option<Seen> {
    Seen::along(picture, line, width_px).filter(Seen::plain)
}

/// Measures the strand along a path; in few words why not, where it is none. Where something else vouches for it, it need only be
/// likely.
pub(super) fn measure(picture: &Raster<[u8; 3]>, path: &Path, vouched: bool) -> Result<Strand, &'static str> {
    let yarn = |says: &EyeSays| says.sure_yarn() || (vouched && says.likely_yarn());
    let seen = Seen::settled(picture, path).ok_or("no yarn")?;
    if !yarn(&seen.says) {
        return Err("no yarn");
    }
    if seen.says.length < LEAST_DIAMETERS {
        return Err("too short");
    }
    // What only one of three looks says has little weight, and what hangs wholly on the guess is no more than a guess.
    let [narrow, wide] = seen.again(picture).ok_or("edges unclear")?;
    let change = (wide.width_px / narrow.width_px).ln().abs();
    if change >= 2.0 * OFF.ln() {
        return Err("edges unclear");
    }
    let says = EyeSays::mean(&[seen.says, narrow.says, wide.says]);
    if !yarn(&says) {
        return Err("no yarn");
    }
    let step_px = (seen.width_px / MAX_STATIONS_ACROSS).max(1.0);
    let eye_columns = step_px / seen.strip.step_px;
    let mut stations = stations(&seen.line, step_px);
    stations.truncate((seen.edges.len() as f64 / eye_columns) as usize);
    // Edges at full resolution, from where the eye sees them.
    let strip = Strip::straighten(picture, &stations, step_px, strip_half_px(seen.width_px));
    let eye_column = |column: usize| ((column as f64 + 0.5) * eye_columns).min(seen.edges.len() as f64 - 1.0);
    let cover = |column: usize, row: usize| {
        let across = (row as f64 - strip.middle_row) * eye_columns + (ROWS - 1) as f64 / 2.0;
        seen.look.cover.row(across.round().clamp(0.0, (ROWS - 1) as f64) as usize)[eye_column(column) as usize]
    };
    let diameter = seen.width_px / step_px;
    let band = Band::of(&strip, stations.len(), &|i| bare::colours(&strip, i, diameter, &cover));
    // The mean of where the three looks see an edge.
    let rows = |which: usize| -> Vec<f64> {
        let edges = [&seen, &narrow, &wide].map(|look| (look.edge(which), step_px / look.strip.step_px));
        let at = |i: usize| {
            let of = |(edge, columns): &(Vec<f64>, f64)| {
                between(edge, ((i as f64 + 0.5) * columns).min(edge.len() as f64 - 1.0))
            };
            edges.iter().map(of).sum::<f64>() / edges.len() as f64 / step_px + strip.middle_row
        };
        (0..stations.len()).map(at).collect()
    };
    let (tops, bottoms) = (rows(0), rows(1));
    let (mut left, mut right) = edges(&band, &tops, &bottoms, diameter);
    for (edge, seen) in [(&mut left, &tops), (&mut right, &bottoms)] {
        edge.shared_u = agree(&mut edge.rows, seen, diameter, edge.shared_u);
    }
    let mut piece = finish(picture, &stations, (&left, &right), &band, step_px, seen.width_px);
    for (i, station) in piece.stations.iter_mut().enumerate() {
        station.left_out = seen.left_out(eye_column(i) as usize);
    }
    leave_out_slips(&mut piece, seen.width_px);
    piece.eye = Some(says);
    piece.edge_systematic_u_px = piece.edge_systematic_u_px.hypot(0.5 * change * seen.width_px);
    Ok(piece)
}
