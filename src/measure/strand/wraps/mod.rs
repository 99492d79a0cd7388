//! Yarn wound side by side on a card or ruler: the wraps counted, each a piece.
//!
//! `block` finds parallel strands side by side, `on_ruler` what hides a ruler's ticks; `across` reads the block's brightness on
//! a line across it and parts it into wraps; `agree` tells which lines see the same wraps, `parted` makes one of them. What
//! carries no twist (ruler ticks, combs, stripes) is none, unless it is wound on the ruler.

mod across;
mod agree;
mod block;
mod on_ruler;
mod parted;

use super::skein::follow::Path;
use super::skein::stretch::{self, Beside, Course};
use super::{LeftOutWhy, Strand, Wraps};
use crate::base::raster::Raster;
use crate::measure::scale::ScaleFound;
use block::Block;
use parted::{Known, Parted};

/// Fewest wraps: two would be two strands, and the distance between first and last centre of three is uncertain to 2 % by
/// the edges alone.
const FEWEST: usize = 4;

/// Counts the wraps among parallel paths; `None` where there is no block of yarn wound side by side with bare ground on
/// both of its flanks.
pub(super) fn count(picture: &Raster<[u8; 3]>, paths: &[Path]) -> Option<(Vec<Strand>, Wraps)> {
    let (pieces, wraps, _) = parted(picture, Block::of(paths)?, Known::ByFlanks)?;
    super::skein::twisted(&pieces).then_some((pieces, wraps))
}

/// Counts the wraps that hide the ticks of the ruler they are wound on, and run right across it: so does no stripe or comb, and
/// the twist need not be seen.
pub(super) fn on_ruler(picture: &Raster<[u8; 3]>, scale: &ScaleFound) -> Option<(Vec<Strand>, Wraps)> {
    let block = on_ruler::block(picture, scale)?;
    let pitch_px = block.pitch_px;
    let (pieces, wraps, width_px) = parted(picture, block, Known::ByRuler)?;
    // Told in two ways that have nothing to do with each other.
    let told = (width_px / pitch_px - 1.0).abs() < PITCHES_DIFFER;
    told.then_some((pieces, Wraps { on_ruler: true, ..wraps }))
}

/// Difference of what repeats best across a block and of its wraps' median width from which on one of them is wrong: one wrap too
/// many in a score is more.
const PITCHES_DIFFER: f64 = 0.04;

/// The block's wraps, each a piece, and their median width, px; `None` where they cannot be told apart.
fn parted(picture: &Raster<[u8; 3]>, found: Block, known: Known) -> Option<(Vec<Strand>, Wraps, f64)> {
    // Variegated yarn may have grown over the ground.
    let of_block = |block: Block| parted::part(picture, &block, known).map(|parted| (block, parted));
    let (block, parted) = of_block(found.clone().grown(picture)).or_else(|| of_block(found))?;
    if parted.wraps() < FEWEST {
        return None;
    }
    let pieces: Vec<Strand> = (0..parted.wraps()).filter_map(|i| piece(picture, &block, &parted, i)).collect();
    // Not every wrap need lie clear, but most must.
    let width_px = parted.median_width()?;
    (2 * pieces.len() >= parted.wraps()).then(|| (pieces, parted.counted(&block), width_px))
}

/// Steps of a wrap's expected course, pitches.
const COURSE_STEP: f64 = 0.1;

/// The wrap `i` measured along the block.
fn piece(picture: &Raster<[u8; 3]>, block: &Block, parted: &Parted, i: usize) -> Option<Strand> {
    let (from, to) = parted.extent();
    let step = COURSE_STEP * block.pitch_px;
    let places: Vec<f64> = (0..=((to - from) / step).floor() as usize).map(|k| from + k as f64 * step).collect();
    let centre = |v: f64| Some(block.image_from_block(parted.centre(i, v)?, v));
    let (first, last) = (centre(from)?, centre(to)?);
    let normal = (last - first).unit()?.quarter_turn();
    let half: Vec<f64> = places.iter().map(|v| Some(parted.width(i, *v)? / 2.0)).collect::<Option<_>>()?;
    let outer = |edge: bool| if edge { Beside::Ground } else { Beside::Strand };
    let course = Course {
        centres: places.iter().map(|v| centre(*v)).collect::<Option<_>>()?,
        normals: vec![normal; places.len()],
        offsets: [half.iter().map(|h| -h).collect(), half],
        step_px: first.distance(last) / ((to - from) / step),
        width_px: block.pitch_px,
        beside: if normal.dot(block.across()) > 0.0 {
            [outer(i == 0), outer(i + 1 == parted.wraps())]
        } else {
            [outer(i + 1 == parted.wraps()), outer(i == 0)]
        },
    };
    let mut strand = stretch::piece(picture, &course)?;
    // Where the yarn bends over the edge of what it is wound on it leaves the plane: a diameter at either end.
    let bend = (block.pitch_px / strand.step_px).ceil() as usize;
    let count = strand.stations.len();
    for (k, station) in strand.stations.iter_mut().enumerate() {
        if k < bend || k + bend >= count {
            station.left_out = Some(LeftOutWhy::CutEnd);
        } else if course.beside.contains(&Beside::Ground) {
            // On the flank there is no crease, and a shadow may lie.
            station.left_out = Some(LeftOutWhy::EdgeUnclear);
        }
    }
    Some(strand)
}
