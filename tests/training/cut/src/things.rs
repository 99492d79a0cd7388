//! Lines along what is no yarn, which a strip net has to tell from it.

use strandrule::base::geometry::{Image, Point};

use super::chance::Chance;
use super::scene::Scene;

/// Most lines along things in one photo, and along bare ground.
const MOST_THINGS: usize = 3;
const MOST_BARE: usize = 2;

/// Lines that no yarn touches, each with a width to look at it by.
pub fn lines(scene: &Scene) -> Vec<(Vec<Point<Image>>, f64)> {
    let mut chance = Chance::of(scene.seed, &format!("{}-things", scene.painter));
    let (w, h) = (scene.photo.width() as f64, scene.photo.height() as f64);
    let mut out = Vec::new();
    for _ in 0..400 {
        let things = out.len() < MOST_THINGS;
        if out.len() >= MOST_THINGS + MOST_BARE {
            break;
        }
        let at = Point::new(chance.unit() * w, chance.unit() * h);
        let kind = kind_at(scene, at);
        let wanted = if things { kind == 3 || (kind == 1 && chance.unit() < 0.3) } else { true };
        if !wanted {
            continue;
        }
        // Along the thing: of some directions the one in which it goes on longest; on bare ground any.
        let first = chance.unit() * std::f64::consts::PI;
        let directions: Vec<f64> = (0..24).map(|k| first + std::f64::consts::PI * f64::from(k) / 24.0).collect();
        let reach = |angle: f64| run(scene, at, angle, kind) + run(scene, at, angle + std::f64::consts::PI, kind);
        let angle = if things && kind != 0 {
            directions.iter().copied().max_by(|a, b| reach(*a).total_cmp(&reach(*b))).unwrap_or(first)
        } else {
            first
        };
        let across = angle + std::f64::consts::FRAC_PI_2;
        let (left, right) = (run(scene, at, across, kind), run(scene, at, across + std::f64::consts::PI, kind));
        let (width, middle) = if things && kind == 3 && left + right < 0.3 * reach(angle) {
            (left + right, (left - right) / 2.0)
        } else {
            ((10f64.ln() + chance.unit() * 10f64.ln()).exp(), 0.0)
        };
        if width < 6.0 {
            continue;
        }
        let direction = Point::new(angle.cos(), angle.sin());
        let centre = at + Point::new(across.cos(), across.sin()) * middle;
        let most = 20.0 * width;
        let ends = [1.0, -1.0].map(|sign| {
            let free = if things && kind == 3 { run(scene, centre, if sign > 0.0 { angle } else { angle + std::f64::consts::PI }, kind) } else { most };
            centre + direction * (sign * free.min(most))
        });
        let count = (ends[0].distance(ends[1]) as usize).max(2);
        let line: Vec<Point<Image>> = (0..=count).map(|k| ends[1].lerp(ends[0], k as f64 / count as f64)).filter(|p| scene.photo.holds(p.x, p.y)).collect();
        let clean = line.iter().step_by(3).all(|p| {
            let normal = direction.quarter_turn();
            (-8..=8).all(|k| body_at(scene, *p + normal * (0.15 * f64::from(k) * width)) == 0)
        });
        if clean && line.len() > 40 {
            out.push((line, width));
        }
    }
    out
}

fn kind_at(scene: &Scene, p: Point<Image>) -> u8 {
    scene.kinds.get(p.x.max(0.0) as usize, p.y.max(0.0) as usize).unwrap_or(0)
}

fn body_at(scene: &Scene, p: Point<Image>) -> u8 {
    scene.labels.get(p.x.max(0.0) as usize, p.y.max(0.0) as usize).map_or(0, |l| l[0])
}

/// How far one kind goes on in a direction, px.
fn run(scene: &Scene, from: Point<Image>, angle: f64, kind: u8) -> f64 {
    let direction = Point::new(angle.cos(), angle.sin());
    let mut far = 0.0;
    while far < 2000.0 {
        let p = from + direction * (far + 2.0);
        if !scene.photo.holds(p.x, p.y) || kind_at(scene, p) != kind {
            break;
        }
        far += 2.0;
    }
    far
}
