//! Which way the fine lines run: the power spectrum of windows along the flattened face, summed along directions.
//!
//! Lines at an angle `a` to the strand have all their power across them, on a line through the origin of the
//! spectrum. Unlike gradients, the sum along directions knows no bias from derivative kernels, and noise that is alike in
//! all directions raises it evenly. Source: Bigun & Granlund 1987 (spectral view of local orientation), from memory.

use std::f64::consts::TAU;

use rustfft::{FftPlanner, num_complex::Complex};

use super::face::Face;
use super::falling::Ridge;

/// Directions looked at: one degree apart, over half a turn.
pub(super) const DIRECTIONS: usize = 180;

/// The fine lines in one window.
#[derive(Debug, Clone)]
pub(super) struct Window {
    /// Middle column of the face.
    pub(super) column: f64,
    /// Signed slope d(row)/d(column) of the lines on the face; positive runs down to the right (Z).
    pub(super) slope_angle: f64,
    /// The same for the fine lines, freed of what falling power does to a fan of them.
    pub(super) freed: f64,
    /// Mean radius over the window.
    pub(super) radius: f64,
}

/// Which part of the spectrum is summed, cycles per row.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ring {
    /// Lowest.
    pub(super) low: f64,
    /// Highest.
    pub(super) high: f64,
}

/// Windows along a face, seen in two parts of the spectrum.
#[derive(Debug, Clone, Default)]
pub(super) struct Lines {
    /// The fine lines.
    pub(super) fine: Vec<Window>,
    /// The coarse lines, same windows.
    pub(super) coarse: Vec<Window>,
}

/// Looks at windows `length` columns long, half overlapping.
pub(super) fn windows(face: &Face, length: usize, fine: Ring, coarse: Ring) -> Lines {
    let (rows, columns) = (face.rows, face.columns);
    let length = length.min(columns).max(8);
    let nx = (length + length / 8).next_power_of_two();
    let ny = (rows + rows / 4).next_power_of_two();
    let mut planner = FftPlanner::<f32>::new();
    let (along, across) = (planner.plan_fft_forward(nx), planner.plan_fft_forward(ny));
    let (taper_x, taper_y) = (hann(length), hann(rows));
    let gathers = [Gather::new(nx, ny, rows, fine), Gather::new(nx, ny, rows, coarse)];
    let half = nx / 2;
    let mut out = Lines::default();
    let hop = (length / 2).max(1);
    let mut ridge = Ridge::new(half, rows);
    let mut grid = vec![Complex::new(0.0f32, 0.0); nx * ny];
    let mut turned = vec![Complex::new(0.0f32, 0.0); half * ny];
    let mut start = 0;
    while start + length <= columns {
        let usable = face.usable[start..start + length].iter().filter(|u| **u).count();
        if usable * 10 >= length * 8 {
            // [kx][ky], so that one column of constant kx lies together.
            let mut power = vec![0.0f32; half * ny];
            for plane in &face.planes {
                grid.iter_mut().for_each(|g| *g = Complex::new(0.0, 0.0));
                for r in 0..rows {
                    let source = &plane[r * columns + start..r * columns + start + length];
                    let row = &mut grid[r * nx..r * nx + length];
                    for ((g, v), t) in row.iter_mut().zip(source).zip(&taper_x) {
                        g.re = v * t * taper_y[r];
                    }
                }
                along.process(&mut grid[..rows * nx]);
                for x in 0..half {
                    for y in 0..ny {
                        turned[x * ny + y] = if y < rows { grid[y * nx + x] } else { Complex::new(0.0, 0.0) };
                    }
                }
                across.process(&mut turned);
                for (p, v) in power.iter_mut().zip(&turned) {
                    *p += v.norm_sqr();
                }
            }
            // A tenth of a step of 8-bit code values, in the square root of light: below it there is no picture.
            let energy: f32 = power.iter().sum();
            if energy <= (length * rows * nx * ny) as f32 * 1e-8 * 0.1 {
                start += hop;
                continue;
            }
            let radius = face.radius[start..start + length].iter().sum::<f64>() / length as f64;
            let column = start as f64 + (length as f64 - 1.0) / 2.0;
            let seen = gathers.each_ref().map(|gather| gather.along_directions(&power));
            ridge.add(&seen[0]);
            for (seen, list) in seen.iter().zip([&mut out.fine, &mut out.coarse]) {
                let slope_angle = peak(&seen.directions);
                list.push(Window { column, slope_angle, freed: slope_angle, radius });
            }
        }
        start += hop;
    }
    for window in &mut out.fine {
        window.freed = ridge.freed(window.slope_angle);
    }
    out
}

pub(super) fn hann(n: usize) -> Vec<f32> {
    (0..n).map(|i| (0.5 - 0.5 * (TAU * (i as f64 + 0.5) / n as f64).cos()) as f32).collect()
}

/// Deviation of the power lobe of a Hann taper over `rows`, cycles per row: its full width at half maximum is 1.44 / n.
/// Source: Harris 1978, table 1 (from memory).
pub(super) fn taper_deviation(rows: usize) -> f64 {
    1.44 / rows as f64 / 2.355
}

fn signed(i: usize, n: usize) -> f64 {
    if 2 * i > n { (i as f64 - n as f64) / n as f64 } else { i as f64 / n as f64 }
}

/// Shear search in the spectrum, prepared for one size of window.
///
/// A row taper of `rows` samples widens each point of the spectrum by the taper's own lobe across, never along: power
/// at (kx, ky) is gathered with that lobe around the line `ky = -kx / tan(direction)`, so that the widening biases
/// nothing.
pub(super) struct Gather {
    ny: usize,
    /// Per kx: the rows of the spectrum inside the ring.
    inside: Vec<Vec<usize>>,
    lobes: Vec<Lobe>,
    ring: Ring,
    nx: usize,
}

/// The taper's lobe around the point at which a direction crosses one column of the spectrum.
struct Lobe {
    kx: usize,
    direction: usize,
    /// First row; the rows after the last are those from 0 on.
    first: usize,
    weights: Vec<f32>,
    /// Whether its middle lies in the ring.
    inside: bool,
}

impl Gather {
    pub(super) fn new(nx: usize, ny: usize, rows: usize, ring: Ring) -> Self {
        let lobe = taper_deviation(rows) * ny as f64;
        let reach = (2.5 * lobe).ceil() as i64;
        let holds = |kx: f64, ky: f64| (ring.low..=ring.high).contains(&kx.hypot(ky));
        let mut inside = vec![Vec::new(); nx / 2];
        let mut lobes = Vec::new();
        for (x, list) in inside.iter_mut().enumerate().skip(1) {
            let kx = x as f64 / nx as f64;
            *list = (0..ny).filter(|y| holds(kx, signed(*y, ny))).collect();
            if list.len() < 4 {
                list.clear();
                continue;
            }
            for d in 0..DIRECTIONS {
                let ky = -kx / (d as f64 - 90.0).to_radians().tan();
                // Beyond the sampling limit lines fold back.
                if ky.abs() > 0.5 {
                    continue;
                }
                let at = ky * ny as f64;
                let first = at.round() as i64 - reach;
                let weights =
                    (0..=2 * reach).map(|k| (-0.5 * (((first + k) as f64 - at) / lobe).powi(2)).exp() as f32).collect();
                let first = first.rem_euclid(ny as i64) as usize;
                lobes.push(Lobe { kx: x, direction: d, first, weights, inside: holds(kx, ky) });
            }
        }
        Self { ny, inside, lobes, ring, nx }
    }

    /// Looks along every direction.
    pub(super) fn along_directions(&self, power: &[f32]) -> Directions {
        let ny = self.ny;
        let mut floor = vec![0.0f32; self.inside.len()];
        let mut total = 0.0;
        let mut list = Vec::new();
        for (x, rows) in self.inside.iter().enumerate() {
            if rows.is_empty() {
                continue;
            }
            list.clear();
            list.extend(rows.iter().map(|y| power[x * ny + y]));
            total += list.iter().map(|p| f64::from(*p)).sum::<f64>();
            let quarter = list.len() / 4;
            let (_, q, _) = list.select_nth_unstable_by(quarter, f32::total_cmp);
            // Noise is exponential in power: its mean is its lower quartile over ln(4/3); where lines fill less than
            // three quarters of the column the quartile is noise alone.
            floor[x] = *q / (4.0f32 / 3.0).ln();
        }
        let mut out = vec![0.0; DIRECTIONS];
        let gathered = |lobe: &Lobe| -> f64 {
            let column = &power[lobe.kx * ny..(lobe.kx + 1) * ny];
            let from = column.get(lobe.first..).unwrap_or(&[]);
            let (weights, wrapped) = lobe.weights.split_at(from.len().min(lobe.weights.len()));
            let add = |sum: f32, (w, p): (&f32, &f32)| sum + (p - floor[lobe.kx]) * w;
            let sum = weights.iter().zip(from).fold(0.0, add);
            f64::from(wrapped.iter().zip(column.iter().cycle()).fold(sum, add))
        };
        for lobe in self.lobes.iter().filter(|l| l.inside) {
            out[lobe.direction] += gathered(lobe);
        }
        let best = out.iter().copied().fold(0.0, f64::max);
        let share = if total > 0.0 { best / total } else { 0.0 };
        // The ring lets each direction see other columns, and power falls steeply with frequency: that pulls the maximum
        // towards the axis. Near the maximum the same columns are used for all directions.
        let middle = peak(&out);
        let sine = middle.sin().abs();
        let columns = self.ring.low * sine * self.nx as f64..=self.ring.high * sine * self.nx as f64;
        let centre = (middle.to_degrees() + 90.0).round() as i64;
        let near = |d: usize| (d as i64 - centre).abs() <= NEAR;
        let mut fixed = vec![0.0; DIRECTIONS];
        let mut ridge = vec![0.0; self.nx / 2];
        for lobe in self.lobes.iter().filter(|l| near(l.direction) && columns.contains(&(l.kx as f64))) {
            let power = gathered(lobe);
            fixed[lobe.direction] += power;
            if lobe.direction as i64 == centre {
                ridge[lobe.kx] = power;
            }
        }
        let around = (-NEAR..=NEAR).map(|d| fixed.get((centre + d) as usize).copied().unwrap_or(0.0)).collect();
        let top = fixed.iter().copied().fold(0.0, f64::max);
        if top > 0.0 {
            for (d, (o, f)) in out.iter_mut().zip(&fixed).enumerate() {
                *o = if near(d) { f / top * best } else { o.min(best * 0.999) };
            }
        }
        Directions { directions: out, share, middle, around, ridge }
    }
}

/// Power along directions.
pub(super) struct Directions {
    /// Along each line direction, -90..89 degrees.
    pub(super) directions: Vec<f64>,
    /// Share of all power that the best of them holds.
    pub(super) share: f64,
    /// The best, radians.
    pub(super) middle: f64,
    /// Within [`NEAR`] degrees of it, from the same columns of the spectrum for all.
    pub(super) around: Vec<f64>,
    /// Along it, per column of the spectrum.
    pub(super) ridge: Vec<f64>,
}

/// How many degrees around the maximum are looked at again.
pub(super) const NEAR: i64 = 15;

/// Direction of greatest power, radians: a parabola through what lies within a few degrees of the maximum.
pub(super) fn peak(power: &[f64]) -> f64 {
    let n = power.len();
    let Some((at, _)) = power.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)) else { return 0.0 };
    let (mut s0, mut s2, mut s4, mut t0, mut t1, mut t2) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    let reach = 3i64;
    for d in -reach..=reach {
        let p = power[(at as i64 + d).rem_euclid(n as i64) as usize];
        let x = d as f64;
        s0 += 1.0;
        s2 += x * x;
        s4 += x.powi(4);
        t0 += p;
        t1 += p * x;
        t2 += p * x * x;
    }
    let slope = t1 / s2;
    let curve = (s0 * t2 - s2 * t0) / (s0 * s4 - s2 * s2);
    let shift = if curve < 0.0 { (-slope / (2.0 * curve)).clamp(-3.0, 3.0) } else { 0.0 };
    (at as f64 - 90.0 + shift).to_radians()
}
