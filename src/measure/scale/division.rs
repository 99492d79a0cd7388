//! What a row of ticks divides: the pattern of tick lengths tells millimetres from parts of an inch.
//!
//! Common practice of ruler makers, no source: on metric rulers every fifth and every tenth tick is longer; inches are
//! halved again and again and each halving has its own length; engineers' rules in hundredths of an inch raise the
//! ticks 2, 3, 7 and 8 of every ten.

use nalgebra::{DMatrix, DVector};

use super::RulerUnit;
use super::numbers::{self, Series};
use super::numerals::{self, Numerals};
use super::ticks::{Tick, TickRow};
use crate::base::raster::Raster;
use crate::base::stats::median;

/// A way of dividing, as tick lengths show it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Pattern {
    /// One length only.
    Plain,
    /// Long and short in turn.
    Alternate,
    /// Fives stand out.
    Fifths,
    /// Tens and fives stand out.
    Decimal,
    /// Twenties, tens and even ones stand out: half millimetres.
    HalvedDecimal,
    /// Tens, fives and 2, 3, 7, 8 stand out: hundredths of an inch.
    RaisedDecimal,
    /// Sixteenths of which only the quarters and the whole stand out.
    Quartered,
    /// Halved this often.
    Binary(u32),
}

impl Pattern {
    const ALL: [Self; 12] = [
        Self::Plain,
        Self::Alternate,
        Self::Fifths,
        Self::Decimal,
        Self::HalvedDecimal,
        Self::RaisedDecimal,
        Self::Quartered,
        Self::Binary(2),
        Self::Binary(3),
        Self::Binary(4),
        Self::Binary(5),
        Self::Binary(6),
    ];

    /// After how many ticks it repeats.
    pub(super) fn period(self) -> i32 {
        match self {
            Self::Plain => 1,
            Self::Alternate => 2,
            Self::Fifths => 5,
            Self::Decimal | Self::RaisedDecimal => 10,
            Self::HalvedDecimal => 20,
            Self::Quartered => 16,
            Self::Binary(halvings) => 1 << halvings,
        }
    }

    /// How many lengths it has.
    pub(super) fn levels(self) -> usize {
        match self {
            Self::Plain => 1,
            Self::Alternate | Self::Fifths => 2,
            Self::Decimal | Self::Quartered => 3,
            Self::HalvedDecimal | Self::RaisedDecimal => 4,
            Self::Binary(halvings) => halvings as usize + 1,
        }
    }

    /// Length of the tick with this number, 0 for the shortest; the longest are at multiples of the period.
    pub(super) fn level(self, number: i32) -> usize {
        let n = number.rem_euclid(self.period());
        match self {
            Self::Plain => 0,
            Self::Alternate | Self::Fifths => usize::from(n == 0),
            Self::Decimal => match n {
                0 => 2,
                5 => 1,
                _ => 0,
            },
            Self::HalvedDecimal => match n {
                0 => 3,
                10 => 2,
                n => usize::from(n % 2 == 0),
            },
            Self::RaisedDecimal => match n {
                0 => 3,
                5 => 2,
                2 | 3 | 7 | 8 => 1,
                _ => 0,
            },
            Self::Quartered => usize::from(n % 4 == 0) + usize::from(n == 0),
            Self::Binary(halvings) => {
                if n == 0 {
                    halvings as usize
                } else {
                    n.trailing_zeros() as usize
                }
            }
        }
    }
}

/// A pattern laid on a row.
#[derive(Debug, Clone)]
pub(super) struct Reading {
    /// The pattern.
    pub(super) pattern: Pattern,
    /// The number at which a longest tick stands.
    pub(super) phase: i32,
    /// Mean loss per tick, 0 (all lengths as the pattern says) to 1.
    pub(super) loss: f64,
    /// Length of each level against the shortest seen, px; NaN where none was seen.
    pub(super) lengths: Vec<f64>,
    /// Ticks seen of each level whose length agrees.
    pub(super) seen: Vec<usize>,
    /// Ticks present of each level, whether their ends could be placed or not.
    pub(super) present: Vec<usize>,
    /// Whether every level was seen and each is longer than the one below.
    pub(super) rising: bool,
    /// Where each tick present of the longest level ought to end: its number, and s as in [`ends_of`].
    longest_ends: Vec<(i32, f64)>,
    /// Ticks present of the longest level that reach clearly beyond the next one, wherever they end.
    reaching: usize,
    /// Whether ticks of the longest level whose length agrees stand at even and at odd multiples of the period.
    of_both_parities: bool,
}

/// Lengths that tell levels apart: a tick's end is placed to about a pixel; the frame's parabola leaves another.
fn end_sigma(row: &TickRow) -> f64 {
    (0.04 * row.lattice.step).max(1.2)
}

/// Every pattern at its best phase, best first.
fn readings(row: &TickRow) -> Vec<Reading> {
    let ends = ends_of(row);
    let present = present_of(row);
    let sigma = end_sigma(row);
    let mut all: Vec<Reading> = Pattern::ALL
        .iter()
        .filter_map(|pattern| {
            (0..pattern.period())
                .filter_map(|phase| lay(*pattern, phase, &ends, &present, sigma))
                .min_by(|a, b| key(a).total_cmp(&key(b)))
        })
        .collect();
    all.sort_by(|a, b| key(a).total_cmp(&key(b)));
    all
}

/// The same row with both longest levels taken for one.
fn halved_less_often(row: &TickRow, reading: &Reading, halvings: u32) -> Option<Reading> {
    let pattern = Pattern::Binary(halvings);
    lay(pattern, reading.phase.rem_euclid(pattern.period()), &ends_of(row), &present_of(row), end_sigma(row))
}

/// Loss with a price for levels: a pattern of more lengths fits a little better by chance, and one whose lengths do not
/// rise is not that pattern.
fn key(r: &Reading) -> f64 {
    r.loss + 0.004 * r.pattern.levels() as f64 + if r.rising { 0.0 } else { 1.0 }
}

/// Fits one length per level and a parabola over the row (perspective, lens, a frame not quite along the feet).
///
/// Numerals that touch make some of the longest ticks longer, each by its own stroke: their mean is nobody's length, so that
/// level starts from where most of its ends agree.
fn lay(pattern: Pattern, phase: i32, ends: &[(i32, f64)], present: &[(i32, f64)], sigma: f64) -> Option<Reading> {
    let levels = pattern.levels();
    let unknowns = levels + 2;
    if ends.len() < levels + 3 {
        return None;
    }
    let low = f64::from(ends.first()?.0);
    let high = f64::from(ends.last()?.0);
    let (middle, reach) = ((low + high) / 2.0, ((high - low) / 2.0).max(1.0));
    let longest = levels - 1;
    let bow = |solution: &DVector<f64>, n: f64| {
        let t = (n - middle) / reach;
        solution[levels] * t + solution[levels + 1] * t * t
    };
    let mut weights = vec![1.0; ends.len()];
    let mut solution = DVector::<f64>::zeros(unknowns);
    let mut residuals = vec![0.0; ends.len()];
    // From lenient to strict, so that a few ends cut by yarn do not decide the lengths.
    for cut in [f64::INFINITY, 24.0, 8.0, 4.0, 4.0] {
        let mut normal = DMatrix::<f64>::zeros(unknowns, unknowns);
        let mut right = DVector::<f64>::zeros(unknowns);
        for (i, (n, s)) in ends.iter().enumerate() {
            let t = (f64::from(*n) - middle) / reach;
            let level = pattern.level(n - phase);
            let terms = [(level, 1.0), (levels, t), (levels + 1, t * t)];
            for (a, ta) in terms {
                right[a] += weights[i] * ta * s;
                for (b, tb) in terms {
                    normal[(a, b)] += weights[i] * ta * tb;
                }
            }
        }
        for i in 0..unknowns {
            // Keeps levels that were not seen, and a parabola that nothing speaks for, at zero.
            normal[(i, i)] += 1e-6;
        }
        solution = normal.cholesky()?.solve(&right);
        for (i, (n, s)) in ends.iter().enumerate() {
            residuals[i] = s - solution[pattern.level(n - phase)] - bow(&solution, f64::from(*n));
        }
        let of_longest = ends.iter().zip(&residuals).filter(|((n, _), _)| pattern.level(n - phase) == longest);
        let agreed = most_agree(&of_longest.map(|(_, r)| *r).collect::<Vec<_>>(), 3.0 * sigma);
        for (i, (n, _)) in ends.iter().enumerate() {
            let r = (residuals[i] / (cut * sigma)).abs();
            weights[i] = if longest > 0 && pattern.level(n - phase) == longest {
                if (residuals[i] - agreed).abs() < 3.0 * sigma { 1.0 } else { 0.0 }
            } else if cut.is_infinite() {
                1.0
            } else if r < 1.0 {
                (1.0 - r * r).powi(2)
            } else {
                0.0
            };
        }
    }
    let loss = residuals.iter().map(|r| ((r / sigma).powi(2) / 9.0).min(1.0)).sum::<f64>() / ends.len() as f64;
    let mut seen = vec![0usize; levels];
    for ((n, _), r) in ends.iter().zip(&residuals) {
        if r.abs() < 3.0 * sigma {
            seen[pattern.level(n - phase)] += 1;
        }
    }
    let lengths: Vec<f64> =
        (0..levels).map(|l| if seen[l] > 0 { solution[l] - solution[0] } else { f64::NAN }).collect();
    let rising = seen.iter().all(|n| *n > 0) && lengths.windows(2).all(|w| w[1] - w[0] > 3.0 * sigma);
    let mut count = vec![0usize; levels];
    let mut reaching = 0;
    let mut longest_ends = Vec::new();
    for (n, s) in present {
        let level = pattern.level(n - phase);
        count[level] += 1;
        if level == longest {
            longest_ends.push((*n, solution[level] + bow(&solution, f64::from(*n))));
        }
        let beyond_next = level.checked_sub(1).map(|l| solution[l] + bow(&solution, f64::from(*n)) + 3.0 * sigma);
        reaching += usize::from(level == longest && beyond_next.is_some_and(|b| *s > b));
    }
    let of_parity = |parity: i32| {
        ends.iter().zip(&residuals).any(|((n, _), r)| {
            let multiple = (n - phase).div_euclid(pattern.period());
            pattern.level(n - phase) == longest && r.abs() < 3.0 * sigma && multiple.rem_euclid(2) == parity
        })
    };
    let of_both_parities = of_parity(0) && of_parity(1);
    Some(Reading {
        pattern,
        phase,
        loss,
        lengths,
        seen,
        present: count,
        rising,
        longest_ends,
        reaching,
        of_both_parities,
    })
}

impl Reading {
    /// Whether another reading can stand beside this one no more: this one, though too little of it may be in view to accept it, has
    /// the lengths of a tenth of the ticks right that the other has wrong, and of four at least, as many as it may have levels more.
    fn refutes(&self, other: &Self) -> bool {
        let ticks = self.present.iter().sum::<usize>() as f64;
        let less = other.loss - self.loss;
        self.rising && less > 0.1 && less * ticks > 4.0
    }

    /// Whether lengths of three kinds and more come again and again, hardly one of them wrong: then there need be no clean ground
    /// between ticks, as between those that are as wide as their gaps, or engraved with bright burrs.
    fn is_plain_to_see(&self) -> bool {
        self.lengths.len() >= 3 && self.loss < 0.15 && self.seen.last().is_some_and(|longest| *longest >= 2)
    }

    /// s where a longest tick ends, in the row's frame: what is seen, or where the others of its level end if that is nearer,
    /// for numerals may touch it.
    pub(super) fn end_of_longest(&self, row: &TickRow, tick: &Tick) -> Option<f64> {
        let (_, ought) = self.longest_ends.iter().find(|(n, _)| *n == tick.number)?;
        tick.tip.map(|tip| tip.min(ought / even_scale(row, tick.number)))
    }
}

/// The value that most others lie within `near` of, the smallest of several such; 0 without any.
fn most_agree(values: &[f64], near: f64) -> f64 {
    let company = |v: f64| values.iter().filter(|o| (**o - v).abs() < near).count();
    let best = values.iter().copied().max_by(|a, b| company(*a).cmp(&company(*b)).then(b.total_cmp(a)));
    best.unwrap_or(0.0)
}

/// Numbers of the ticks, and how far each was followed, at one scale as in [`ends_of`].
fn present_of(row: &TickRow) -> Vec<(i32, f64)> {
    row.ticks.iter().map(|t| (t.number, t.tip.unwrap_or(t.seen.1) * even_scale(row, t.number))).collect()
}

/// Ends against the feet, at one scale: where the step along the ruler changes with the distance Z from the camera as
/// 1 / Z^2 (tilt along the ruler), lengths across it change as 1 / Z.
fn ends_of(row: &TickRow) -> Vec<(i32, f64)> {
    row.ticks.iter().filter_map(|t| t.tip.map(|s| (t.number, s * even_scale(row, t.number)))).collect()
}

fn even_scale(row: &TickRow, number: i32) -> f64 {
    // A tilt of 20 degrees close up changes the step by less than a factor of 2 from end to end.
    (row.lattice.step / row.lattice.curve.step(f64::from(number)).abs().max(1e-6)).clamp(0.5, 2.0).sqrt()
}

/// Ticks on either side of a gap (yarn lies there) may be numbered one or two off: moves each run by what makes its
/// lengths agree with the pattern of the longest run, and drops runs of which several moves would do.
pub(super) fn settle_runs(row: &mut TickRow, reading: &Reading) {
    let mut runs: Vec<Vec<usize>> = Vec::new();
    for (i, tick) in row.ticks.iter().enumerate() {
        match runs.last_mut() {
            Some(run) if run.last().is_some_and(|j| tick.number - row.ticks[*j].number <= SURE_GAP) => run.push(i),
            _ => runs.push(vec![i]),
        }
    }
    let Some(main) = (0..runs.len()).max_by_key(|i| (runs[*i].len(), std::cmp::Reverse(*i))) else { return };
    let sigma = end_sigma(row);
    let mut shifts = vec![Some(0); runs.len()];
    let order = (0..main).rev().chain(main + 1..runs.len());
    for r in order {
        // The runs settled so far, and this one, moved.
        let loss_of = |shift: i32| {
            let mut ends = Vec::new();
            for (k, run) in runs.iter().enumerate() {
                let settled = k == main || (k == r) || (main.min(r) < k && k < main.max(r));
                let by = if k == r { Some(shift) } else { shifts[k] };
                let Some(by) = by.filter(|_| settled) else { continue };
                ends.extend(run.iter().filter_map(|i| {
                    row.ticks[*i].tip.map(|s| (row.ticks[*i].number + by, s * even_scale(row, row.ticks[*i].number)))
                }));
            }
            // Loss of all of them, not the mean, so that it counts ticks.
            lay(reading.pattern, reading.phase, &ends, &[], sigma).map_or(f64::MAX, |l| l.loss * ends.len() as f64)
        };
        let mut losses: Vec<(f64, i32)> = [0, 1, -1, 2, -2].into_iter().map(|s| (loss_of(s), s)).collect();
        losses.sort_by(|a, b| a.0.total_cmp(&b.0));
        // Two ticks must speak for one move against the next best.
        shifts[r] = (losses[1].0 - losses[0].0 > 1.5).then_some(losses[0].1);
    }
    let mut kept = Vec::new();
    for (run, shift) in runs.iter().zip(&shifts) {
        let Some(shift) = shift else { continue };
        kept.extend(run.iter().map(|i| {
            let mut tick = row.ticks[*i].clone();
            tick.number += shift;
            tick
        }));
    }
    row.ticks = kept;
}

/// Widest gap between ticks, in steps, over which the next one's number is beyond doubt: the local step is known to 2 %.
const SURE_GAP: i32 = 5;

/// What a row was read as.
#[derive(Debug, Clone)]
pub(super) struct Division {
    /// The pattern that its lengths show.
    pub(super) reading: Reading,
    /// The numerals beyond its longest ticks.
    pub(super) numerals: Option<Numerals>,
    /// What was read of them.
    pub(super) series: Option<Series>,
    /// The unit, where it can be told.
    pub(super) unit: Option<RulerUnit>,
    /// mm from tick to tick, where the unit can be told.
    pub(super) mm_per_step: Option<f64>,
}

/// Sizes of a ruler's print against its step, as far as they were seen; each in steps.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct PrintSizes {
    /// Width of a tick.
    pub(super) stroke: Option<f64>,
    /// Length of the shortest ticks.
    pub(super) shortest: Option<f64>,
    /// How much longer the longest are than the next.
    pub(super) rise: Option<f64>,
    /// Height of the numerals.
    pub(super) numeral: Option<f64>,
}

impl PrintSizes {
    fn of(row: &TickRow, reading: &Reading, numerals: Option<Numerals>) -> Self {
        let step = row.lattice.step;
        let whole: Vec<f64> = row
            .ticks
            .iter()
            .filter(|t| reading.pattern.level(t.number - reading.phase) == 0)
            .filter_map(|t| Some((t.tip? - t.foot?) / step))
            .collect();
        let rise = match reading.lengths.as_slice() {
            [.., next, longest] => Some((longest - next) / step).filter(|r| *r > 0.0),
            _ => None,
        };
        Self {
            stroke: Some(row.width / step),
            shortest: if whole.len() >= 3 { median(&whole) } else { None },
            rise,
            numeral: numerals.map(|n| n.height / step),
        }
    }

    /// Logarithm of how likely these sizes are if a step is `mm`. Rulers are made for the eye, whatever they divide:
    /// strokes of 0.2 mm, short ticks of 3 mm, steps of 2 mm between lengths, numerals of 2.8 mm, give or take a factor of
    /// 1.5 (common practice, no source; capped, so that one odd ruler cannot decide alone).
    pub(super) fn likelihood(&self, mm: f64) -> f64 {
        let part = |seen: Option<f64>, usual_mm: f64, factor: f64| {
            seen.map_or(0.0, |steps| {
                let z = (steps * mm / usual_mm).ln() / factor.ln();
                -(0.5 * z * z).min(4.0)
            })
        };
        part(self.stroke, 0.2, 1.5)
            + part(self.shortest, 3.0, 1.6)
            + part(self.rise, 2.0, 1.7)
            + part(self.numeral, 2.8, 1.4)
    }
}

/// Tells what the row divides. `stated` overrides the evidence where the pattern allows it.
pub(super) fn divide(rgb: &Raster<[u8; 3]>, row: &mut TickRow, stated: Option<RulerUnit>) -> Option<Division> {
    let mut readings = readings(row);
    if let Some(best) = readings.iter().find(|r| r.rising) {
        settle_runs(row, best);
        readings = self::readings(row);
    }
    let clean = row.is_clean(rgb);
    let accepted = readings
        .iter()
        .find(|r| acceptable(r, &|| numerals::on_the_only_longest(rgb, row, r)) && (clean || r.is_plain_to_see()))
        .filter(|r| !readings.iter().any(|other| other.refutes(r)));
    let mut best = accepted.or(readings.first())?.clone();
    while let (Pattern::Binary(halvings @ 3..), true) = (best.pattern, accepted.is_some())
        && numerals::on_the_next_level_too(rgb, row, &best)
        && let Some(fewer) = halved_less_often(row, &best, halvings - 1)
    {
        best = fewer;
    }
    let numerals = numerals::measure(rgb, row, &best);
    let series = if accepted.is_some() || (clean && row.ticks.len() >= FEWEST_NUMBERED) {
        numbers::read(rgb, row, &best)
    } else {
        None
    };
    let settled = series.is_some_and(|s| s.agreeing >= numbers::SETTLED);
    // Bars of one or two lengths are found on much that is no ruler: numerals must stand by them. Where lengths tell nothing
    // at all, the numerals must tell it.
    let told = match best.pattern {
        _ if accepted.is_none() => series.is_some_and(|s| s.agreeing >= SERIES_ALONE),
        Pattern::Plain | Pattern::Alternate | Pattern::Fifths => numerals.is_some() || settled,
        _ => true,
    };
    if !told {
        return None;
    }
    let sizes = PrintSizes::of(row, &best, numerals);
    // Candidates: mm from tick to tick, unit, and how much likelier the pattern alone makes it (logarithm).
    let mut candidates: Vec<(f64, RulerUnit, f64)> = match best.pattern {
        _ if accepted.is_none() => STEPS.to_vec(),
        // Fiftieths of an inch; millimetres whose fives and tens are alike.
        Pattern::Fifths => {
            vec![(1.0, RulerUnit::Mm, 0.0), (0.508, RulerUnit::Inch, 0.0), (2.54, RulerUnit::Inch, -3.0)]
        }
        // Tenths of an inch and hundredths without raised ticks look the same as millimetres: rarer, but made.
        Pattern::Decimal => {
            vec![(1.0, RulerUnit::Mm, 0.0), (2.54, RulerUnit::Inch, -3.0), (0.254, RulerUnit::Inch, -4.0)]
        }
        Pattern::HalvedDecimal => vec![(0.5, RulerUnit::Mm, 0.0), (1.27, RulerUnit::Inch, -6.0)],
        Pattern::Quartered => vec![(25.4 / 16.0, RulerUnit::Inch, 0.0)],
        Pattern::RaisedDecimal => vec![(0.254, RulerUnit::Inch, 0.0)],
        // Some rulers stop lengthening at the half or quarter inch, but these are not numbered.
        Pattern::Binary(halvings) => {
            let step = 25.4 / f64::from(1u32 << halvings);
            let numbered = if numerals.is_some_and(|n| n.on_neighbours) { -2.0 } else { 0.0 };
            let part = |parts: f64, rarity: f64| (step / parts, RulerUnit::Inch, rarity + numbered);
            vec![(step, RulerUnit::Inch, 0.0), part(2.0, -2.0), part(4.0, -3.0)]
        }
        // Centimetres and their halves, inches and their halves, tenths of an inch.
        Pattern::Alternate => {
            vec![(5.0, RulerUnit::Mm, 0.0), (12.7, RulerUnit::Inch, 0.0), (1.27, RulerUnit::Inch, -2.0)]
        }
        Pattern::Plain => vec![
            (10.0, RulerUnit::Mm, 0.0),
            (25.4, RulerUnit::Inch, 0.0),
            (2.54, RulerUnit::Inch, -2.0),
            (1.0, RulerUnit::Mm, -2.0),
            (5.0, RulerUnit::Mm, -4.0),
            (12.7, RulerUnit::Inch, -4.0),
        ],
    };
    // Two numbers alone are as the series has them by chance once in twenty times.
    for (mm, unit, likelier) in &mut candidates {
        if series.is_some_and(|s| !is_numbered_so(*mm, *unit, s.ticks)) {
            *likelier -= if settled { f64::INFINITY } else { 20f64.ln() };
        }
    }
    candidates.retain(|(.., likelier)| likelier.is_finite());
    let mut ranked: Vec<(f64, RulerUnit, f64)> = candidates
        .into_iter()
        .filter(|(_, unit, _)| stated.is_none_or(|s| s == *unit))
        .map(|(mm, unit, prior)| (mm, unit, prior + sizes.likelihood(mm)))
        .collect();
    ranked.sort_by(|a, b| b.2.total_cmp(&a.2));
    // Odds of 50 to 1 and more, or nothing is claimed.
    let clear = match ranked.as_slice() {
        [only] => Some(*only),
        [first, second, ..] if first.2 - second.2 > 50f64.ln() => Some(*first),
        _ => None,
    };
    Some(Division { reading: best, numerals, series, unit: clear.map(|c| c.1), mm_per_step: clear.map(|c| c.0) })
}

/// Fewest ticks beside which numerals are looked for where lengths tell nothing: a centimetre's worth, or the looking costs more
/// than it finds.
const FEWEST_NUMBERED: usize = 10;

/// Fewest numbers of a series that settle a division of which the lengths tell nothing.
const SERIES_ALONE: usize = 4;

/// Steps that rulers have, and how common they are (logarithm; common practice, no source).
const STEPS: [(f64, RulerUnit, f64); 12] = [
    (1.0, RulerUnit::Mm, 0.0),
    (0.5, RulerUnit::Mm, -1.0),
    (2.0, RulerUnit::Mm, -4.0),
    (5.0, RulerUnit::Mm, -2.0),
    (10.0, RulerUnit::Mm, -2.0),
    (25.4 / 8.0, RulerUnit::Inch, -1.0),
    (25.4 / 16.0, RulerUnit::Inch, -1.0),
    (25.4 / 32.0, RulerUnit::Inch, -1.0),
    (2.54, RulerUnit::Inch, -3.0),
    (0.508, RulerUnit::Inch, -3.0),
    (0.254, RulerUnit::Inch, -3.0),
    (25.4, RulerUnit::Inch, -3.0),
];

/// Whether a ruler with this step may be numbered once in so many ticks: centimetres or millimetres; inches, their tenths, or
/// the 32nds and 64ths one by one.
fn is_numbered_so(mm: f64, unit: RulerUnit, ticks: f64) -> bool {
    let number = mm * ticks;
    let is = |due: f64| (number / due - 1.0).abs() < 0.01;
    match unit {
        RulerUnit::Mm => is(10.0) || is(1.0),
        RulerUnit::Inch => is(25.4) || is(2.54) || is(25.4 / 32.0) || is(25.4 / 64.0),
    }
}

/// Whether the row shows this pattern at all: ends agree with it, and its period was seen, or its one longest tick is numbered.
/// `numbered` says that of it: it looks at the photo, so it is asked last.
fn acceptable(r: &Reading, numbered: &dyn Fn() -> bool) -> bool {
    let longest = r.seen.last().copied().unwrap_or(0);
    let above: usize = r.seen.iter().skip(1).sum();
    // A quarter of the ends may be cut by yarn, worn or blurred.
    let agrees = r.loss < 0.3 && r.rising;
    // A level most of whose ticks end elsewhere, or nowhere in sight, is another level; but numerals that touch the longest
    // may hide where they end. Then three quarters must be longer than the next level's, and not every other one only: halves
    // and wholes of an inch alternate.
    let hidden = r.of_both_parities && r.present.last().is_some_and(|present| 4 * r.reaching >= 3 * *present);
    let own = |level: usize| 2 * r.seen[level] > r.present[level] || (level + 1 == r.seen.len() && hidden);
    let own = (1..r.seen.len()).all(own);
    let repeated = match r.pattern {
        Pattern::Plain => longest >= 5,
        // One longest tick could be an inch or a half; two at the right distance cannot, nor can one that alone is numbered.
        Pattern::Binary(_) | Pattern::Quartered => longest >= 2 || (longest == 1 && agrees && own && numbered()),
        Pattern::Fifths => longest >= 3 && 3 * r.seen[0] >= r.seen[1],
        Pattern::Alternate => longest >= 2 && r.seen[0] >= 2,
        _ => longest >= 1 && above >= 3,
    };
    agrees && own && repeated
}
