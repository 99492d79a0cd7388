//! The strand averaged over its turns, and how well round plies wound about each other explain that picture.

use nalgebra::{DMatrix, DVector, Matrix3, SymmetricEigen};

use super::super::strand::Strand;
use super::face::{Face, Outline};
use super::geometry::Bundle;
use super::track::Track;

/// Columns over one turn.
pub(super) const TURN: usize = 48;
/// Rows across, from -REACH to REACH half widths.
pub(super) const ROWS: usize = 29;
/// Outermost row, in local mean half widths.
pub(super) const REACH: f64 = 1.12;

/// One turn of the yarn, averaged over the strand: the square root of linear light, mean of each row removed.
#[derive(Debug, Clone)]
pub(super) struct Fold {
    /// [channel][row * TURN + column]
    pub(super) channels: Vec<Vec<f64>>,
    /// Sum of squares over all channels.
    pub(super) total: f64,
    /// Cells that nothing fell into.
    pub(super) empty: usize,
}

impl Fold {
    /// A whole turn made of `times` copies of this one.
    pub(super) fn tiled(&self, times: u32) -> Self {
        let repeat = |c: &Vec<f64>| {
            c.chunks_exact(TURN).flat_map(|row| (0..TURN).map(|k| row[(k * times as usize) % TURN])).collect()
        };
        let channels = self.channels.iter().map(repeat).collect();
        Self { channels, total: self.total, empty: self.empty }
    }
}

/// Folds the strip over turns; the track repeats `harmonic` times a turn. Row offsets are in units of `half_width`
/// (already averaged along the strand), about `centre`.
pub(super) fn fold(
    strand: &Strand,
    outline: &Outline,
    face: &Face,
    track: &Track,
    harmonic: u32,
    half_width: &[f64],
    centre: &[f64],
) -> Fold {
    let picture = &strand.strip.rgb;
    let (width, height) = (picture.width(), picture.height());
    let mut sums = vec![[0.0f64; 4]; TURN * ROWS];
    let period = std::f64::consts::TAU * f64::from(harmonic);
    for i in 0..outline.usable.len().min(width) {
        let c = (((i as f64 + 0.5) / face.stations_per_column) as usize).min(face.columns - 1);
        if !outline.usable[i] || !face.usable[c] {
            continue;
        }
        let along = (i as f64 + 0.5) / face.stations_per_column - 0.5 - c as f64;
        let phase = track.phase[c] + along * std::f64::consts::TAU * track.rate[c];
        let column = ((phase / period).rem_euclid(1.0) * TURN as f64) as usize % TURN;
        for r in 0..ROWS {
            let y = centre[i] + half_width[i] * row_offset(r);
            if y < 0.0 || y > (height - 1) as f64 {
                continue;
            }
            let v = picture.samples()[y.round() as usize * width + i];
            let cell = &mut sums[r * TURN + column];
            for k in 0..3 {
                cell[k] += f64::from(v[k].max(0.0).sqrt());
            }
            cell[3] += 1.0;
        }
    }
    let empty = sums.iter().filter(|c| c[3] < 1.0).count();
    let mut channels = vec![Vec::new(); 3];
    let mut total = 0.0;
    for (k, out) in channels.iter_mut().enumerate() {
        for row in sums.chunks_exact(TURN) {
            let filled: Vec<f64> = row.iter().filter(|c| c[3] >= 1.0).map(|c| c[k] / c[3]).collect();
            let mean = crate::base::stats::mean(&filled).unwrap_or(0.0);
            for cell in row {
                let v = if cell[3] >= 1.0 { cell[k] / cell[3] - mean } else { 0.0 };
                total += v * v;
                out.push(v);
            }
        }
    }
    Fold { channels: principal_channels(&channels), total, empty }
}

/// The colours turned to their principal directions; only those that carry at least 2 % of the first one's variance.
fn principal_channels(channels: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let [red, green, blue] = channels else { return channels.to_vec() };
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
    let all = [red, green, blue];
    let eigen = SymmetricEigen::new(Matrix3::from_fn(|i, j| dot(all[i], all[j])));
    let greatest = eigen.eigenvalues.max();
    (0..3)
        .filter(|k| eigen.eigenvalues[*k] > 0.02 * greatest)
        .map(|k| {
            let [x, y, z] = [0, 1, 2].map(|i| eigen.eigenvectors[(i, k)]);
            red.iter().zip(green).zip(blue).map(|((r, g), b)| x * r + y * g + z * b).collect()
        })
        .collect()
}

/// Offset of a fold's row, in half widths.
pub(super) fn row_offset(r: usize) -> f64 {
    (r as f64 / (ROWS - 1) as f64 * 2.0 - 1.0) * REACH
}

/// How well a bundle explains a fold.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fit {
    /// Share of the fold's sum of squares explained.
    pub(super) explained: f64,
    /// Column at which the first ply stands in the middle of the face.
    pub(super) shift: usize,
}

/// Steepest rise from each cell to those within 0.7 of the envelope's radius in one direction, cells `step` apart; 0 where all
/// fall. Columns go round; cells without a depth (NaN) do not count.
fn steepest(depth: &[f64], (down, along): (i64, i64), step: f64) -> Vec<f64> {
    let mut out = vec![0.0f64; depth.len()];
    for n in 1..=(0.7 / step).ceil() as i64 {
        let shift = (n * along).rem_euclid(TURN as i64) as usize;
        let run = n as f64 * step;
        for (r, slopes) in out.chunks_exact_mut(TURN).enumerate() {
            let there = r as i64 + n * down;
            if !(0..ROWS as i64).contains(&there) {
                continue;
            }
            let row = |r: usize| &depth[r * TURN..(r + 1) * TURN];
            let (wrapped, ahead) = row(there as usize).split_at(shift);
            for ((slope, here), there) in slopes.iter_mut().zip(row(r)).zip(ahead.iter().chain(wrapped)) {
                *slope = slope.max((there - here) / run);
            }
        }
    }
    out
}

/// Fits albedo per ply, light from three sides, depth, and what lies beyond either edge, at the best phase.
///
/// The light on a matt round ply is linear in its normal (Lambert); the darkness of grooves grows with depth. `sense` +1: Z.
pub(super) fn fit(fold: &Fold, bundle: &Bundle, sense: f64) -> Fit {
    let plies = bundle.radii.len();
    let count = plies + 10;
    let cells = TURN * ROWS;
    let mut basis = vec![vec![0.0; cells]; count];
    let mut depth = vec![f64::NAN; cells];
    let outer = bundle.envelope_per_half_width();
    for c in 0..TURN {
        let turned = bundle.turned(std::f64::consts::TAU * (c as f64 + 0.5) / TURN as f64, sense);
        for r in 0..ROWS {
            let at = r * TURN + c;
            let y = row_offset(r) / outer;
            match turned.seen(y) {
                Some(s) => {
                    basis[s.ply][at] = 1.0;
                    basis[plies][at] = s.normal_across;
                    basis[plies + 1][at] = s.normal_along;
                    basis[plies + 2][at] = s.depth;
                    depth[at] = s.depth;
                }
                None => basis[plies + if y < 0.0 { 3 } else { 4 }][at] = 1.0,
            }
        }
    }
    let row_step = 2.0 * REACH / (ROWS - 1) as f64 / outer;
    let column_step = std::f64::consts::TAU / bundle.tangent_at_one / TURN as f64;
    for (k, (down, along)) in [(1i64, 0i64), (-1, 0), (0, 1), (0, -1)].into_iter().enumerate() {
        let step = if down != 0 { row_step } else { column_step };
        let steepest = steepest(&depth, (down, along), step);
        for ((out, slope), here) in basis[plies + 5 + k].iter_mut().zip(&steepest).zip(&depth) {
            *out = if here.is_finite() { slope.atan() } else { 0.0 };
        }
    }
    basis[plies + 9] = basis[plies].iter().map(|v| v * v).collect();
    for b in &mut basis {
        for row in b.chunks_exact_mut(TURN) {
            let mean = row.iter().sum::<f64>() / TURN as f64;
            row.iter_mut().for_each(|v| *v -= mean);
        }
    }
    // Row means removed, the basis is one short of full rank (all albedos and outsides together are constant): a
    // little ridge settles it.
    let mut gram = DMatrix::zeros(count, count);
    for i in 0..count {
        for j in 0..=i {
            let product = basis[i].iter().zip(&basis[j]).map(|(a, b)| a * b).sum::<f64>();
            (gram[(i, j)], gram[(j, i)]) = (product, product);
        }
        gram[(i, i)] += 1e-3 * cells as f64 / 100.0;
    }
    let Some(cholesky) = gram.cholesky() else { return Fit { explained: 0.0, shift: 0 } };
    let distinct = if bundle.equal() { TURN / plies } else { TURN };
    let explained = |shift: usize| -> f64 {
        fold.channels
            .iter()
            .map(|channel| {
                let right = DVector::from_fn(count, |i, _| {
                    let rows = basis[i].chunks_exact(TURN).zip(channel.chunks_exact(TURN));
                    rows.map(|(b, f)| {
                        let (head, tail) = b.split_at(TURN - shift);
                        let ahead: f64 = head.iter().zip(&f[shift..]).map(|(x, y)| x * y).sum();
                        let wrapped: f64 = tail.iter().zip(f).map(|(x, y)| x * y).sum();
                        ahead + wrapped
                    })
                    .sum()
                });
                right.dot(&cholesky.solve(&right))
            })
            .sum()
    };
    // The explained share changes slowly with the phase: every third shift, then the neighbours of the best.
    let mut best = Fit { explained: f64::NEG_INFINITY, shift: 0 };
    let mut consider = |shift: usize| {
        let e = explained(shift % distinct);
        if e > best.explained {
            best = Fit { explained: e, shift: shift % distinct };
        }
        best.shift
    };
    let mut at = 0;
    for shift in (0..distinct).step_by(3) {
        at = consider(shift);
    }
    for shift in [at + distinct - 2, at + distinct - 1, at + 1, at + 2] {
        consider(shift);
    }
    best.explained /= fold.total.max(1e-30);
    best
}
