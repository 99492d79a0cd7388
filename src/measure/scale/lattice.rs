//! Whole numbers for places that follow each other at nearly equal steps, with gaps and intruders.

use nalgebra::{Matrix4, Vector4};

use crate::base::stats::{median, robust_deviation};

/// Places with their whole numbers.
#[derive(Debug, Clone)]
pub(super) struct Lattice {
    /// Whole number of every place; `None` for intruders.
    pub(super) numbers: Vec<Option<i32>>,
    /// Place as a function of the number.
    pub(super) curve: Curve,
    /// Robust deviation of the places from the curve, in steps.
    pub(super) spread: f64,
    /// Median step, px.
    pub(super) step: f64,
}

/// Place as a cubic of the number: perspective and lens bend the even steps by a few per cent.
#[derive(Debug, Clone, Copy)]
pub(super) struct Curve {
    middle: f64,
    reach: f64,
    terms: Vector4<f64>,
}

impl Curve {
    /// Place of a number.
    pub(super) fn at(&self, n: f64) -> f64 {
        let t = (n - self.middle) / self.reach;
        self.terms.dot(&Vector4::new(1.0, t, t * t, t * t * t))
    }

    /// Step from n - 1/2 to n + 1/2.
    pub(super) fn step(&self, n: f64) -> f64 {
        self.at(n + 0.5) - self.at(n - 0.5)
    }

    /// Least squares through (number, place), of the degree that the count bears, `most` at most.
    fn through(pairs: &[(f64, f64)], most: usize) -> Option<Self> {
        let low = pairs.iter().map(|p| p.0).fold(f64::MAX, f64::min);
        let high = pairs.iter().map(|p| p.0).fold(f64::MIN, f64::max);
        let (middle, reach) = ((low + high) / 2.0, ((high - low) / 2.0).max(1.0));
        let degree = match pairs.len() {
            0..2 => return None,
            2..4 => 1,
            4..9 => 2,
            _ => 3,
        }
        .min(most);
        let mut normal = Matrix4::zeros();
        let mut right = Vector4::zeros();
        for (n, x) in pairs {
            let t = (n - middle) / reach;
            let terms = Vector4::new(1.0, t, t * t, t * t * t);
            normal += terms * terms.transpose();
            right += terms * *x;
        }
        for d in degree + 1..4 {
            for i in 0..4 {
                normal[(d, i)] = 0.0;
                normal[(i, d)] = 0.0;
            }
            normal[(d, d)] = 1.0;
            right[d] = 0.0;
        }
        Some(Self { middle, reach, terms: normal.cholesky()?.solve(&right) })
    }
}

/// How well gaps fit whole multiples of a step: a gap of one step counts 1, of k steps 1 / k, and one that fits no
/// multiple up to six costs a half.
fn agreement(gaps: &[f64], step: f64) -> f64 {
    gaps.iter()
        .map(|g| {
            let k = (g / step).round();
            // A seventh: the steps themselves change by up to a tenth along a tilted ruler.
            if (1.0..=6.0).contains(&k) && (g / step / k - 1.0).abs() < 0.15 / k.sqrt() { 1.0 / k } else { -0.5 }
        })
        .sum()
}

/// The step that most gaps are multiples of; `None` without gaps.
pub(super) fn common_step(places: &[f64]) -> Option<f64> {
    let gaps: Vec<f64> = places.windows(2).map(|w| w[1] - w[0]).filter(|g| *g > 1.0).collect();
    let mut tried = gaps.clone();
    tried.sort_by(f64::total_cmp);
    // Some forty of them will do; they are sorted, so every size is among them.
    let stride = tried.len().div_ceil(40).max(1);
    let best =
        tried.iter().step_by(stride).map(|step| (*step, agreement(&gaps, *step))).max_by(|a, b| a.1.total_cmp(&b.1))?.0;
    let near: Vec<f64> = gaps.iter().copied().filter(|g| (g / best - 1.0).abs() < 0.15).collect();
    median(&near)
}

/// Numbers places (sorted) that lie about `step` apart; `None` where fewer than three take part.
pub(super) fn number(places: &[f64], step: f64) -> Option<Lattice> {
    let (first, last) = longest_run(places, step)?;
    let mut numbers = vec![None; places.len()];
    let mut kept: Vec<(f64, f64)> = Vec::new();
    for (i, n) in (first..=last).zip(0..) {
        numbers[i] = Some(n);
        kept.push((f64::from(n), places[i]));
    }
    for (end, sign) in [(last, 1isize), (first, -1)] {
        let mut at = end as isize + sign;
        while let Some(x) = usize::try_from(at).ok().and_then(|i| places.get(i)) {
            let (n, err) = place_in(&kept, *x, step);
            if n.abs() >= 1.0 && n != kept[kept.len() - 1].0 && err < 0.27 {
                numbers[at as usize] = Some(n as i32);
                kept.push((n, *x));
            }
            at += sign;
        }
        // On from the run's other end, with all that was learnt of the steps.
        kept.reverse();
    }
    refine(places, numbers)
}

/// First and last of the longest run of single steps.
fn longest_run(places: &[f64], step: f64) -> Option<(usize, usize)> {
    let mut best = (0, None);
    let mut run = 0;
    for (i, w) in places.windows(2).enumerate() {
        run = if ((w[1] - w[0]) / step - 1.0).abs() < 0.2 { run + 1 } else { 0 };
        if run > best.0 {
            best = (run, Some((i + 1 - run, i + 1)));
        }
    }
    best.1
}

/// Steps from which on the change of the step matters: a hundredth from one to the next, as on a steeply tilted ruler, makes less
/// than a fifth of a step over three.
const GAP: f64 = 4.0;

/// Number that fits `x` best, going on from the places numbered so far, and how far off it is, in steps.
fn place_in(kept: &[(f64, f64)], x: f64, step: f64) -> (f64, f64) {
    // The last ten tell the local step; their line goes on across a gap.
    let recent = &kept[kept.len().saturating_sub(10)..];
    let (last_n, last_x) = recent[recent.len() - 1];
    let local = if recent.len() >= 4 {
        let m = recent.len() as f64;
        let (mn, mx) = (recent.iter().map(|p| p.0).sum::<f64>() / m, recent.iter().map(|p| p.1).sum::<f64>() / m);
        let nn: f64 = recent.iter().map(|p| (p.0 - mn).powi(2)).sum();
        let nx: f64 = recent.iter().map(|p| (p.0 - mn) * (p.1 - mx)).sum();
        nx / nn
    } else {
        step
    };
    let mut k = (x - last_x) / local;
    // Across a gap the step goes on changing as it did before: on a tilted ruler a step too many or too few comes together over
    // some thirty. A parabola, no cubic, and over no more steps than it was learnt from, or noise carries it away.
    if recent.len() == 10
        && (GAP..=kept.len() as f64).contains(&k.abs())
        && let Some(curve) = Curve::through(kept, 2)
    {
        let due = curve.at(last_n) + x - last_x;
        for _ in 0..4 {
            k -= (curve.at(last_n + k) - due) / curve.step(last_n + k);
        }
    }
    let n = k.round();
    (last_n + n, (k - n).abs())
}

/// Fits the curve, throws out what lies off it, and takes in what lies on it after all.
fn refine(places: &[f64], mut numbers: Vec<Option<i32>>) -> Option<Lattice> {
    let mut curve = None;
    let mut spread = 0.0;
    for round in 0..3 {
        let pairs: Vec<(f64, f64)> =
            numbers.iter().zip(places).filter_map(|(n, x)| n.map(|n| (f64::from(n), *x))).collect();
        if pairs.len() < 3 {
            return None;
        }
        let fitted = Curve::through(&pairs, 3)?;
        let off: Vec<f64> = pairs.iter().map(|(n, x)| (x - fitted.at(*n)) / fitted.step(*n)).collect();
        spread = robust_deviation(&off)?;
        let limit = (4.0 * spread).clamp(0.06, 0.2);
        if round < 2 {
            for (number, x) in numbers.iter_mut().zip(places) {
                if let Some(n) = *number
                    && ((x - fitted.at(f64::from(n))) / fitted.step(f64::from(n))).abs() > limit
                {
                    *number = None;
                }
            }
        }
        curve = Some(fitted);
    }
    let curve = curve?;
    let step = median(&numbers.iter().flatten().map(|n| curve.step(f64::from(*n)).abs()).collect::<Vec<_>>())?;
    (step > 0.0).then_some(Lattice { numbers, curve, spread, step })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gaps_and_intruders_do_not_shift_the_numbers() {
        // A tilted ruler: steps shrink by 8 % over 60 ticks. Ticks 20 to 31 are hidden, two intruders stand between.
        let place = |n: f64| 30.0 * n - 0.02 * n * n;
        let mut places: Vec<(f64, Option<i32>)> =
            (0..60).filter(|n| !(20..32).contains(n)).map(|n| (place(f64::from(n)), Some(n))).collect();
        places.push((place(40.0) + 13.0, None));
        places.push((place(10.0) + 16.0, None));
        places.sort_by(|a, b| a.0.total_cmp(&b.0));
        let xs: Vec<f64> = places.iter().map(|p| p.0).collect();
        let step = common_step(&xs).expect("a step");
        assert!((step - 28.8).abs() < 1.5, "{step}");
        let lattice = number(&xs, step).expect("a lattice");
        let shift = lattice.numbers[0].expect("the first is numbered");
        for ((_, truth), n) in places.iter().zip(&lattice.numbers) {
            assert_eq!(n.map(|n| n - shift), *truth);
        }
    }

    #[test]
    fn a_wide_gap_on_a_tilted_ruler_does_not_shift_the_numbers() {
        // Steps of 24 to 20 px as the camera sees even ones; thirty ticks are hidden by something wound round the ruler, nearer to
        // one end or the other.
        for hidden in [40..70, 60..90] {
            let seen: Vec<i32> = (0..130).filter(|n| !hidden.contains(n)).collect();
            let xs: Vec<f64> = seen.iter().map(|n| f64::from(*n)).map(|n| 24.0 * n / (1.0 + 0.0007 * n)).collect();
            let lattice = number(&xs, common_step(&xs).expect("a step")).expect("a lattice");
            let shift = lattice.numbers[0].expect("the first is numbered");
            let numbers: Vec<Option<i32>> = lattice.numbers.iter().map(|n| n.map(|n| n - shift)).collect();
            assert_eq!(numbers, seen.into_iter().map(Some).collect::<Vec<_>>());
        }
    }
}
