//! A skein as it lies: many strands that touch and cross. The clean stretches are found and given as pieces.
//!
//! Steps: a sparse look at the texture (is the picture full of it?); strands between two gaps in every direction at
//! every size (`ridges`); linked to paths (`follow`); laid straight, both creases followed (`lay`); the cleanest run of
//! each judged (`clean`); the best ones that do not overlap measured at full resolution (`stretch`).

mod clean;
mod crease;
pub(super) mod follow;
mod lay;
pub(super) mod levels;
pub(super) mod ridges;
mod sense;
mod stretch;
pub(super) mod texture;

use super::Strand;
use crate::base::geometry::{Image, Point, Region};
use crate::base::raster::Raster;
use clean::{Clean, cleanest};
use follow::Path;
use lay::Laid;
pub(super) use lay::smoothed;
use levels::Level;
use rayon::prelude::*;
use texture::Texture;

/// Part of the picture that is full of structure in a photo of a skein, and the relative deviation that counts as
/// structure: twice the grain of a dark phone picture. A card with a strand on it has less than half.
const FULL_PART: f64 = 0.6;
/// See [`FULL_PART`].
const FULL_DEVIATION: f32 = 0.08;

/// Least quality of a stretch (see [`clean::cleanest`]): contrast 0.3, everywhere seen, width steady to 15 %.
const LEAST_QUALITY: f64 = 0.2;

/// Narrowest strand taken, px of the photo: under some ten no twist can be read.
const NARROWEST_PX: f64 = 8.0;

/// Most stretches measured; more add time and no certainty.
const MOST: usize = 24;

/// Widths within this factor of the median belong to the same yarn: handspun of 30 % CV stays within it.
const WIDTH_FACTOR: f64 = 1.8;

/// What a picture full of structure holds.
#[derive(Debug, Clone)]
pub(super) enum Lying {
    /// Not full of strands.
    Neither,
    /// A skein; the clean stretches, none where no strand lies clear.
    Skein(Vec<Strand>),
}

#[derive(Debug)]
struct Candidate {
    laid: Laid,
    clean: Clean,
}

impl Candidate {
    fn length_widths(&self) -> f64 {
        self.clean.run.len() as f64 * self.laid.step_px / self.laid.width_px
    }
    /// Quality first; a longer stretch is surer, with diminishing returns.
    fn score(&self) -> f64 {
        self.clean.quality * self.length_widths().min(16.0).sqrt()
    }
    fn points(&self) -> impl Iterator<Item = Point<Image>> + '_ {
        self.clean.run.clone().step_by(4).filter_map(|i| self.laid.centres.get(i).copied())
    }
}

/// Least relative deviation of a cell inside a block of wraps: their creases darken a tenth of it by a third and more.
const BLOCK_DEVIATION: f32 = 0.05;

/// Most blocks looked at, largest first.
const MOST_BLOCKS: usize = 4;

/// Counts wraps in every block of structure; `None` where there are none.
pub(super) fn wound(picture: &Raster<[u8; 3]>, region: Option<&Region>) -> Option<(Vec<Strand>, super::Wraps)> {
    let texture = Texture::of(picture, region)?;
    let mut blocks = texture.blocks_above(BLOCK_DEVIATION);
    let area = |r: &Region| (r.max.x - r.min.x) * (r.max.y - r.min.y);
    blocks.sort_by(|a, b| area(b).total_cmp(&area(a)));
    blocks.iter().take(MOST_BLOCKS).find_map(|block| {
    if std::env::var("LAYDBG").is_ok() { println!("  block {:?}", block); }
        let levels = levels::levels(picture, Some(block));
        super::wraps::count(picture, &levels, &paths(&levels))
    })
}

/// The clean stretches of a skein; `Neither` (after a few milliseconds) where the picture, or the region, is not full of
/// structure.
pub(super) fn clean_stretches(picture: &Raster<[u8; 3]>, region: Option<&Region>) -> Lying {
    let Some(texture) = Texture::of(picture, region) else { return Lying::Neither };
    if texture.part_above(FULL_DEVIATION) < FULL_PART {
        return Lying::Neither;
    }
    let best = best_candidates(picture, region);
    let mut strands: Vec<Strand> = best
        .par_iter()
        .filter_map(|c| stretch::piece(picture, &c.laid, c.clean.run.clone()))
        .collect();
    let leans: Vec<f64> = strands.iter().map(sense::obliqueness).collect();
    if std::env::var("LAYDBG").is_ok() {
        for (c, l) in best.iter().zip(&leans) {
            println!("  w {:.0} len {:.1} q {:.2} lean {:.2} blur {:.1}", c.laid.width_px, c.length_widths(), c.clean.quality, l, strands[0].blur_px);
        }
        println!("  common {:?}", sense::common(&leans));
    }
    for (i, strand) in strands.iter_mut().enumerate() {
        strand.number = i as u32 + 1;
    }
    match sense::common(&leans) {
        Some((lean, times)) if lean.abs() > 0.1 && times > 3.0 => Lying::Skein(strands),
        Some(_) if strands.len() >= 6 => Lying::Skein(Vec::new()),
        _ => Lying::Neither,
    }
}

/// Strands followed at every level and both lengths of line, strongest first at each.
pub(super) fn paths(levels: &[Level]) -> Vec<Path> {
    let mut out = Vec::new();
    for level in levels {
        for ridges in ridges::ridges(&level.luma) {
            out.extend(follow::follow(level, &ridges));
        }
    }
    out
}

/// A piece along `points`, of the cleanest run there.
pub(super) fn stretch_along(
    picture: &Raster<[u8; 3]>,
    levels: &[Level],
    points: &[Point<Image>],
    width_px: f64,
) -> Option<Strand> {
    let laid = Laid::of(levels, points, width_px)?;
    let clean = cleanest(&laid)?;
    stretch::piece(picture, &laid, clean.run)
}

/// Whether the pieces carry one common twist.
pub(super) fn twisted(pieces: &[Strand]) -> bool {
    let leans: Vec<f64> = pieces.iter().map(sense::obliqueness).collect();
    sense::common(&leans).is_some_and(|(lean, times)| lean.abs() > 0.1 && times > 3.0)
}
pub(super) fn lean(pieces: &[Strand]) -> Option<(f64, f64)> {
    let leans: Vec<f64> = pieces.iter().map(sense::obliqueness).collect();
    sense::common(&leans)
}

fn best_candidates(picture: &Raster<[u8; 3]>, region: Option<&Region>) -> Vec<Candidate> {
    let t = std::time::Instant::now();
    let levels = levels::levels(picture, region);
    let paths = paths(&levels);
    if std::env::var("LAYDBG").is_ok() { println!("  paths {} {:?}", paths.len(), t.elapsed()); }
    let mut candidates: Vec<Candidate> = paths
        .into_par_iter()
        .filter_map(|path| {
            let laid = Laid::of(&levels, &path.points, path.width_px)?;
            let clean = cleanest(&laid)?;
            (clean.quality >= LEAST_QUALITY && laid.width_px >= NARROWEST_PX).then_some(Candidate { laid, clean })
        })
        .collect();
    candidates.sort_by(|a, b| b.score().total_cmp(&a.score()));
    let mut kept: Vec<Candidate> = Vec::new();
    for candidate in candidates {
        if !overlaps(&candidate, &kept) {
            kept.push(candidate);
        }
    }
    if let Some(width) = common_width(&kept) {
        kept.retain(|c| alike(c.laid.width_px, width));
    }
    kept.truncate(MOST);
    kept
}

fn alike(a: f64, b: f64) -> bool {
    a < WIDTH_FACTOR * b && b < WIDTH_FACTOR * a
}

/// The width whose like cover the largest area, weighted by quality: hairs are many but small, clumps of strands few.
fn common_width(candidates: &[Candidate]) -> Option<f64> {
    let area = |c: &Candidate| c.clean.quality * c.length_widths() * c.laid.width_px.powi(2);
    let like = |width: f64| candidates.iter().filter(|c| alike(c.laid.width_px, width)).map(area).sum::<f64>();
    let widths = candidates.iter().map(|c| c.laid.width_px);
    widths.max_by(|a, b| like(*a).total_cmp(&like(*b)).then(b.total_cmp(a)))
}

/// Whether more than a fifth of a stretch lies on another that was kept.
fn overlaps(candidate: &Candidate, kept: &[Candidate]) -> bool {
    let mine: Vec<Point<Image>> = candidate.points().collect();
    kept.iter().any(|other| {
        let near = 0.45 * candidate.laid.width_px.max(other.laid.width_px);
        let theirs: Vec<Point<Image>> = other.points().collect();
        let on = mine.iter().filter(|p| theirs.iter().any(|q| p.distance(*q) < near)).count();
        5 * on > mine.len()
    })
}
