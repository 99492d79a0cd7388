//! From a scene to light on the sensor's plane, tile by tile.

use nalgebra::Vector3;
use rayon::prelude::*;

use super::camera::Camera;
use super::ground::{Ground, Spot};
use super::hair::Hairs;
use super::lay;
use super::mesh::{Mesh, TILE};
use super::raster::Samples;
use super::scene::Scene;
use super::shade::{Light, Shader};
use super::shadow::Shadows;
use super::strand::{Nominal, Strand};
use crate::base::raster::Raster;

/// Light before lens blur, noise and file, and the geometry it came from.
#[derive(Debug)]
pub(super) struct Seen {
    pub(super) light: Raster<[f32; 3]>,
    pub(super) strands: Vec<Strand>,
    pub(super) camera: Camera,
}

/// Everything that a tile needs.
struct Studio<'a> {
    scene: &'a Scene,
    camera: &'a Camera,
    ground: Ground<'a>,
    yarn: Option<Dressed<'a>>,
    columns: usize,
}

struct Dressed<'a> {
    strands: &'a [Strand],
    mesh: Mesh,
    hairs: Hairs,
    shadows: Shadows<'a>,
    shader: Shader<'a>,
}

/// Renders a scene.
pub(super) fn see(scene: &Scene) -> Seen {
    let (width, height) = (scene.camera.width_px, scene.camera.height_px);
    let camera = Camera::new(&scene.camera);
    let light = Light::of(&scene.light);
    let strands = lay::strands(scene, &camera);
    let (columns, rows) = (width.div_ceil(TILE), height.div_ceil(TILE));
    let px_per_mm = scene.camera.focal_px / scene.camera.distance_mm.max(1e-6);
    let yarn = scene.yarn.as_ref().map(|(yarn, _)| {
        let nominal = Nominal::of(yarn);
        Dressed {
            strands: &strands,
            mesh: Mesh::of(&strands, &camera, width, height),
            hairs: Hairs::of(&strands, yarn, &camera, columns, columns * rows, scene.seed),
            shadows: Shadows::of(&strands, &light, nominal.envelope, &camera, columns, columns * rows),
            shader: Shader::new(yarn, &nominal.radii, &light, scene.card.colour, px_per_mm, scene.seed),
        }
    });
    let ground =
        Ground { card: &scene.card, table: &scene.table, clutter: &scene.clutter, light: &light, seed: scene.seed };
    let studio = Studio { scene, camera: &camera, ground, yarn, columns };
    let mut picture = Raster::filled(width, height, [0.0f32; 3]);
    // A row of tiles is a slice of the picture of its own.
    picture.samples_mut().par_chunks_mut(width * TILE).enumerate().for_each(|(row, lines)| {
        for column in 0..columns {
            studio.tile(column, row, lines);
        }
    });
    drop(studio);
    Seen { light: picture, strands, camera }
}

impl Studio<'_> {
    fn tile(&self, column: usize, row: usize, lines: &mut [[f32; 3]]) {
        let width = self.scene.camera.width_px;
        let (x0, y0) = (column * TILE, row * TILE);
        let across = TILE.min(width - x0);
        let down = lines.len() / width;
        let number = row * self.columns + column;
        let yarn = self.yarn.as_ref();
        let bands = yarn.and_then(|y| y.mesh.tiles.get(number)).map_or(&[][..], Vec::as_slice);
        let hairs = yarn.and_then(|y| y.hairs.tiles.get(number)).map_or(&[][..], Vec::as_slice);
        let shaded = yarn.filter(|y| y.shadows.touch(number));
        let mut samples = None;
        let mut over = Vec::new();
        if let Some(yarn) = yarn
            && !(bands.is_empty() && hairs.is_empty())
        {
            let mut drawn = Samples::new(x0, y0, self.scene.sensor.samples.max(1));
            drawn.draw(&yarn.mesh, bands);
            if !hairs.is_empty() {
                over = vec![[0.0f32; 4]; drawn.hits.len()];
                draw_hairs(yarn, hairs, &drawn, &mut over);
            }
            samples = Some((yarn, drawn));
        }
        for y in 0..down {
            for x in 0..across {
                let mut colour = self.ground_at(x0 + x, y0 + y, number, shaded);
                if let Some((yarn, drawn)) = &samples {
                    colour = mixed(yarn, drawn, &over, x, y, colour);
                }
                if let Some(pixel) = lines.get_mut(y * width + x0 + x) {
                    *pixel = colour;
                }
            }
        }
    }

    fn ground_at(&self, x: usize, y: usize, tile: usize, shaded: Option<&Dressed<'_>>) -> [f32; 3] {
        let (px, py) = (x as f64, y as f64);
        let place = |dx: f64, dy: f64| self.camera.on_plane(px + dx, py + dy, 0.0);
        let (Some(here), Some(right), Some(below)) = (place(0.0, 0.0), place(1.0, 0.0), place(0.0, 1.0)) else {
            return [0.0; 3];
        };
        let card = Spot {
            x: here[0],
            y: here[1],
            wide: length(right[0] - here[0], below[0] - here[0]),
            high: length(right[1] - here[1], below[1] - here[1]),
        };
        let thick = self.scene.card.thickness_mm;
        let deeper = thick / self.camera.position.z.max(1.0);
        let table = Spot {
            x: card.x + (card.x - self.camera.position.x) * deeper,
            y: card.y + (card.y - self.camera.position.y) * deeper,
            ..card
        };
        let colour = self.ground.colour(&card, &table);
        let Some(yarn) = shaded else { return colour.map(|c| c as f32) };
        let off_card = card.x.abs() > self.scene.card.width_mm / 2.0 || card.y.abs() > self.scene.card.height_mm / 2.0;
        let (at, z) = if off_card { (&table, -thick) } else { (&card, 0.0) };
        let reaching = yarn.shadows.at(tile, at.x, at.y, z);
        let direct = self.scene.light.direct;
        let share = direct * reaching.direct + (1.0 - direct) * reaching.sky;
        colour.map(|c| (c * share) as f32)
    }
}

/// Without the care that `hypot` takes of very large numbers, which costs more than the rest of a pixel.
fn length(x: f64, y: f64) -> f64 {
    (x * x + y * y).sqrt()
}

/// One pixel: its samples of yarn and hair over the ground.
fn mixed(yarn: &Dressed<'_>, drawn: &Samples, over: &[[f32; 4]], x: usize, y: usize, ground: [f32; 3]) -> [f32; 3] {
    let per = drawn.per;
    let mut sum = [0.0f32; 3];
    for j in 0..per {
        for i in 0..per {
            let at = (y * per + j) * drawn.side + x * per + i;
            let Some(hit) = drawn.hits.get(at) else { continue };
            let mut colour = ground;
            if hit.depth.is_finite()
                && let Some(tube) = yarn.mesh.tubes.get(hit.tube as usize)
                && let Some(strand) = yarn.strands.get(tube.strand)
            {
                colour = yarn.shader.colour(strand, tube.strand, tube.ply, f64::from(hit.station), f64::from(hit.phi));
            }
            if let Some([r, g, b, a]) = over.get(at) {
                colour = [colour[0] * (1.0 - a) + r, colour[1] * (1.0 - a) + g, colour[2] * (1.0 - a) + b];
            }
            for c in 0..3 {
                sum[c] += colour[c];
            }
        }
    }
    sum.map(|c| c / (per * per) as f32)
}

/// Draws hairs over the samples: premultiplied colour and cover. A hair thinner than a sample covers its share of it.
fn draw_hairs(yarn: &Dressed<'_>, list: &[u32], drawn: &Samples, over: &mut [[f32; 4]]) {
    let per = drawn.per as f32;
    let [left, top] = drawn.place(0, 0).map(|v| v as f32);
    let last = drawn.side - 1;
    for part in list.iter().filter_map(|i| yarn.hairs.parts.get(*i as usize)) {
        let along = Vector3::new(f64::from(part.along[0]), f64::from(part.along[1]), f64::from(part.along[2]));
        let colour = yarn.shader.hair(usize::from(part.ply), &along, f64::from(part.shade));
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
                let away = (x - a[0] - t * dx).hypot(y - a[1] - t * dy);
                let cover = share * (radius + 0.5 - away).clamp(0.0, 1.0);
                let depth = part.from[2] + t * (part.to[2] - part.from[2]);
                let at = row * drawn.side + column;
                if cover > 0.0
                    && drawn.hits.get(at).is_some_and(|hit| depth <= hit.depth)
                    && let Some(cell) = over.get_mut(at)
                {
                    let fresh = cover * (1.0 - cell[3]);
                    for c in 0..3 {
                        cell[c] += fresh * colour[c];
                    }
                    cell[3] += fresh;
                }
            }
        }
    }
}
