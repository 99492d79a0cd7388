//! The plain ground that the yarn lies on, found on a reduced picture: the largest bright area whose colour changes
//! slowly, and a smooth model of that colour (uneven light and vignetting included).

use nalgebra::{DMatrix, DVector};

use crate::base::colour::LINEAR_OF_SRGB;
use crate::base::geometry::{Image, Point, Region, crossings, inside_polygon};
use crate::base::raster::Raster;
use crate::measure::photo::{Photo, Reduced};

/// Side of a cell of the reduced picture in which uniformity is judged, px of the reduced picture.
///
/// Statistics: 64 samples give a deviation to 9 %; twice as many pixels would straddle too many edges of a small card.
const CELL: usize = 8;

/// Added to linear light before the logarithm is taken: about the quantisation of 8-bit sRGB in the dark (1 / 255 / 12.92
/// is 0.0003; JPEG noise there is some ten times that).
const DARK_FLOOR: f32 = 0.004;

/// Logarithm of linear light and its differences between channels: a shadow moves only the first.
///
/// `[mean, red - green, blue - green]`.
pub(super) type LogColour = [f32; 3];

/// Where a ground is looked for: inside all of these that are given.
#[derive(Debug, Clone, Copy)]
pub(super) struct Limits<'a> {
    /// What the person points at.
    pub(super) region: Option<Region>,
    /// A card's outline, or that of a field on it.
    pub(super) outline: Option<&'a [Point<Image>]>,
}

impl Limits<'_> {
    /// Whether a point lies inside.
    pub(super) fn hold(&self, p: Point<Image>) -> bool {
        self.region.is_none_or(|r| r.contains(p)) && self.outline.is_none_or(|outline| inside_polygon(outline, p))
    }

    /// The points at one height: where the outline is crossed there is worked out once for all of them.
    fn row(&self, y: f64) -> LimitsRow {
        LimitsRow { region: self.region, crossings: self.outline.map(|outline| crossings(outline, y).collect()) }
    }
}

/// The points inside of limits at one height.
struct LimitsRow {
    region: Option<Region>,
    crossings: Option<Vec<f64>>,
}

impl LimitsRow {
    /// Whether a point of this row lies inside (even-odd rule).
    fn holds(&self, p: Point<Image>) -> bool {
        let odd = |crossings: &Vec<f64>| crossings.iter().filter(|x| p.x < **x).count() % 2 == 1;
        self.region.is_none_or(|r| r.contains(p)) && self.crossings.as_ref().is_none_or(odd)
    }
}

/// What kind of ground is looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Texture {
    /// Paper, a card, a smooth table: deviations of up to some 15 % of the light.
    Plain,
    /// Cloth or wood: deviations up to a factor of two.
    Rough,
    /// One colour under light that changes by more than any plain ground's does (a lamp beside crumpled paper, long shadows):
    /// told by colour alone.
    UnevenLight,
}

/// The ground and how the picture differs from it.
#[derive(Debug, Clone)]
pub(super) struct Ground {
    /// The reduced picture.
    pub(super) reduced: Reduced,
    /// Where the ground lies in the reduced picture: inside the given limits and its own convex outline.
    domain: Raster<bool>,
    /// Log colour less the ground's model, whole reduced picture.
    pub(super) difference: Raster<LogColour>,
    /// Standard deviation of `difference` on the ground, per component.
    pub(super) noise: LogColour,
    model: [[f64; 6]; 3],
    /// What the quadratic leaves, smoothed, one value a cell.
    rest: Raster<LogColour>,
    size: (f64, f64),
    /// Whether it is textured (cloth, wood), so that single pixels say little.
    pub(super) textured: bool,
    /// Whether only colour tells what lies on it.
    pub(super) by_colour: bool,
}

/// Log colour of code values.
fn log_colour_table() -> [f32; 256] {
    std::array::from_fn(|code| (LINEAR_OF_SRGB[code] + DARK_FLOOR).ln())
}

fn log_colour(rgb: [u8; 3], table: &[f32; 256]) -> LogColour {
    let [r, g, b] = rgb.map(|v| table[usize::from(v)]);
    [0.25 * r + 0.5 * g + 0.25 * b, r - g, b - g]
}

#[derive(Debug, Clone, Copy)]
struct Cell {
    mean: [f64; 3],
    deviation: [f64; 3],
    uniform: bool,
}

/// The picture in which grounds are found, its longer side at most `longest_side`.
pub(super) fn reduced(photo: &Photo, longest_side: usize) -> Reduced {
    let longest = photo.rgb.width().max(photo.rgb.height());
    Reduced::of(&photo.rgb, longest.div_ceil(longest_side).max(1))
}

impl Ground {
    /// Finds the ground inside `limits`; `None` where nothing is uniform. When it is `bounded`, the ground is all that
    /// lies inside. `hint` is true on things that lie on the ground (a ruler's marks): of several grounds the one beside
    /// them is taken.
    pub(super) fn find(
        reduced: &Reduced,
        limits: &Limits,
        bounded: bool,
        texture: Texture,
        hint: &dyn Fn(Point<Image>) -> bool,
    ) -> Option<Self> {
        let (width, height) = (reduced.rgb.width(), reduced.rgb.height());
        if width < 4 * CELL || height < 4 * CELL {
            return None;
        }
        let table = log_colour_table();
        let mut field = reduced.rgb.map(|p| log_colour(p, &table));
        let size = (width as f64, height as f64);
        let (columns, rows) = (width / CELL, height / CELL);
        let mut cells = cells_of(&field, columns, rows);
        let usable: Vec<bool> = (0..columns * rows)
            .map(|i| {
                let (x, y) = cell_middle(i, columns);
                limits.hold(reduced.image_from_reduced(x, y))
            })
            .collect();
        mark_uniform(&mut cells, &usable, texture)?;
        // A textured ground falls into many small areas: all of it that looks alike counts, and it reaches everywhere.
        let bounded = bounded || texture != Texture::Plain;
        let members = if bounded {
            uniform_cells(&cells, texture)?
        } else {
            let hinted: Vec<bool> = (0..columns * rows)
                .map(|i| {
                    let (x, y) = cell_middle(i, columns);
                    hint(reduced.image_from_reduced(x, y))
                })
                .collect();
            largest_area(&cells, columns, rows, &hinted)?
        };
        let (model, members) = fit_model(&cells, &members, columns, size, texture)?;
        let hull = convex_hull(&members.iter().flat_map(|i| cell_corners(*i, columns)).collect::<Vec<_>>());
        let rest = smooth_rest(&cells, &members, &model, columns, rows, size);
        let across: Vec<(f64, (usize, usize, f32))> =
            (0..width).map(|x| (x as f64 / size.0 - 0.5, cell_neighbours(x as f64, columns))).collect();
        for (y, row) in (0..height).zip(field.samples_mut().chunks_exact_mut(width)) {
            let v = y as f64 / size.1 - 0.5;
            let (above, below, down) = cell_neighbours(y as f64, rows);
            let (above, below) = (rest.row(above), rest.row(below));
            // Along a row the model is a quadratic in u.
            let along = model.map(|m| [m[0] + m[2] * v + m[5] * v * v, m[1] + m[4] * v, m[3]]);
            for (sample, (u, (before, after, right))) in row.iter_mut().zip(&across) {
                let (p, q, r, s) = (above[*before], above[*after], below[*before], below[*after]);
                for (c, value) in sample.iter_mut().enumerate() {
                    let (top, bottom) = (p[c] + (q[c] - p[c]) * right, r[c] + (s[c] - r[c]) * right);
                    let [level, slope, bow] = along[c];
                    *value -= (level + u * (slope + u * bow)) as f32 + top + (bottom - top) * down;
                }
            }
        }
        let mut noise: LogColour = std::array::from_fn(|c| {
            let mut spread: Vec<f64> =
                members.iter().filter_map(|i| cells.get(*i)).map(|cell| cell.deviation[c]).collect();
            spread.sort_unstable_by(f64::total_cmp);
            spread.get(spread.len() / 2).copied().unwrap_or(0.01).max(0.002) as f32
        });
        if texture != Texture::Plain {
            // Folds and knots between the plain cells belong to the ground too, and most of the picture is ground.
            for (c, n) in noise.iter_mut().enumerate() {
                let every: Vec<f64> = field.samples().iter().step_by(7).map(|d| f64::from(d[c].abs())).collect();
                *n = n.max(1.4826 * crate::base::stats::median(&every).unwrap_or(0.0) as f32);
            }
        }
        let mut domain = Raster::filled(width, height, false);
        for y in 0..height {
            let v = y as f64;
            if bounded {
                let row = limits.row(reduced.image_from_reduced(0.0, v).y);
                for (x, out) in domain.row_mut(y).iter_mut().enumerate() {
                    *out = row.holds(reduced.image_from_reduced(x as f64, v));
                }
            } else if let Some((from, to)) = row_inside_convex(&hull, v) {
                let (from, to) = (from.ceil().max(0.0) as usize, (to.floor() as usize + 1).min(width));
                domain.row_mut(y).get_mut(from..to).unwrap_or_default().fill(true);
            }
        }
        let domain = eroded(&domain, RIM);
        let reduced = reduced.clone();
        Some(Self {
            reduced,
            domain,
            difference: field,
            noise,
            model,
            rest,
            size,
            textured: texture == Texture::Rough,
            by_colour: texture == Texture::UnevenLight,
        })
    }

    /// Linear light of the bare ground at a point of the photo, by the smooth model.
    pub(super) fn colour_at(&self, p: Point<Image>) -> [f32; 3] {
        let (x, y) = self.reduced.reduced_from_image(p);
        let (u, v) = (x / self.size.0 - 0.5, y / self.size.1 - 0.5);
        let rest = self.rest_at(x, y);
        let [l, rg, bg] = [0, 1, 2].map(|c: usize| evaluate(&self.model[c], u, v) + f64::from(rest[c]));
        // l = r/4 + g/2 + b/4 with r = g + rg, b = g + bg.
        let g = l - 0.25 * rg - 0.25 * bg;
        [g + rg, g, g + bg].map(|log| (log.exp() as f32 - DARK_FLOOR).max(0.002))
    }

    fn rest_at(&self, x: f64, y: f64) -> LogColour {
        let (columns, rows) = (self.rest.width(), self.rest.height());
        let ((above, below, down), (before, after, right)) = (cell_neighbours(y, rows), cell_neighbours(x, columns));
        let at = |r: usize, c: usize| self.rest.samples()[r * columns + c];
        let (p, q, r, s) = (at(above, before), at(above, after), at(below, before), at(below, after));
        std::array::from_fn(|c| {
            let (top, bottom) = (p[c] + (q[c] - p[c]) * right, r[c] + (s[c] - r[c]) * right);
            top + (bottom - top) * down
        })
    }

    /// Whether a point of the photo lies on the ground's outline or inside.
    pub(super) fn holds_point(&self, p: Point<Image>) -> bool {
        let (x, y) = self.reduced.reduced_from_image(p);
        x >= -0.5 && y >= -0.5 && self.holds(x.round().max(0.0) as usize, y.round().max(0.0) as usize)
    }

    /// Whether a point of the reduced picture lies on the ground's outline or inside.
    pub(super) fn holds(&self, x: usize, y: usize) -> bool {
        self.domain.get(x, y).unwrap_or(false)
    }
}

/// The two cells between whose middles a coordinate lies, and how far towards the second.
fn cell_neighbours(at: f64, count: usize) -> (usize, usize, f32) {
    let place = ((at - (CELL as f64 - 1.0) / 2.0) / CELL as f64).clamp(0.0, count.saturating_sub(1) as f64);
    let first = place as usize;
    (first, (first + 1).min(count.saturating_sub(1)), (place - first as f64) as f32)
}

/// Residual of the members, spread over gaps: normalised convolution (H. Knutsson, C.-F. Westin 1993) with two widths,
/// the wide one where the narrow one finds no member.
fn smooth_rest(
    cells: &[Cell],
    members: &[usize],
    model: &[[f64; 6]; 3],
    columns: usize,
    rows: usize,
    size: (f64, f64),
) -> Raster<LogColour> {
    let mut sums = vec![[0.0f64; 4]; columns * rows];
    for i in members {
        let (x, y) = cell_middle(*i, columns);
        let (u, v) = (x / size.0 - 0.5, y / size.1 - 0.5);
        let sum = &mut sums[*i];
        for c in 0..3 {
            sum[c] = cells[*i].mean[c] - evaluate(&model[c], u, v);
        }
        sum[3] = 1.0;
    }
    let narrow = blur_cells(&sums, columns, rows, 2);
    let wide = blur_cells(&narrow, columns, rows, 6);
    let samples = narrow
        .iter()
        .zip(&wide)
        .map(|(n, w)| {
            // A tenth of a member's weight from the wide estimate: it matters only where members are far.
            let weight = n[3] + 0.1 * w[3] + 1e-6;
            std::array::from_fn(|c| ((n[c] + 0.1 * w[c]) / weight) as f32)
        })
        .collect();
    Raster::from_samples(columns, rows, samples).unwrap_or_else(|| Raster::filled(columns, rows, [0.0; 3]))
}

/// Three box means of half width `half` in each direction.
fn blur_cells(cells: &[[f64; 4]], columns: usize, rows: usize, half: usize) -> Vec<[f64; 4]> {
    let mut now = cells.to_vec();
    for _ in 0..3 {
        for (count, stride, lines, jump) in [(columns, 1, rows, columns), (rows, columns, columns, 1)] {
            for line in 0..lines {
                let old: Vec<[f64; 4]> = (0..count).map(|k| now[line * jump + k * stride]).collect();
                for k in 0..count {
                    let (a, b) = (k.saturating_sub(half), (k + half).min(count - 1));
                    let mut sum = [0.0; 4];
                    for o in &old[a..=b] {
                        for c in 0..4 {
                            sum[c] += o[c];
                        }
                    }
                    now[line * jump + k * stride] = sum.map(|s| s / (2 * half + 1) as f64);
                }
            }
        }
    }
    now
}

fn terms(u: f64, v: f64) -> [f64; 6] {
    [1.0, u, v, u * u, u * v, v * v]
}

fn evaluate(model: &[f64; 6], u: f64, v: f64) -> f64 {
    model.iter().zip(terms(u, v)).map(|(m, t)| m * t).sum()
}

fn cell_middle(i: usize, columns: usize) -> (f64, f64) {
    let half = (CELL as f64 - 1.0) / 2.0;
    ((i % columns * CELL) as f64 + half, (i / columns * CELL) as f64 + half)
}

fn cell_corners(i: usize, columns: usize) -> [(f64, f64); 4] {
    let (x, y) = ((i % columns * CELL) as f64, (i / columns * CELL) as f64);
    let side = CELL as f64;
    [(x - 0.5, y - 0.5), (x + side - 0.5, y - 0.5), (x - 0.5, y + side - 0.5), (x + side - 0.5, y + side - 0.5)]
}

fn cells_of(field: &Raster<LogColour>, columns: usize, rows: usize) -> Vec<Cell> {
    let mut cells = Vec::with_capacity(columns * rows);
    let count = (CELL * CELL) as f64;
    for row in 0..rows {
        for column in 0..columns {
            let (mut sum, mut square) = ([0.0f64; 3], [0.0f64; 3]);
            for y in row * CELL..(row + 1) * CELL {
                let line = field.row(y);
                for sample in &line[column * CELL..(column + 1) * CELL] {
                    for c in 0..3 {
                        let v = f64::from(sample[c]);
                        sum[c] += v;
                        square[c] += v * v;
                    }
                }
            }
            let mean = sum.map(|s| s / count);
            let deviation = std::array::from_fn(|c| (square[c] / count - mean[c] * mean[c]).max(0.0).sqrt());
            cells.push(Cell { mean, deviation, uniform: false });
        }
    }
    cells
}

/// A cell is uniform when its deviation is near the smallest deviations of the picture: plain paper or cloth.
fn mark_uniform(cells: &mut [Cell], usable: &[bool], texture: Texture) -> Option<()> {
    let limit: Vec<f64> = [0usize, 1, 2]
        .map(|c| {
            let most = match texture {
                Texture::Plain => 0.15,
                Texture::Rough => 0.6,
                Texture::UnevenLight => [0.6, 0.05, 0.05][c],
            };
            let mut all: Vec<f64> =
                cells.iter().zip(usable).filter(|(_, ok)| **ok).map(|(cell, _)| cell.deviation[c]).collect();
            all.sort_unstable_by(f64::total_cmp);
            // A quarter of a photo of yarn on a ground is bare ground; three times its typical deviation is no noise any more.
            all.get(all.len() / 4).map(|d| (3.0 * d).clamp(0.012, most))
        })
        .into_iter()
        .collect::<Option<_>>()?;
    for (cell, ok) in cells.iter_mut().zip(usable) {
        cell.uniform = *ok && cell.deviation.iter().zip(&limit).all(|(d, l)| d <= l);
    }
    Some(())
}

/// All uniform cells of about the same light and colour as most of them.
fn uniform_cells(cells: &[Cell], texture: Texture) -> Option<Vec<usize>> {
    let all: Vec<usize> = (0..cells.len()).filter(|i| cells[*i].uniform).collect();
    let middle = |c: usize| crate::base::stats::median(&all.iter().map(|i| cells[*i].mean[c]).collect::<Vec<_>>());
    let typical = [middle(0)?, middle(1)?, middle(2)?];
    // A corner of the picture has about 0.6 of the middle's light; a plain card has one colour.
    let most = if texture == Texture::UnevenLight { f64::INFINITY } else { 0.5 };
    let near = |i: &usize| {
        (cells[*i].mean[0] - typical[0]).abs() < most && (1..3).all(|c| (cells[*i].mean[c] - typical[c]).abs() < 0.1)
    };
    let kept: Vec<usize> = all.into_iter().filter(near).collect();
    (kept.len() >= 12).then_some(kept)
}

/// Connected uniform cells of slowly changing colour; the largest such area (brighter areas count for more: a card is
/// brighter than a table), and every other area of at least a tenth of it that the same smooth model describes.
fn largest_area(cells: &[Cell], columns: usize, rows: usize, hinted: &[bool]) -> Option<Vec<usize>> {
    let mut label = vec![usize::MAX; cells.len()];
    let mut areas: Vec<Vec<usize>> = Vec::new();
    for start in 0..cells.len() {
        if label[start] != usize::MAX || !cells[start].uniform {
            continue;
        }
        let id = areas.len();
        let mut area = vec![start];
        label[start] = id;
        let mut next = 0;
        while let Some(&i) = area.get(next) {
            next += 1;
            let (x, y) = (i % columns, i / columns);
            let around = [
                (x > 0).then(|| i - 1),
                (x + 1 < columns).then_some(i + 1),
                (y > 0).then(|| i - columns),
                (y + 1 < rows).then_some(i + columns),
            ];
            for j in around.into_iter().flatten() {
                if label[j] == usize::MAX && cells[j].uniform && alike(&cells[i], &cells[j]) {
                    label[j] = id;
                    area.push(j);
                }
            }
        }
        areas.push(area);
    }
    let near_hint = |i: usize| {
        let (x, y) = (i % columns, i / columns);
        (y.saturating_sub(2)..=(y + 2).min(rows - 1))
            .any(|v| (x.saturating_sub(2)..=(x + 2).min(columns - 1)).any(|u| hinted[v * columns + u]))
    };
    let hints = hinted.iter().filter(|h| **h).count();
    let weight = |area: &Vec<usize>| {
        let bright = area.iter().map(|i| (cells[*i].mean[0]).exp().sqrt()).sum::<f64>();
        let beside = if hints > 0 { area.iter().filter(|i| near_hint(**i)).count() } else { 0 };
        // Beside a good part of the marks: that is the ground, however large another may be.
        if beside * 5 >= hints && hints > 0 { bright + cells.len() as f64 } else { bright }
    };
    let best = (0..areas.len()).max_by(|a, b| weight(&areas[*a]).total_cmp(&weight(&areas[*b])).then(b.cmp(a)))?;
    let mut members = areas[best].clone();
    if members.len() < 12 {
        return None;
    }
    let mean = |area: &[usize], c: usize| area.iter().map(|i| cells[*i].mean[c]).sum::<f64>() / area.len() as f64;
    let best_mean = [0, 1, 2].map(|c| mean(&areas[best], c));
    for (id, area) in areas.iter().enumerate() {
        // The same card on the other side of the yarn: vignetting and a lamp change its light by a quarter at most, its
        // colour hardly.
        let same =
            (mean(area, 0) - best_mean[0]).abs() < 0.25 && (1..3).all(|c| (mean(area, c) - best_mean[c]).abs() < 0.05);
        if id != best && area.len() * 20 >= areas[best].len() && same {
            members.extend(area);
        }
    }
    members.sort_unstable();
    Some(members)
}

/// Whether two neighbouring cells can belong to one evenly lit ground.
fn alike(a: &Cell, b: &Cell) -> bool {
    // Vignetting changes light by about a third over half a picture: 50 cells, under 1 % a cell. A card edge is far more.
    (0..3).all(|c| (a.mean[c] - b.mean[c]).abs() < 0.03 + 0.5 * (a.deviation[c] + b.deviation[c]))
}

fn fit(cells: &[Cell], members: &[usize], columns: usize, size: (f64, f64)) -> Option<[[f64; 6]; 3]> {
    let design = DMatrix::from_fn(members.len(), 6, |r, c| {
        let (x, y) = cell_middle(members[r], columns);
        terms(x / size.0 - 0.5, y / size.1 - 0.5)[c]
    });
    // A touch of ridge on the second-order terms keeps a narrow ground from bending the model wildly beyond it.
    let mut normal = design.transpose() * &design;
    for i in 3..6 {
        normal[(i, i)] += 1e-3 * members.len() as f64;
    }
    let solve = normal.cholesky()?;
    let mut model = [[0.0; 6]; 3];
    for (c, m) in model.iter_mut().enumerate() {
        let values = DVector::from_fn(members.len(), |r, _| cells[members[r]].mean[c]);
        let solution = solve.solve(&(design.transpose() * values));
        for (out, v) in m.iter_mut().zip(solution.iter()) {
            *out = *v;
        }
    }
    Some(model)
}

/// Fits, drops the cells that lie far off, fits again.
#[allow(clippy::type_complexity, reason = "the model and the cells that it was fitted to")]
fn fit_model(
    cells: &[Cell],
    members: &[usize],
    columns: usize,
    size: (f64, f64),
    texture: Texture,
) -> Option<([[f64; 6]; 3], Vec<usize>)> {
    let planes = if texture == Texture::UnevenLight { 1..3 } else { 0..3 };
    let mut kept = members.to_vec();
    let mut model = fit(cells, &kept, columns, size)?;
    for _ in 0..3 {
        let residual = |i: usize| {
            let (x, y) = cell_middle(i, columns);
            let (u, v) = (x / size.0 - 0.5, y / size.1 - 0.5);
            planes.clone().map(|c| (cells[i].mean[c] - evaluate(&model[c], u, v)).abs()).fold(0.0, f64::max)
        };
        let mut all: Vec<f64> = kept.iter().map(|i| residual(*i)).collect();
        all.sort_unstable_by(f64::total_cmp);
        let limit = (4.0 * all.get(all.len() / 2).copied()?).max(0.06);
        let next: Vec<usize> = members.iter().copied().filter(|i| residual(*i) <= limit).collect();
        if next.len() < 12 {
            break;
        }
        kept = next;
        model = fit(cells, &kept, columns, size)?;
    }
    Some((model, kept))
}

/// Convex hull, Andrew's monotone chain (A. M. Andrew, Inf. Process. Lett. 9 (1979) 216).
fn convex_hull(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut sorted = points.to_vec();
    sorted.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    sorted.dedup();
    let cross = |o: (f64, f64), a: (f64, f64), b: (f64, f64)| (a.0 - o.0) * (b.1 - o.1) - (a.1 - o.1) * (b.0 - o.0);
    let chain = |points: &mut dyn Iterator<Item = (f64, f64)>| {
        let mut hull: Vec<(f64, f64)> = Vec::new();
        for p in points {
            while let [.., a, b] = hull[..] {
                if cross(a, b, p) > 0.0 {
                    break;
                }
                hull.pop();
            }
            hull.push(p);
        }
        hull.pop();
        hull
    };
    let mut hull = chain(&mut sorted.iter().copied());
    hull.extend(chain(&mut sorted.iter().rev().copied()));
    hull
}

/// Rim of the ground that is left out, px of the reduced picture: a card's cut edge and its shadow.
const RIM: usize = 4;

/// The area without its rim; the picture's own border is no rim.
fn eroded(area: &Raster<bool>, rim: usize) -> Raster<bool> {
    let (width, height) = (area.width(), area.height());
    let mut across = Raster::filled(width, height, false);
    for y in 0..height {
        let mut start = 0;
        for run in area.row(y).chunk_by(|a, b| a == b) {
            let end = start + run.len();
            let from = if start == 0 { 0 } else { start + rim };
            let to = if end == width { width } else { end.saturating_sub(rim) };
            if run[0] {
                across.row_mut(y).get_mut(from..to).unwrap_or_default().fill(true);
            }
            start = end;
        }
    }
    let mut both = across.clone();
    for y in 0..height {
        for other in y.saturating_sub(rim)..=(y + rim).min(height - 1) {
            both.row_mut(y).iter_mut().zip(across.row(other)).for_each(|(out, inside)| *out &= inside);
        }
    }
    both
}

/// First and last x inside a convex polygon at a height; `None` where it passes the polygon by.
fn row_inside_convex(hull: &[(f64, f64)], y: f64) -> Option<(f64, f64)> {
    hull.iter()
        .zip(hull.iter().cycle().skip(1))
        .filter(|(a, b)| a.1.min(b.1) <= y && y <= a.1.max(b.1) && a.1 != b.1)
        .map(|(a, b)| a.0 + (y - a.1) / (b.1 - a.1) * (b.0 - a.0))
        .fold(None, |seen: Option<(f64, f64)>, x| Some(seen.map_or((x, x), |(low, high)| (low.min(x), high.max(x)))))
}
