//! Elongated things on the ground, found on the reduced picture, each with a rough centre line.

use super::ground::Ground;
use super::region::{Depth, components, components_of, depths, longest_path, parts_of, step};
use super::standing::{Standing, standing, textured_standing};
use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;

/// Length over width from which a thing may be yarn: a button has 1, an eraser 2, a numeral 5.
const MIN_SLENDERNESS: f64 = 8.0;

/// The same where it reaches the ground's border at both ends.
const MIN_CROSSING_SLENDERNESS: f64 = 1.8;

/// Shortest piece, as a part of the picture's longer side.
const MIN_LENGTH_PART: f64 = 0.08;

/// A slender thing on the ground.
#[derive(Debug, Clone)]
pub(super) struct Trace {
    /// Rough centre line, photo px, about one reduced pixel apart.
    pub(super) path: Vec<Point<Image>>,
    /// Rough width, shadow included, photo px.
    pub(super) width_px: f64,
    /// How far from its path the next slender thing that runs along with it begins, photo px.
    pub(super) free_px: f64,
    /// Whether it was parted from others with which it was one thing.
    pub(super) parted: bool,
}

impl Trace {
    /// From its first to its last point.
    fn direction(&self) -> Option<Point<Image>> {
        (*self.path.last()? - *self.path.first()?).unit()
    }

    /// Where it begins and ends along a direction, photo px.
    fn span(&self, direction: Point<Image>) -> (f64, f64) {
        let along = self.path.iter().map(|p| p.dot(direction));
        along.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), at| (low.min(at), high.max(at)))
    }

    /// How far from this path that of `other` runs, in the middle of the distances, photo px.
    fn apart_px(&self, other: &Self) -> f64 {
        let sparse = |t: &Self| t.path.iter().copied().step_by(8).collect::<Vec<_>>();
        let there = sparse(other);
        let nearest = |p: &Point<Image>| there.iter().map(|q| p.distance(*q)).fold(f64::INFINITY, f64::min);
        crate::base::stats::median(&sparse(self).iter().map(nearest).collect::<Vec<_>>()).unwrap_or(f64::INFINITY)
    }

    /// Length of its path, photo px.
    pub(super) fn length_px(&self) -> f64 {
        self.path.windows(2).map(|w| w[0].distance(w[1])).sum()
    }
}

/// A thing that is no yarn, by shape alone.
#[derive(Debug, Clone)]
pub(super) struct Blob {
    /// Upright box around it, photo px: top-left, bottom-right.
    pub(super) corners: (Point<Image>, Point<Image>),
    /// Why it is none.
    pub(super) why: &'static str,
}

/// What stands out from the ground.
#[derive(Debug, Clone, Default)]
pub(super) struct Found {
    /// Slender things.
    pub(super) traces: Vec<Trace>,
    /// The others of some size.
    pub(super) blobs: Vec<Blob>,
    /// All that stands out, on the reduced picture.
    pub(super) mask: Option<Raster<bool>>,
}

/// Everything slender that stands out from the ground. `masked` says where nothing is to be looked for, `samples` whether
/// several things side by side are pieces of a sample.
pub(super) fn find(ground: &Ground, masked: &dyn Fn(Point<Image>) -> bool, samples: bool) -> Found {
    if !ground.textured {
        return slender_things(ground, standing(ground), masked, samples);
    }
    // A long shadow on cloth or board joins strands that lie apart: look without darkness first.
    let bright = slender_things(ground, textured_standing(ground, false), masked, samples);
    if bright.traces.is_empty() {
        slender_things(ground, textured_standing(ground, true), masked, samples)
    } else {
        bright
    }
}

/// How much more than a thing's least its core may have to stand out: from two, each by the root of two more than the one
/// before. Paper's noise is 0.005 in the logarithm of light and the least four times that; white from black is 4.
fn cores() -> impl Iterator<Item = f32> {
    (2..16).map(|k| std::f32::consts::SQRT_2.powi(k))
}

/// Length over width below which a thing may be two side by side: pieces are 60 mm and more, and few yarns are thicker than 4 mm.
const WIDE: f64 = 15.0;

/// By how much the slender things in a thing's core must be longer than those in all of it.
const LONGER: f64 = 1.3;

fn slender_things(ground: &Ground, standing: Standing, masked: &dyn Fn(Point<Image>) -> bool, samples: bool) -> Found {
    let mut mask = standing.mask();
    let mut all = Found::default();
    let longest = ground.reduced.rgb.width().max(ground.reduced.rgb.height()) as f64;
    for thing in components(&mask) {
        if (thing.len() as f64) < MIN_LENGTH_PART * longest {
            continue;
        }
        let mut best = look_at(ground, &mask, std::slice::from_ref(&thing), longest, masked);
        // Strands side by side are joined by their shadows and hairs, which stand out less than they do.
        if samples && best.doubtful() && !mostly_masked(ground, &thing, masked) {
            let mut core = Raster::filled(mask.width(), mask.height(), false);
            thing.iter().for_each(|i| core.samples_mut()[*i] = true);
            let mut left = thing.clone();
            for times in cores() {
                let before = left.len();
                standing.strip(&mut core, &mut left, times);
                if left.len() == before {
                    continue;
                }
                let parts = components_of(&core, &left);
                if parts.is_empty() {
                    break;
                }
                let parted = look_at(ground, &core, &parts, longest, masked);
                let more = parted.several() && parted.worth_px() > LONGER * best.worth_px();
                if more || (best.found.traces.is_empty() && parted.alone()) {
                    let clean = !parted.joined;
                    thing.iter().for_each(|i| mask.samples_mut()[*i] = core.samples()[*i]);
                    best = parted;
                    best.found.traces.iter_mut().for_each(|t| t.parted = true);
                    // Deeper in, a strand falls into its own lights and darks.
                    if clean {
                        break;
                    }
                }
            }
        }
        all.traces.extend(best.found.traces);
        all.blobs.extend(best.found.blobs);
    }
    for i in 0..all.traces.len() {
        let beside = (0..all.traces.len()).filter(|k| *k != i);
        let free = beside.map(|k| all.traces[i].apart_px(&all.traces[k]) - 0.5 * all.traces[k].width_px);
        all.traces[i].free_px = free.fold(f64::INFINITY, f64::min);
    }
    all.mask = Some(mask);
    all
}

/// Whether most of a thing is print.
fn mostly_masked(ground: &Ground, thing: &[usize], masked: &dyn Fn(Point<Image>) -> bool) -> bool {
    let width = ground.reduced.rgb.width();
    let places = thing.iter().step_by(8);
    let on_print =
        places.filter(|i| masked(ground.reduced.image_from_reduced((**i % width) as f64, (**i / width) as f64)));
    on_print.count() * 16 > thing.len()
}

/// What was found in a thing, and whether it may be several that are joined.
#[derive(Default)]
struct Looked {
    found: Found,
    joined: bool,
}

impl Looked {
    /// Whether it may be several, or one that drowns in its own shadow: nothing slender, a path cut out of something, or one that
    /// is wide for its length.
    fn doubtful(&self) -> bool {
        self.joined || self.found.traces.iter().any(|t| t.length_px() < WIDE * t.width_px)
    }

    /// Whether there are several of a kind side by side: the second longest is at least half as long and thick as the longest,
    /// all of that length run along with it within ten degrees, and between any two there is half a width of something else;
    /// nearer to each other are the two edges of one thing.
    fn several(&self) -> bool {
        let Some(first) = self.found.traces.iter().max_by(|a, b| a.length_px().total_cmp(&b.length_px())) else {
            return false;
        };
        let alike = |a: f64, b: f64| a.min(b) >= 0.5 * a.max(b);
        let long: Vec<&Trace> = self.found.traces.iter().filter(|t| alike(t.length_px(), first.length_px())).collect();
        let parallel = |t: &&Trace| {
            let (Some(a), Some(b)) = (first.direction(), t.direction()) else { return false };
            // Beside it, not beyond its end.
            let ((from, to), (start, end)) = (first.span(a), t.span(a));
            let beside = to.min(end) - from.max(start);
            a.cross(b).abs() < 10f64.to_radians().sin() && beside >= 0.5 * (end - start)
        };
        let apart = |a: &Trace, b: &Trace| a.apart_px(b) > 0.75 * (a.width_px + b.width_px);
        let parted = |(i, a): (usize, &&Trace)| long[i + 1..].iter().all(|b| apart(a, b));
        long.len() > 1
            && long.iter().all(parallel)
            && long.iter().enumerate().all(parted)
            && long.iter().filter(|t| alike(t.width_px, first.width_px)).count() > 1
    }

    /// Whether there is one slender thing and nothing else: a strand whose shadow is wide for its length.
    fn alone(&self) -> bool {
        self.found.traces.len() == 1 && self.found.blobs.is_empty() && !self.joined
    }

    /// Length of what was found, photo px; of a path that had to be cut out of several it is worth half.
    fn worth_px(&self) -> f64 {
        let length: f64 = self.found.traces.iter().map(Trace::length_px).sum();
        if self.joined { 0.5 * length } else { length }
    }
}

fn look_at(
    ground: &Ground,
    mask: &Raster<bool>,
    things: &[Vec<usize>],
    longest: f64,
    masked: &dyn Fn(Point<Image>) -> bool,
) -> Looked {
    let mut looked = Looked::default();
    for thing in things.iter().filter(|thing| thing.len() as f64 >= MIN_LENGTH_PART * longest) {
        let depth = depths(mask, thing);
        for part in parts_of(mask, thing, &depth, longest, MIN_LENGTH_PART * longest) {
            looked.joined |= examine(ground, mask, &part, &depth, longest, masked, &mut looked.found);
        }
    }
    looked
}

/// Looks at one part of a thing; tells whether it may be several that are joined.
fn examine(
    ground: &Ground,
    mask: &Raster<bool>,
    part: &[usize],
    depth: &Depth,
    longest: f64,
    masked: &dyn Fn(Point<Image>) -> bool,
    found: &mut Found,
) -> bool {
    let width = mask.width();
    let factor = ground.reduced.factor as f64;
    let spot = |i: usize| ((i % width) as f64, (i / width) as f64);
    let whole = longest_path(part, depth, width);
    // Gentle curves only. Where a strand runs into the card's rim or a printed line, the straight part of the path is the
    // strand.
    let path = straightest_part(&whole, &spot, width);
    let cut = path.len() < whole.len();
    let length = path.windows(2).map(|w| step(w[0], w[1], width)).sum::<f64>();
    let half_widths: Vec<f64> = path.iter().map(|i| f64::from(depth.at(*i, width))).collect();
    let thickness = if cut {
        // What hangs on the rest of the part says nothing of the strand's own thickness.
        2.0 * crate::base::stats::median(&half_widths).unwrap_or(0.0)
    } else {
        part.len() as f64 / length.max(1.0)
    };
    let at = |i: usize| ground.reduced.image_from_reduced((i % width) as f64, (i / width) as f64);
    // A piece that leaves the ground at both ends goes on beyond it: a thick rope across a small card.
    let clear = |x: f64, y: f64| x >= 0.0 && y >= 0.0 && ground.holds(x.round() as usize, y.round() as usize);
    let leaves = |i: Option<&usize>| {
        i.is_some_and(|i| {
            let (x, y) = spot(*i);
            let r = thickness.max(3.0);
            [(-r, 0.0), (r, 0.0), (0.0, -r), (0.0, r)].iter().any(|(dx, dy)| !clear(x + dx, y + dy))
        })
    };
    let crosses = leaves(path.first()) && leaves(path.last());
    // Of a textured ground's own pattern a short thing may be part.
    let least = if crosses && !ground.textured { MIN_CROSSING_SLENDERNESS } else { MIN_SLENDERNESS };
    if length < MIN_LENGTH_PART * longest || length < least * thickness {
        if thickness > 2.0 && part.len() as f64 > 4.0 * longest / 100.0 {
            found.blobs.push(boxed(part, width, ground, "not slender"));
            return true;
        }
        return cut;
    }
    let half = crate::base::stats::median(&half_widths).unwrap_or(0.0);
    if thickness > 2.5 * (2.0 * half).max(1.0) {
        found.blobs.push(boxed(part, width, ground, "branched"));
        return true;
    }
    // Ground on both sides, or it is the ground's own edge.
    let beside = if crosses { 0.8 } else { 1.5 } * thickness + 2.0;
    let reach = (2.0 * thickness) as usize + 2;
    let free = (0..path.len())
        .filter(|k| {
            let (a, b) = (path[k.saturating_sub(reach)], path[(k + reach).min(path.len() - 1)]);
            let ((ax, ay), (bx, by), (x, y)) = (spot(a), spot(b), spot(path[*k]));
            let d = (bx - ax).hypot(by - ay).max(1e-9);
            let (nx, ny) = (-(by - ay) / d * beside, (bx - ax) / d * beside);
            clear(x + nx, y + ny) && clear(x - nx, y - ny)
        })
        .count();
    if free * 2 < path.len() {
        found.blobs.push(boxed(part, width, ground, "edge of the ground"));
        return cut;
    }
    let path: Vec<Point<Image>> = path.iter().copied().map(at).collect();
    if path.iter().filter(|p| masked(**p)).count() * 2 > path.len() {
        found.blobs.push(boxed(part, width, ground, "ruler marks"));
        return false;
    }
    found.traces.push(Trace { path, width_px: thickness * factor, free_px: f64::INFINITY, parted: false });
    cut
}

/// Chord over path of a gentle curve. A straight line in steps to eight neighbours has 0.92 at the worst angle (22.5
/// degrees), an eighth of a circle loses another 0.03.
const GENTLE: f64 = 0.88;

/// The longest part of a path that is a gentle curve; the whole path where it is one itself.
fn straightest_part<'a>(path: &'a [usize], spot: &dyn Fn(usize) -> (f64, f64), width: usize) -> &'a [usize] {
    let mut at = vec![0.0f64];
    for pair in path.windows(2) {
        at.push(at[at.len() - 1] + step(pair[0], pair[1], width));
    }
    let chord = |i: usize, j: usize| {
        let ((ax, ay), (bx, by)) = (spot(path[i]), spot(path[j]));
        (ax - bx).hypot(ay - by)
    };
    let last = path.len().saturating_sub(1);
    if path.len() < 3 || chord(0, last) >= GENTLE * at[last] {
        return path;
    }
    let stride = (path.len() / 128).max(1);
    let stops: Vec<usize> = (0..path.len()).step_by(stride).chain([last]).collect();
    let mut best = (0.0, 0, 0);
    for (k, i) in stops.iter().enumerate() {
        for j in &stops[k + 1..] {
            let c = chord(*i, *j);
            if c > best.0 && c >= GENTLE * (at[*j] - at[*i]) {
                best = (c, *i, *j);
            }
        }
    }
    &path[best.1..=best.2]
}

fn boxed(part: &[usize], width: usize, ground: &Ground, why: &'static str) -> Blob {
    let (mut low, mut high) = ((usize::MAX, usize::MAX), (0, 0));
    for i in part {
        let (x, y) = (i % width, i / width);
        low = (low.0.min(x), low.1.min(y));
        high = (high.0.max(x), high.1.max(y));
    }
    let corner = |p: (usize, usize)| ground.reduced.image_from_reduced(p.0 as f64, p.1 as f64);
    Blob { corners: (corner(low), corner(high)), why }
}
