//! Works the truth out from the geometry that was rendered.

use std::f64::consts::TAU;

use nalgebra::Vector3;

use super::camera::Camera;
use super::fuzz;
use super::jpeg::{lies_sideways, stored_place};
use super::lay;
use super::scene::{Face, Laying, RulerUnit, Scene, YarnSpec};
use super::strand::Strand;
use super::truth::{
    CameraTruth, CardTruth, FaultTruth, KinkTruth, ProfileTruth, StrandTruth, Truth, WidthTruth, YarnTruth,
};
use crate::card::layout::CardSize;

/// Stations in a written profile.
const PROFILE_STATIONS: usize = 300;
/// Stations in the profile of one of many wraps.
const WRAP_STATIONS: usize = 80;

/// The truth of a rendered scene.
pub(super) fn tell(scene: &Scene, strands: &[Strand], camera: &Camera) -> Truth {
    let beside = !strands.iter().flat_map(|s| &s.stations).any(|s| over_card(scene, &s.frame.at));
    let witness = Witness { scene, camera, beside };
    let seen: Vec<Watched> = strands.iter().enumerate().map(|(i, s)| witness.watch(i, s)).collect();
    Truth {
        name: scene.name.clone(),
        expected: if scene.refuse.is_none() { "measure" } else { "refuse" }.to_owned(),
        expected_reason: scene.refuse.clone(),
        kind: scene.kind.clone(),
        seed: scene.seed,
        card: witness.card(),
        camera: witness.camera_truth(),
        yarn: scene.yarn.as_ref().and_then(|(yarn, laying)| pooled(yarn, laying, strands, &seen)),
        strands: strands.iter().zip(&seen).enumerate().map(|(i, (s, w))| witness.strand(i, s, w)).collect(),
    }
}

/// Whether a point of the scene, mm, lies over its card.
fn over_card(scene: &Scene, at: &Vector3<f64>) -> bool {
    at.x.abs() <= scene.card.width_mm / 2.0 && at.y.abs() <= scene.card.height_mm / 2.0
}

struct Witness<'a> {
    scene: &'a Scene,
    camera: &'a Camera,
    /// Whether all yarn lies beside the card, on what that lies on.
    beside: bool,
}

/// A station as seen: its number, places and figures.
struct Look {
    station: usize,
    shown: [f64; 2],
    width: f64,
    tpi: f64,
    on_card: bool,
    used: bool,
}

/// The stations of a strand that are in the picture, about 0.1 mm apart, or half its own steps where it is thinner.
struct Watched {
    looks: Vec<Look>,
    spacing: f64,
}

impl Watched {
    fn used(&self) -> impl Iterator<Item = &Look> {
        self.looks.iter().filter(|l| l.used)
    }
}

impl Witness<'_> {
    fn shown(&self, point: &Vector3<f64>) -> Option<[f64; 2]> {
        self.camera.project(point).map(|[x, y, _]| [x, y])
    }
    fn in_picture(&self, p: [f64; 2]) -> bool {
        let (w, h) = (self.scene.camera.width_px as f64, self.scene.camera.height_px as f64);
        p[0] >= 0.0 && p[1] >= 0.0 && p[0] <= w - 1.0 && p[1] <= h - 1.0
    }
    /// Whether yarn at `x`, mm from the card's middle, lies over what is left free for it: all of a plain card, and the
    /// fields of the ruler card.
    fn on_field(&self, x: f64) -> bool {
        let Face::RulerCard(card) = &self.scene.card.face else { return true };
        let x = x + self.scene.card.width_mm / 2.0;
        card.fields().iter().any(|f| x >= f.x && x <= f.right())
    }
    fn ends_on_card(&self, strand: &Strand) -> bool {
        let (w, h) = (self.scene.card.width_mm / 2.0, self.scene.card.height_mm / 2.0);
        let on_card = |s: &super::strand::Station| s.frame.at.x.abs() < w && s.frame.at.y.abs() < h;
        strand.cut && [strand.stations.first(), strand.stations.last()].into_iter().flatten().any(on_card)
    }
    fn stored(&self, p: [f64; 2]) -> [f64; 2] {
        let (w, h) = (self.scene.camera.width_px as f64, self.scene.camera.height_px as f64);
        stored_place(self.scene.sensor.orientation, w, h, p[0], p[1]).map(round)
    }

    fn watch(&self, number: usize, strand: &Strand) -> Watched {
        let stride = ((0.1 / strand.step).round() as usize).max(1);
        let wraps = strand.neighbours_at.is_some();
        let (half_w, half_h) = (self.scene.card.width_mm / 2.0, self.scene.card.height_mm / 2.0);
        let widths = lay::yarn_of(self.scene, strand)
            .map(|y| fuzz::core_widths(strand, number, y, self.scene.seed))
            .unwrap_or_default();
        let mut looks = Vec::new();
        for (i, station) in strand.stations.iter().enumerate().step_by(stride) {
            let Some(shown) = self.shown(&station.frame.at) else { continue };
            if !self.in_picture(shown) {
                continue;
            }
            let s = i as f64 * strand.step;
            let at = station.frame.at;
            let on_card = at.x.abs() <= half_w && at.y.abs() <= half_h - if wraps { station.envelope } else { 0.0 };
            let kinked = strand.loops.iter().any(|l| s >= l.from && s <= l.to);
            let margin = if strand.cut { 0.6 * station.envelope } else { 0.0 };
            let at_end = s < margin || s > strand.length() - margin;
            let used = (self.beside || on_card && self.on_field(at.x)) && !kinked && !at_end;
            looks.push(Look {
                station: i,
                shown,
                width: widths.get(i).copied().unwrap_or(0.0),
                tpi: station.twist.abs() * 25.4,
                on_card,
                used,
            });
        }
        Watched { looks, spacing: stride as f64 * strand.step }
    }

    fn card(&self) -> CardTruth {
        let card = &self.scene.card;
        let (w, h) = (card.width_mm / 2.0, card.height_mm / 2.0);
        let corners: Vec<[f64; 2]> = [(-w, h), (w, h), (w, -h), (-w, -h)]
            .iter()
            .filter_map(|(x, y)| self.shown(&Vector3::new(*x, *y, 0.0)))
            .collect();
        let (design, unit) = match &card.face {
            Face::Blank => ("blank", "none"),
            Face::RulerCard(card) => match card.size() {
                CardSize::Full => ("ruler card", "mm"),
                CardSize::Small => ("small ruler card", "mm"),
            },
            Face::Ruler(r) => match r.unit {
                RulerUnit::Mm => ("metric", "mm"),
                RulerUnit::Inch => ("inch", "inch"),
            },
        };
        CardTruth {
            design: design.to_owned(),
            unit: unit.to_owned(),
            width_mm: card.width_mm,
            height_mm: card.height_mm,
            thickness_mm: card.thickness_mm,
            corners_px: corners.iter().map(|c| self.stored(*c)).collect(),
            corners_px_display: corners.iter().map(|c| c.map(round)).collect(),
        }
    }

    fn camera_truth(&self) -> CameraTruth {
        let (spec, sensor) = (&self.scene.camera, &self.scene.sensor);
        let sideways = lies_sideways(sensor.orientation);
        let (w, h) = (spec.width_px, spec.height_px);
        let p = self.camera.position;
        CameraTruth {
            stored_width: if sideways { h } else { w },
            stored_height: if sideways { w } else { h },
            display_width: w,
            display_height: h,
            exif_orientation: sensor.orientation,
            focal_px: spec.focal_px,
            k1: spec.k1,
            distance_mm: spec.distance_mm,
            tilt_deg: spec.tilt_deg,
            tilt_azimuth_deg: spec.tilt_azimuth_deg,
            roll_deg: spec.roll_deg,
            position_world_mm: [round(p.x), round(p.y), round(p.z)],
            extra_blur_px: sensor.extra_blur_px,
            defocus_circle_diameter_px_at_target: sensor.defocus_px,
        }
    }

    fn strand(&self, index: usize, strand: &Strand, watched: &Watched) -> StrandTruth {
        let wraps = strand.neighbours_at.is_some();
        let all: Vec<&Look> = watched.looks.iter().collect();
        let measured: Vec<&Look> = watched.used().collect();
        let of = if measured.is_empty() { &all } else { &measured };
        let frame = |l: &Look| strand.stations.get(l.station).map(|s| s.frame);
        let scale = |l: &Look, along: bool, height: Option<f64>| {
            let f = frame(l)?;
            let mut at = f.at;
            if let Some(z) = height {
                at.z = z;
            }
            self.camera.px_per_mm(&at, if along { &f.along } else { &f.left })
        };
        let mean_of = |figure: &dyn Fn(&Look) -> Option<f64>| round(mean(of.iter().filter_map(|l| figure(l))));
        let first = watched.looks.first().map_or(0.0, |l| l.station as f64 * strand.step);
        StrandTruth {
            index,
            visible: !watched.looks.is_empty(),
            ends: if wraps {
                "round-edge"
            } else if self.ends_on_card(strand) {
                "cut on card"
            } else {
                "leaves card"
            }
            .to_owned(),
            visible_length_mm: round(all.len() as f64 * watched.spacing),
            on_card_length_mm: round(all.iter().filter(|l| l.on_card).count() as f64 * watched.spacing),
            tpi_mean: round(mean(of.iter().map(|l| l.tpi))),
            width_mm: widths(of.iter().map(|l| l.width)),
            axis_height_mm: mean_of(&|l| frame(l).map(|f| f.at.z)),
            px_per_mm_across_at_axis: mean_of(&|l| scale(l, false, None)),
            px_per_mm_along_at_axis: mean_of(&|l| scale(l, true, None)),
            px_per_mm_across_on_card: mean_of(&|l| scale(l, false, Some(0.0))),
            planted_faults: strand.faults.iter().filter_map(|f| self.fault(strand, watched, f, first)).collect(),
            kinks: strand
                .loops
                .iter()
                .filter_map(|l| {
                    let middle = strand.stations.get((0.5 * (l.from + l.to) / strand.step) as usize)?;
                    let px = self.stored(self.shown(&middle.frame.at)?);
                    Some(KinkTruth { s_from_mm: round(l.from - first), s_to_mm: round(l.to - first), px })
                })
                .collect(),
            profile: self.profile(strand, watched, if wraps { WRAP_STATIONS } else { PROFILE_STATIONS }),
        }
    }

    fn fault(
        &self,
        strand: &Strand,
        watched: &Watched,
        fault: &super::strand::Fault,
        first: f64,
    ) -> Option<FaultTruth> {
        let station = strand.stations.get((fault.at / strand.step) as usize)?;
        let shown = self.shown(&station.frame.at)?;
        let near = |l: &&Look| (l.station as f64 * strand.step - fault.at).abs() <= fault.length / 4.0;
        let whole = mean(watched.used().map(|l| l.width));
        let here = mean(watched.looks.iter().filter(near).map(|l| l.width));
        Some(FaultTruth {
            kind: if fault.amplitude > 0.0 { "thick" } else { "thin" }.to_owned(),
            s_mm: round(fault.at - first),
            length_mm_base: round(fault.length),
            length_mm_half_height: round(fault.length / 2.0),
            ply: fault.ply,
            radius_amplitude_rel: round(fault.amplitude),
            width_rel_measured_mid_half: round(here / whole - 1.0),
            px: self.stored(shown),
            in_image: self.in_picture(shown),
            on_card: over_card(self.scene, &station.frame.at),
        })
    }

    fn profile(&self, strand: &Strand, watched: &Watched, most: usize) -> ProfileTruth {
        let mut out = ProfileTruth::default();
        let count = watched.looks.len();
        let Some(first) = watched.looks.first().map(|l| l.station) else { return out };
        let kept = count.min(most);
        for k in 0..kept {
            let at = if kept > 1 { k * (count - 1) / (kept - 1) } else { 0 };
            let Some(look) = watched.looks.get(at) else { continue };
            let Some(station) = strand.stations.get(look.station) else { continue };
            let frame = &station.frame;
            let stored = self.stored(look.shown);
            out.s_mm.push(round((look.station - first) as f64 * strand.step));
            out.tpi.push(round(look.tpi));
            out.width_mm.push(round(look.width));
            out.envelope_mm.push(round(station.envelope));
            out.axis_height_mm.push(round(frame.at.z));
            out.card_x_mm.push(round(frame.at.x + self.scene.card.width_mm / 2.0));
            out.card_y_mm.push(round(self.scene.card.height_mm / 2.0 - frame.at.y));
            out.px_x.push(stored[0]);
            out.px_y.push(stored[1]);
            out.px_display_x.push(round(look.shown[0]));
            out.px_display_y.push(round(look.shown[1]));
            out.px_per_mm_across.push(round(self.camera.px_per_mm(&frame.at, &frame.left).unwrap_or(0.0)));
            out.on_card.push(look.on_card);
            out.used_in_means.push(look.used);
        }
        out
    }
}

/// The yarn over all strands; `None` where none of it is in the picture.
fn pooled(yarn: &YarnSpec, laying: &Laying, strands: &[Strand], seen: &[Watched]) -> Option<YarnTruth> {
    let pairs: Vec<(&Strand, &Look)> =
        strands.iter().zip(seen).flat_map(|(s, w)| w.used().map(move |l| (s, l))).collect();
    let everything: Vec<&Look> = seen.iter().flat_map(|w| &w.looks).collect();
    if pairs.is_empty() || everything.is_empty() {
        return None;
    }
    let plies = strands.first().map_or(0, |s| s.plies);
    let stations = || pairs.iter().filter_map(|(s, l)| s.stations.get(l.station));
    let per_ply = |figure: &dyn Fn(&super::strand::Station, usize) -> f64| -> Vec<f64> {
        (0..plies).map(|k| round(mean(stations().map(|s| figure(s, k))))).collect()
    };
    let tpi: Vec<f64> = pairs.iter().map(|(_, l)| l.tpi).collect();
    let tpi_mean = mean(tpi.iter().copied());
    let spread = (tpi.iter().map(|t| (t - tpi_mean).powi(2)).sum::<f64>() / (tpi.len().max(2) - 1) as f64).sqrt();
    let width = widths(pairs.iter().map(|(_, l)| l.width));
    let angle = |radius: f64, twist: f64| (TAU * radius * twist.abs()).atan().to_degrees();
    let plied = plies > 1;
    let (pitch, count) = match *laying {
        Laying::Wraps { pitch_mm, count, .. } => (Some(pitch_mm), Some(count)),
        _ => (None, None),
    };
    Some(YarnTruth {
        plies,
        direction: yarn.turning.letter().to_owned(),
        tpi_mean: round(tpi_mean),
        tpm_mean: round(tpi_mean / 0.0254),
        tpi_sd_along: round(spread),
        tpi_mean_in_image: round(mean(everything.iter().map(|l| l.tpi))),
        twist_signed_tpi: round(yarn.turning.sign() * tpi_mean),
        pitch_mm: round(25.4 / tpi_mean),
        surface_bumps_per_inch: round(plies as f64 * tpi_mean),
        width_mm: width,
        width_mm_mean_in_image: round(mean(everything.iter().map(|l| l.width))),
        envelope_diameter_mm_mean: round(mean(stations().map(|s| s.envelope))),
        ply_radius_mm_mean: per_ply(&|s, k| s.plies[k].radius),
        ply_axis_offset_mm_mean: per_ply(&|s, k| s.plies[k].offset),
        equal_plies: yarn.plies.windows(2).all(|p| (p[0].relative_radius - p[1].relative_radius).abs() < 1e-9),
        wpi_from_width: round(25.4 / width.mean),
        colour: yarn.colour_name.clone(),
        compress: yarn.compress,
        surface_fibre_angle_deg: (!plied).then(|| round(mean(stations().map(|s| angle(s.plies[0].radius, s.twist))))),
        ply_band_angle_deg: plied.then(|| per_ply(&|s, k| angle(s.plies[k].offset, s.twist))),
        outer_surface_angle_deg: plied.then(|| round(mean(stations().map(|s| angle(s.envelope / 2.0, s.twist))))),
        surface_fibre_angle_to_yarn_axis_deg_approx: plied.then_some(yarn.fibre_lean_deg).map(round),
        wrap_pitch_mm: pitch,
        wraps_per_inch_true: pitch.map(|p| round(25.4 / p)),
        wrap_count: count,
    })
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = values.fold((0.0, 0.0), |(s, n), v| (s + v, n + 1.0));
    if count > 0.0 { sum / count } else { 0.0 }
}

fn widths(values: impl Iterator<Item = f64>) -> WidthTruth {
    let all: Vec<f64> = values.collect();
    let m = mean(all.iter().copied());
    let sd = (all.iter().map(|w| (w - m).powi(2)).sum::<f64>() / (all.len().max(2) - 1) as f64).sqrt();
    let least = all.iter().copied().fold(f64::INFINITY, f64::min);
    let greatest = all.iter().copied().fold(0.0, f64::max);
    WidthTruth {
        mean: round(m),
        sd: round(sd),
        cv_pct: round(if m > 0.0 { 100.0 * sd / m } else { 0.0 }),
        min: round(if least.is_finite() { least } else { 0.0 }),
        max: round(greatest),
        n: all.len(),
    }
}

/// Six significant digits: far finer than any measurement, and short to read.
fn round(v: f64) -> f64 {
    if v == 0.0 || !v.is_finite() {
        return 0.0;
    }
    let scale = 10f64.powi(5 - v.abs().log10().floor() as i32);
    (v * scale).round() / scale
}
