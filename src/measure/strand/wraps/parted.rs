//! The block parted into wraps: lines across it compared, and where its first and last wrap lie.

use super::super::Wraps;
use super::across::{Across, Between, Profile};
use super::agree::{Agreeing, longest_chain};
use super::block::{Block, fit};
use crate::base::raster::Raster;
use crate::base::stats::{median, standard_deviation};
use nalgebra::{Matrix3, Vector3};

/// Distance between lines, and half the length along the wraps over which each averages, pitches.
const LINE_STEP: f64 = 1.5;

/// Lines where they are as long as they can be: as many as must agree.
const LONG_LINES: f64 = 5.0;

/// Least part of the lines that must tell the same number.
const AGREEING: f64 = 0.6;

/// Lines below which all must: three of four or five easily tell the same wrong number of a yarn whose plies look like wraps.
const FEW_LINES: usize = 6;

/// The block parted into wraps: bound `i` is `u = at + slope v`.
#[derive(Debug, Clone)]
pub(super) struct Parted {
    bounds: Vec<(f64, f64)>,
    /// Standard uncertainty of one bound at the middle, px.
    u_px: f64,
    from: f64,
    to: f64,
}

impl Parted {
    /// Number of wraps.
    pub(super) fn wraps(&self) -> usize {
        self.bounds.len().saturating_sub(1)
    }

    /// Middle of wrap `i` at `v`.
    pub(super) fn centre(&self, i: usize, v: f64) -> Option<f64> {
        let (a, b) = (self.bounds.get(i)?, self.bounds.get(i + 1)?);
        Some((a.0 + b.0) / 2.0 + (a.1 + b.1) / 2.0 * v)
    }

    /// Width of wrap `i` at `v`, from bound to bound.
    pub(super) fn width(&self, i: usize, v: f64) -> Option<f64> {
        let (a, b) = (self.bounds.get(i)?, self.bounds.get(i + 1)?);
        Some(b.0 - a.0 + (b.1 - a.1) * v)
    }

    /// First and last `v` at which the wraps are seen.
    pub(super) fn extent(&self) -> (f64, f64) {
        (self.from, self.to)
    }

    /// The centres on the middle line. Where the first and the last lie is told by all creases together, for plies may hide one
    /// or a shadow shift it.
    pub(super) fn counted(&self, block: &Block) -> Wraps {
        let v = (self.from + self.to) / 2.0;
        // The outermost wraps are taken to be as wide as the others: one in ten wide or narrow, half of it in the centre.
        let flank = 0.1 * block.pitch_px / 2.0;
        let own_u_px = (self.u_px.powi(2) + 2.0 * flank * flank).sqrt();
        let creases: Vec<f64> = self.inner().iter().map(|(at, slope)| at + slope * v).collect();
        let (ends, u_px) = match Course::of(&creases) {
            // Centres lie half a wrap outside the first and the last crease.
            Some(course) => {
                let last = creases.len() as f64 - 0.5;
                (Some((course.at(-0.5), course.at(last))), course.u_ends)
            }
            None => (None, own_u_px),
        };
        let mut centres: Vec<f64> = (0..self.wraps()).filter_map(|i| self.centre(i, v)).collect();
        if let (Some((first, last)), [a, .., b]) = (ends, centres.as_mut_slice()) {
            (*a, *b) = (first, last);
        }
        let slope = median(&self.bounds.iter().map(|bound| bound.1).collect::<Vec<_>>()).unwrap_or(0.0);
        let along = block.image_from_block(slope, 1.0) - block.image_from_block(0.0, 0.0);
        let centres = centres.into_iter().map(|u| block.image_from_block(u, v)).collect();
        Wraps { centres, along, u_px, on_ruler: false }
    }

    /// Median width of the wraps, px.
    pub(super) fn median_width(&self) -> Option<f64> {
        median(&self.bounds.windows(2).map(|pair| pair[1].0 - pair[0].0).collect::<Vec<_>>())
    }

    /// The bounds between two wraps.
    fn inner(&self) -> &[(f64, f64)] {
        self.bounds.get(1..self.bounds.len().saturating_sub(1)).unwrap_or_default()
    }
}

/// What else than its creases tells that a block is one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Known {
    /// Its flanks, and strands followed: every line must tell the same number, by shade alone. Passes side by side, and the ground
    /// between them, seldom do.
    ByFlanks,
    /// The ruler under it.
    ByRuler,
}

/// Parts the block; `None` where its flanks do not stand out from the ground, or the lines do not agree.
pub(super) fn part(picture: &Raster<[u8; 3]>, block: &Block, known: Known) -> Option<Parted> {
    // Longer stretches leave less of the plies, but need straighter wraps.
    let fifth = (block.ends.1 - block.ends.0) / (2.0 * LONG_LINES * block.pitch_px);
    let (steps, between): (&[f64], &[Between]) = match known {
        Known::ByFlanks => (&[LINE_STEP], &[Between::Shade]),
        Known::ByRuler => (&[LINE_STEP, fifth], &[Between::Shade, Between::Ground]),
    };
    steps.iter().filter(|step| **step >= LINE_STEP).find_map(|step| {
        let pitch = block.pitch_px;
        let lines = ((block.ends.1 - block.ends.0) / (step * pitch)).floor() as usize;
        let middle = (block.ends.0 + block.ends.1) / 2.0;
        let profiles: Vec<Profile> = (0..lines)
            .map(|k| middle + (k as f64 - (lines as f64 - 1.0) / 2.0) * step * pitch)
            .filter_map(|v| Profile::at(picture, block, v, step * pitch))
            .collect();
        between.iter().find_map(|between| {
            let found: Vec<Across> = profiles.iter().filter_map(|profile| profile.across(*between)).collect();
            let agreeing = match known {
                Known::ByFlanks => of_one_count(&found)?,
                Known::ByRuler => {
                    let at_middle = |a: &Across| a.creases.iter().map(|u| block.at_middle(*u, a.v)).collect();
                    longest_chain(&found.iter().map(at_middle).collect::<Vec<_>>(), block.pitch_px)
                }
            };
            agreed(block, &found, &agreeing, lines)
        })
    })
}

/// The lines that tell the number which the middle one of them tells.
fn of_one_count(found: &[Across]) -> Option<Vec<Agreeing>> {
    let counts: Vec<f64> = found.iter().map(|across| across.creases.len() as f64).collect();
    let count = median(&counts)?.round() as usize;
    let alike = found.iter().enumerate().filter(|(_, across)| across.creases.len() == count);
    Some(alike.map(|(line, _)| Agreeing { line, shift: 0 }).collect())
}

/// What the agreeing ones of so many lines tell; `None` where they are too few.
fn agreed(block: &Block, found: &[Across], chain: &[Agreeing], lines: usize) -> Option<Parted> {
    let pitch = block.pitch_px;
    let wanted = if lines < FEW_LINES { 1.0 } else { AGREEING };
    if chain.len() < 3 || (chain.len() as f64) < wanted * lines as f64 {
        return None;
    }
    let numbers = |a: &Agreeing| a.shift..a.shift + found[a.line].creases.len() as isize;
    let (first, last) = (chain.iter().map(|a| numbers(a).start).min()?, chain.iter().map(|a| numbers(a).end).max()?);
    let mut bounds = vec![(0.0, 0.0)];
    let mut residuals = Vec::new();
    for number in first..last {
        let place = |a: &Agreeing| {
            let across = &found[a.line];
            Some((across.v, *across.creases.get(usize::try_from(number - a.shift).ok()?)?))
        };
        let points: Vec<(f64, f64)> = chain.iter().filter_map(place).collect();
        // What fewer lines have lies outside the yarn.
        if 2 * points.len() >= chain.len() {
            let line = fit(&points);
            residuals.extend(points.iter().map(|(v, u)| u - line.0 - line.1 * v));
            bounds.push(line);
        }
    }
    bounds.push((0.0, 0.0));
    let u_px = standard_deviation(&residuals)? / (chain.len() as f64).sqrt();
    set_outer(&mut bounds);
    let (from, to) = (found[chain.first()?.line].v - pitch, found[chain.last()?.line].v + pitch);
    Some(Parted { bounds, u_px, from, to })
}

/// Wraps next to the outermost one whose median width it is given: few enough that perspective changes little.
const NEXT: usize = 5;

/// Sets the outermost bounds a median width from the creases next to them. The flanks tell how many wraps there are, but a
/// shadow on the ground beside the last one would widen it.
fn set_outer(bounds: &mut [(f64, f64)]) {
    let n = bounds.len();
    let inner = bounds.get(1..n.saturating_sub(1)).unwrap_or_default();
    let widths: Vec<(f64, f64)> = inner.windows(2).map(|p| (p[1].0 - p[0].0, p[1].1 - p[0].1)).collect();
    let typical = |some: &[(f64, f64)]| {
        let of = |value: fn(&(f64, f64)) -> f64| median(&some.iter().map(value).collect::<Vec<_>>());
        Some((of(|w| w.0)?, of(|w| w.1)?))
    };
    let next = widths.len().min(NEXT);
    if let (Some(first), Some(last)) = (typical(&widths[..next]), typical(&widths[widths.len() - next..])) {
        bounds[0] = (bounds[1].0 - first.0, bounds[1].1 - first.1);
        bounds[n - 1] = (bounds[n - 2].0 + last.0, bounds[n - 2].1 + last.1);
    }
}

/// Creases from which on their course is told: three unknowns and some over.
const FEWEST_CREASES: usize = 8;

/// Neighbouring creases that err together: a wrap pushed aside pushes the next ones, and plies that run with the creases lead
/// several of them astray.
const TOGETHER: f64 = 8.0;

/// Where creases lie by their number: at equal distances on the card, which perspective makes a parabola.
#[derive(Debug)]
struct Course {
    terms: Vector3<f64>,
    middle: f64,
    /// Standard uncertainty of the distance between the outermost centres, px.
    u_ends: f64,
}

impl Course {
    /// By least squares; `None` for few creases.
    fn of(creases: &[f64]) -> Option<Self> {
        let count = creases.len();
        if count < FEWEST_CREASES {
            return None;
        }
        let middle = (count as f64 - 1.0) / 2.0;
        let mut normal = Matrix3::zeros();
        let mut right = Vector3::zeros();
        for (i, u) in creases.iter().enumerate() {
            let terms = powers(i as f64, middle);
            normal += terms * terms.transpose();
            right += terms * *u;
        }
        let mut course = Self { terms: normal.cholesky()?.solve(&right), middle, u_ends: 0.0 };
        let left: f64 = creases.iter().enumerate().map(|(i, u)| (u - course.at(i as f64)).powi(2)).sum();
        let variance = left / (count as f64 - 3.0);
        // At its ends a parabola is known to 9 / n of the variance. The wraps there stray from it by half of it (the mean of two
        // creases).
        course.u_ends = (2.0 * variance * (0.5 + 9.0 * TOGETHER / count as f64)).sqrt();
        Some(course)
    }

    fn at(&self, number: f64) -> f64 {
        self.terms.dot(&powers(number, self.middle))
    }
}

/// 1, x, x squared of a number from the middle, in units of that.
fn powers(number: f64, middle: f64) -> Vector3<f64> {
    let x = (number - middle) / middle;
    Vector3::new(1.0, x, x * x)
}
