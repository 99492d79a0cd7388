//! Yarn wound side by side on a card or ruler: the wraps counted, each a piece.
//!
//! `block` finds parallel strands side by side; `across` reads the block's brightness on several lines across it and parts
//! it into wraps; every line must tell the same number. What carries no twist (ruler ticks, combs, stripes) is none.

mod across;
mod block;

use super::skein;
use super::skein::follow::Path;
use super::skein::levels::Level;
use super::{LeftOutWhy, Strand, Wraps};
use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;
use across::Parted;
use block::Block;

/// Fewest wraps: two would be two strands, and the distance between first and last centre of three is uncertain to 2 % by
/// the edges alone.
const FEWEST: usize = 4;

/// Counts the wraps among parallel paths; `None` where there is no block of yarn wound side by side with bare ground on
/// both of its flanks.
pub(super) fn count(picture: &Raster<[u8; 3]>, levels: &[Level], paths: &[Path]) -> Option<(Vec<Strand>, Wraps)> {
    let block = Block::of(paths)?;
    let parted = across::part(picture, &block)?;
    if parted.wraps() < FEWEST {
        return None;
    }
    let pieces: Vec<Strand> = (0..parted.wraps()).filter_map(|i| piece(picture, levels, &block, &parted, i)).collect();
    // Not every wrap need show its twist or lie clear, but most must.
    if 2 * pieces.len() < parted.wraps() || !skein::twisted(&pieces) {
        return None;
    }
    Some((pieces, parted.counted(&block)))
}

/// The wrap `i` followed along the block.
fn piece(picture: &Raster<[u8; 3]>, levels: &[Level], block: &Block, parted: &Parted, i: usize) -> Option<Strand> {
    let (from, to) = parted.extent(i)?;
    let steps = 24;
    let points: Vec<Point<Image>> = (0..=steps)
        .map(|k| {
            let v = from + (to - from) * f64::from(k) / f64::from(steps);
            Some(block.image_from_block(parted.centre(i, v)?, v))
        })
        .collect::<Option<_>>()?;
    let mut strand = skein::stretch_along(picture, levels, &points, block.pitch_px)?;
    // Where the yarn bends over the edge of what it is wound on it leaves the plane: a diameter at either end.
    let bend = (block.pitch_px / strand.step_px).ceil() as usize;
    let count = strand.stations.len();
    for (k, station) in strand.stations.iter_mut().enumerate() {
        if k < bend || k + bend >= count {
            station.left_out = Some(LeftOutWhy::CutEnd);
        }
    }
    Some(strand)
}
