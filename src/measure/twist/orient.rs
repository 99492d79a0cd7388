//! Which way the fine lines run: the power spectrum of windows along the flattened face, summed along directions.
//!
//! Lines at an angle `a` to the strand have all their power across them, on a line through the origin of the
//! spectrum. Unlike gradients, the sum along directions knows no bias from derivative kernels, and noise that is alike in
//! all directions raises it evenly. Source: Bigun & Granlund 1987 (spectral view of local orientation), from memory.

use std::f64::consts::TAU;

use rustfft::{FftPlanner, num_complex::Complex};

use super::face::Face;

/// Directions looked at: one degree apart, over half a turn.
pub(super) const DIRECTIONS: usize = 180;

/// The fine lines in one window.
#[derive(Debug, Clone)]
pub(super) struct Window {
    /// Middle column of the face.
    pub(super) column: f64,
    /// Signed slope d(row)/d(column) of the lines on the face; positive runs down to the right (Z).
    pub(super) slope_angle: f64,
    /// Power along each direction -90..90 degrees of the lines, isotropic part removed.
    pub(super) power: Vec<f64>,
    /// Share of the power that has a direction, 0 to 1.
    pub(super) anisotropy: f64,
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

/// Looks at windows `length` columns long, half overlapping.
pub(super) fn windows(face: &Face, length: usize, ring: Ring) -> Vec<Window> {
    let (rows, columns) = (face.rows, face.columns);
    let length = length.min(columns).max(8);
    let nx = (length + length / 4).next_power_of_two();
    let ny = (rows + rows / 2).next_power_of_two();
    let mut planner = FftPlanner::<f32>::new();
    let (along, across) = (planner.plan_fft_forward(nx), planner.plan_fft_forward(ny));
    let taper_x = hann(length);
    let taper_y = hann(rows);
    let mut out = Vec::new();
    let hop = (length / 2).max(1);
    let mut start = 0;
    while start + length <= columns {
        let usable = face.usable[start..start + length].iter().filter(|u| **u).count();
        if usable * 10 >= length * 8 {
            let mut power = vec![0.0f32; nx * ny];
            for plane in &face.planes {
                // Two real rows would fit one complex transform; clarity first.
                let mut grid = vec![Complex::new(0.0f32, 0.0); nx * ny];
                for r in 0..rows {
                    let source = &plane[r * columns + start..r * columns + start + length];
                    let row = &mut grid[r * nx..r * nx + length];
                    for ((g, v), t) in row.iter_mut().zip(source).zip(&taper_x) {
                        g.re = v * t * taper_y[r];
                    }
                    along.process(&mut grid[r * nx..(r + 1) * nx]);
                }
                let mut column = vec![Complex::new(0.0f32, 0.0); ny];
                for x in 0..nx {
                    for (y, v) in column.iter_mut().enumerate() {
                        *v = grid[y * nx + x];
                    }
                    across.process(&mut column);
                    for (y, v) in column.iter().enumerate() {
                        power[y * nx + x] += v.norm_sqr();
                    }
                }
            }
            let (directed, anisotropy) = along_directions(&power, nx, ny, rows, ring);
            let radius = face.radius[start..start + length].iter().sum::<f64>() / length as f64;
            out.push(Window {
                column: start as f64 + (length as f64 - 1.0) / 2.0,
                slope_angle: peak(&directed),
                power: directed,
                anisotropy,
                radius,
            });
        }
        start += hop;
    }
    out
}

fn hann(n: usize) -> Vec<f32> {
    (0..n).map(|i| (0.5 - 0.5 * (TAU * (i as f64 + 0.5) / n as f64).cos()) as f32).collect()
}

fn signed(i: usize, n: usize) -> f64 {
    if 2 * i > n { (i as f64 - n as f64) / n as f64 } else { i as f64 / n as f64 }
}

/// Power along each line direction, -90..89 degrees, by shear search in the spectrum.
///
/// A row taper of `rows` samples widens each point of the spectrum by the taper's own lobe across, never along: power
/// at (kx, ky) is gathered with that lobe around the line `ky = -kx / tan(direction)`, so that the widening biases
/// nothing.
fn along_directions(power: &[f32], nx: usize, ny: usize, rows: usize, ring: Ring) -> (Vec<f64>, f64) {
    // Full width at half maximum of a Hann taper's power lobe: 1.44 / n. Source: Harris 1978, table 1 (from memory).
    let lobe = 1.44 / rows as f64 / 2.355 * ny as f64;
    let mut out = vec![0.0; DIRECTIONS];
    let (mut total, mut best) = (0.0, 0.0f64);
    let _ = best;
    let tangents: Vec<f64> = (0..DIRECTIONS).map(|d| ((d as f64 - 90.0).to_radians()).tan()).collect();
    for x in 1..nx / 2 {
        let kx = x as f64 / nx as f64;
        let column: Vec<f64> = (0..ny).map(|y| f64::from(power[y * nx + x])).collect();
        let inside: Vec<f64> = (0..ny)
            .map(|y| {
                let k = kx.hypot(signed(y, ny));
                if k >= ring.low && k <= ring.high { 1.0 } else { 0.0 }
            })
            .collect();
        let listed: Vec<f64> = column.iter().zip(&inside).filter(|(_, i)| **i > 0.0).map(|(p, _)| *p).collect();
        if listed.len() < 4 {
            continue;
        }
        let floor = crate::base::stats::quantile(&listed, 0.25).unwrap_or(0.0) / (4.0f64 / 3.0).ln();
        total += listed.iter().sum::<f64>();
        for (sum, tangent) in out.iter_mut().zip(&tangents) {
            if tangent.abs() < 1e-6 {
                continue;
            }
            let ky = -kx / tangent;
            if kx.hypot(ky) > ring.high || kx.hypot(ky) < ring.low {
                continue;
            }
            let at = ky * ny as f64;
            let reach = (2.5 * lobe).ceil() as i64;
            let middle = at.round() as i64;
            let mut s = 0.0;
            for y in middle - reach..=middle + reach {
                let t = (y as f64 - at) / lobe;
                s += (column[y.rem_euclid(ny as i64) as usize] - floor) * (-0.5 * t * t).exp();
            }
            *sum += s;
        }
    }
    best = out.iter().copied().fold(0.0, f64::max);
    (out, if total > 0.0 { best / total } else { 0.0 })
}

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
