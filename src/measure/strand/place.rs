//! Where the core's edge lies in the profile across it that the whole strand shares, to a fraction of a pixel.
//!
//! The edge, the blur and the cover by hairs are tried on a grid; the other parameters of the mixture follow by linear
//! least squares (variable projection, Golub & Pereyra, SIAM J. Numer. Anal. 10, 1973; cited from memory). Each plane
//! keeps its own noise, so that the one which the model explains best counts most. The answer is the mean over all that was
//! tried, each by its likelihood: two places that explain the picture as well give a wide interval.

use rayon::prelude::*;

use super::band::{Band, between_rows};
use super::course::Course;
use super::edges::Side;
use super::mixture::{BLURS, LEAST_TAPS, SPACING, TAPS_PER_ROW, Window};
use crate::base::stats::{median, upper_median};

/// The edge of one side, for the whole strand.
#[derive(Debug, Clone, Copy)]
pub(super) struct Placed {
    /// Outwards from the course, rows.
    pub(super) offset: f64,
    /// Standard uncertainty, rows.
    pub(super) u: f64,
    /// Blur as the standard deviation of a Gaussian, rows.
    pub(super) blur: f64,
    /// How much likelier this place is than the middle one of those tried, natural logarithm.
    pub(super) clarity: f64,
}

/// Light added to a pixel's own in the weights: below it noise no longer falls with the light.
const OWN_FLOOR: f64 = 0.05;

/// Taps to either side whose light spills into a tap's error: a row and a half, about twice a sharp picture's blur.
const SPILL: usize = 6;

/// Standard deviation of the course's place before the fit, rows, and how far from it places are tried in one round.
const FIRST_GUESS: f64 = 3.0;
const REACH: f64 = 3.0;

/// Columns that make up the profile; more do not make it steadier.
const MOST_COLUMNS: usize = 600;

/// Spread of the blur between edges of one piece, standard deviation of its logarithm: the lens gives them all the same, the
/// course's own trembling a little more to the faint ones.
const BLUR_SPREAD: f64 = 0.2;

/// Difference in place of the courses of two parts of one edge, standard deviation, rows: each follows its own profile.
pub(super) const BETWEEN_PARTS: f64 = 1.0;

/// Difference in the logarithm of the likelihood from which on a place has no say: one in ten million.
const OUT_OF_QUESTION: f64 = 16.0;

/// Clarity from which on an edge is known well enough to be placed by its grooves, flanks and crests.
const CLEAR: f64 = 12.0;

/// Places both edges along their courses, `[left, right]`, each for every part of its course; `None` where a piece is too
/// thin for a profile. `diameter` in rows. Where a clear edge of one colour rises and falls, its course is divided by height:
/// light falls differently into grooves and on crests.
///
/// All edges of a piece are seen through the same lens at the same distance: they share one blur, and the clear ones tell it to
/// the others, whose shadow may otherwise pass for a blurred edge.
pub(super) fn place(band: &Band, courses: [&mut Course; 2], diameter: f64) -> Option<[Vec<Placed>; 2]> {
    let [left, right] = courses;
    let half = (0.3 * diameter).clamp(5.0, 12.0);
    let parts: Vec<(Side, usize)> = [(Side::Left, left.parts()), (Side::Right, right.parts())]
        .into_iter()
        .flat_map(|(side, count)| (0..count).map(move |part| (side, part)))
        .collect();
    let reach = half + 2.0 * REACH;
    let profiles: Vec<Profile> = parts
        .par_iter()
        .map(|(side, part)| {
            let course = if *side == Side::Left { &*left } else { &*right };
            Profile::of(band, *side, &course.rows, &course.part, *part, reach)
        })
        .collect();
    let look = |profiles: &[Profile], known: &[Known], before: Vec<Option<Tried>>| -> Option<Vec<(Tried, Placed)>> {
        profiles
            .par_iter()
            .zip(known)
            .zip(before)
            .map(|((profile, known), before)| {
                let first = before.or_else(|| Tried::about(profile, known.edge, half, diameter))?;
                let mut placed = first.posterior(known)?;
                let mut middle = first.middle;
                for _ in 0..2 {
                    if (placed.offset - middle).abs() < 0.3 {
                        break;
                    }
                    let next = Tried::about(profile, placed.offset.clamp(-2.0 * REACH, 2.0 * REACH), half, diameter)?;
                    middle = next.middle;
                    placed = next.posterior(known)?;
                }
                // What was tried first, for another look with more known.
                Some((first, placed))
            })
            .collect()
    };
    let alone = look(&profiles, &vec![Known::NOTHING; parts.len()], parts.iter().map(|_| None).collect())?;
    let clearest_of = |side: Option<Side>| {
        (0..parts.len())
            .filter(|j| side.is_none_or(|side| parts[*j].0 == side))
            .max_by(|a, b| alone[*a].1.clarity.total_cmp(&alone[*b].1.clarity))
    };
    let known: Vec<Known> = (0..parts.len())
        .map(|i| {
            // The colour that is told from the ground best shows how far the courses of its side lie from the edge.
            let guide = clearest_of(Some(parts[i].0)).filter(|j| *j != i).map(|j| alone[j].1.offset);
            let blur = clearest_of(None).filter(|j| *j != i).map(|j| alone[j].1.blur);
            Known { blur, edge: guide.unwrap_or(0.0), edge_u: guide.map_or(FIRST_GUESS, |_| BETWEEN_PARTS) }
        })
        .collect();
    let together = look(&profiles, &known, alone.into_iter().map(|(tried, _)| Some(tried)).collect())?;
    let of_side = |side: Side, course: &mut Course| -> Option<Vec<Placed>> {
        let own: Vec<usize> = (0..parts.len()).filter(|i| parts[*i].0 == side).collect();
        let placed: Vec<Placed> = own.iter().map(|i| together[*i].1).collect();
        let heights = course.height.iter().copied().max().unwrap_or(0) + 1;
        match (&own[..], &placed[..]) {
            ([i], [whole]) if whole.clarity >= CLEAR && heights > 1 => {
                let profiles: Vec<Profile> = (0..heights)
                    .map(|height| Profile::of(band, side, &course.rows, &course.height, height, reach))
                    .collect();
                let guide = Known { edge: whole.offset, edge_u: BETWEEN_PARTS, ..known[*i] };
                course.part = std::mem::take(&mut course.height);
                let before = (0..heights).map(|_| None).collect();
                Some(look(&profiles, &vec![guide; heights], before)?.into_iter().map(|(_, placed)| placed).collect())
            }
            _ => Some(placed),
        }
    };
    Some([of_side(Side::Left, left)?, of_side(Side::Right, right)?])
}

/// What is known of an edge from the others of its piece.
#[derive(Debug, Clone, Copy)]
struct Known {
    /// Rows, to within `BLUR_SPREAD`.
    blur: Option<f64>,
    /// Outwards from the course, and its standard uncertainty, rows.
    edge: f64,
    edge_u: f64,
}

impl Known {
    const NOTHING: Self = Self { blur: None, edge: 0.0, edge_u: FIRST_GUESS };
}

/// Medians over the columns at each tap across the edge, from inside to outside.
struct Profile {
    /// Outwards from the course, rows.
    x: Vec<f64>,
    planes: [Vec<f64>; 3],
}

impl Profile {
    fn of(band: &Band, side: Side, rows: &[f64], parts: &[usize], part: usize, reach: f64) -> Self {
        let outward = side.outward();
        let half = (reach * TAPS_PER_ROW as f64).round() as i32;
        let x: Vec<f64> = (-half..=half).map(|k| f64::from(k) / TAPS_PER_ROW as f64).collect();
        let members: Vec<(usize, f64)> = rows
            .iter()
            .enumerate()
            .filter(|(column, _)| parts.get(*column) == Some(&part))
            .map(|(column, row)| (column, *row))
            .collect();
        let stride = (members.len() / MOST_COLUMNS).max(1);
        let planes = [0, 1, 2].map(|c: usize| {
            let at = |x: &f64| {
                let few = members.iter().step_by(stride);
                let values = few.map(|(column, row)| between_rows(&band.planes[c], *column, row + outward * x));
                f64::from(upper_median(values).unwrap_or(0.0))
            };
            x.iter().map(at).collect()
        });
        Self { x, planes }
    }
}

/// All that was tried of one edge.
struct Tried {
    /// The place about which was tried, rows.
    middle: f64,
    /// Minus the logarithm of the likelihood, the edge, which blur.
    all: Vec<(f64, f64, usize)>,
    /// How much likelier the best place is than the middle one of those tried.
    clarity: f64,
}

impl Tried {
    /// One round of the fit about `middle`.
    fn about(profile: &Profile, middle: f64, half: f64, diameter: f64) -> Option<Self> {
        let middle = (middle / SPACING).round() * SPACING;
        let chosen: Vec<usize> =
            (0..profile.x.len()).filter(|i| (profile.x[*i] - middle).abs() <= half + 1e-9).collect();
        if chosen.len() < LEAST_TAPS {
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
        let values =
            [0, 1, 2].map(|c: usize| chosen.iter().zip(&scale).map(|(i, o)| profile.planes[c][*i] / o).collect());
        let window = Window { x, own, scale, values, half, radius: diameter / 2.0 };
        let steps = (REACH / SPACING).round() as i32;
        let at = |k: i32, wanted: &[bool; BLURS.len()], tried: &mut Vec<(f64, f64, usize)>| {
            let edge = middle + f64::from(k) * SPACING;
            window.costs(edge, wanted, |blur, cost| tried.push((cost, edge, blur)))
        };
        // Every other place first; under each blur, between two that are both out of the question lies none that is not.
        let places: Vec<i32> = (-steps..=steps).step_by(2).collect();
        let mut all = Vec::new();
        let mut least = vec![[f64::MAX; BLURS.len()]; places.len()];
        for (k, least) in places.iter().zip(&mut least) {
            let before = all.len();
            at(*k, &[true; BLURS.len()], &mut all)?;
            for (cost, _, blur) in &all[before..] {
                least[*blur] = least[*blur].min(*cost);
            }
        }
        let limits: [f64; BLURS.len()] =
            std::array::from_fn(|b| least.iter().map(|l| l[b]).fold(f64::MAX, f64::min) + OUT_OF_QUESTION);
        for (k, pair) in places.iter().zip(least.windows(2)) {
            let wanted = std::array::from_fn(|b| pair[0][b].min(pair[1][b]) < limits[b]);
            at(k + 1, &wanted, &mut all)?;
        }
        let of_places: Vec<f64> = least.iter().map(|l| l.iter().copied().fold(f64::MAX, f64::min)).collect();
        let best = all.iter().map(|t| t.0).fold(f64::MAX, f64::min);
        let clarity = median(&of_places).unwrap_or(0.0) - best;
        Some(Self { middle, all, clarity })
    }

    /// Mean and spread of the edge, given what is known of it from elsewhere.
    fn posterior(&self, known: &Known) -> Option<Placed> {
        let unlike = BLURS.map(|b| known.blur.map_or(0.0, |blur| ((b / blur).ln() / BLUR_SPREAD).powi(2) / 2.0));
        let cost = |t: &(f64, f64, usize)| t.0 + unlike[t.2] + ((t.1 - known.edge) / known.edge_u).powi(2) / 2.0;
        let least = self.all.iter().map(cost).min_by(f64::total_cmp)?;
        let (mut sum, mut first, mut second, mut blur) = (0.0, 0.0, 0.0, 0.0);
        for t in &self.all {
            let p = (least - cost(t)).exp();
            sum += p;
            first += p * t.1;
            second += p * t.1 * t.1;
            blur += p * BLURS[t.2];
        }
        let offset = first / sum;
        let variance = (second / sum - offset * offset).max(0.0) + SPACING * SPACING / 12.0;
        Some(Placed { offset, u: variance.sqrt(), blur: blur / sum, clarity: self.clarity })
    }
}

#[cfg(test)]
mod tests {
    use statrs::distribution::{ContinuousCDF, Normal};

    use super::*;

    /// Steps between ramps: a dark rim inside, a deepening shadow outside. Truth: the drawing.
    #[test]
    fn ramps_beside_a_step_do_not_move_it() {
        for edge in [-2.3, -0.4, 0.0, 1.1, 2.6] {
            let x: Vec<f64> = (-36..=36).map(|k| f64::from(k) / TAPS_PER_ROW as f64).collect();
            let light = x.iter().map(|x| {
                let ground = Normal::standard().cdf((x - edge) / 0.8);
                (1.0 - ground) * (0.2 - 0.004 * (x - edge)) + ground * (0.6 + 0.01 * (x - edge))
            });
            let planes = [light.collect(), vec![0.0; x.len()], vec![0.0; x.len()]];
            let tried = Tried::about(&Profile { x, planes }, 0.0, 12.0, 40.0).unwrap();
            let found = tried.posterior(&Known::NOTHING).unwrap();
            assert!((found.offset - edge).abs() < 0.12, "{} for {edge}", found.offset);
        }
    }
}
