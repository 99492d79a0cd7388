//! Yarn wound on a ruler: it hides the ruler's ticks, and the creases between its wraps run straight through. Found without
//! following single strands, which several colours, thin yarn or yarn as pale as the ruler defeat.

use super::block::{Block, light};
use crate::base::colour::luma;
use crate::base::geometry::{Card, Image, Point, inside_polygon};
use crate::base::raster::Raster;
use crate::base::stats::{median, quantile, robust_deviation, running_mean, vertex};
use crate::base::units::Mm;
use rayon::prelude::*;

use crate::measure::scale::{PlaneMap, RulerSeen, ScaleFound};

/// Shortest stretch of a ruler without ticks that may be wound with yarn, mm: one tick that was not seen leaves twice a division,
/// and ten wraps of the thinnest yarn are wider.
const SHORTEST_MM: f64 = 4.0;

/// The same in divisions, for ruled inches.
const SHORTEST_DIVISIONS: f64 = 4.0;

/// Places along the wraps at which the block is read by itself.
const PLACES: usize = 5;

/// Pixels averaged at each place: fibres and noise fall to a quarter.
const TAPS: f64 = 16.0;

/// Greatest slant of wraps to the ticks, and its steps, as slopes: wound by hand they slant by a few degrees. Over half of a
/// place's length (a tenth of some 25 wraps) half a step shifts a crease by far less than its own width.
const SLANT: f64 = 0.15;
const SLANT_STEP: f64 = 0.005;

/// Slant beyond that of yarn wound square to the ruler, as a slope: three degrees.
const CARELESS: f64 = 0.05;

/// Mean correlation of what is read at different places from which on something runs straight through: plies, which start anew
/// in each wrap, come to nothing, noise too.
const THROUGH: f64 = 0.25;

/// Narrowest wrap that can be told from its neighbours, px.
const NARROWEST_PX: f64 = 8.0;

/// Least and most wraps between two ticks.
const MOST_WRAPS: f64 = 400.0;
const FEWEST_WRAPS: f64 = 4.0;

/// The block on the chosen ruler; `None` where none hides its ticks.
pub(super) fn block(picture: &Raster<[u8; 3]>, scale: &ScaleFound) -> Option<Block> {
    let map = &scale.scale.known()?.map;
    let ruler = scale.rulers.iter().find(|ruler| ruler.chosen)?;
    let hidden = Hidden::of(picture, ruler, map)?;
    let (low, high) = hidden.across(scale, map);
    let frame = hidden.frame(map, (low, high))?;
    // Up to a division of bare face may lie between a tick and the yarn.
    let bare = hidden.division_mm / hidden.from.distance(hidden.to);
    read(picture, frame, bare)
}

/// The ticks of a ruler on its plane, as its longest unbroken run has them.
#[derive(Debug)]
struct Ticks {
    /// Foot of the run's first tick, and the step to the next.
    first: Point<Card>,
    step: Point<Card>,
    /// Number of steps to the run's last tick.
    last: i32,
    /// From the feet to the tips, unit vector.
    inward: Point<Card>,
    shortest_mm: f64,
    longest_mm: f64,
}

impl Ticks {
    fn of(ruler: &RulerSeen, map: &PlaneMap) -> Option<Self> {
        let on_plane = |p: Point<Image>| map.card_from_image(p, Mm(0.0));
        let mut ticks: Vec<(f64, Point<Card>, Point<Card>)> = ruler
            .ticks
            .iter()
            .filter_map(|tick| Some((tick.place_mm?, on_plane(tick.foot)?, on_plane(tick.tip)?)))
            .collect();
        ticks.sort_by(|a, b| a.0.total_cmp(&b.0));
        let division_mm = median(&ticks.windows(2).map(|pair| pair[1].0 - pair[0].0).collect::<Vec<_>>())?;
        let run = ticks.chunk_by(|a, b| b.0 - a.0 < 1.5 * division_mm).max_by_key(|run| run.len())?;
        let (first, last) = (run.first()?.1, run.last()?.1);
        let inward = (last - first).unit()?.quarter_turn();
        let lengths: Vec<f64> = run.iter().map(|(_, foot, tip)| (*tip - *foot).dot(inward)).collect();
        let side = median(&lengths)?.signum();
        let lengths: Vec<f64> = lengths.iter().map(|length| length * side).collect();
        let steps = run.len() as i32 - 1;
        Some(Self {
            first,
            step: (last - first) * (1.0 / f64::from(steps)),
            last: steps,
            inward: inward * side,
            shortest_mm: quantile(&lengths, 0.1)?,
            longest_mm: quantile(&lengths, 1.0)?,
        })
    }

    fn foot(&self, k: i32) -> Point<Card> {
        self.first + self.step * f64::from(k)
    }

    /// The longest stretch between two ticks of one row, to either side of the run, as their numbers. Past a wide block the rest
    /// of the ruler may not have been recognised as the same, and single ticks may have been seen in creases.
    fn hidden(&self, picture: &Raster<[u8; 3]>, map: &PlaneMap) -> Option<(i32, i32)> {
        let contrast = |k: i32| self.contrast(picture, map, self.foot(k));
        let least = 0.5 * median(&(0..=self.last).filter_map(contrast).collect::<Vec<_>>())?;
        let outwards = |start: i32, sign: i32| {
            let mut found: Vec<(i32, i32)> = Vec::new();
            let (mut before, mut seen) = (start, 0);
            for k in (1..=FARTHEST_DIVISIONS).map(|k| start + sign * k) {
                let Some(contrast) = contrast(k) else { break };
                seen = if contrast > least { seen + 1 } else { 0 };
                if seen == SEEN_AGAIN {
                    found.push((before, k - sign * (seen - 1)));
                }
                if seen >= SEEN_AGAIN {
                    before = k;
                }
            }
            found
        };
        let both = [outwards(0, -1), outwards(self.last, 1)].concat();
        both.into_iter().max_by_key(|(a, b)| (b - a).abs())
    }

    /// How much darker a tick at `foot` is than the face half a division to either side, code values; `None` outside the picture.
    fn contrast(&self, picture: &Raster<[u8; 3]>, map: &PlaneMap, foot: Point<Card>) -> Option<f64> {
        let line = |aside: f64| -> Option<f64> {
            // The middle of the shortest tick.
            const PLACES: i32 = 6;
            let light = (0..PLACES).map(|i| {
                let inwards = self.shortest_mm * (0.2 + 0.6 * f64::from(i) / f64::from(PLACES - 1));
                let p = map.image_from_card(foot + self.step * aside + self.inward * inwards, Mm(0.0));
                let inside = p.x >= 0.0 && p.y >= 0.0;
                let pixel = inside.then(|| picture.get(p.x.round() as usize, p.y.round() as usize)).flatten()?;
                Some(f64::from(luma(pixel)))
            });
            Some(light.sum::<Option<f64>>()? / f64::from(PLACES))
        };
        // A tick is a tenth of a division wide or more, and its place is known to about as much.
        let tick = [-0.1, 0.0, 0.1].into_iter().map(line).try_fold(f64::INFINITY, |least, l| Some(least.min(l?)))?;
        Some(line(-0.5)?.min(line(0.5)?) - tick)
    }
}

/// Ticks in a row that show where a ruler goes on, and how far to look for them, divisions.
const SEEN_AGAIN: i32 = 6;
const FARTHEST_DIVISIONS: i32 = 120;

/// A stretch of the ruler without ticks, on its plane.
#[derive(Debug, Clone, Copy)]
struct Hidden {
    /// Feet of the ticks next to it.
    from: Point<Card>,
    to: Point<Card>,
    /// Towards the tips of the ticks, unit vector.
    inward: Point<Card>,
    /// The longest tick, mm.
    tick_mm: f64,
    division_mm: f64,
}

impl Hidden {
    /// The longest one of a ruler.
    fn of(picture: &Raster<[u8; 3]>, ruler: &RulerSeen, map: &PlaneMap) -> Option<Self> {
        let ticks = Ticks::of(ruler, map)?;
        let (a, b) = ticks.hidden(picture, map)?;
        let (from, to) = (ticks.foot(a), ticks.foot(b));
        let division_mm = ticks.step.length();
        (from.distance(to) > SHORTEST_MM.max(SHORTEST_DIVISIONS * division_mm)).then_some(Self {
            from,
            to,
            inward: ticks.inward,
            tick_mm: ticks.longest_mm,
            division_mm,
        })
    }

    /// How far the ruler's face reaches across, mm from the feet of the ticks.
    fn across(&self, scale: &ScaleFound, map: &PlaneMap) -> (f64, f64) {
        // The outline may have been followed on one side of the yarn only.
        let step = (self.to - self.from) * (self.division_mm / self.from.distance(self.to));
        let beside = [self.from - step, self.to + step];
        let on_face = |mm: f64| {
            let seen = |p: Point<Card>| map.image_from_card(p + self.inward * mm, Mm(0.0));
            let outline = scale.card_outline.as_ref();
            outline.is_some_and(|outline| beside.iter().any(|p| inside_polygon(outline, seen(*p))))
        };
        let reach = |sign: f64| (1..400).map(|i| sign * 0.25 * f64::from(i)).take_while(|mm| on_face(*mm)).last();
        // Without an outline as far as the numerals go, which stand within a tick's length of its tip.
        (reach(-1.0).unwrap_or(0.0), reach(1.0).unwrap_or(0.0).max(2.0 * self.tick_mm))
    }

    /// Coordinates along and across the wraps, were they parallel to the ticks.
    fn frame(&self, map: &PlaneMap, (low, high): (f64, f64)) -> Option<Block> {
        let image =
            |at: f64, inwards: f64| map.image_from_card(self.from.lerp(self.to, at) + self.inward * inwards, Mm(0.0));
        let ends = |at: f64| (image(at, low), image(at, high));
        let (bottom, top) = ends(0.5);
        let (origin, along) = (bottom.lerp(top, 0.5), (top - bottom).unit()?);
        let across = along.quarter_turn();
        let middle = (low + high) / 2.0;
        let side = |at: f64| {
            let (bottom, top) = ends(at);
            let up = top - bottom;
            ((image(at, middle) - origin).dot(across), up.dot(across) / up.dot(along))
        };
        let (mut a, mut b) = (side(0.0), side(1.0));
        if a.0 > b.0 {
            (a, b) = (b, a);
        }
        let fan = (b.1 - a.1) / (b.0 - a.0);
        let half = bottom.distance(top) / 2.0;
        Some(Block {
            origin,
            along,
            flanks: (a.0, b.0),
            ends: (-half, half),
            pitch_px: 0.0,
            slope: (a.1 - fan * a.0, fan),
        })
    }
}

/// The block with the slant and the pitch of what runs through it, its flanks on yarn: off the `bare` part on either side; `None`
/// where nothing does.
fn read(picture: &Raster<[u8; 3]>, frame: Block, bare: f64) -> Option<Block> {
    let (from, to) = frame.flanks;
    let count = (to - from) as usize;
    let (widest, narrowest) = ((to - from) / FEWEST_WRAPS, NARROWEST_PX.max((to - from) / MOST_WRAPS));
    if widest <= narrowest {
        return None;
    }
    let slanted = |slant: f64| Block { slope: (frame.slope.0 + slant, frame.slope.1), ..frame.clone() };
    let steps = (SLANT / SLANT_STEP) as i32;
    let (through, block, rows) = (-steps..=steps)
        .into_par_iter()
        .filter_map(|k| {
            let block = slanted(f64::from(k) * SLANT_STEP);
            let rows = rows(picture, &block, count)?;
            Some((common(&rows, 0), block, rows))
        })
        // Of two equal ones always the same, however the work was shared out.
        .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.slope.0.total_cmp(&a.1.slope.0)))?;
    let own: f64 = rows.iter().flatten().map(|v| v * v).sum::<f64>() * (rows.len() as f64 - 1.0);
    if through < THROUGH * own {
        return None;
    }
    // Each distance on what is left of slower courses than itself: handspun wraps differ, so that they repeat best at once.
    let repeats = |lag: usize| {
        let rows: Vec<Vec<f64>> = rows.iter().map(|row| clipped(fast(row, lag / 2))).collect();
        common(&rows, lag) / common(&rows, 0).max(f64::MIN_POSITIVE)
    };
    let (pitch, repeat) = (narrowest.ceil() as usize..=widest as usize)
        .map(|lag| (lag, repeats(lag)))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    // A parabola through the best distance and its neighbours.
    let (a, b, c) = (repeats(pitch - 1), repeat, repeats(pitch + 1));
    let pitch_px = pitch as f64 + if a + c < 2.0 * b { vertex(a, b, c).clamp(-0.5, 0.5) } else { 0.0 };
    // A wrap comes round one pitch further on, half of it or all on the side that is seen.
    let slant = (block.slope.0 - frame.slope.0).abs();
    let most = pitch_px / (frame.ends.1 - frame.ends.0) + CARELESS;
    let inset = pitch_px + bare * (to - from);
    (slant <= most && 2.0 * inset < to - from).then_some(Block {
        pitch_px,
        flanks: (from + inset, to - inset),
        ..block
    })
}

/// Brightness across the wraps at each place along them, less its slow course; `None` at the picture's border.
fn rows(picture: &Raster<[u8; 3]>, block: &Block, count: usize) -> Option<Vec<Vec<f64>>> {
    let length = block.ends.1 - block.ends.0;
    let reach = length / (2 * PLACES) as f64;
    (0..PLACES)
        .map(|k| {
            let v = block.ends.0 + (2 * k + 1) as f64 * reach;
            let from = block.flanks.0 + block.aside(block.flanks.0, v);
            let colours = block.profile(picture, v, (reach, TAPS), (from, 1.0, count))?;
            Some(clipped(fast(&light(&colours), count / 12)))
        })
        .collect()
}

/// Values less their running mean over `half` values to either side.
fn fast(values: &[f64], half: usize) -> Vec<f64> {
    values.iter().zip(running_mean(values.iter().copied(), half)).map(|(v, slow)| v - slow).collect()
}

/// Values cut at three of their deviations: the yarn's flanks are steps, and one must not outweigh all creases.
fn clipped(values: Vec<f64>) -> Vec<f64> {
    let most = 3.0 * robust_deviation(&values).unwrap_or(0.0);
    values.into_iter().map(|v| v.clamp(-most, most)).collect()
}

/// What the rows have in common with each other, `lag` apart: sum of the products of different rows.
fn common(rows: &[Vec<f64>], lag: usize) -> f64 {
    let count = rows.first().map_or(0, Vec::len);
    (0..count.saturating_sub(lag))
        .map(|i| {
            let (mut here, mut there, mut same) = (0.0, 0.0, 0.0);
            for row in rows {
                here += row[i];
                there += row[i + lag];
                same += row[i] * row[i + lag];
            }
            here * there - same
        })
        .sum()
}
