//! Reads the code beside a clock track: which card, which edge, which marks, in which sense.

use super::card_track::{ClockTrack, green};
use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;
use crate::card::layout::{CardLayout, CardSize, CodedEdge, EdgeSide};

/// What a row turned out to be.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reading {
    /// Which card.
    pub(super) size: CardSize,
    /// Which edge.
    pub(super) side: EdgeSide,
    /// Mark number on the card = `offset + sense * index along the row`.
    pub(super) offset: i64,
    /// 1 or -1.
    pub(super) sense: i64,
    /// Whether the picture is a mirror image.
    pub(super) mirrored: bool,
    /// Common logarithm of the chance that random bits fit as well as this anywhere.
    pub(super) log10_chance: f64,
}

impl Reading {
    /// The number on the card of the mark with this index.
    pub(super) fn mark(&self, index: i64) -> i64 {
        self.offset + self.sense * index
    }
}

/// How well a code-track bit shows: from -1 (certainly absent) to 1 (certainly present); 0 says nothing.
fn soft_bit(
    picture: &Raster<[u8; 3]>,
    at: Point<Image>,
    direction: Point<Image>,
    along: Point<Image>,
    pitch: f64,
    side: f64,
) -> Option<f64> {
    let contrast = |v: f64| -> Option<f64> {
        let middle = at + along * (v * pitch);
        let here = |u: f64| green(picture, middle + direction * (u * pitch));
        let dark = (here(-0.12)? + here(0.0)? + here(0.12)?) / 3.0;
        let light = (here(-0.5)? + here(0.5)?) / 2.0;
        Some(light - dark)
    };
    let clock = (contrast(-0.4)? + contrast(0.0)? + contrast(0.4)?) / 3.0;
    if clock < 12.0 {
        return None;
    }
    // The code track's middle lies 3 mm (full card) or 2.4 mm (small card) from the clock track's.
    let code = (contrast(side * 2.2)? + contrast(side * 2.6)? + contrast(side * 3.0)?) / 3.0;
    Some((2.0 * code / clock - 1.0).clamp(-1.0, 1.0))
}

/// Bits weaker than this do not count as read.
const CLEAR: f64 = 0.35;

/// How many places in how many senses a row is compared with: four edges, two senses, either side.
const HYPOTHESES: f64 = 2.0 * 2.0 * 444.0;

/// Common logarithm of the chance that `n` random bits miss some one of `hypotheses` codes in at most `wrong` places.
pub(super) fn log10_chance(n: usize, wrong: usize, hypotheses: f64) -> f64 {
    let mut term = 1.0f64;
    let mut sum = 1.0;
    for i in 0..wrong.min(n) {
        term *= (n - i) as f64 / (i + 1) as f64;
        sum += term;
    }
    (hypotheses.log10() + sum.log10() - n as f64 * 2.0f64.log10()).min(0.0)
}

/// The best reading of a row; `None` where chance would do nearly as well.
pub(super) fn read(picture: &Raster<[u8; 3]>, track: &ClockTrack) -> Option<Reading> {
    let mut best: Option<Reading> = None;
    for side in [-1.0, 1.0] {
        let bits: Vec<(i64, f64)> = track
            .marks
            .iter()
            .filter_map(|m| Some((m.index, soft_bit(picture, m.at, track.direction, m.along, m.pitch_px, side)?)))
            .filter(|(_, bit)| bit.abs() >= CLEAR)
            .collect();
        if bits.len() < 14 {
            continue;
        }
        for size in [CardSize::Full, CardSize::Small] {
            let layout = CardLayout::of(size);
            for edge in &layout.edges {
                let code: Vec<bool> = (0..edge.marks()).map_while(|k| edge.bit(k)).collect();
                for sense in [1i64, -1] {
                    if let Some((offset, wrong)) = best_offset(&bits, &code, sense) {
                        let chance = log10_chance(bits.len(), wrong, HYPOTHESES);
                        if best.as_ref().is_none_or(|b| chance < b.log10_chance) {
                            // With the row's direction to the right, side -1 is above it. The top edge read to the right
                            // has its code above; anything else is turned (both change) or mirrored (one changes).
                            let upright = match edge.side {
                                EdgeSide::Top => -1.0,
                                EdgeSide::Bottom => 1.0,
                            };
                            let mirrored = side * sense as f64 != upright;
                            best =
                                Some(Reading { size, side: edge.side, offset, sense, mirrored, log10_chance: chance });
                        }
                    }
                }
            }
        }
    }
    best.filter(|b| b.log10_chance < -2.0)
}

/// The offset with the fewest wrong bits; marks beyond the scale's ends count as wrong.
fn best_offset(bits: &[(i64, f64)], code: &[bool], sense: i64) -> Option<(i64, usize)> {
    let (first, last) = (bits.first()?.0 * sense, bits.last()?.0 * sense);
    let (low, high) = (first.min(last), first.max(last));
    // Up to four marks may lie beyond the ends (figures or clutter taken for marks).
    let mut best: Option<(i64, usize)> = None;
    for offset in -low - 4..=code.len() as i64 - 1 - high + 4 {
        let wrong = bits
            .iter()
            .filter(|(index, bit)| {
                usize::try_from(offset + sense * index)
                    .ok()
                    .and_then(|k| code.get(k))
                    .is_none_or(|c| *c != (*bit > 0.0))
            })
            .count();
        if best.is_none_or(|(_, w)| wrong < w) {
            best = Some((offset, wrong));
        }
    }
    best
}

/// Whether mark `k`'s bit shows rightly where a map expects it; `None` where it cannot be told.
///
/// `place(k, depth)` says where mark `k` (fractions allowed) is at a depth on that edge.
pub(super) fn bit_is_right(
    picture: &Raster<[u8; 3]>,
    edge: &CodedEdge,
    k: usize,
    place: &impl Fn(f64, f64) -> Point<Image>,
) -> Option<bool> {
    let tracks = &edge.tracks;
    let clock = (tracks.clock_from + tracks.clock_to) / 2.0;
    let reach = (tracks.code_from + tracks.clock_from) / 2.0 - clock;
    let at = place(k as f64, clock);
    if !picture.holds(at.x, at.y) {
        return None;
    }
    let step = place(k as f64 + 0.5, clock) - place(k as f64 - 0.5, clock);
    let outwards = (place(k as f64, clock + reach) - at) * (1.0 / reach.abs());
    let contrast = |depth: f64| -> Option<f64> {
        let middle = at + outwards * depth;
        let here = |u: f64| green(picture, middle + step * u);
        let dark = (here(-0.12)? + here(0.0)? + here(0.12)?) / 3.0;
        Some((here(-0.5)? + here(0.5)?) / 2.0 - dark)
    };
    let mean = |depth: f64| Some((contrast(depth - 0.4)? + contrast(depth)? + contrast(depth + 0.4)?) / 3.0);
    let (clock, code) = (mean(0.0)?, mean(reach.abs())?);
    let bit = 2.0 * code / clock - 1.0;
    (clock >= 12.0 && bit.abs() >= CLEAR).then(|| edge.bit(k) == Some(bit > 0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_chance_of_thirty_clean_bits_is_that_of_the_binomial_tail() {
        // 1 + 30 of 2^30 patterns: worked by hand, 2.887e-8.
        let expected = (31.0f64 / 2f64.powi(30)).log10();
        assert!((log10_chance(30, 1, 1.0) - expected).abs() < 1e-12);
        assert_eq!(log10_chance(4, 4, 1.0), 0.0);
    }

    #[test]
    fn three_wrong_bits_in_thirty_still_find_the_place() {
        let layout = CardLayout::of(CardSize::Full);
        let edge = layout.edge(EdgeSide::Bottom);
        let code: Vec<bool> = (0..edge.marks()).map_while(|k| edge.bit(k)).collect();
        for start in 0..=edge.marks() - 30 {
            let bits: Vec<(i64, f64)> =
                (0..30).map(|i| (i, if (code[start + i as usize]) == (i % 11 != 4) { 1.0 } else { -1.0 })).collect();
            assert_eq!(best_offset(&bits, &code, 1), Some((start as i64, 3)));
        }
    }
}
