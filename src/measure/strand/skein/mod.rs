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
pub(super) mod stretch;
pub(super) mod texture;

use super::{Arrangement, Strand, StrandRequest, Strands, Wraps};
use crate::base::geometry::{Image, Point, Region};
use crate::base::raster::Raster;
use crate::figures::words::Reason;
use crate::measure::scale::ScaleFound;
use clean::{Clean, cleanest};
use follow::Path;
use lay::Laid;
pub(super) use lay::smoothed;
use levels::Level;
use rayon::prelude::*;
use stretch::Course;
use texture::Texture;

/// Part of the picture that is full of structure in a photo of a skein: all of it but some ground at the border. One rope
/// across a close-up, or a card on a patterned table, fills less than two thirds.
const FULL_PART: f64 = 0.7;

/// Relative deviation of luma in a cell that counts as structure. Bodies and gaps that differ by a fifth deviate by a
/// tenth; wood grain and paper by half that.
const FULL_DEVIATION: f32 = 0.08;

/// Least quality of a stretch (see [`clean::cleanest`]): contrast 0.3, everywhere seen, width steady to 15 %.
const LEAST_QUALITY: f64 = 0.2;

/// Narrowest strand taken, px of the photo: under some ten no twist can be read.
const NARROWEST_PX: f64 = 8.0;

/// Fewest stretches without a common twist that still say: strands lie here, in a tangle.
const FEWEST_TANGLED: usize = 6;

/// Most stretches measured; more add time and no certainty.
const MOST: usize = 24;

/// Widths within this factor of the median belong to the same yarn: handspun of 30 % CV stays within it.
const WIDTH_FACTOR: f64 = 1.8;

/// What lies in a picture, as far as strands side by side go.
#[derive(Debug, Clone)]
#[expect(clippy::large_enum_variant, reason = "there is one of it, for a moment")]
pub(super) enum Lying {
    /// Nothing of the kind.
    Neither,
    /// Full of strands, none of which lies clear or shows a twist.
    Tangled,
    /// A skein's clean stretches, or wraps.
    Found(Strands),
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

/// Looks for strands that lie side by side, wound or in a skein. A picture that is neither costs a few milliseconds.
pub(super) fn lying(picture: &Raster<[u8; 3]>, scale: &ScaleFound, request: &StrandRequest) -> Lying {
    let region = request.region.as_ref();
    let Some(texture) = Texture::of(picture, region) else { return Lying::Neither };
    if let Some((pieces, wraps)) = wound(picture, &texture, scale) {
        return Lying::Found(strands(Arrangement::Wraps, pieces, Some(wraps), request));
    }
    if texture.part_above(FULL_DEVIATION) < FULL_PART {
        return Lying::Neither;
    }
    let pieces = clean_stretches(picture, region);
    if twisted(&pieces) {
        Lying::Found(strands(Arrangement::Skein, pieces, None, request))
    } else if pieces.len() >= FEWEST_TANGLED {
        Lying::Tangled
    } else {
        Lying::Neither
    }
}

fn strands(
    arrangement: Arrangement,
    mut pieces: Vec<Strand>,
    wraps: Option<Wraps>,
    request: &StrandRequest,
) -> Strands {
    for (i, piece) in pieces.iter_mut().enumerate() {
        piece.number = i as u32 + 1;
        piece.chosen = request.strand.is_none_or(|number| number == piece.number);
    }
    let reason = (!pieces.iter().any(|p| p.chosen)).then(|| super::none_chosen(&pieces, Reason::NoStrand));
    Strands {
        arrangement,
        pieces,
        wraps,
        refused: Vec::new(),
        pointed_at: request.points(),
        coarse: 0.0,
        reason,
        map: None,
    }
}

/// Counts wraps in every block of structure that is not the ruler's own; `None` where there are none.
fn wound(picture: &Raster<[u8; 3]>, texture: &Texture, scale: &ScaleFound) -> Option<(Vec<Strand>, Wraps)> {
    let near = 1.5 * texture.side_px as f64;
    let mut blocks = texture.blocks_above(BLOCK_DEVIATION, &|p| scale.near_tick(p, near));
    let area = |r: &Region| (r.max.x - r.min.x) * (r.max.y - r.min.y);
    blocks.sort_by(|a, b| area(b).total_cmp(&area(a)));
    let by_strands = blocks.iter().take(MOST_BLOCKS).find_map(|block| {
        let levels = levels::levels(picture, Some(block));
        super::wraps::count(picture, &paths(&levels))
    });
    by_strands.or_else(|| super::wraps::on_ruler(picture, scale))
}

/// The clean stretches of a skein, best first.
fn clean_stretches(picture: &Raster<[u8; 3]>, region: Option<&Region>) -> Vec<Strand> {
    best_candidates(picture, region)
        .par_iter()
        .filter_map(|c| stretch::piece(picture, &Course::of(&c.laid, c.clean.run.clone())?))
        .collect()
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

/// Whether the pieces carry one common twist.
pub(super) fn twisted(pieces: &[Strand]) -> bool {
    let leans: Vec<f64> = pieces.iter().map(sense::obliqueness).collect();
    sense::common(&leans).is_some_and(|(lean, times)| lean.abs() > 0.1 && times > 3.0)
}
fn best_candidates(picture: &Raster<[u8; 3]>, region: Option<&Region>) -> Vec<Candidate> {
    let levels = levels::levels(picture, region);
    let paths = paths(&levels);
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
