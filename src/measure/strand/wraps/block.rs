//! The block of parallel strands, and coordinates in it: `u` across the strands, `v` along them.

use super::super::skein::follow::Path;
use crate::base::colour::luma;
use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;
use crate::base::stats::median;

/// Largest angle between strands of one block, radians: wraps wound by hand slant by a few degrees.
const PARALLEL_RAD: f64 = 0.12;

/// Shortest strand of a block, part of its longest.
const SHORTEST_PART: f64 = 0.35;

/// Fewest neighbouring strands to begin with.
const FEWEST: usize = 3;

/// Most paths tried as the middle of a block.
const MOST_SEEDS: usize = 12;

/// Least difference of colour between yarn and ground at the flanks, code values: above grain and shading of either.
pub(super) const LEAST_COLOUR: f64 = 16.0;

/// Times that neighbouring wraps' median difference from which on a pitch is no more yarn: of a normal distribution, whose median
/// is 0.67 standard deviations, one in a thousand lies beyond.
const WRAPS_DIFFER: f64 = 5.0;

/// Difference of colour that is no more yarn however much its wraps differ, code values: three times the least.
pub(super) const MOST_COLOUR: f64 = 48.0;

/// Wraps over which the light hardly changes.
const RECENT: usize = 5;

/// A straight strand of the block: `u = at + slope v`.
#[derive(Debug, Clone, Copy)]
struct Line {
    at: f64,
    slope: f64,
    from: f64,
    to: f64,
    width: f64,
    misfit: f64,
}

/// Parallel strands side by side.
#[derive(Debug, Clone)]
pub(super) struct Block {
    pub(super) origin: Point<Image>,
    pub(super) along: Point<Image>,
    /// Least and greatest `u` of the strands found, or where the yarn's colour ends.
    pub(super) flanks: (f64, f64),
    /// Extent along the strands, `v`.
    pub(super) ends: (f64, f64),
    /// Median distance between neighbours, px.
    pub(super) pitch_px: f64,
    /// Slope of the strands, `du/dv = slope.0 + slope.1 u`: they may fan out (perspective).
    pub(super) slope: (f64, f64),
}

impl Block {
    /// The largest block; `None` without one.
    pub(super) fn of(paths: &[Path]) -> Option<Self> {
        // The paths that cover most are tried as the block's middle.
        let mut seeds: Vec<&Path> = paths.iter().collect();
        let cover = |p: &Path| p.length_px() * p.width_px * p.contrast;
        seeds.sort_by(|a, b| cover(b).total_cmp(&cover(a)));
        let mut best: Option<(f64, Self)> = None;
        for seed in seeds.into_iter().take(MOST_SEEDS) {
            if let Some((worth, block)) = Self::around(paths, seed)
                && best.as_ref().is_none_or(|(w, _)| worth > *w)
            {
                best = Some((worth, block));
            }
        }
        best.map(|(_, block)| block)
    }

    fn around(paths: &[Path], seed: &Path) -> Option<(f64, Self)> {
        let (first, last) = (*seed.points.first()?, *seed.points.last()?);
        let (origin, along) = (first.lerp(last, 0.5), (last - first).unit()?);
        let frame = |p: Point<Image>| ((p - origin).dot(along.quarter_turn()), (p - origin).dot(along));
        let mut lines: Vec<Line> = paths
            .iter()
            .filter(|p| p.width_px < 1.5 * seed.width_px && p.width_px * 1.5 > seed.width_px)
            .filter_map(|p| line(p, &frame))
            .filter(|l| l.slope.abs() < PARALLEL_RAD && l.misfit < 0.25 * seed.width_px && l.from < 0.0 && l.to > 0.0)
            .collect();
        lines.retain(|l| l.to - l.from >= SHORTEST_PART * seed.length_px());
        lines.sort_by(|a, b| a.at.total_cmp(&b.at));
        // Two paths over one strand (found at two sizes): the longer stays.
        let mut apart: Vec<Line> = Vec::new();
        for l in lines {
            match apart.last_mut() {
                Some(before) if l.at - before.at < 0.5 * seed.width_px => {
                    if l.to - l.from > before.to - before.from {
                        *before = l;
                    }
                }
                _ => apart.push(l),
            }
        }
        // The run of neighbours around the seed; one strand in between may have been missed.
        let near = |a: &Line, b: &Line| b.at - a.at < 2.6 * seed.width_px;
        let middle = apart.iter().position(|l| l.at.abs() < 0.5 * seed.width_px)?;
        let mut start = middle;
        while start > 0 && near(&apart[start - 1], &apart[start]) {
            start -= 1;
        }
        let mut end = middle + 1;
        while end < apart.len() && near(&apart[end - 1], &apart[end]) {
            end += 1;
        }
        let run = apart.get(start..end)?;
        if run.len() < FEWEST {
            return None;
        }
        let gaps: Vec<f64> = run.windows(2).map(|p| p[1].at - p[0].at).collect();
        let pitch = median(&gaps)?;
        // Side by side, touching: neighbours are hardly farther apart than they are wide.
        let width = median(&run.iter().map(|l| l.width).collect::<Vec<_>>())?;
        if pitch > 1.35 * width || pitch < 0.6 * width {
            return None;
        }
        let ends = (
            median(&run.iter().map(|l| l.from).collect::<Vec<_>>())?,
            median(&run.iter().map(|l| l.to).collect::<Vec<_>>())?,
        );
        let block = Self {
            origin,
            along,
            flanks: (run.first()?.at, run.last()?.at),
            ends,
            pitch_px: pitch,
            slope: fit(&run.iter().map(|l| (l.at, l.slope)).collect::<Vec<_>>()),
        };
        let worth = run.iter().map(|l| l.to - l.from).sum::<f64>() * pitch;
        Some((worth, block))
    }

    /// The block with its flanks where the yarn's colour ends. Strands whose course was not found lie beyond one that was, and
    /// the run of neighbours then ends in the middle of the yarn.
    pub(super) fn grown(mut self, picture: &Raster<[u8; 3]>) -> Self {
        let inner = ((self.flanks.1 - self.flanks.0) / self.pitch_px).round().max(1.0) as i32;
        let known: Vec<[f64; 3]> =
            (0..=inner).filter_map(|k| self.colour(picture, self.flanks.0 + f64::from(k) * self.pitch_px)).collect();
        if known.len() < 2 {
            return self;
        }
        let spread = median(&known.windows(2).map(|pair| apart(&pair[0], &pair[1])).collect::<Vec<_>>()).unwrap_or(0.0);
        let limit = (WRAPS_DIFFER * spread).clamp(LEAST_COLOUR, MOST_COLOUR);
        let farthest = |outwards: f64, flank: f64, mut last: Vec<[f64; 3]>| {
            let mut at = flank;
            loop {
                let next = at + outwards * self.pitch_px;
                let recent = &last[last.len().saturating_sub(RECENT)..];
                let expected = std::array::from_fn(|c| {
                    median(&recent.iter().map(|colour| colour[c]).collect::<Vec<_>>()).unwrap_or(0.0)
                });
                match self.colour(picture, next) {
                    Some(colour) if apart(&colour, &expected) < limit => last.push(colour),
                    _ => return at,
                }
                at = next;
            }
        };
        let backwards: Vec<[f64; 3]> = known.iter().rev().copied().collect();
        self.flanks = (farthest(-1.0, self.flanks.0, backwards), farthest(1.0, self.flanks.1, known));
        self
    }

    /// Mean colour over a pitch about `u` and the middle half of the block's length, code values; `None` outside the picture.
    fn colour(&self, picture: &Raster<[u8; 3]>, u: f64) -> Option<[f64; 3]> {
        // Every few pixels of a pitch, and enough along it that fibres average out.
        const CELLS: [i32; 2] = [8, 32];
        let (middle, length) = ((self.ends.0 + self.ends.1) / 2.0, self.ends.1 - self.ends.0);
        let mut sum = [0.0f64; 3];
        for i in 0..CELLS[0] {
            for j in 0..CELLS[1] {
                let part = |k: i32, of: i32| (f64::from(k) + 0.5) / f64::from(of) - 0.5;
                let v = middle + 0.5 * length * part(j, CELLS[1]);
                let p = self.image_from_block(u + self.pitch_px * part(i, CELLS[0]) + self.aside(u, v), v);
                let (x, y) = (p.x.round(), p.y.round());
                let inside = x >= 0.0 && y >= 0.0;
                let pixel = inside.then(|| picture.get(x as usize, y as usize)).flatten()?;
                sum.iter_mut().zip(pixel).for_each(|(s, c)| *s += f64::from(c));
            }
        }
        Some(sum.map(|s| s / f64::from(CELLS[0] * CELLS[1])))
    }

    /// Photo coordinates of a point of the block.
    pub(super) fn image_from_block(&self, u: f64, v: f64) -> Point<Image> {
        self.origin + self.along.quarter_turn() * u + self.along * v
    }

    /// Unit vector towards growing `u`.
    pub(super) fn across(&self) -> Point<Image> {
        self.along.quarter_turn()
    }

    /// Mean colour along the wraps, over `reach_px` to either side of `v` (of `most` pixels at most), at `count` places `step` apart from `from` on; `None`
    /// where one lies outside the picture.
    pub(super) fn profile(
        &self,
        picture: &Raster<[u8; 3]>,
        v: f64,
        (reach_px, most): (f64, f64),
        (from, step, count): (f64, f64, usize),
    ) -> Option<Vec<[f64; 3]>> {
        let taps = reach_px.ceil().clamp(4.0, most) as usize;
        (0..count)
            .map(|i| {
                let u = from + i as f64 * step;
                let mut sum = [0.0f64; 3];
                let mut seen = 0.0;
                for k in 0..=taps {
                    let dv = reach_px * (2.0 * k as f64 / taps as f64 - 1.0);
                    let p = self.image_from_block(u + self.aside(u, dv), v + dv);
                    let (x, y) = (p.x.round(), p.y.round());
                    if x >= 0.0
                        && y >= 0.0
                        && let Some(rgb) = picture.get(x as usize, y as usize)
                    {
                        for (s, c) in sum.iter_mut().zip(rgb) {
                            *s += f64::from(c);
                        }
                        seen += 1.0;
                    }
                }
                (seen > 0.0).then(|| sum.map(|s| s / seen))
            })
            .collect()
    }

    /// Where a strand at `u` on the line at `v` is on the middle line.
    pub(super) fn at_middle(&self, u: f64, v: f64) -> f64 {
        (u - self.slope.0 * v) / (1.0 + self.slope.1 * v)
    }

    /// How far a strand at `u` moves aside over `dv` along.
    pub(super) fn aside(&self, u: f64, dv: f64) -> f64 {
        (self.slope.0 + self.slope.1 * u) * dv
    }
}

/// Brightness of colours, code values.
pub(super) fn light(colours: &[[f64; 3]]) -> Vec<f64> {
    colours.iter().map(|c| f64::from(luma(c.map(|v| v.round() as u8)))).collect()
}

/// Difference of two colours.
pub(super) fn apart(a: &[f64; 3], b: &[f64; 3]) -> f64 {
    a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt()
}

/// Least-squares line through a path.
fn line(path: &Path, frame: &impl Fn(Point<Image>) -> (f64, f64)) -> Option<Line> {
    let points: Vec<(f64, f64)> = path.points.iter().map(|p| frame(*p)).map(|(u, v)| (v, u)).collect();
    let (at, slope) = fit(&points);
    let from = points.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
    let to = points.iter().map(|p| p.0).fold(f64::NEG_INFINITY, f64::max);
    let misfit = points.iter().map(|(v, u)| (u - at - slope * v).powi(2)).sum::<f64>() / points.len().max(1) as f64;
    (to > from).then_some(Line { at, slope, from, to, width: path.width_px, misfit: misfit.sqrt() })
}

/// Intercept and slope of y over x by least squares; slope 0 where all x are the same.
pub(super) fn fit(points: &[(f64, f64)]) -> (f64, f64) {
    let n = points.len().max(1) as f64;
    let (mx, my) = (points.iter().map(|p| p.0).sum::<f64>() / n, points.iter().map(|p| p.1).sum::<f64>() / n);
    let sxx = points.iter().map(|p| (p.0 - mx).powi(2)).sum::<f64>();
    let sxy = points.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum::<f64>();
    let slope = if sxx > 0.0 { sxy / sxx } else { 0.0 };
    (my - slope * mx, slope)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Stripes of 10 px from `from` to `to`, on pale ground. Truth: the drawing.
    fn wound(from: usize, to: usize) -> Raster<[u8; 3]> {
        let mut picture = Raster::filled(400, 200, [220, 220, 215]);
        for y in 0..200 {
            for x in from..to {
                picture.set(x, y, if x % 10 < 2 { [30, 20, 20] } else { [150, 70, 60] });
            }
        }
        picture
    }

    fn block(flanks: (f64, f64)) -> Block {
        Block {
            origin: Point::new(200.0, 100.0),
            along: Point::new(0.0, 1.0),
            flanks,
            ends: (-60.0, 60.0),
            pitch_px: 10.0,
            slope: (0.0, 0.0),
        }
    }

    #[test]
    fn a_block_grows_to_the_yarns_ends_and_no_further() {
        // `u` runs to the left here: a quarter turn from downwards.
        let grown = block((-25.0, 25.0)).grown(&wound(100, 350));
        assert!((grown.flanks.0 + 145.0).abs() <= 10.0 && (grown.flanks.1 - 95.0).abs() <= 10.0, "{:?}", grown.flanks);
    }

    #[test]
    fn a_block_ends_at_the_pictures_border() {
        let grown = block((-25.0, 25.0)).grown(&wound(0, 400));
        assert!(grown.flanks.0 >= -200.0 && grown.flanks.1 <= 200.0, "{:?}", grown.flanks);
        assert!(grown.flanks.0 < -150.0 && grown.flanks.1 > 150.0, "{:?}", grown.flanks);
    }
}
