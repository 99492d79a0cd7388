//! Where the core's edge lies in the profile across it that the whole strand shares, to a fraction of a pixel.
//!
//! What is seen across an edge is a mixture: cover times the body's light plus the rest of the ground's. The body changes
//! by itself towards its rim (it is round, and one flank is shaded), the ground changes too (a shadow deepens towards the
//! body and may end near it), and beyond the core's edge hairs cover a part of the ground that thins out with distance.
//! Half of the way between mean levels is then off by a good part of a pixel, always to the same side. Here all of them are in the
//! model. Light is
//!
//! `I(x) = C(x) (b0 + b1 x + b2 limb(x) + b3 x^2) + (1 - C(x)) (g0 + g1 x + g2 x^2 + g3 x^3)`,
//!
//! and `C` is full cover up to the edge and `h exp(-x / l)` beyond it, blurred by the picture's own blur. Colour relative
//! to the own light of body and of ground is all but constant, so the two colour planes are the mixture of the same light,
//! as seen on either side, times a colour: where light shows shading only, colour decides, and shading cancels in it.
//!
//! The edge, the blur, `h` and `l` are tried on a grid; the others follow by linear least squares (variable projection,
//! Golub & Pereyra, SIAM J. Numer. Anal. 10, 1973; cited from memory). Each plane keeps its own noise, so that the one which the
//! model explains best counts most. Mixing is linear in light, therefore so is the fit, with weights that make errors
//! relative to the light.

use nalgebra::{SMatrix, SVector};

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
const BLURS: [f64; 5] = [0.55, 0.8, 1.2, 1.8, 2.5];

/// Covers by hairs just outside of the edge that are tried, and the lengths over which they thin out, rows. A cover of half
/// would be core by definition.
const HAIR_COVERS: [f64; 4] = [0.0, 0.15, 0.3, 0.45];
const HAIR_REACHES: [f64; 3] = [1.5, 3.0, 6.0];

/// Blurs that colour may have beyond light's, rows: JPEG keeps it at half resolution (4:2:0), a box two pixels wide, the
/// decoder's interpolation is another, and the camera's own interpolation of its colour mosaic a third.
const COLOUR_BLURS: [f64; 2] = [1.0, 2.0];

/// Light added to a pixel's own in the weights: below it noise no longer falls with the light.
const OWN_FLOOR: f64 = 0.05;

/// Taps to either side whose light spills into a tap's error: a row and a half, about twice a sharp picture's blur.
const SPILL: usize = 6;

/// Standard deviation of the course's place before the fit, rows, and how far from it places are tried in one round.
const FIRST_GUESS: f64 = 3.0;
const REACH: f64 = 3.0;

/// Residual that no model is trusted to be better than, sum of squared relative errors.
const LEAST_RESIDUAL: f64 = 1e-3;

/// Ridge on each term of light, relative errors a term of that size: cover, ground, slope, limb and bow of the body; slope,
/// bow and turn of the ground. Levels are free; all else is gentle, a steep ramp would be the step itself.
const LIGHT_RIDGE: [f64; 8] = [1e-4, 1e-4, 1.0, 0.1, 0.3, 1.0, 0.3, 0.3];

/// The same for colour: body, its slope, ground, its slope. A fibre's colour does not change across the yarn.
const COLOUR_RIDGE: [f64; 4] = [1e-4, 3.0, 1e-4, 3.0];

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
    if chosen.len() < 3 * LIGHT_RIDGE.len() {
        return None;
    }
    let x: Vec<f64> = chosen.iter().map(|i| profile.x[*i]).collect();
    let own: Vec<f64> = chosen.iter().map(|i| profile.planes[0][*i].max(0.0) + OWN_FLOOR).collect();
    // The blur's true shape is not quite a Gaussian: beside a bright ground a dark tap is uncertain by a part of that light.
    let scale: Vec<f64> = (0..own.len())
        .map(|i| {
            let part = &own[i.saturating_sub(SPILL)..(i + SPILL + 1).min(own.len())];
            part.iter().sum::<f64>() / part.len() as f64
        })
        .collect();
    let values: [Vec<f64>; 3] =
        [0, 1, 2].map(|c: usize| chosen.iter().zip(&scale).map(|(i, o)| profile.planes[c][*i] / o).collect());
    let [light, red, blue] = &values;
    // Neighbouring taps are half a row apart under a blur of about a row.
    let independent = x.len() as f64 / 4.0;
    let window = Window { x: &x, own: &own, scale: &scale, half, radius: diameter / 2.0 };
    let mut tried: Vec<(f64, f64, f64)> = Vec::new();
    let steps = (2.0 * REACH / SPACING).round() as i32;
    for k in 0..=steps {
        let edge = middle - REACH + f64::from(k) * SPACING;
        for blur in BLURS {
            let seen = window.own_light(edge, 1.5 * blur);
            for hairs in hairs() {
                let [shade] = window.light(edge, blur, hairs).residuals([light])?;
                let mut tints = f64::MAX;
                for more in COLOUR_BLURS {
                    let [r, b] = window.colour(edge, blur.hypot(more), hairs, &seen).residuals([red, blue])?;
                    tints = tints.min(r.ln() + b.ln());
                }
                let cost = (edge / FIRST_GUESS).powi(2) / 2.0 + independent * (shade.ln() + tints);
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

/// Cover by hairs beyond the edge.
#[derive(Debug, Clone, Copy)]
struct Hairs {
    /// Just outside of it, 0 to 1.
    cover: f64,
    /// Distance over which it falls to 1 / e, rows.
    reach: f64,
}

fn hairs() -> impl Iterator<Item = Hairs> {
    HAIR_COVERS.into_iter().flat_map(|cover| {
        let reaches = if cover > 0.0 { HAIR_REACHES.len() } else { 1 };
        HAIR_REACHES.into_iter().take(reaches).map(move |reach| Hairs { cover, reach })
    })
}

/// The taps that a fit looks at.
struct Window<'a> {
    /// Outwards, rows.
    x: &'a [f64],
    /// The taps' own light.
    own: &'a [f64],
    /// What an error at a tap is relative to.
    scale: &'a [f64],
    /// Half the window's length, and the body's radius, rows.
    half: f64,
    radius: f64,
}

impl Window<'_> {
    /// Light of the body and of the ground at each tap: what is seen, up to `gap` before the edge and from `gap` beyond it; in
    /// between the last value seen goes on.
    fn own_light(&self, edge: f64, gap: f64) -> Vec<(f64, f64)> {
        let at = |x: f64| {
            let first = self.x.first().copied().unwrap_or(0.0);
            let k = ((x - first) * TAPS_PER_ROW as f64).clamp(0.0, (self.own.len() - 1) as f64);
            let (i, t) = (k.floor() as usize, k.fract());
            self.own[i] + (self.own[(i + 1).min(self.own.len() - 1)] - self.own[i]) * t
        };
        self.x.iter().map(|x| (at(x.min(edge - gap)), at(x.max(edge + gap)))).collect()
    }

    fn light(&self, edge: f64, blur: f64, hairs: Hairs) -> Design<8> {
        let rows = self.x.iter().zip(self.scale).map(|(x, scale)| {
            let u = x - edge;
            let yarn = cover(u, blur, hairs);
            let ground = 1.0 - yarn;
            let (inner, outer) = (u.min(0.0), u.max(0.0));
            // A round body under even light: the cosine of the angle between surface and line of sight.
            let limb = (1.0 - (1.0 + inner / self.radius).powi(2)).clamp(0.0, 1.0).sqrt();
            let terms = [
                yarn,
                ground,
                yarn * inner,
                yarn * limb,
                yarn * inner * inner / self.half,
                ground * outer,
                ground * outer * outer / self.half,
                ground * outer.powi(3) / (self.half * self.half),
            ];
            SVector::from(terms) / *scale
        });
        Design::new(rows.collect(), LIGHT_RIDGE)
    }

    fn colour(&self, edge: f64, blur: f64, hairs: Hairs, seen: &[(f64, f64)]) -> Design<4> {
        let rows = self.x.iter().zip(self.scale).zip(seen).map(|((x, scale), (body, card))| {
            let u = x - edge;
            let yarn = cover(u, blur, hairs);
            let (yarn, ground) = (yarn * body, (1.0 - yarn) * card);
            SVector::from([yarn, yarn * u.min(0.0), ground, ground * u.max(0.0)]) / *scale
        });
        Design::new(rows.collect(), COLOUR_RIDGE)
    }
}

/// A linear model with a ridge: one row a tap.
struct Design<const TERMS: usize> {
    rows: Vec<SVector<f64, TERMS>>,
    normal: SMatrix<f64, TERMS, TERMS>,
}

impl<const TERMS: usize> Design<TERMS> {
    fn new(rows: Vec<SVector<f64, TERMS>>, ridge: [f64; TERMS]) -> Self {
        let mut normal = SMatrix::from_diagonal(&SVector::from(ridge.map(|r| r * r)));
        for row in &rows {
            normal += row * row.transpose();
        }
        Self { rows, normal }
    }

    /// Sums of squares that the model leaves of each of the lists, the ridge's own included; none is trusted below
    /// `LEAST_RESIDUAL`.
    fn residuals<const LISTS: usize>(&self, values: [&Vec<f64>; LISTS]) -> Option<[f64; LISTS]> {
        let factor = self.normal.cholesky()?;
        Some(values.map(|values| {
            let mut right = SVector::<f64, TERMS>::zeros();
            let mut square = 0.0;
            for (row, value) in self.rows.iter().zip(values) {
                right += row * *value;
                square += value * value;
            }
            (square - right.dot(&factor.solve(&right))).max(0.0) + LEAST_RESIDUAL
        }))
    }
}

/// Cover at a distance outside of the edge: full up to it, then hairs, blurred by a Gaussian (the exponential tail gives
/// the exponentially modified Gaussian).
fn cover(u: f64, blur: f64, hairs: Hairs) -> f64 {
    let body = normal_cumulative(-u / blur);
    if hairs.cover <= 0.0 {
        return body;
    }
    let ratio = blur / hairs.reach;
    body + hairs.cover * (0.5 * ratio * ratio - u / hairs.reach).exp() * normal_cumulative(u / blur - ratio)
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
