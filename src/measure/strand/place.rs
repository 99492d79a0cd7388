//! Where the core's edge lies in the profile across it that the whole strand shares, to a fraction of a pixel.
//!
//! The edge, the blur and the cover by hairs are tried on a grid; the other parameters of the mixture follow by linear
//! least squares (variable projection, Golub & Pereyra, SIAM J. Numer. Anal. 10, 1973; cited from memory). Each plane
//! keeps its own noise, so that the one which the model explains best counts most. The answer is the mean over all that was
//! tried, each by its likelihood: two places that explain the picture as well give a wide interval.

use rayon::prelude::*;

use super::band::Band;
use super::edges::{Side, between_rows};
use super::mixture::{COLOUR_BLURS, LIGHT_RIDGE, TAPS_PER_ROW, Window, hairs};

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

/// Blurs tried, standard deviations, rows: from a sharp phone picture to one just out of focus.
const BLURS: [f64; 5] = [0.55, 0.8, 1.2, 1.8, 2.5];

/// Light added to a pixel's own in the weights: below it noise no longer falls with the light.
const OWN_FLOOR: f64 = 0.05;

/// Taps to either side whose light spills into a tap's error: a row and a half, about twice a sharp picture's blur.
const SPILL: usize = 6;

/// Standard deviation of the course's place before the fit, rows, and how far from it places are tried in one round.
const FIRST_GUESS: f64 = 3.0;
const REACH: f64 = 3.0;

/// Columns that make up the profile; more do not make it steadier.
const MOST_COLUMNS: usize = 600;

/// Places both edges along their courses, `[left, right]`; `None` where a piece is too thin for a profile. `diameter` in
/// rows. Both edges are seen through the same lens at the same distance: they share one blur, and the clear side tells it
/// to the other, whose shadow may otherwise pass for a blurred edge.
pub(super) fn place(band: &Band, rows: [&[f64]; 2], diameter: f64) -> Option<[Placed; 2]> {
    let half = (0.3 * diameter).clamp(5.0, 12.0);
    let profiles: Vec<Profile> = [(Side::Left, rows[0]), (Side::Right, rows[1])]
        .into_par_iter()
        .map(|(side, rows)| Profile::of(band, side, rows, half + 2.0 * REACH))
        .collect();
    let look = |others: [BlurCosts; 2], middles: [f64; 2]| -> Option<Vec<(Tried, Placed)>> {
        let sides: Vec<usize> = vec![0, 1];
        sides
            .into_par_iter()
            .map(|i| {
                let mut middle = middles[i];
                let mut seen = None;
                for _ in 0..3 {
                    let tried = Tried::about(&profiles[i], middle, half, diameter)?;
                    let placed = tried.posterior(&others[i])?;
                    let done = (placed.offset - middle).abs() < 0.3;
                    middle = placed.offset.clamp(-2.0 * REACH, 2.0 * REACH);
                    seen = Some((tried, placed));
                    if done {
                        break;
                    }
                }
                seen
            })
            .collect()
    };
    let alone = look([[0.0; BLURS.len()]; 2], [0.0; 2])?;
    let costs: Vec<BlurCosts> = alone.iter().map(|(tried, _)| tried.blur_costs()).collect();
    let [left, right] = costs[..] else { return None };
    let together = look([right, left], [0.0; 2])?;
    let [left, right] = &together[..] else { return None };
    Some([left.1, right.1])
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

/// Minus the logarithm of the evidence for each of `BLURS`.
type BlurCosts = [f64; BLURS.len()];

/// All that was tried of one edge: minus the logarithm of the likelihood, the edge, which blur.
struct Tried(Vec<(f64, f64, usize)>);

impl Tried {
    /// One round of the fit about `middle`.
    fn about(profile: &Profile, middle: f64, half: f64, diameter: f64) -> Option<Self> {
        let chosen: Vec<usize> =
            (0..profile.x.len()).filter(|i| (profile.x[*i] - middle).abs() <= half + 1e-9).collect();
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
        let mut tried = Vec::new();
        let steps = (2.0 * REACH / SPACING).round() as i32;
        for k in 0..=steps {
            let edge = middle - REACH + f64::from(k) * SPACING;
            for (which, blur) in BLURS.into_iter().enumerate() {
                let seen = window.own_light(edge, 1.5 * blur);
                for hairs in hairs() {
                    let [shade] = window.light(edge, blur, hairs).residuals([light])?;
                    let mut tints = f64::MAX;
                    for more in COLOUR_BLURS {
                        let [r, b] = window.colour(edge, blur.hypot(more), hairs, &seen).residuals([red, blue])?;
                        tints = tints.min(r.ln() + b.ln());
                    }
                    let cost = (edge / FIRST_GUESS).powi(2) / 2.0 + independent * (shade.ln() + tints);
                    tried.push((cost, edge, which));
                }
            }
        }
        Some(Self(tried))
    }

    fn blur_costs(&self) -> BlurCosts {
        std::array::from_fn(|blur| {
            let of_blur = || self.0.iter().filter(|t| t.2 == blur).map(|t| t.0);
            let least = of_blur().fold(f64::MAX, f64::min);
            least - of_blur().map(|cost| (least - cost).exp()).sum::<f64>().ln()
        })
    }

    /// Mean and spread of the edge, given what is known of the blur from elsewhere.
    fn posterior(&self, known: &BlurCosts) -> Option<Placed> {
        let cost = |t: &(f64, f64, usize)| t.0 + known[t.2];
        let least = self.0.iter().map(cost).min_by(f64::total_cmp)?;
        let (mut sum, mut first, mut second, mut blur) = (0.0, 0.0, 0.0, 0.0);
        for t in &self.0 {
            let p = (least - cost(t)).exp();
            sum += p;
            first += p * t.1;
            second += p * t.1 * t.1;
            blur += p * BLURS[t.2];
        }
        let offset = first / sum;
        let variance = (second / sum - offset * offset).max(0.0) + SPACING * SPACING / 12.0;
        Some(Placed { offset, u: variance.sqrt(), blur: blur / sum })
    }
}

/// Spacing of the places tried, rows.
const SPACING: f64 = 0.25;
