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
//! as seen on either side, times a colour, blurred once more as the file keeps it: where light shows shading only, colour
//! decides, and shading cancels in it.
//!
//! Mixing is linear in light, therefore so is the fit, with weights that make errors relative to the light.

use std::sync::LazyLock;

use nalgebra::{SMatrix, SVector};
use statrs::distribution::{ContinuousCDF, Normal};

use crate::base::line::between;

/// Taps a row: half a row apart keeps a blur of less than a row.
pub(super) const TAPS_PER_ROW: usize = 2;

/// Spacing of the edges that may be asked for, rows: a quarter of the sharpest blur's width.
pub(super) const SPACING: f64 = 0.25;

/// Blurs tried, standard deviations, rows: from a sharp phone picture to one just out of focus.
pub(super) const BLURS: [f64; 5] = [0.55, 0.8, 1.2, 1.8, 2.5];

/// Covers by hairs just outside of the edge, 0 to 1, with the distances over which they fall to 1 / e, rows. A cover of half
/// would be core by definition.
const HAIRS: [(f64, f64); 6] = [(0.0, 1.0), (0.15, 3.0), (0.3, 1.5), (0.3, 5.0), (0.45, 1.5), (0.45, 4.0)];

/// Blurs that colour may have beyond light's, as two running means of so many taps: JPEG keeps it at half resolution (4:2:0), a
/// box two pixels wide, the decoder's interpolation is another, and the camera's own interpolation of its colour mosaic a
/// third. Standard deviations of one row and of two.
const COLOUR_BLURS: [[usize; 2]; 2] = [[5, 5], [9, 11]];

/// Files keep colour as differences of code values, which grow as light to the power 1 / 2.2 (IEC 61966-2-1), and that is
/// where it is blurred: a difference of light `d` at light `L` is one of code values proportional to `d L^(1 / 2.2 - 1)`. Beside
/// a brighter ground, colour that was blurred looks stronger there than in the yarn, and half of it lies too far out.
const CODE: f64 = 1.0 / 2.2 - 1.0;

/// Residual that no model is trusted to be better than, sum of squared relative errors.
const LEAST_RESIDUAL: f64 = 1e-3;

/// Terms of light and of colour.
const LIGHT: usize = 8;
const COLOUR: usize = 4;

/// Ridge on each term of light, relative errors a term of that size: cover, ground, slope, limb and bow of the body; slope,
/// bow and turn of the ground. Levels are free; all else is gentle, a steep ramp would be the step itself.
const LIGHT_RIDGE: [f64; LIGHT] = [1e-4, 1e-4, 1.0, 0.1, 0.3, 1.0, 0.3, 0.3];

/// The same for colour: body, its slope, ground, its slope. A fibre's colour does not change across the yarn.
const COLOUR_RIDGE: [f64; COLOUR] = [1e-4, 3.0, 1e-4, 3.0];

/// Fewest taps that leave something to judge the model by.
pub(super) const LEAST_TAPS: usize = 2 * LIGHT + 4;

/// Farthest from an edge that cover is asked for, rows.
const FAR: usize = 24;

/// Cover at every quarter of a row from `-FAR` to `FAR` outside of the edge, for each of `BLURS`, for each of `HAIRS`.
static COVERS: LazyLock<Vec<Vec<Vec<f64>>>> = LazyLock::new(|| {
    let table = |blur: f64, hairs: (f64, f64)| -> Vec<f64> {
        let steps = (FAR as f64 / SPACING) as i32;
        (-steps..=steps).map(|k| cover(f64::from(k) * SPACING, blur, hairs)).collect()
    };
    BLURS.iter().map(|blur| HAIRS.iter().map(|hairs| table(*blur, *hairs)).collect()).collect()
});

/// The taps that a fit looks at, with what is seen there.
pub(super) struct Window {
    /// Outwards, rows, `TAPS_PER_ROW` a row.
    pub(super) x: Vec<f64>,
    /// The taps' own light.
    pub(super) own: Vec<f64>,
    /// What an error at a tap is relative to.
    pub(super) scale: Vec<f64>,
    /// Light and the two colour planes, over `scale`.
    pub(super) values: [Vec<f64>; 3],
    /// Half the window's length, and the body's radius, rows.
    pub(super) half: f64,
    pub(super) radius: f64,
}

impl Window {
    /// Minus the logarithm of the likelihood of an edge, a multiple of `SPACING`, under each blur that is
    /// `wanted` and each cover by hairs: calls `found` with the blur's number and the cost.
    pub(super) fn costs(
        &self,
        edge: f64,
        wanted: &[bool; BLURS.len()],
        mut found: impl FnMut(usize, f64),
    ) -> Option<()> {
        let [light, red, blue] = &self.values;
        let squares = self.values.each_ref().map(|v| v.iter().map(|v| v * v).sum::<f64>());
        let codes: Vec<f64> = self.own.iter().map(|light| light.powf(CODE)).collect();
        // Neighbouring taps are half a row apart under a blur of about a row.
        let independent = self.x.len() as f64 / 4.0;
        // A tap's distance from the edge in quarters of a row, and the terms that do not depend on the blur.
        let place: Vec<usize> = self
            .x
            .iter()
            .map(|x| {
                (((x - edge) / SPACING).round() + FAR as f64 / SPACING).clamp(0.0, 2.0 * FAR as f64 / SPACING) as usize
            })
            .collect();
        let shapes: Vec<[f64; LIGHT - 2]> = self
            .x
            .iter()
            .map(|x| {
                let (inner, outer) = ((x - edge).min(0.0), (x - edge).max(0.0));
                // A round body under even light: the cosine of the angle between surface and line of sight.
                let limb = (1.0 - (1.0 + inner / self.radius).powi(2)).clamp(0.0, 1.0).sqrt();
                let half = self.half;
                [inner, limb, inner * inner / half, outer, outer * outer / half, outer.powi(3) / (half * half)]
            })
            .collect();
        for (which, blur) in BLURS.into_iter().enumerate().filter(|(which, _)| wanted[*which]) {
            let seen = self.own_light(edge, 1.5 * blur);
            for covers in &COVERS[which] {
                let rows = place.iter().zip(&shapes).zip(&self.scale).map(|((place, s), scale)| {
                    let yarn = covers[*place];
                    let (yarn, ground) = (yarn / scale, (1.0 - yarn) / scale);
                    [yarn, ground, yarn * s[0], yarn * s[1], yarn * s[2], ground * s[3], ground * s[4], ground * s[5]]
                });
                let [shade] = left(rows, LIGHT_RIDGE, [light], [squares[0]])?;
                let coloured =
                    || place.iter().zip(&seen).zip(&codes).map(|((place, seen), code)| (covers[*place], seen, code));
                let yarn: Vec<f64> = coloured().map(|(cover, (body, _), code)| cover * body * code).collect();
                let ground: Vec<f64> = coloured().map(|(cover, (_, card), code)| (1.0 - cover) * card * code).collect();
                let mut tints = f64::MAX;
                for widths in COLOUR_BLURS {
                    let (yarn, ground) = (blurred(&yarn, widths), blurred(&ground, widths));
                    let parts = yarn.iter().zip(&ground).zip(&codes).zip(&self.scale);
                    let rows = shapes.iter().zip(parts).map(|(s, (((yarn, ground), code), scale))| {
                        // Back to light, in which the values are.
                        let (yarn, ground) = (yarn / (code * scale), ground / (code * scale));
                        [yarn, yarn * s[0], ground, ground * s[3]]
                    });
                    let [r, b] = left(rows, COLOUR_RIDGE, [red, blue], [squares[1], squares[2]])?;
                    tints = tints.min(r.ln() + b.ln());
                }
                found(which, independent * (shade.ln() + tints));
            }
        }
        Some(())
    }

    /// Light of the body and of the ground at each tap: what is seen, up to `gap` before the edge and from `gap` beyond it; in
    /// between the last value seen goes on.
    fn own_light(&self, edge: f64, gap: f64) -> Vec<(f64, f64)> {
        let last = self.own.len().saturating_sub(1);
        let at = |x: f64| {
            let first = self.x.first().copied().unwrap_or(0.0);
            between(&self.own, ((x - first) * TAPS_PER_ROW as f64).clamp(0.0, last as f64))
        };
        self.x.iter().map(|x| (at(x.min(edge - gap)), at(x.max(edge + gap)))).collect()
    }
}

/// Running means of odd widths one after the other; beyond the ends the last values go on.
fn blurred(values: &[f64], [first, second]: [usize; 2]) -> Vec<f64> {
    let (Some(low), Some(high)) = (values.first(), values.last()) else { return Vec::new() };
    let running = |values: &[f64], ends: [f64; 2], width: usize| -> Vec<f64> {
        let half = width / 2;
        let mut longer = vec![ends[0]; values.len() + 2 * half + 1];
        longer[half..half + values.len()].copy_from_slice(values);
        longer[half + values.len()..].fill(ends[1]);
        let mut sum: f64 = longer[..width].iter().sum();
        longer
            .iter()
            .zip(&longer[width..])
            .map(|(leaves, enters)| {
                let mean = sum / width as f64;
                sum += enters - leaves;
                mean
            })
            .collect()
    };
    let once = running(values, [*low, *high], first);
    let ends = [once[0], once[once.len() - 1]];
    running(&once, ends, second)
}

/// Sums of squares that a linear model with a ridge leaves of each of the lists, the ridge's own included; none is trusted
/// below `LEAST_RESIDUAL`. One row of the model a tap; `squares` are the lists' own sums.
fn left<const TERMS: usize, const LISTS: usize>(
    rows: impl Iterator<Item = [f64; TERMS]>,
    ridge: [f64; TERMS],
    lists: [&Vec<f64>; LISTS],
    squares: [f64; LISTS],
) -> Option<[f64; LISTS]> {
    // Plain arrays: this is where most of the time goes, and their loops unroll.
    let mut normal = [[0.0; TERMS]; TERMS];
    let mut right = [[0.0; TERMS]; LISTS];
    for (tap, row) in rows.enumerate() {
        for (sums, a) in normal.iter_mut().zip(row) {
            sums.iter_mut().zip(row).for_each(|(sum, b)| *sum += a * b);
        }
        for (sums, list) in right.iter_mut().zip(lists) {
            let value = list.get(tap).copied().unwrap_or(0.0);
            sums.iter_mut().zip(row).for_each(|(sum, a)| *sum += a * value);
        }
    }
    let mut normal = SMatrix::<f64, TERMS, TERMS>::from(normal);
    for (i, r) in ridge.into_iter().enumerate() {
        normal[(i, i)] += r * r;
    }
    let factor = normal.cholesky()?;
    let mut out = squares;
    for (out, right) in out.iter_mut().zip(right) {
        // What the model explains is the squared length of the forward-substituted right-hand side.
        let mut explained = SVector::<f64, TERMS>::from(right);
        if !factor.l_dirty().solve_lower_triangular_mut(&mut explained) {
            return None;
        }
        *out = (*out - explained.norm_squared()).max(0.0) + LEAST_RESIDUAL;
    }
    Some(out)
}

/// Cover at a distance outside of the edge: full up to it, then hairs, blurred by a Gaussian (the exponential tail gives
/// the exponentially modified Gaussian).
fn cover(u: f64, blur: f64, (hair_cover, hair_reach): (f64, f64)) -> f64 {
    let body = normal_cumulative(-u / blur);
    if hair_cover <= 0.0 {
        return body;
    }
    let ratio = blur / hair_reach;
    body + hair_cover * (0.5 * ratio * ratio - u / hair_reach).exp() * normal_cumulative(u / blur - ratio)
}

fn normal_cumulative(x: f64) -> f64 {
    Normal::standard().cdf(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A step becomes the ramp of two boxes, flat lists stay, nothing shifts. Truth: arithmetic.
    #[test]
    fn running_means_spread_a_peak_evenly() {
        let mut peak = vec![0.0; 31];
        peak[15] = 1.0;
        for widths in COLOUR_BLURS {
            let out = blurred(&peak, widths);
            let moment = |k: i32| out.iter().enumerate().map(|(i, v)| (i as f64 - 15.0).powi(k) * v).sum::<f64>();
            // The variance of a box of w taps is (w^2 - 1) / 12, and variances add.
            let variance: f64 = widths.iter().map(|w| (w * w - 1) as f64 / 12.0).sum();
            approx::assert_relative_eq!(moment(0), 1.0, epsilon = 1e-12);
            approx::assert_relative_eq!(moment(1), 0.0, epsilon = 1e-12);
            approx::assert_relative_eq!(moment(2), variance, epsilon = 1e-9);
        }
        assert_eq!(blurred(&[2.0; 7], [9, 11]), vec![2.0; 7]);
        assert!(blurred(&[], [5, 5]).is_empty());
    }

    // Source: tables of the normal distribution.
    #[test]
    fn cumulative_normal_has_its_known_values() {
        approx::assert_relative_eq!(normal_cumulative(0.0), 0.5, epsilon = 1e-6);
        approx::assert_relative_eq!(normal_cumulative(1.96), 0.975_002, epsilon = 1e-5);
        approx::assert_relative_eq!(normal_cumulative(-1.0), 0.158_655, epsilon = 1e-5);
    }
}
