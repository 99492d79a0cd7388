//! Scenes to learn from: yarn of every kind on every ground, far beyond what phones usually give, among many things
//! that are no yarn.

mod backdrop;
mod finish;
mod lie;
mod strew;
mod yarn;

use std::sync::Arc;

use super::chance::{Chance, hash};
use super::picture::GroundPicture;
use super::scene::{CameraSpec, Face, Laying, Scene, YarnSpec};

pub use finish::{Finish, Subsampling};

/// A scene to learn from, and what is done to its picture on the way to the file.
#[derive(Debug, Clone, PartialEq)]
pub struct TrainingScene {
    /// The scene.
    pub scene: Scene,
    /// What becomes of its picture.
    pub finish: Finish,
}

/// What the picture holds at what scale.
#[derive(Debug, Clone, Copy)]
struct View {
    width_px: usize,
    height_px: usize,
    px_per_mm: f64,
    /// Place of the card's plane in the middle of the picture.
    target: [f64; 2],
    /// How far from there the picture shows the card's plane, mm, on the side that it is tilted to.
    far: f64,
}

impl View {
    /// Half the diagonal on the card, mm.
    fn reach(&self) -> f64 {
        0.5 * f64::hypot(self.width_px as f64, self.height_px as f64) / self.px_per_mm
    }
    /// A place in the picture, `share` of the way to its corners at most.
    fn somewhere(&self, chance: &mut Chance, share: f64) -> [f64; 2] {
        let half = [self.width_px, self.height_px].map(|px| 0.5 * px as f64 / self.px_per_mm);
        std::array::from_fn(|k| self.target[k] + half[k] * chance.between(-share, share))
    }
}

/// Draws a scene. The picture, where there is one, may become the table; whether it does changes nothing else.
///
/// Every purpose has a stream of chance of its own, made by hashing from seed and purpose.
#[must_use]
pub fn training_scene(seed: u64, picture: Option<Arc<GroundPicture>>) -> TrainingScene {
    let stream = |purpose: u64| Chance::new(hash(seed), hash(7000 + purpose));
    let mut chance = stream(0);
    let (width_px, height_px) = size(&mut chance);
    // Apparent width of the yarn, px: evenly in its logarithm, most of it where yarn usually is.
    let apparent = if chance.happens(0.8) { chance.log_between(14.0, 70.0) } else { chance.log_between(8.0, 110.0) };
    let px_per_mm = chance.log_between(5.0, 50.0).clamp(apparent / 20.0, apparent / 0.15);
    let yarn = yarn::draw(&mut stream(1), apparent / px_per_mm);
    let style = lie::style(&mut chance);
    let card = backdrop::card(&mut stream(2), style, &yarn, apparent / px_per_mm);
    let mut view = View { width_px, height_px, px_per_mm, target: [0.0; 2], far: 0.0 };
    let mut camera = camera(&mut stream(5), &view);
    view.far = farthest(&camera);
    view.target = backdrop::target(&mut stream(3), &card, &view);
    let laid = lie::draw(&mut stream(4), style, yarn, &view, &card);
    if let Some((yarn, Laying::Wraps { count, pitch_mm, first_mm })) = &laid.yarn {
        view.target = among_wraps(&mut chance, yarn, *count as f64 * pitch_mm, *first_mm, &view);
    }
    camera.target = view.target;
    let mut card = card;
    let mut table = backdrop::table(&mut stream(6), &view);
    let mut blending = stream(11);
    // Now and then yarn and ground are of nearly one colour.
    if let Some(ply) = laid.colour
        && blending.happens(0.1)
    {
        let near = ply.map(|c| (c * blending.between(0.75, 1.35)).clamp(0.01, 0.9));
        table.colour = near;
        table.accent = near.map(|c| c * blending.between(0.7, 1.1));
    }
    let picture = picture.and_then(|p| backdrop::picture(&mut stream(7), p, &view));
    if card.width_mm <= 0.0 {
        card.colour = table.colour;
    }
    let things = strew::draw(&mut stream(8), &view, &laid.lines);
    let light = backdrop::light(&mut stream(9));
    let (sensor, finish) = finish::draw(&mut stream(10), apparent);
    let kind = match &card.face {
        _ if card.width_mm <= 0.0 => "on the table",
        Face::Blank => "on a card",
        Face::Ruler(_) => "on a ruled card",
        Face::RulerCard(_) => "on the ruler card",
    };
    let scene = Scene {
        name: format!("t{seed:07}"),
        kind: format!("{} {kind}", style.word()),
        seed: hash(hash(seed) ^ hash(7900)),
        refuse: None,
        yarn: laid.yarn,
        pieces: laid.pieces,
        card,
        table,
        picture,
        clutter: Vec::new(),
        things,
        light,
        camera,
        sensor,
    };
    TrainingScene { scene, finish }
}

/// Width and height, px.
fn size(chance: &mut Chance) -> (usize, usize) {
    let long = chance.between(1200.0, 2000.0).min(chance.between(1200.0, 2000.0)) as usize;
    let short = (long as f64 / chance.pick(&[4.0 / 3.0, 4.0 / 3.0, 4.0 / 3.0, 1.5, 16.0 / 9.0, 1.0])) as usize;
    if chance.happens(0.35) { (short, long) } else { (long, short) }
}

fn among_wraps(chance: &mut Chance, yarn: &YarnSpec, span: f64, first: f64, view: &View) -> [f64; 2] {
    let along = first + span * chance.between(0.0, 1.0);
    let aside = 0.4 * view.reach().min(12.0 * yarn.diameter_mm);
    [along, chance.between(-aside, aside)]
}

fn camera(chance: &mut Chance, view: &View) -> CameraSpec {
    let focal_35mm = chance.pick(&[24.0, 26.0, 28.0, 35.0, 50.0, 52.0, 75.0, 110.0]) * chance.between(0.95, 1.05);
    let diagonal = f64::hypot(view.width_px as f64, view.height_px as f64);
    // Focal lengths over the diagonal of a 35 mm frame, 43.27 mm.
    let focal_px = focal_35mm / 43.266_6 * diagonal;
    // Through a wide lens, a strong tilt shows the table up to its far end.
    let most = if focal_35mm < 45.0 { 20.0 } else { 32.0 };
    let tilt_deg = match chance.unit() {
        u if u < 0.5 => chance.between(0.0, 8.0),
        u if u < 0.85 => chance.between(8.0, 18.0),
        _ => chance.between(18.0, most),
    };
    CameraSpec {
        width_px: view.width_px,
        height_px: view.height_px,
        focal_px,
        target: view.target,
        distance_mm: focal_px / view.px_per_mm,
        tilt_deg,
        tilt_azimuth_deg: chance.between(0.0, 360.0),
        roll_deg: chance.between(-180.0, 180.0),
        k1: chance.between(-0.1, 0.07) * if focal_35mm < 35.0 { 0.6 } else { 1.0 },
    }
}

/// Farthest from the target that the picture's corner shows the card's plane, mm.
fn farthest(camera: &CameraSpec) -> f64 {
    let corner = 0.5 * f64::hypot(camera.width_px as f64, camera.height_px as f64) / camera.focal_px;
    let tilt = camera.tilt_deg.to_radians();
    // Barrel distortion shows a little more.
    let edge = tilt + (corner * (1.0 + 2.0 * camera.k1.abs() * corner * corner)).atan();
    camera.distance_mm * tilt.cos() * (edge.tan() - tilt.tan())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Common practice, no source: splits by seed only keep scenes apart where neighbouring seeds share no stream.
    #[test]
    fn neighbouring_seeds_share_nothing() {
        let scenes: Vec<Scene> = (1_000_000..1_000_040).map(|s| training_scene(s, None).scene).collect();
        for (i, a) in scenes.iter().enumerate() {
            for b in &scenes[i + 1..] {
                assert!((a.seed ^ b.seed).count_ones() > 8, "{} and {}: seeds close in bits", a.name, b.name);
                assert!(a.light != b.light && a.camera != b.camera && a.table != b.table);
            }
        }
        assert_eq!(training_scene(1_000_003, None), training_scene(1_000_003, None));
    }
}
