//! Lays the yarn of a scene on its card.

use super::camera::Camera;
use super::chance::{Chance, hash};
use super::path::{Lie, Loop, WrapLie};
use super::scene::{FaultSpec, Laying, PieceSpec, Scene, YarnSpec};
use super::stack;
use super::strand::{Fault, Nominal, Strand};

/// The strands of a scene; empty without yarn.
pub(super) fn strands(scene: &Scene, camera: &Camera) -> Vec<Strand> {
    let mut strands = first_yarn(scene, camera);
    strands.extend(scene.pieces.iter().enumerate().map(|(i, p)| piece(p, i, scene.seed)));
    if !scene.pieces.is_empty() {
        stack::settle(&mut strands);
    }
    strands
}

/// The yarn that one of a scene's strands is of.
pub(super) fn yarn_of<'a>(scene: &'a Scene, strand: &Strand) -> Option<&'a YarnSpec> {
    match strand.piece {
        Some(i) => scene.pieces.get(i).map(|p| &p.yarn),
        None => scene.yarn.as_ref().map(|(yarn, _)| yarn),
    }
}

fn piece(spec: &PieceSpec, number: usize, seed: u64) -> Strand {
    let nominal = Nominal::of(&spec.yarn);
    let own = hash(seed ^ hash(2000 + number as u64));
    let loops = loops(spec.kinks, spec.length_mm, &nominal, &mut Chance::new(own, 51));
    let lie = Lie {
        length: spec.length_mm,
        middle: spec.middle,
        angle_deg: spec.angle_deg,
        bow: spec.bow_mm,
        wave: spec.wave,
        loops: loops.clone(),
        lift: 1.05 * nominal.envelope,
    };
    let frames = lie.frames(nominal.step, &mut Chance::new(spec.course, 52));
    let planted = faults(&spec.yarn.faults, spec.length_mm);
    let mut strand = Strand::along(&spec.yarn, &nominal, frames, planted, own);
    // The shorter of the two waves is about half as long, some 65 mm; a curve of 20 diameters is gentle.
    strand.bends = !loops.is_empty() || 65.0 * spec.wave < 20.0 * nominal.envelope;
    strand.loops = loops;
    strand.cut = spec.cut;
    strand.piece = Some(number);
    strand
}

fn first_yarn(scene: &Scene, camera: &Camera) -> Vec<Strand> {
    let Some((yarn, laying)) = &scene.yarn else { return Vec::new() };
    let nominal = Nominal::of(yarn);
    let seed = |i: usize| hash(scene.seed ^ hash(1000 + i as u64));
    match *laying {
        Laying::Across { angle_deg, offset_mm, bow_mm, kinks } => {
            let (length, middle) = seen_part(scene, camera, angle_deg, offset_mm);
            let loops = loops(kinks, length, &nominal, &mut Chance::new(scene.seed, 51));
            let lie = Lie {
                length,
                middle,
                angle_deg,
                bow: bow_mm,
                wave: 1.0,
                loops: loops.clone(),
                lift: 1.05 * nominal.envelope,
            };
            let frames = lie.frames(nominal.step, &mut Chance::new(scene.seed, 52));
            let faults = faults(&yarn.faults, length);
            let mut strand = Strand::along(yarn, &nominal, frames, faults, seed(0));
            strand.bends = !loops.is_empty();
            strand.loops = loops;
            vec![strand]
        }
        Laying::Pieces { count, length_mm, spacing_mm, offset_mm, angle_deg, bow_mm } => (0..count)
            .map(|i| {
                let mut chance = Chance::new(scene.seed, 60 + i as u64);
                let aside = (i as f64 - (count as f64 - 1.0) / 2.0) * spacing_mm;
                let (sine, cosine) = angle_deg.to_radians().sin_cos();
                let shift = chance.between(-3.0, 3.0);
                let lie = Lie {
                    length: length_mm,
                    middle: [shift * cosine - aside * sine, shift * sine + aside * cosine + offset_mm],
                    angle_deg: angle_deg + chance.between(-1.5, 1.5),
                    bow: bow_mm,
                    wave: 1.0,
                    loops: Vec::new(),
                    lift: 0.0,
                };
                let frames = lie.frames(nominal.step, &mut chance);
                let planted = if i == 0 { faults(&yarn.faults, length_mm) } else { Vec::new() };
                let mut strand = Strand::along(&between_pieces(yarn, &mut chance), &nominal, frames, planted, seed(i));
                strand.cut = true;
                strand
            })
            .collect(),
        Laying::Wraps { count, pitch_mm, first_mm } => (0..count)
            .map(|i| {
                let lie = WrapLie {
                    x: first_mm + i as f64 * pitch_mm,
                    slant: 0.5 * pitch_mm,
                    half: scene.card.height_mm / 2.0,
                    bend: (scene.card.thickness_mm + nominal.envelope) / 2.0,
                };
                let mut strand = Strand::along(yarn, &nominal, lie.frames(nominal.step), Vec::new(), seed(i));
                strand.neighbours_at = Some(pitch_mm);
                strand
            })
            .collect(),
    }
}

/// Pieces of one yarn differ a little in twist.
fn between_pieces(yarn: &YarnSpec, chance: &mut Chance) -> YarnSpec {
    let mut own = yarn.clone();
    let tangent = yarn.angle_deg.to_radians().tan() * (1.0 + 0.06 * chance.normal()).max(0.5);
    own.angle_deg = tangent.atan().to_degrees();
    own
}

fn faults(planted: &[FaultSpec], length: f64) -> Vec<Fault> {
    planted
        .iter()
        .map(|f| Fault { at: f.at * length, length: f.length_mm, amplitude: f.amplitude, ply: f.ply })
        .collect()
}

/// Length and middle of the part of a line across the card that is in the picture, with a margin.
fn seen_part(scene: &Scene, camera: &Camera, angle_deg: f64, offset: f64) -> (f64, [f64; 2]) {
    let (sine, cosine) = angle_deg.to_radians().sin_cos();
    let (width, height) = (scene.camera.width_px as f64, scene.camera.height_px as f64);
    let margin = 0.03 * width;
    let seen = |t: f64| {
        let point = nalgebra::Vector3::new(t * cosine, offset + t * sine, 0.0);
        camera
            .project(&point)
            .is_some_and(|[x, y, _]| x > -margin && y > -margin && x < width + margin && y < height + margin)
    };
    let reach = 400;
    let inside: Vec<f64> = (-reach..=reach).map(f64::from).filter(|t| seen(*t)).collect();
    let (first, last) = match (inside.first(), inside.last()) {
        (Some(a), Some(b)) => (a - 1.0, b + 1.0),
        _ => (-60.0, 60.0),
    };
    let t = 0.5 * (first + last);
    (last - first, [t * cosine, offset + t * sine])
}

/// Loops spread over the middle of a strand, each about four envelopes round.
fn loops(count: usize, length: f64, nominal: &Nominal, chance: &mut Chance) -> Vec<Loop> {
    (0..count)
        .map(|i| {
            let round = std::f64::consts::TAU * nominal.envelope * chance.between(1.25, 1.6);
            let at = length * ((i as f64 + chance.between(0.35, 0.65)) / count as f64 * 0.6 + 0.2);
            Loop { from: at - round / 2.0, to: at + round / 2.0 }
        })
        .collect()
}
