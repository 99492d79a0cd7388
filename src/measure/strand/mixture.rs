//! What is seen across an edge: a mixture of yarn and ground.
//!
//! What is seen is cover times the body's light plus the rest of the ground's. The body changes
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
//! Mixing is linear in light, therefore so is the fit, with weights that make errors relative to the light.

use nalgebra::{SMatrix, SVector};

/// Taps a row: half a row apart keeps a blur of less than a row.
pub(super) const TAPS_PER_ROW: usize = 2;

/// Covers by hairs just outside of the edge that are tried, and the lengths over which they thin out, rows. A cover of half
/// would be core by definition.
const HAIR_COVERS: [f64; 4] = [0.0, 0.15, 0.3, 0.45];
const HAIR_REACHES: [f64; 3] = [1.5, 3.0, 6.0];

/// Blurs that colour may have beyond light's, rows: JPEG keeps it at half resolution (4:2:0), a box two pixels wide, the
/// decoder's interpolation is another, and the camera's own interpolation of its colour mosaic a third.
pub(super) const COLOUR_BLURS: [f64; 2] = [1.0, 2.0];

/// Residual that no model is trusted to be better than, sum of squared relative errors.
const LEAST_RESIDUAL: f64 = 1e-3;

/// Ridge on each term of light, relative errors a term of that size: cover, ground, slope, limb and bow of the body; slope,
/// bow and turn of the ground. Levels are free; all else is gentle, a steep ramp would be the step itself.
pub(super) const LIGHT_RIDGE: [f64; 8] = [1e-4, 1e-4, 1.0, 0.1, 0.3, 1.0, 0.3, 0.3];

/// The same for colour: body, its slope, ground, its slope. A fibre's colour does not change across the yarn.
const COLOUR_RIDGE: [f64; 4] = [1e-4, 3.0, 1e-4, 3.0];

/// Cover by hairs beyond the edge.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hairs {
    /// Just outside of it, 0 to 1.
    pub(super) cover: f64,
    /// Distance over which it falls to 1 / e, rows.
    pub(super) reach: f64,
}

/// All covers by hairs that are tried.
pub(super) fn hairs() -> impl Iterator<Item = Hairs> {
    HAIR_COVERS.into_iter().flat_map(|cover| {
        let reaches = if cover > 0.0 { HAIR_REACHES.len() } else { 1 };
        HAIR_REACHES.into_iter().take(reaches).map(move |reach| Hairs { cover, reach })
    })
}

/// The taps that a fit looks at.
pub(super) struct Window<'a> {
    /// Outwards, rows.
    pub(super) x: &'a [f64],
    /// The taps' own light.
    pub(super) own: &'a [f64],
    /// What an error at a tap is relative to.
    pub(super) scale: &'a [f64],
    /// Half the window's length, and the body's radius, rows.
    pub(super) half: f64,
    pub(super) radius: f64,
}

impl Window<'_> {
    /// Light of the body and of the ground at each tap: what is seen, up to `gap` before the edge and from `gap` beyond it; in
    /// between the last value seen goes on.
    pub(super) fn own_light(&self, edge: f64, gap: f64) -> Vec<(f64, f64)> {
        let at = |x: f64| {
            let first = self.x.first().copied().unwrap_or(0.0);
            let k = ((x - first) * TAPS_PER_ROW as f64).clamp(0.0, (self.own.len() - 1) as f64);
            let (i, t) = (k.floor() as usize, k.fract());
            self.own[i] + (self.own[(i + 1).min(self.own.len() - 1)] - self.own[i]) * t
        };
        self.x.iter().map(|x| (at(x.min(edge - gap)), at(x.max(edge + gap)))).collect()
    }

    pub(super) fn light(&self, edge: f64, blur: f64, hairs: Hairs) -> Design<8> {
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

    pub(super) fn colour(&self, edge: f64, blur: f64, hairs: Hairs, seen: &[(f64, f64)]) -> Design<4> {
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
pub(super) struct Design<const TERMS: usize> {
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
    pub(super) fn residuals<const LISTS: usize>(&self, values: [&Vec<f64>; LISTS]) -> Option<[f64; LISTS]> {
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

#[cfg(test)]
mod tests {
    use super::*;

    // Source: tables of the normal distribution.
    #[test]
    fn cumulative_normal_has_its_known_values() {
        approx::assert_relative_eq!(normal_cumulative(0.0), 0.5, epsilon = 1e-6);
        approx::assert_relative_eq!(normal_cumulative(1.96), 0.975_002, epsilon = 1e-5);
        approx::assert_relative_eq!(normal_cumulative(-1.0), 0.158_655, epsilon = 1e-5);
    }
}
