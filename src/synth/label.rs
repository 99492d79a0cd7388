//! Scenes with what a pupil should see in them: for each pixel what it shows, for each strand where its lines run.

use std::f64::consts::TAU;

use super::camera::Camera;
use super::edges::{Seen, Silhouette};
use super::expose;
use super::lay;
use super::render::{self, Mark};
use super::scene::{Arrangement, Face, Laying, RulerSpec, RulerUnit, Scene, Turning};
use super::strand::Strand;
use super::thing::{Laid, ThingKind};
use crate::base::raster::Raster;

/// A rendered scene with its labels; all places in px of the picture as displayed.
#[derive(Debug, Clone)]
pub struct Labelled {
    /// The picture as displayed, sRGB code values.
    pub picture: Raster<[u8; 3]>,
    /// 255 times the share covered by the yarn's body, 255 times the share covered by hairs beside it, and the kind of
    /// what lies there (below the yarn): 0 ground, 1 ruler, 2 card or paper, 3 any other thing.
    pub labels: Raster<[u8; 3]>,
    /// 255 times the share of the light that the yarn's shadow takes, where no yarn is.
    pub shadow: Raster<u8>,
    /// The strands.
    pub strands: Vec<StrandLabel>,
    /// The rulers.
    pub rulers: Vec<RulerLabel>,
}

/// A strand.
#[derive(Debug, Clone)]
pub struct StrandLabel {
    /// One to four.
    pub plies: usize,
    /// Direction of the final twist.
    pub turning: Turning,
    /// What it lies like.
    pub arrangement: Arrangement,
    /// Stations in order, about two pixels apart, all that are in the picture.
    pub stations: Vec<StationLabel>,
}

/// A station.
#[derive(Debug, Clone, Copy)]
pub struct StationLabel {
    /// The centre line.
    pub centre: [f64; 2],
    /// Where the body ends on the centre line's normal, to either side; `None` where hidden.
    pub edges: [Option<[f64; 2]>; 2],
    /// Turn of the first ply about the axis, radians; 0 where it faces the camera, growing along the strand for Z.
    pub phase_rad: f64,
    /// Tangent of the angle of the surface fibres (singles) or of the plies' bands (mean), positive for Z.
    pub tan_angle: f64,
    /// Whether it can be seen, and lies neither in a kink nor at a cut end.
    pub valid: bool,
}

/// A ruler.
#[derive(Debug, Clone)]
pub struct RulerLabel {
    /// Corners of its body, in order around it.
    pub corners: [[f64; 2]; 4],
    /// Finest spacing of its ticks, as a word.
    pub unit: String,
    /// Scale at its middle, px/mm.
    pub px_per_mm: f64,
    /// Thickness, mm.
    pub thickness_mm: f64,
}

/// Renders a scene with its labels.
#[must_use]
pub fn shoot_labelled(scene: &Scene) -> Labelled {
    let (seen, marks) = render::see_marked(scene);
    let strands = seen
        .strands
        .iter()
        .zip(&marks.silhouettes)
        .enumerate()
        .filter_map(|(i, (strand, lines))| label(scene, &seen.camera, strand, i, lines, &marks.picture))
        .collect();
    let rulers = rulers(scene, &seen.camera);
    let picture = expose::expose(seen.light, &scene.camera, &scene.light, &scene.sensor, scene.seed);
    Labelled {
        picture,
        labels: marks.picture.map(|m| [m.body, m.hair, m.kind as u8]),
        shadow: marks.picture.map(|m| m.shadow),
        strands,
        rulers,
    }
}

/// Distance of written stations, px.
const SPACING: f64 = 2.0;

fn label(
    scene: &Scene,
    camera: &Camera,
    strand: &Strand,
    number: usize,
    lines: &Silhouette,
    marks: &Raster<Mark>,
) -> Option<StrandLabel> {
    let yarn = lay::yarn_of(scene, strand)?;
    let arrangement = match (strand.piece, &scene.yarn) {
        (Some(i), _) => scene.pieces.get(i)?.arrangement,
        (None, Some((_, Laying::Wraps { .. }))) => Arrangement::Wraps,
        _ if !strand.loops.is_empty() => Arrangement::Kinked,
        _ => Arrangement::Single,
    };
    let watch = Watch { camera, strand, number: number as u16, marks };
    let mut stations = Vec::new();
    let mut phase = 0.0;
    let mut until = 0.0;
    for i in 0..strand.stations.len().saturating_sub(1) {
        let (Some(a), Some(b)) = (lines.stations.get(i)?, lines.stations.get(i + 1)?) else { continue };
        let (from, to) = (watch.phase(i, phase), watch.phase(i + 1, phase));
        phase = to;
        let step = (b.centre[0] - a.centre[0]).hypot(b.centre[1] - a.centre[1]);
        while until < step {
            let t = until / step;
            stations.extend(watch.station(i, t, [a, b], from + (to - from) * t));
            until += SPACING;
        }
        until -= step;
    }
    let turning = yarn.turning;
    (!stations.is_empty()).then_some(StrandLabel { plies: strand.plies, turning, arrangement, stations })
}

/// Looks at one strand.
struct Watch<'a> {
    camera: &'a Camera,
    strand: &'a Strand,
    number: u16,
    marks: &'a Raster<Mark>,
}

impl Watch<'_> {
    /// Turn of the first ply against the line of sight, unwrapped next to `near`.
    fn phase(&self, station: usize, near: f64) -> f64 {
        let at = &self.strand.stations[station];
        let view = self.camera.position - at.frame.at;
        let turn = |v: &nalgebra::Vector3<f64>| v.dot(&at.frame.up).atan2(v.dot(&at.frame.left));
        let phase = turn(&at.plies[0].outward) - turn(&view);
        phase + TAU * ((near - phase) / TAU).round()
    }

    fn station(&self, i: usize, t: f64, ends: [&Seen; 2], phase_rad: f64) -> Option<StationLabel> {
        let [a, b] = ends;
        let mix = |x: f64, y: f64| x + (y - x) * t;
        let centre = [mix(a.centre[0], b.centre[0]), mix(a.centre[1], b.centre[1])];
        let (w, h) = (self.marks.width() as f64, self.marks.height() as f64);
        if centre[0] < -0.5 || centre[1] < -0.5 || centre[0] > w - 0.5 || centre[1] > h - 0.5 {
            return None;
        }
        let normal = [mix(a.normal[0], b.normal[0]), mix(a.normal[1], b.normal[1])];
        let edge = |side: usize| {
            let sign = if side == 0 { 1.0 } else { -1.0 };
            let core = mix(a.core[side], b.core[side]);
            let at = |away: f64| [centre[0] + sign * normal[0] * away, centre[1] + sign * normal[1] * away];
            // Seen where the pixel just inside shows this strand.
            let inside = at(core - (0.12 * core.abs()).max(0.8));
            self.shows(inside).then_some(at(core))
        };
        let edges = [edge(0), edge(1)];
        let strand = self.strand;
        let station = &strand.stations[i];
        let turns = mix(station.twist, strand.stations[i + 1].twist);
        let lever = |s: &super::strand::Station| {
            let plies = &s.plies[..strand.plies];
            if strand.plies == 1 {
                plies[0].radius
            } else {
                plies.iter().map(|p| p.offset).sum::<f64>() / plies.len() as f64
            }
        };
        let tan_angle = TAU * turns * mix(lever(station), lever(&strand.stations[i + 1]));
        let s = (i as f64 + t) * strand.step;
        let envelope = station.envelope;
        let kinked = strand.loops.iter().any(|l| s > l.from - envelope && s < l.to + envelope);
        let at_end = strand.cut && (s < 0.6 * envelope || s > strand.length() - 0.6 * envelope);
        // Round the edge of a card the strand runs away from the camera.
        let view = (self.camera.position - station.frame.at).normalize();
        let level = station.frame.along.dot(&view).abs() < 0.6;
        let valid = level && !kinked && !at_end && self.shows(centre) && edges.iter().any(Option::is_some);
        Some(StationLabel { centre, edges, phase_rad, tan_angle, valid })
    }

    /// Whether the pixel at a place shows this strand.
    fn shows(&self, p: [f64; 2]) -> bool {
        let (x, y) = (p[0].round(), p[1].round());
        x >= 0.0 && y >= 0.0 && self.marks.get(x as usize, y as usize).is_some_and(|m| m.top == self.number)
    }
}

/// Rulers and ruled cards that are in the picture.
fn rulers(scene: &Scene, camera: &Camera) -> Vec<RulerLabel> {
    let (w, h) = (scene.card.width_mm / 2.0, scene.card.height_mm / 2.0);
    let card = [[-w, h], [w, h], [w, -h], [-w, -h]];
    let mut found = Vec::new();
    match &scene.card.face {
        Face::Ruler(ruler) if w > 0.0 => {
            found.extend(ruler_label(scene, camera, card, unit(ruler), scene.card.thickness_mm));
        }
        Face::RulerCard(_) => found.extend(ruler_label(scene, camera, card, "mm".to_owned(), scene.card.thickness_mm)),
        _ => (),
    }
    let light = super::shade::Light::of(&scene.light);
    for thing in scene.things.iter().filter(|t| t.kind == ThingKind::Ruler) {
        if let Some(ruler) = &thing.ruler {
            found.extend(ruler_label(scene, camera, Laid::of(thing, &light).corners(), unit(ruler), thing.thick_mm));
        }
    }
    found
}

fn unit(ruler: &RulerSpec) -> String {
    let finest = ruler.ranks.iter().map(|r| r.0).max().unwrap_or(1);
    match (ruler.unit, finest) {
        (RulerUnit::Mm, 20) => "half-mm".to_owned(),
        (RulerUnit::Mm, 10) => "mm".to_owned(),
        (RulerUnit::Mm, n) => format!("cm-{n}"),
        (RulerUnit::Inch, n) => format!("inch-{n}"),
    }
}

/// A ruler's label; `None` where none of it is in the picture.
fn ruler_label(
    scene: &Scene,
    camera: &Camera,
    corners_mm: [[f64; 2]; 4],
    unit: String,
    thickness_mm: f64,
) -> Option<RulerLabel> {
    let place = |p: [f64; 2]| camera.project(&nalgebra::Vector3::new(p[0], p[1], 0.0)).map(|[x, y, _]| [x, y]);
    let mut corners = [[0.0; 2]; 4];
    for (to, from) in corners.iter_mut().zip(corners_mm) {
        *to = place(from)?;
    }
    let (w, h) = (scene.camera.width_px as f64, scene.camera.height_px as f64);
    let inside = |p: [f64; 2]| p[0] >= 0.0 && p[1] >= 0.0 && p[0] < w && p[1] < h;
    let [a, b, c, d] = corners_mm;
    // A net of places over its body.
    let net = (0..=20).flat_map(|i| (0..=6).map(move |j| (f64::from(i) / 20.0, f64::from(j) / 6.0)));
    let within = net
        .map(|(s, t)| std::array::from_fn(|k| (a[k] + (b[k] - a[k]) * s) * (1.0 - t) + (d[k] + (c[k] - d[k]) * s) * t));
    if !within.filter_map(place).any(inside) {
        return None;
    }
    let middle = nalgebra::Vector3::new((a[0] + c[0]) / 2.0, (a[1] + c[1]) / 2.0, 0.0);
    let along = nalgebra::Vector3::new(b[0] - a[0], b[1] - a[1], 0.0).try_normalize(1e-9)?;
    Some(RulerLabel { corners, unit, px_per_mm: camera.px_per_mm(&middle, &along)?, thickness_mm })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synth::{HairSpec, PieceSpec, YarnSpec};

    fn piece(yarn: YarnSpec, angle_deg: f64) -> PieceSpec {
        PieceSpec {
            yarn,
            arrangement: Arrangement::Single,
            middle: [0.0, 0.0],
            length_mm: 60.0,
            angle_deg,
            bow_mm: 0.8,
            wave: 0.5,
            course: 3,
            kinks: 0,
            cut: false,
        }
    }

    /// A scene of 700 by 500 px at 20 px/mm, tilted, through a lens that bends lines.
    fn scene(pieces: Vec<PieceSpec>) -> Scene {
        let mut scene = Scene::plain("labels", None);
        scene.pieces = pieces;
        (scene.camera.width_px, scene.camera.height_px) = (700, 500);
        scene.camera.focal_px = 900.0;
        scene.camera.distance_mm = 45.0;
        scene.camera.tilt_deg = 12.0;
        scene.camera.tilt_azimuth_deg = 70.0;
        scene.camera.k1 = -0.06;
        scene.light.direct = 0.6;
        scene.sensor.samples = 4;
        scene
    }

    fn bilinear(raster: &Raster<[u8; 3]>, p: [f64; 2]) -> f64 {
        let (x, y) = (p[0].floor(), p[1].floor());
        let at = |i: f64, j: f64| f64::from(raster.clamped(i as isize, j as isize)[0]) / 255.0;
        let (u, v) = (p[0] - x, p[1] - y);
        let above = at(x, y) + (at(x + 1.0, y) - at(x, y)) * u;
        let below = at(x, y + 1.0) + (at(x + 1.0, y + 1.0) - at(x, y + 1.0)) * u;
        above + (below - above) * v
    }

    /// Mean over stations of the painted body's width over the distance of the edges.
    fn painted_over_edges(shot: &Labelled) -> f64 {
        let (mut sum, mut count) = (0.0, 0.0);
        for s in shot.strands.iter().flat_map(|s| &s.stations) {
            let ([Some(a), Some(b)], true) = (s.edges, s.valid) else { continue };
            let width = (a[0] - b[0]).hypot(a[1] - b[1]);
            let way = [(b[0] - a[0]) / width, (b[1] - a[1]) / width];
            let (margin, step) = (6.0, 0.2);
            let taps = ((width + 2.0 * margin) / step) as usize;
            let at = |i: usize| [0, 1].map(|k| a[k] + way[k] * (i as f64 * step - margin));
            if [at(0), at(taps)].iter().any(|p| p[0] < 1.0 || p[1] < 1.0 || p[0] > 698.0 || p[1] > 498.0) {
                continue;
            }
            sum += (0..=taps).map(|i| bilinear(&shot.labels, at(i)) * step).sum::<f64>() / width;
            count += 1.0;
        }
        assert!(count > 100.0, "{count} stations");
        sum / count
    }

    /// Tolerance: half a percent, which is what the training asks of its labels.
    #[test]
    fn the_painted_body_is_as_wide_as_its_edges_are_apart() {
        let hair = HairSpec { per_cm: 150.0, length_mm: 3.0, height_mm: 0.15, radius_mm: 0.012 };
        for (plies, diameter, angle_deg, hairy) in [
            (1, 0.7, 0.0, false),
            (2, 1.5, 37.0, false),
            (3, 2.6, 205.0, true),
            (4, 1.1, 90.0, true),
            (1, 3.0, 140.0, true),
        ] {
            let mut yarn = YarnSpec::even(plies, Turning::Z, diameter, 30.0);
            yarn.thickness_cv = 0.1;
            yarn.relief = 0.02;
            if hairy {
                yarn.hair = hair;
            }
            let ratio = painted_over_edges(&shoot_labelled(&scene(vec![piece(yarn, angle_deg)])));
            assert!((ratio - 1.0).abs() < 0.005, "{plies} plies, {diameter} mm, hairs {hairy}: {ratio}");
        }
    }

    /// The phase runs through plies x turns: between two stations it grows by 2 pi times the turns between them, whose
    /// number follows from the angle (tan = 2 pi R T); S and Z differ in sign. Tolerance 3 %: the strand is seen askew.
    #[test]
    fn the_phase_turns_as_often_as_the_yarn() {
        for (turning, sign) in [(Turning::S, -1.0), (Turning::Z, 1.0)] {
            let mut scene = scene(vec![piece(YarnSpec::even(2, turning, 1.5, 30.0), 10.0)]);
            scene.camera.tilt_deg = 0.0;
            let shot = shoot_labelled(&scene);
            let stations = &shot.strands[0].stations;
            let (a, b) = (&stations[20], &stations[stations.len() - 20]);
            let length: f64 = stations[20..stations.len() - 19]
                .windows(2)
                .map(|w| (w[1].centre[0] - w[0].centre[0]).hypot(w[1].centre[1] - w[0].centre[1]))
                .sum();
            assert!((a.tan_angle - sign * 30f64.to_radians().tan()).abs() < 1e-6, "{}", a.tan_angle);
            // Two equal plies of the radius r that touch: their axes lie r from the middle, and the width 2 r (1 + |cos|)
            // is 2 r (1 + 2 / pi) on average.
            let lever = 1.5 / (2.0 * (1.0 + 2.0 / std::f64::consts::PI));
            let px_per_mm = 900.0 / (45.0 - 2.0 * lever);
            let wanted = sign * 30f64.to_radians().tan() / lever * length / px_per_mm;
            let got = b.phase_rad - a.phase_rad;
            assert!((got / wanted - 1.0).abs() < 0.03, "{turning:?}: {got} against {wanted}");
        }
    }

    /// Where one strand lies on another, the lower one's places are not valid; the shadow falls where no yarn is.
    #[test]
    fn what_lies_below_is_hidden_and_what_lies_beside_is_shaded() {
        let yarn = YarnSpec::even(2, Turning::Z, 1.5, 30.0);
        let shot = shoot_labelled(&scene(vec![piece(yarn.clone(), 0.0), piece(yarn, 80.0)]));
        let hidden = |i: usize| shot.strands[i].stations.iter().filter(|s| !s.valid).count();
        assert!(hidden(0) >= 12 && hidden(1) == 0, "{} and {} stations hidden", hidden(0), hidden(1));
        let mut shaded = 0;
        for (label, shadow) in shot.labels.samples().iter().zip(shot.shadow.samples()) {
            assert!(label[0] < 255 || *shadow == 0, "shadow where yarn is");
            shaded += usize::from(*shadow > 60);
        }
        assert!(shaded > 2000, "{shaded} pixels in shadow");
    }

    /// Fibres have their axes half their thickness below the outline, and lie as steep as there: tan = 2 pi (r - t / 2) T.
    /// The lean is read from rows beside the middle of the face, which show one another shifted. Tolerance 2 %.
    #[test]
    fn fibres_of_singles_lean_as_their_axes_do() {
        let lean = |depth: f64| {
            let mut yarn = YarnSpec::even(1, Turning::Z, 2.0, 30.0);
            yarn.fibre_mm = 0.1;
            yarn.fibre_depth_mm = depth;
            let mut scene = Scene::plain("lean", Some(yarn));
            (scene.camera.width_px, scene.camera.height_px) = (1600, 200);
            scene.camera.target = [0.0, 10.0];
            if let Some((_, crate::synth::Laying::Across { offset_mm, .. })) = &mut scene.yarn {
                *offset_mm = 10.0;
            }
            let picture = shoot_labelled(&scene).picture;
            let row = |y: usize| -> Vec<f64> { picture.row(y).iter().map(|p| f64::from(p[1])).collect() };
            // The axis lies at 99.5; the rows 6 px to either side of it.
            let (above, below) = (row(94), row(105));
            let alike = |shift: isize| -> f64 {
                let n = above.len() as isize;
                let pairs = (60..n - 60).map(|x| (above[(x + shift) as usize], below[x as usize]));
                -pairs.map(|(a, b)| (a - b).powi(2)).sum::<f64>()
            };
            let best = (-40..=40).max_by(|a, b| alike(*a).total_cmp(&alike(*b))).expect("shifts");
            let (l, m, r) = (alike(best - 1), alike(best), alike(best + 1));
            let shift = best as f64 + 0.5 * (l - r) / (l - 2.0 * m + r);
            11.0 / shift.abs()
        };
        let (outer, inner) = (lean(0.0), lean(0.15));
        // Away from the middle the arc is longer than its picture; the same for both.
        assert!((inner / outer / 0.85 - 1.0).abs() < 0.02, "{outer} {inner}");
    }
}
