//! From a scene to light on the sensor's plane, tile by tile.

use nalgebra::Vector3;
use rayon::prelude::*;

use super::camera::Camera;
use super::edges::Silhouette;
use super::fringe::Fringe;
use super::ground::{Ground, Spot};
use super::hair::Hairs;
use super::lay;
use super::mesh::{Mesh, TILE};
use super::raster::Samples;
use super::scene::{Scene, YarnSpec};
use super::shade::{Light, Shader};
use super::shadow::Shadows;
use super::strand::{Nominal, Strand};
use super::thing::{Kind, Laid, Part, length};
use crate::base::raster::Raster;

/// Light before lens blur, noise and file, and the geometry it came from.
#[derive(Debug)]
pub(super) struct Seen {
    pub(super) light: Raster<[f32; 3]>,
    pub(super) strands: Vec<Strand>,
    pub(super) camera: Camera,
}

/// No strand at all.
pub(super) const NO_STRAND: u16 = u16::MAX;

/// What a pixel shows: shares of 255, what lies below the yarn, and which strand is uppermost at its middle.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mark {
    pub(super) body: u8,
    pub(super) hair: u8,
    pub(super) shadow: u8,
    pub(super) kind: Kind,
    pub(super) top: u16,
}

/// What a rendered scene shows.
#[derive(Debug)]
pub(super) struct Marks {
    pub(super) silhouettes: Vec<Silhouette>,
    pub(super) picture: Raster<Mark>,
}

/// Everything that a tile needs.
struct Studio<'a> {
    scene: &'a Scene,
    camera: &'a Camera,
    light: &'a Light,
    ground: Ground<'a>,
    yarn: Option<Dressed<'a>>,
    fringe: Option<Fringe>,
    columns: usize,
}

struct Dressed<'a> {
    strands: &'a [Strand],
    mesh: Mesh,
    hairs: Hairs,
    shadows: Shadows<'a>,
    shaders: Vec<Shader<'a>>,
}

/// Renders a scene.
pub(super) fn see(scene: &Scene) -> Seen {
    render(scene, Wish::Light).0
}

/// Renders a scene and tells what each pixel shows.
pub(super) fn see_marked(scene: &Scene) -> (Seen, Marks) {
    render(scene, Wish::Marks)
}

/// What is wanted of a scene.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Wish {
    Light,
    Marks,
}

fn render(scene: &Scene, wish: Wish) -> (Seen, Marks) {
    let (width, height) = (scene.camera.width_px, scene.camera.height_px);
    let camera = Camera::new(&scene.camera);
    let light = Light::of(&scene.light);
    let strands = lay::strands(scene, &camera);
    let (columns, rows) = (width.div_ceil(TILE), height.div_ceil(TILE));
    let px_per_mm = scene.camera.focal_px / scene.camera.distance_mm.max(1e-6);
    let yarns: Vec<&YarnSpec> = strands.iter().filter_map(|s| lay::yarn_of(scene, s)).collect();
    let yarn = (!strands.is_empty() && yarns.len() == strands.len()).then(|| {
        let nominals: Vec<Nominal> = yarns.iter().map(|y| Nominal::of(y)).collect();
        let envelopes: Vec<f64> = nominals.iter().map(|n| n.envelope).collect();
        let view = (camera.position, px_per_mm);
        Dressed {
            strands: &strands,
            mesh: Mesh::of(&strands, &camera, width, height),
            hairs: Hairs::of(&strands, &yarns, &camera, columns, columns * rows, scene.seed),
            shadows: Shadows::of(&strands, &light, &envelopes, &camera, columns, columns * rows),
            shaders: yarns
                .iter()
                .zip(&nominals)
                .map(|(y, n)| Shader::new(y, &n.radii, &light, scene.card.colour, view, scene.seed))
                .collect(),
        }
    });
    let ground = Ground {
        card: &scene.card,
        table: &scene.table,
        picture: scene.picture.as_ref(),
        clutter: &scene.clutter,
        things: scene.things.iter().map(|t| Laid::of(t, &light)).collect(),
        light: &light,
        seed: scene.seed,
    };
    let mut silhouettes = Vec::new();
    if wish == Wish::Marks {
        let trace = |(i, (s, y)): (usize, (&Strand, &&YarnSpec))| Silhouette::of(s, i, y, &camera, scene.seed);
        silhouettes = strands.iter().zip(&yarns).enumerate().map(trace).collect();
    }
    let fringe = (wish == Wish::Marks).then(|| Fringe::of(&silhouettes, columns, columns * rows));
    let studio = Studio { scene, camera: &camera, light: &light, ground, yarn, fringe, columns };
    let mut picture = Raster::filled(width, height, [0.0f32; 3]);
    let blank = Mark { body: 0, hair: 0, shadow: 0, kind: Kind::Ground, top: NO_STRAND };
    let marked = if wish == Wish::Marks { height } else { 0 };
    let mut marks = Raster::filled(width, marked, blank);
    // A row of tiles is a slice of the picture of its own.
    let rows = picture.samples_mut().par_chunks_mut((width * TILE).max(1)).enumerate();
    if wish == Wish::Marks {
        rows.zip(marks.samples_mut().par_chunks_mut((width * TILE).max(1))).for_each(|((row, lines), marks)| {
            (0..columns).for_each(|column| studio.tile(column, row, lines, Some(&mut *marks)));
        });
    } else {
        rows.for_each(|(row, lines)| (0..columns).for_each(|column| studio.tile(column, row, lines, None)));
    }
    drop(studio);
    (Seen { light: picture, strands, camera }, Marks { silhouettes, picture: marks })
}

impl Studio<'_> {
    fn tile(&self, column: usize, row: usize, lines: &mut [[f32; 3]], mut marks: Option<&mut [Mark]>) {
        let width = self.scene.camera.width_px;
        let (x0, y0) = (column * TILE, row * TILE);
        let across = TILE.min(width - x0);
        let down = lines.len() / width;
        let number = row * self.columns + column;
        let yarn = self.yarn.as_ref();
        let bands = yarn.and_then(|y| y.mesh.tiles.get(number)).map_or(&[][..], Vec::as_slice);
        let hairs = yarn.and_then(|y| y.hairs.tiles.get(number)).map_or(&[][..], Vec::as_slice);
        let shaded = yarn.filter(|y| y.shadows.touch(number));
        let near = self.things_near(x0, y0, across, down);
        let mut samples = None;
        let mut over = Vec::new();
        let mut fringe = Vec::new();
        if let Some(yarn) = yarn
            && !(bands.is_empty() && hairs.is_empty())
        {
            let mut drawn = Samples::new(x0, y0, self.scene.sensor.samples.max(1));
            drawn.draw(&yarn.mesh, bands);
            if !hairs.is_empty() {
                over = vec![Fluff::default(); drawn.hits.len()];
                draw_hairs(yarn, hairs, &drawn, &mut over);
            }
            if let Some(edges) = &self.fringe {
                fringe = edges.draw(number, &drawn);
            }
            samples = Some((yarn, drawn));
        }
        for y in 0..down {
            for x in 0..across {
                let (mut colour, mut mark) = self.ground_at(x0 + x, y0 + y, number, shaded, &near);
                if let Some((yarn, drawn)) = &samples {
                    colour = mixed(yarn, drawn, &over, x, y, colour);
                    if marks.is_some() {
                        count(yarn, drawn, &over, &fringe, x, y, &mut mark);
                    }
                }
                if near.iter().any(|p| self.ground.things[p.thing].thing.over) {
                    colour = self.covered(x0 + x, y0 + y, &near, colour, &mut mark);
                }
                let at = y * width + x0 + x;
                if let Some(pixel) = lines.get_mut(at) {
                    *pixel = colour;
                }
                if let Some(to) = marks.as_mut().and_then(|m| m.get_mut(at)) {
                    *to = mark;
                }
            }
        }
    }

    /// Parts of things that a tile may show.
    fn things_near(&self, x0: usize, y0: usize, across: usize, down: usize) -> Vec<Part> {
        if self.ground.things.is_empty() {
            return Vec::new();
        }
        let (left, top) = (x0 as f64 - 1.0, y0 as f64 - 1.0);
        let (right, bottom) = (left + across as f64 + 1.0, top + down as f64 + 1.0);
        let place = |x: f64, y: f64| self.camera.on_plane(x, y, 0.0);
        let Some([x, y]) = place(0.5 * (left + right), 0.5 * (top + bottom)) else { return Vec::new() };
        let corners = [(left, top), (right, top), (left, bottom), (right, bottom)];
        let radius = corners
            .iter()
            .map(|(a, b)| place(*a, *b).map_or(f64::MAX, |p| length(p[0] - x, p[1] - y)))
            .fold(0.0, f64::max);
        self.ground.things.iter().enumerate().filter_map(|(i, t)| t.near(i, x, y, radius)).collect()
    }

    /// A pixel under the things that lie on the yarn.
    fn covered(&self, x: usize, y: usize, near: &[Part], colour: [f32; 3], mark: &mut Mark) -> [f32; 3] {
        let Some(at) = self.spot(x, y) else { return colour };
        let tint = self.light.colour;
        let mut light = std::array::from_fn(|c| f64::from(colour[c]) / tint[c]);
        let free = 1.0 - self.ground.pile(near, true, &at, &mut light, &mut mark.kind);
        mark.body = (f64::from(mark.body) * free).round() as u8;
        mark.hair = (f64::from(mark.hair) * free).round() as u8;
        mark.shadow = (f64::from(mark.shadow) * free).round() as u8;
        if free < 0.5 {
            mark.top = NO_STRAND;
        }
        std::array::from_fn(|c| (light[c] * tint[c]) as f32)
    }

    /// A pixel on the plane of the card's face.
    fn spot(&self, x: usize, y: usize) -> Option<Spot> {
        let (px, py) = (x as f64, y as f64);
        let place = |dx: f64, dy: f64| self.camera.on_plane(px + dx, py + dy, 0.0);
        let (here, right, below) = (place(0.0, 0.0)?, place(1.0, 0.0)?, place(0.0, 1.0)?);
        Some(Spot {
            x: here[0],
            y: here[1],
            wide: length(right[0] - here[0], below[0] - here[0]),
            high: length(right[1] - here[1], below[1] - here[1]),
        })
    }

    fn ground_at(
        &self,
        x: usize,
        y: usize,
        tile: usize,
        shaded: Option<&Dressed<'_>>,
        near: &[Part],
    ) -> ([f32; 3], Mark) {
        let mut mark = Mark { body: 0, hair: 0, shadow: 0, kind: Kind::Ground, top: NO_STRAND };
        let Some(card) = self.spot(x, y) else { return ([0.0; 3], mark) };
        let thick = self.scene.card.thickness_mm;
        let deeper = thick / self.camera.position.z.max(1.0);
        let table = Spot {
            x: card.x + (card.x - self.camera.position.x) * deeper,
            y: card.y + (card.y - self.camera.position.y) * deeper,
            ..card
        };
        let (colour, kind) = self.ground.colour(&card, &table, near);
        mark.kind = kind;
        let Some(yarn) = shaded else { return (colour.map(|c| c as f32), mark) };
        let off_card = card.x.abs() > self.scene.card.width_mm / 2.0 || card.y.abs() > self.scene.card.height_mm / 2.0;
        let (at, z) = if off_card { (&table, -thick) } else { (&card, 0.0) };
        let reaching = yarn.shadows.at(tile, at.x, at.y, z);
        let direct = self.scene.light.direct;
        let share = direct * reaching.direct + (1.0 - direct) * reaching.sky;
        mark.shadow = part_of_255(1.0 - share);
        (colour.map(|c| (c * share) as f32), mark)
    }
}

/// One pixel: its samples of yarn and hair over the ground.
fn mixed(yarn: &Dressed<'_>, drawn: &Samples, over: &[Fluff], x: usize, y: usize, ground: [f32; 3]) -> [f32; 3] {
    let per = drawn.per;
    let mut sum = [0.0f32; 3];
    // Colours change little between neighbouring samples of one ply: of sixteen and more every other one is enough.
    let mut last = (u32::MAX, [0.0f32; 3]);
    for j in 0..per {
        for i in 0..per {
            let at = (y * per + j) * drawn.side + x * per + i;
            let Some(hit) = drawn.hits.get(at) else { continue };
            let mut colour = ground;
            if hit.depth.is_finite()
                && let Some(tube) = yarn.mesh.tubes.get(hit.tube as usize)
                && let (Some(strand), Some(shader)) = (yarn.strands.get(tube.strand), yarn.shaders.get(tube.strand))
            {
                let as_last = per >= 4 && (i + j) % 2 == 1 && last.0 == hit.tube;
                if !as_last {
                    let (station, phi) = (f64::from(hit.station), f64::from(hit.phi));
                    last = (hit.tube, shader.colour(strand, tube.strand, tube.ply, station, phi));
                }
                colour = last.1;
            }
            if let Some(Fluff { colour: [r, g, b], cover: a, .. }) = over.get(at) {
                colour = [colour[0] * (1.0 - a) + r, colour[1] * (1.0 - a) + g, colour[2] * (1.0 - a) + b];
            }
            for c in 0..3 {
                sum[c] += colour[c];
            }
        }
    }
    sum.map(|c| c / (per * per) as f32)
}

/// Hairs over a sample: premultiplied colour and cover, and the cover by hairs that do not belong to the body.
#[derive(Debug, Clone, Copy, Default)]
struct Fluff {
    colour: [f32; 3],
    cover: f32,
    far: f32,
}

fn part_of_255(share: f64) -> u8 {
    (255.0 * share).round().clamp(0.0, 255.0) as u8
}

/// Counts what the samples of a pixel show.
fn count(yarn: &Dressed<'_>, drawn: &Samples, over: &[Fluff], fringe: &[u16], x: usize, y: usize, mark: &mut Mark) {
    let per = drawn.per;
    let (mut body, mut hair) = (0.0, 0.0);
    for j in 0..per {
        for i in 0..per {
            let at = (y * per + j) * drawn.side + x * per + i;
            let beside = fringe.get(at).copied().unwrap_or(NO_STRAND);
            let strand = match drawn.hits.get(at) {
                _ if beside != NO_STRAND => beside,
                Some(hit) => yarn.mesh.tubes.get(hit.tube as usize).map_or(NO_STRAND, |t| t.strand as u16),
                None => NO_STRAND,
            };
            if strand != NO_STRAND {
                body += 1.0;
            } else if let Some(fluff) = over.get(at) {
                hair += f64::from(fluff.far);
            }
            if (i, j) == (per / 2, per / 2) {
                mark.top = strand;
            }
        }
    }
    let all = (per * per) as f64;
    mark.body = part_of_255(body / all);
    mark.hair = part_of_255(hair / all);
    // Where yarn is, its shadow is not: what is left of the pixel shows it.
    mark.shadow = (f64::from(mark.shadow) * (1.0 - (body + hair) / all)).round() as u8;
}

/// Draws hairs over the samples. A hair thinner than a sample covers its share of it.
fn draw_hairs(yarn: &Dressed<'_>, list: &[u32], drawn: &Samples, over: &mut [Fluff]) {
    let per = drawn.per as f32;
    let [left, top] = drawn.place(0, 0).map(|v| v as f32);
    let last = drawn.side - 1;
    for part in list.iter().filter_map(|i| yarn.hairs.parts.get(*i as usize)) {
        let along = Vector3::new(f64::from(part.along[0]), f64::from(part.along[1]), f64::from(part.along[2]));
        let Some(shader) = yarn.shaders.get(usize::from(part.strand)) else { continue };
        let colour = shader.hair(usize::from(part.ply), &along, f64::from(part.shade));
        let cell = |p: &[f32; 3]| [(p[0] - left) * per, (p[1] - top) * per];
        let (a, b) = (cell(&part.from), cell(&part.to));
        let radius = (part.radius * per).max(0.5);
        let share = (part.radius * per / 0.5).min(1.0);
        let reach = radius + 1.0;
        let low = |i: usize| a[i].min(b[i]) - reach;
        let high = |i: usize| a[i].max(b[i]) + reach;
        if high(0) < 0.0 || high(1) < 0.0 || low(0) > last as f32 || low(1) > last as f32 {
            continue;
        }
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let length = (dx * dx + dy * dy).max(1e-9);
        for row in low(1).max(0.0) as usize..=(high(1).max(0.0) as usize).min(last) {
            for column in low(0).max(0.0) as usize..=(high(0).max(0.0) as usize).min(last) {
                let [px, py] = drawn.place(column, row);
                let (x, y) = ((px as f32 - left) * per, (py as f32 - top) * per);
                let along = (x - a[0]) * dx + (y - a[1]) * dy;
                // Half open at the far end, so that joined parts do not cover twice.
                if along < 0.0 || along >= length {
                    continue;
                }
                let t = along / length;
                let (ex, ey) = (x - a[0] - t * dx, y - a[1] - t * dy);
                let away = (ex * ex + ey * ey).sqrt();
                let cover = share * (radius + 0.5 - away).clamp(0.0, 1.0);
                let depth = part.from[2] + t * (part.to[2] - part.from[2]);
                let at = row * drawn.side + column;
                if cover > 0.0
                    && drawn.hits.get(at).is_some_and(|hit| depth <= hit.depth)
                    && let Some(cell) = over.get_mut(at)
                {
                    let fresh = cover * (1.0 - cell.cover);
                    for c in 0..3 {
                        cell.colour[c] += fresh * colour[c];
                    }
                    cell.cover += fresh;
                    if !part.near {
                        cell.far += cover * (1.0 - cell.far);
                    }
                }
            }
        }
    }
}
