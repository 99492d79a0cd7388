//! Short pieces of strand linked to paths.

use super::levels::Level;
use super::ridges::Ridge;
use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;

/// Distance from one piece to the next, strand widths.
const STEP_WIDTHS: f64 = 0.75;

/// A path ends where the contrast falls below this part of where it began: the strand dives under another or out of focus.
const LEAST_OF_SEED: f64 = 0.45;

/// Shortest path, strand widths: some four plies pass at usual twist (one a width).
const SHORTEST_WIDTHS: f64 = 5.0;

/// A strand followed at one level.
#[derive(Debug, Clone)]
pub(in super::super) struct Path {
    /// Its centre line in the photo, about 0.75 widths apart.
    pub(in super::super) points: Vec<Point<Image>>,
    /// Median distance between its gaps, px of the photo.
    pub(in super::super) width_px: f64,
    /// Mean contrast to the brighter gap.
    pub(in super::super) contrast: f64,
}

impl Path {
    /// Length along the points, px.
    pub(in super::super) fn length_px(&self) -> f64 {
        self.points.windows(2).map(|p| p[0].distance(p[1])).sum()
    }
}

/// Ridges by place, for looking up neighbours.
struct Index<'a> {
    ridges: &'a [Ridge],
    columns: usize,
    cells: Vec<Vec<u32>>,
}

const CELL_PX: f64 = 8.0;

impl<'a> Index<'a> {
    fn of(ridges: &'a [Ridge], width: usize, height: usize) -> Self {
        let columns = (width as f64 / CELL_PX).ceil() as usize + 1;
        let rows = (height as f64 / CELL_PX).ceil() as usize + 1;
        let mut cells = vec![Vec::new(); columns * rows];
        for (i, r) in ridges.iter().enumerate() {
            let (c, l) = ((r.x / CELL_PX).max(0.0) as usize, (r.y / CELL_PX).max(0.0) as usize);
            if let (true, Some(cell)) = (c < columns, cells.get_mut(l * columns + c)) {
                cell.push(i as u32);
            }
        }
        Self { ridges, columns, cells }
    }

    fn near(&self, x: f64, y: f64, radius: f64) -> impl Iterator<Item = &'a Ridge> + '_ {
        let low = |v: f64| ((v - radius) / CELL_PX).max(0.0) as usize;
        let high = |v: f64| ((v + radius) / CELL_PX).max(0.0) as usize;
        let (first, last) = (low(x), high(x).min(self.columns - 1));
        (low(y)..=high(y))
            .flat_map(move |l| (first..=last).map(move |c| l * self.columns + c))
            .filter_map(|i| self.cells.get(i))
            .flatten()
            .filter_map(|i| self.ridges.get(*i as usize))
            .filter(move |r| (r.x - x).hypot(r.y - y) <= radius)
    }
}

/// Where a walk stands.
#[derive(Debug, Clone, Copy)]
struct At {
    x: f64,
    y: f64,
    along: (f64, f64),
    width: f64,
    contrast: f64,
}

/// Links `ridges` (strongest first) of one level to paths, strongest first; no two run over the same place.
pub(in super::super) fn follow(level: &Level, ridges: &[Ridge]) -> Vec<Path> {
    let (width, height) = (level.luma.width(), level.luma.height());
    let index = Index::of(ridges, width, height);
    let mut taken = Raster::filled(width, height, false);
    let mut out = Vec::new();
    for seed in ridges {
        if is_taken(&taken, seed.x, seed.y) {
            continue;
        }
        let start = At { x: seed.x, y: seed.y, along: seed.along(), width: seed.width, contrast: seed.contrast };
        let back = At { along: (-start.along.0, -start.along.1), ..start };
        let mut walk = walk(&index, &taken, back, seed.contrast);
        walk.reverse();
        walk.push(start);
        walk.extend(self::walk(&index, &taken, start, seed.contrast));
        for at in &walk {
            take(&mut taken, at);
        }
        if let Some(path) = path_of(level, &walk) {
            out.push(path);
        }
    }
    out
}

fn is_taken(taken: &Raster<bool>, x: f64, y: f64) -> bool {
    taken.get(x.round().max(0.0) as usize, y.round().max(0.0) as usize).unwrap_or(true)
}

/// Marks the middle of the strand, so that no second path runs along it; its outer parts may carry a neighbour's edge.
fn take(taken: &mut Raster<bool>, at: &At) {
    let (across, along) = (0.35 * at.width, 0.6 * at.width);
    let reach = along.ceil() as isize;
    for dy in -reach..=reach {
        for dx in -reach..=reach {
            let (u, v) =
                (dx as f64 * at.along.0 + dy as f64 * at.along.1, dy as f64 * at.along.0 - dx as f64 * at.along.1);
            let (x, y) = (at.x.round() as isize + dx, at.y.round() as isize + dy);
            if u.abs() <= along && v.abs() <= across && x >= 0 && y >= 0 {
                taken.set(x as usize, y as usize, true);
            }
        }
    }
}

fn walk(index: &Index, taken: &Raster<bool>, from: At, seed_contrast: f64) -> Vec<At> {
    let mut out = Vec::new();
    let mut at = from;
    // A path cannot be longer than the picture has places for steps.
    for _ in 0..4 * index.cells.len() {
        let (tx, ty) = (at.x + STEP_WIDTHS * at.width * at.along.0, at.y + STEP_WIDTHS * at.width * at.along.1);
        let mut best: Option<(f64, At)> = None;
        for r in index.near(tx, ty, 0.5 * at.width) {
            let (dx, dy) = (r.x - tx, r.y - ty);
            let aside = (dy * at.along.0 - dx * at.along.1) / (0.25 * at.width);
            let (c, s) = r.along();
            let turn = c * at.along.0 + s * at.along.1;
            let sign = turn.signum();
            let turned = turn.abs().min(1.0).acos() / 0.2;
            let wider = (r.width / at.width).ln() / 0.2;
            let score = r.contrast * (-0.5 * (aside * aside + turned * turned + wider * wider)).exp();
            if r.contrast >= LEAST_OF_SEED * seed_contrast
                && turned < 2.0
                && best.as_ref().is_none_or(|(s, _)| score > *s)
            {
                best = Some((
                    score,
                    At { x: r.x, y: r.y, along: (sign * c, sign * s), width: r.width, contrast: r.contrast },
                ));
            }
        }
        let Some((_, next)) = best else { break };
        if is_taken(taken, next.x, next.y) {
            break;
        }
        // The direction is that of the last step and of the piece, half each: pieces know it to a few degrees only.
        let (dx, dy) = (next.x - at.x, next.y - at.y);
        let length = dx.hypot(dy);
        if length < 0.1 * at.width {
            break;
        }
        let mixed = (next.along.0 + dx / length, next.along.1 + dy / length);
        let norm = mixed.0.hypot(mixed.1);
        if norm < 1.0 {
            break;
        }
        at = At { along: (mixed.0 / norm, mixed.1 / norm), width: 0.7 * at.width + 0.3 * next.width, ..next };
        out.push(at);
    }
    out
}

fn path_of(level: &Level, walk: &[At]) -> Option<Path> {
    let mut widths: Vec<f64> = walk.iter().map(|a| a.width).collect();
    widths.sort_unstable_by(f64::total_cmp);
    let width = *widths.get(widths.len() / 2)?;
    let path = Path {
        points: walk.iter().map(|a| level.image_from_level(a.x, a.y)).collect(),
        width_px: width * level.factor as f64,
        contrast: walk.iter().map(|a| a.contrast).sum::<f64>() / walk.len() as f64,
    };
    (path.length_px() >= SHORTEST_WIDTHS * path.width_px).then_some(path)
}
