//! The round face of a strand laid flat: rows at equal steps of the angle phi around the strand, `y = R sin(phi)`, so
//! that helices become straight lines; columns along the strand. Rows beside the strand are sampled the same way.

use nalgebra::{Matrix3, SymmetricEigen};

use super::super::strand::Strand;
use super::smooth::{gaussian, gaussian_rows};

/// What of a piece can be looked at, per station.
#[derive(Debug, Clone)]
pub(super) struct Outline {
    /// Row of the strip on the middle between the edges.
    pub(super) centre_row: Vec<f64>,
    /// Half of the local width, in strip rows.
    pub(super) half_width: Vec<f64>,
    /// Whether the station is to be measured.
    pub(super) usable: Vec<bool>,
    /// Mean width over the usable stations, in strip rows.
    pub(super) mean_width: f64,
}

impl Outline {
    /// Of one piece; `None` where fewer than a handful of its stations can be used.
    pub(super) fn of(strand: &Strand) -> Option<Self> {
        let n = strand.stations.len().min(strand.strip.rgb.width());
        let step = strand.strip.step_px;
        if n < 8 || step.is_nan() || step <= 0.0 {
            return None;
        }
        let usable: Vec<bool> = strand
            .stations
            .iter()
            .take(n)
            .map(|s| s.left_out.is_none() && s.width_px().is_finite() && s.width_px() > 0.0)
            .collect();
        let count = usable.iter().filter(|u| **u).count();
        if count < 8 {
            return None;
        }
        let pick = |f: &dyn Fn(&super::super::strand::Station) -> f64| -> Vec<f64> {
            strand.stations.iter().take(n).zip(&usable).map(|(s, u)| if *u { f(s) / step } else { f64::NAN }).collect()
        };
        let half_width = pick(&|s| s.width_px() / 2.0);
        let middle = pick(&|s| (s.left.offset_px + s.right.offset_px) / 2.0);
        let mean_width = 2.0 * half_width.iter().filter(|v| v.is_finite()).sum::<f64>() / count as f64;
        let centre_row = middle.iter().map(|m| m + strand.strip.middle_row).collect();
        Some(Self { centre_row, half_width, usable, mean_width })
    }

    /// Half width and middle averaged along the strand by a Gaussian of `sigma` stations; gaps take the average of
    /// what lies beside them.
    pub(super) fn smoothed(&self, sigma: f64) -> (Vec<f64>, Vec<f64>) {
        (gaussian(&self.half_width, sigma), gaussian(&self.centre_row, sigma))
    }
}

/// The flattened face.
#[derive(Debug, Clone)]
pub(super) struct Face {
    /// Rows.
    pub(super) rows: usize,
    /// Columns.
    pub(super) columns: usize,
    /// Where each row lies across the strand, local radii from its middle, growing downwards in the strip.
    pub(super) offsets: Vec<f64>,
    /// Stations per column.
    pub(super) stations_per_column: f64,
    /// Radius at each column, in strip rows.
    pub(super) radius: Vec<f64>,
    /// Whether the column is to be measured.
    pub(super) usable: Vec<bool>,
    /// Pictures, row by row, zero mean along each row: the colour directions of greatest variance first.
    pub(super) planes: Vec<Vec<f32>>,
}

/// How a face is sampled.
#[derive(Debug, Clone)]
pub(super) struct Sampling {
    /// Where each row lies across the strand, local radii from its middle.
    pub(super) offsets: Vec<f64>,
    /// Stations per column.
    pub(super) stations_per_column: f64,
    /// Structure longer than about this many stations along the strand is removed from each row (sigma).
    pub(super) high_pass: f64,
    /// Planes wanted.
    pub(super) planes: usize,
}

/// Rows at equal steps of the angle around the strand, radians, to `limit_phi` either way.
pub(super) fn around(step_phi: f64, limit_phi: f64) -> Vec<f64> {
    let side = (limit_phi / step_phi).floor() as i64;
    (-side..=side).map(|r| (r as f64 * step_phi).sin()).collect()
}

impl Face {
    /// Samples the strip. Colours enter as the square root of linear light, close to what the eye weighs alike in
    /// dark and light yarn.
    pub(super) fn sample(
        strand: &Strand,
        outline: &Outline,
        radius: &[f64],
        centre: &[f64],
        s: Sampling,
    ) -> Option<Self> {
        let stations = outline.usable.len();
        let columns = (stations as f64 / s.stations_per_column).floor() as usize;
        let rows = s.offsets.len();
        let picture = &strand.strip.rgb;
        if columns < 8 || rows < 3 || radius.len() != stations || centre.len() != stations || picture.height() < 3 {
            return None;
        }
        let (width, height) = (picture.width(), picture.height());
        let mut colours = vec![vec![0.0f32; rows * columns]; 3];
        let mut column_radius = vec![0.0; columns];
        let mut usable = vec![false; columns];
        let taps = s.stations_per_column.round().max(1.0) as usize;
        let of_column = |c: usize| {
            let first = (c as f64 * s.stations_per_column).round() as usize;
            first..(first + taps).min(stations)
        };
        for c in 0..columns {
            let got = of_column(c).len();
            if got > 0 {
                column_radius[c] = radius[of_column(c)].iter().sum::<f64>() / got as f64;
                usable[c] = 2 * outline.usable[of_column(c)].iter().filter(|u| **u).count() > got;
            }
        }
        // Row by row, as the strip lies in memory.
        for (r, offset) in s.offsets.iter().enumerate() {
            for c in 0..columns {
                let mut sum = [0.0f32; 3];
                for i in of_column(c) {
                    let y = (centre[i] + radius[i] * offset).clamp(0.0, (height - 1) as f64);
                    // Not negative: cutting off is rounding down.
                    let y0 = (y as usize).min(height - 2);
                    let t = (y - y0 as f64) as f32;
                    let (a, b) = (picture.samples()[y0 * width + i], picture.samples()[(y0 + 1) * width + i]);
                    for k in 0..3 {
                        sum[k] += (a[k] + (b[k] - a[k]) * t).max(0.0).sqrt();
                    }
                }
                let got = of_column(c).len().max(1) as f32;
                for (plane, sum) in colours.iter_mut().zip(sum) {
                    plane[r * columns + c] = sum / got;
                }
            }
        }
        let sigma = s.high_pass / s.stations_per_column;
        for plane in &mut colours {
            let slow = gaussian_rows(plane, columns, &usable, sigma);
            for (v, s) in plane.iter_mut().zip(&slow) {
                *v -= s;
            }
            for row in plane.chunks_exact_mut(columns) {
                for (v, u) in row.iter_mut().zip(&usable) {
                    if !u {
                        *v = 0.0;
                    }
                }
            }
        }
        let planes = principal_planes(&colours, s.planes);
        Some(Self {
            rows,
            columns,
            offsets: s.offsets,
            stations_per_column: s.stations_per_column,
            radius: column_radius,
            usable,
            planes,
        })
    }

    /// Angle of a row around the strand, radians.
    pub(super) fn phi(&self, row: usize) -> f64 {
        self.offsets.get(row).map_or(0.0, |o| o.clamp(-1.0, 1.0).asin())
    }
}

/// The three colours turned to their principal directions, so that a pattern of one colour difference stands in one
/// plane; only planes that carry at least a tenth of the first one's variance (JPEG's chroma noise lies below that).
fn principal_planes(colours: &[Vec<f32>], wanted: usize) -> Vec<Vec<f32>> {
    let [red, green, blue] = colours else { return Vec::new() };
    let mut m = Matrix3::<f64>::zeros();
    for ((r, g), b) in red.iter().zip(green).zip(blue) {
        let v = nalgebra::Vector3::new(f64::from(*r), f64::from(*g), f64::from(*b));
        m += v * v.transpose();
    }
    let eigen = SymmetricEigen::new(m);
    let mut order = [0, 1, 2];
    order.sort_by(|a, b| eigen.eigenvalues[*b].total_cmp(&eigen.eigenvalues[*a]));
    let first = eigen.eigenvalues[order[0]];
    let mut planes = Vec::new();
    for k in order.into_iter().take(wanted.max(1)) {
        if !planes.is_empty() && eigen.eigenvalues[k] < 0.1 * first {
            break;
        }
        let axis = eigen.eigenvectors.column(k);
        // The sign of an eigenvector is arbitrary: let brighter be positive.
        let sign = if axis.sum() < 0.0 { -1.0 } else { 1.0 };
        let [x, y, z] = [0, 1, 2].map(|i| (axis[i] * sign) as f32);
        planes.push(red.iter().zip(green).zip(blue).map(|((r, g), b)| x * r + y * g + z * b).collect());
    }
    planes
}
