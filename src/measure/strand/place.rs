//! Where the core's edge lies in the profile across it that the whole strand shares, to a fraction of a pixel.
//!
//! What is seen across an edge is a mixture: cover times the body's light plus the rest of the ground's. The body changes
//! by itself towards its rim (it is round, and one flank is shaded), the ground changes too (a shadow deepens towards the
//! body), and beyond the core's edge hairs cover a part of the ground that thins out with distance. Half of the way between mean
//! levels is then off by a good part of a pixel, always to the same side. Here all of them are in the model:
//!
//! `I(x) = C(x) (b0 + b1 x + b2 limb(x)) + (1 - C(x)) (g0 + g1 x)`, and `C` is full cover up to the edge and
//! `h exp(-x / l)` beyond it, blurred by the picture's own blur. The edge, the blur, `h` and `l` are tried on a grid; the
//! others follow by linear least squares (variable projection, Golub & Pereyra, SIAM J. Numer. Anal. 10, 1973). Each of
//! the three planes keeps its own noise, so that the one which the model explains best counts most. Mixing is linear in
//! light, therefore so is the fit, with weights that make errors relative to the light.

use nalgebra::{Cholesky, SMatrix, SVector};

use super::band::Band;
use super::edges::{Side, between_rows};

/// The edge of one side, for the whole strand.
#[derive(Debug, Clone, Copy)]
pub(super) struct Placed {
    /// Outwards from the course, rows.
    pub(super) offset: f64,
    /// Standard uncertainty, rows.
    pub(super) u: f64,
    /// Blur as the standard deviation of a Gaussian, rows.
    pub(super) blur: f64,
}

/// Taps a row: half a row apart keeps a blur of less than a row.
const TAPS_PER_ROW: usize = 2;

/// Blurs tried, standard deviations, rows: from a sharp phone picture to one just out of focus.
const BLURS: [f64; 4] = [0.8, 1.2, 1.8, 2.5];

/// Covers by hairs just outside of the edge that are tried, and the lengths over which they thin out, rows. A cover of half
/// would be core by definition.
const HAIR_COVERS: [f64; 4] = [0.0, 0.15, 0.3, 0.45];
const HAIR_REACHES: [f64; 3] = [1.5, 3.0, 6.0];

/// Blur that colour has beyond light, rows: JPEG keeps it at half resolution (4:2:0), a box two pixels wide, and the
/// decoder's interpolation another.
const COLOUR_BLUR: f64 = 1.0;

/// Light added to a pixel's own in the weights: below it noise no longer falls with the light.
const OWN_FLOOR: f64 = 0.05;

/// Standard deviation of the course's place before the fit, rows, and how far from it places are tried in one round.
const FIRST_GUESS: f64 = 3.0;
const REACH: f64 = 3.0;

/// Residual that no model is trusted to be better than, sum of squared relative errors.
const LEAST_RESIDUAL: f64 = 1e-3;

/// Linear coefficients of the model in each plane.
const TERMS: usize = 5;

/// Ridge of each term, relative errors: ramps are gentle, and the limb is a part of the light at most.
const RIDGE: [f64; TERMS] = [1e-4, 1.0, 1e-4, 1.0, 0.1];

/// Columns that make up the profile; more do not make it steadier.
const MOST_COLUMNS: usize = 600;

/// Places the edge along the course `rows`; `None` where no place within reach explains the profile. `diameter` in rows.
pub(super) fn place(band: &Band, side: Side, rows: &[f64], diameter: f64) -> Option<Placed> {
    let half = (0.3 * diameter).clamp(5.0, 12.0);
    let profile = Profile::of(band, side, rows, half + 2.0 * REACH);
    let mut middle = 0.0;
    let mut found = None;
    for _ in 0..3 {
        let fit = fit(&profile, middle, half, diameter)?;
        found = Some(fit);
        if (fit.offset - middle).abs() < 0.3 {
            break;
        }
        middle = fit.offset.clamp(-2.0 * REACH, 2.0 * REACH);
    }
    found
}

/// Medians over the columns at each tap across the edge, from inside to outside.
struct Profile {
    /// Outwards from the course, rows.
    x: Vec<f64>,
    planes: [Vec<f64>; 3],
}

impl Profile {
    fn of(band: &Band, side: Side, rows: &[f64], reach: f64) -> Self {
        let outward = side.outward();
        let half = (reach * TAPS_PER_ROW as f64).round() as i32;
        let x: Vec<f64> = (-half..=half).map(|k| f64::from(k) / TAPS_PER_ROW as f64).collect();
        let stride = (rows.len() / MOST_COLUMNS).max(1);
        let mut values: Vec<f32> = Vec::with_capacity(rows.len() / stride + 1);
        let planes = [0, 1, 2].map(|c: usize| {
            x.iter()
                .map(|x| {
                    values.clear();
                    values.extend(
                        rows.iter()
                            .enumerate()
                            .step_by(stride)
                            .map(|(column, row)| between_rows(&band.planes[c], column, row + outward * x)),
                    );
                    let n = values.len();
                    if n == 0 { 0.0 } else { f64::from(*values.select_nth_unstable_by(n / 2, f32::total_cmp).1) }
                })
                .collect()
        });
        Self { x, planes }
    }
}

/// One round of the fit about `middle`.
fn fit(profile: &Profile, middle: f64, half: f64, diameter: f64) -> Option<Placed> {
    let chosen: Vec<usize> = (0..profile.x.len()).filter(|i| (profile.x[*i] - middle).abs() <= half + 1e-9).collect();
    if chosen.len() < 4 * TERMS {
        return None;
    }
    let x: Vec<f64> = chosen.iter().map(|i| profile.x[*i]).collect();
    let weight: Vec<f64> = chosen.iter().map(|i| 1.0 / (profile.planes[0][*i].max(0.0) + OWN_FLOOR)).collect();
    let values: [Vec<f64>; 3] =
        [0, 1, 2].map(|c: usize| chosen.iter().zip(&weight).map(|(i, w)| profile.planes[c][*i] * w).collect());
    // Neighbouring taps are half a row apart under a blur of about a row.
    let independent = x.len() as f64 / 4.0;
    let mut tried: Vec<(f64, f64, f64)> = Vec::new();
    let steps = (2.0 * REACH / SPACING).round() as i32;
    for k in 0..=steps {
        let edge = middle - REACH + f64::from(k) * SPACING;
        for blur in BLURS {
            for (cover, reach) in hairs() {
                let mut cost = (edge / FIRST_GUESS).powi(2) / 2.0;
                for (blur, planes) in [(blur, &values[..1]), (blur.hypot(COLOUR_BLUR), &values[1..])] {
                    let design = Design::new(&x, &weight, edge, blur, cover, reach, half, diameter)?;
                    for plane in planes {
                        cost += independent * (design.residual(plane) + LEAST_RESIDUAL).ln();
                    }
                }
                tried.push((cost, edge, blur));
            }
        }
    }
    let best = tried.iter().copied().min_by(|a, b| a.0.total_cmp(&b.0))?;
    let (mut sum, mut first, mut second, mut blur) = (0.0, 0.0, 0.0, 0.0);
    for (cost, edge, sigma) in &tried {
        let p = (best.0 - cost).exp();
        sum += p;
        first += p * edge;
        second += p * edge * edge;
        blur += p * sigma;
    }
    let offset = first / sum;
    let variance = (second / sum - offset * offset).max(0.0) + SPACING * SPACING / 12.0;
    Some(Placed { offset, u: variance.sqrt(), blur: blur / sum })
}

/// Spacing of the places tried, rows.
const SPACING: f64 = 0.25;

fn hairs() -> impl Iterator<Item = (f64, f64)> {
    HAIR_COVERS.into_iter().flat_map(|cover| {
        let reaches = if cover > 0.0 { HAIR_REACHES.len() } else { 1 };
        HAIR_REACHES.into_iter().take(reaches).map(move |reach| (cover, reach))
    })
}

/// The model's columns at one edge, blur and hair cover, with the normal equations solved as far as the data are not needed.
struct Design {
    rows: Vec<SVector<f64, TERMS>>,
    factor: Cholesky<f64, nalgebra::Const<TERMS>>,
}

impl Design {
    #[allow(clippy::too_many_arguments, reason = "the model's parameters, each once")]
    fn new(
        x: &[f64],
        weight: &[f64],
        edge: f64,
        blur: f64,
        hair_cover: f64,
        hair_reach: f64,
        half: f64,
        diameter: f64,
    ) -> Option<Self> {
        let mut normal = SMatrix::<f64, TERMS, TERMS>::from_diagonal(&SVector::from(RIDGE.map(|r| r * r)));
        let mut rows = Vec::with_capacity(x.len());
        for (x, w) in x.iter().zip(weight) {
            let u = x - edge;
            let cover = cover(u, blur, hair_cover, hair_reach);
            let (inner, outer) = (u.min(0.0), u.max(0.0));
            // A round body under even light: the cosine of the angle between surface and line of sight.
            let limb = (1.0 - (1.0 + inner / (diameter / 2.0)).powi(2)).clamp(0.0, 1.0).sqrt();
            let row =
                SVector::<f64, TERMS>::from([cover, cover * inner, 1.0 - cover, (1.0 - cover) * outer, cover * limb])
                    * *w;
            normal += row * row.transpose();
            rows.push(row);
        }
        debug_assert!(half > 0.0);
        Some(Self { rows, factor: normal.cholesky()? })
    }

    /// Sum of squares that the model leaves, the ridge's own included.
    fn residual(&self, values: &[f64]) -> f64 {
        let mut right = SVector::<f64, TERMS>::zeros();
        let mut square = 0.0;
        for (row, value) in self.rows.iter().zip(values) {
            right += row * *value;
            square += value * value;
        }
        (square - right.dot(&self.factor.solve(&right))).max(0.0)
    }
}

/// Cover at a distance outside of the edge: full up to it, then hairs, blurred by a Gaussian (the exponential tail gives
/// the exponentially modified Gaussian).
fn cover(u: f64, blur: f64, hair_cover: f64, hair_reach: f64) -> f64 {
    let body = normal_cumulative(-u / blur);
    if hair_cover <= 0.0 {
        return body;
    }
    let ratio = blur / hair_reach;
    body + hair_cover * (0.5 * ratio * ratio - u / hair_reach).exp() * normal_cumulative(u / blur - ratio)
}
/// Cumulative normal distribution by Abramowitz & Stegun 7.1.26 (error below 1.5e-7; from memory).
fn normal_cumulative(x: f64) -> f64 {
    let z = x.abs() / std::f64::consts::SQRT_2;
    let t = 1.0 / (1.0 + 0.327_591_1 * z);
    let poly =
        t * (0.254_829_592 + t * (-0.284_496_736 + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    let erf = 1.0 - poly * (-z * z).exp();
    if x >= 0.0 { 0.5 * (1.0 + erf) } else { 0.5 * (1.0 - erf) }
}
