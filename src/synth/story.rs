//! The demo's story: a spinning circle samples a fleece before it spins all of it. People, sheep, flock and place are
//! invented.

use std::sync::Arc;

use super::printed::PrintedCard;
use super::scene::{
    Albedo, CameraSpec, CardSpec, Clutter, Face, FaultSpec, HairSpec, Laying, LightSpec, Pattern, PlySpec, RulerSpec,
    RulerUnit, Scene, SensorSpec, TableSpec, Turning, YarnSpec,
};
use crate::card::label::Label;
use crate::card::layout::{CardLayout, CardSize};

/// One photo of the story.
#[derive(Debug, Clone)]
pub struct Chapter {
    /// What was photographed.
    pub scene: Scene,
    /// Its heading.
    pub title: &'static str,
    /// What the people did, and what to look at.
    pub text: &'static str,
}

/// What stands before the chapters.
pub const OPENING: &str = "\
# The Lantern Ewe's fleece

*Invented from beginning to end: the people, the flock, the breed, the valley and the yarn. The photos are rendered, and
the exact truth of each stands beside it in its JSON file.*

Every winter the spinners of Ollerby Reach buy one fleece together. This year it is from Lantern, an old ewe of the
Tarnwhistle breed: cream, four inches of staple, a soft crimp. It is to become a shawl for the circle's ninetieth
winter, and nobody wants to find out after two kilograms that the yarn was wrong. So they sample. Ivo and Marisk each
spin a little in their own way, ply it two ways, wind it, and lay every sample on a ruler card under the window.
";

const CREAM: Albedo = [0.70, 0.61, 0.44];
const MADDER: Albedo = [0.42, 0.10, 0.05];
const WOAD: Albedo = [0.03, 0.10, 0.24];
const WELD: Albedo = [0.52, 0.38, 0.06];

/// The story's photos, in order.
#[must_use]
pub fn story() -> Vec<Chapter> {
    vec![
        Chapter {
            scene: on_card("01-ivo-short-draw", Some("Lantern 1"), 0.82, ivo(), 1),
            title: "Ivo's singles, short draw",
            text: "Ivo combs his wool and smooths every inch between finger and thumb. His singles lie on the card's \
                   dark field: light yarn shows best on dark. Look at how even they are, and at the angle: firm.",
        },
        Chapter {
            scene: on_ruler("02-marisk-long-draw", RulerUnit::Mm, 1.45, marisk(), across(2.5, 1.4, 0), 2),
            title: "Marisk's singles, long draw",
            text: "Marisk cards hers and lets the twist run into the wool at arm's length: softer, thicker, hairier, with \
                   a thick place that got away. She had only an ordinary ruler printed on a strip of card; that is enough.",
        },
        Chapter {
            scene: on_card("03-two-ply-soft", Some("Lantern 3"), 1.5, plied(2, 1.5, 19.0, 9.0), 3),
            title: "Two-ply, first way: soft",
            text: "Ivo's singles plied with few turns.",
        },
        Chapter {
            scene: on_ruler("04-two-ply-firm", RulerUnit::Inch, 1.4, plied(2, 1.4, 31.0, 0.0), across(-3.0, 0.6, 0), 4),
            title: "Two-ply, second way: firm",
            text: "More turns in the plying, on singles that were spun harder to bear it. Compare the turns per inch with the \
                   sample before.",
        },
        Chapter {
            scene: on_ruler("05-three-ply-dyed", RulerUnit::Mm, 1.9, three_colours(), across(4.0, 0.8, 0), 5),
            title: "Three-ply for the border",
            text: "Marisk dyed three small lots, with madder, weld and woad, and plied them together. The colours repeat once a \
                   turn, the bumps three times.",
        },
        Chapter {
            scene: wound("06-wraps", plied(2, 1.25, 27.0, 3.0), 6),
            title: "Wound side by side",
            text: "The firm two-ply wound on a strip, wraps touching but not squeezed. Counting them between the marks is \
                   the old way.",
        },
        Chapter {
            scene: on_ruler("07-too-much-twist", RulerUnit::Inch, 0.75, lively(), across(-2.0, 1.6, 2), 7),
            title: "Too much twist",
            text: "Marisk's granddaughter treadled for joy. Where the strand was slack it curled back on itself, the sign of \
                   more twist than the fibre wants.",
        },
        Chapter {
            scene: passes("08-skein-passes", plied(2, 1.5, 30.0, 1.0), 8),
            title: "Passes from the skein",
            text: "In the end they spun the firm two-ply. Four passes drawn from the finished skein lie on the card: each is \
                   measured, and what differs between them is told apart from what varies along them.",
        },
        Chapter {
            scene: beside_ruler("09-beside-a-ruler", plied(2, 1.5, 30.0, 1.0), 9),
            title: "Beside a ruler",
            text: "At the market Ivo meets a yarn he likes. He has no card with him, so he lays it on the table beside a ruler of \
                   stiff paper, and photographs both.",
        },
    ]
}

fn base(diameter_mm: f64, angle_deg: f64, turning: Turning, plies: Vec<PlySpec>) -> YarnSpec {
    let mut yarn = YarnSpec::even(plies.len(), turning, diameter_mm, angle_deg);
    yarn.plies = plies;
    yarn.thickness_cv = 0.06;
    yarn.twist_cv = 0.06;
    yarn.twist_follows_thickness = 0.6;
    yarn.compress = if yarn.plies.len() > 1 { 0.94 } else { 1.0 };
    yarn.fibre_mm = 0.045;
    yarn.fibre_scatter_deg = 4.0;
    yarn.relief = 0.012;
    yarn.gloss = 0.15;
    yarn.hair = HairSpec { per_cm: 60.0, length_mm: 3.0, height_mm: 0.3, radius_mm: 0.009 };
    yarn
}

fn ply(colour: Albedo) -> PlySpec {
    PlySpec { relative_radius: 1.0, colour }
}

fn ivo() -> YarnSpec {
    let mut yarn = base(0.82, 32.0, Turning::Z, vec![ply(CREAM)]);
    yarn.hair.per_cm = 30.0;
    yarn.gloss = 0.4;
    yarn
}

fn marisk() -> YarnSpec {
    let mut yarn = base(1.45, 24.0, Turning::Z, vec![ply(CREAM)]);
    yarn.thickness_cv = 0.14;
    yarn.twist_cv = 0.1;
    yarn.hair = HairSpec { per_cm: 140.0, length_mm: 4.0, height_mm: 0.55, radius_mm: 0.009 };
    yarn.faults = vec![FaultSpec { at: 0.62, length_mm: 13.0, amplitude: 0.75, ply: None }];
    yarn.fibre_scatter_deg = 6.0;
    yarn
}

fn plied(plies: usize, diameter_mm: f64, angle_deg: f64, lean_deg: f64) -> YarnSpec {
    let mut yarn = base(diameter_mm, angle_deg, Turning::S, vec![ply(CREAM); plies]);
    yarn.fibre_lean_deg = lean_deg;
    yarn
}

fn three_colours() -> YarnSpec {
    let mut yarn = base(1.9, 30.0, Turning::S, vec![ply(MADDER), ply(WELD), ply(WOAD)]);
    yarn.colour_name = "madder+weld+woad".to_owned();
    yarn.fibre_lean_deg = 4.0;
    yarn
}

fn lively() -> YarnSpec {
    let mut yarn = base(0.75, 47.0, Turning::Z, vec![ply(CREAM)]);
    yarn.twist_cv = 0.12;
    yarn
}

fn across(angle_deg: f64, bow_mm: f64, kinks: usize) -> Laying {
    Laying::Across { angle_deg, offset_mm: 4.0, bow_mm, kinks }
}

/// A scene under the window: everything but yarn, card and camera's place.
fn window(name: &str, card: CardSpec, yarn: YarnSpec, laying: Laying, seed: u64) -> Scene {
    let mut scene = Scene::plain(name, Some(yarn));
    scene.yarn = scene.yarn.map(|(yarn, _)| (yarn, laying));
    scene.kind = "demo".to_owned();
    scene.seed = 9000 + seed;
    scene.card = card;
    scene.table = TableSpec {
        pattern: Pattern::Wood,
        colour: [0.52, 0.35, 0.18],
        accent: [0.36, 0.21, 0.09],
        turn_deg: 12.0,
        scale: 1.0,
    };
    scene.light = LightSpec {
        azimuth_deg: 100.0 + 17.0 * seed as f64,
        elevation_deg: 52.0,
        direct: 0.45,
        softness_deg: 12.0,
        colour: [0.98, 1.0, 1.02],
        falloff: 0.06,
    };
    scene.camera = CameraSpec {
        width_px: 3264,
        height_px: 2448,
        focal_px: 4700.0,
        target: [0.0, 0.0],
        distance_mm: 170.0,
        tilt_deg: 3.0 + (seed % 4) as f64,
        tilt_azimuth_deg: 70.0 * seed as f64,
        roll_deg: [2.0, -3.0, 4.0, -1.0][(seed % 4) as usize],
        k1: -0.03,
    };
    scene.sensor = SensorSpec {
        lens_sigma_px: 0.7,
        vignette: 0.12,
        noise: 1.6,
        sharpening: 0.5,
        exposure: 0.92,
        jpeg_quality: 88,
        half_colour: true,
        // 4700 px over the diagonal of 4080 px, times 43.27 mm.
        focal_35mm: Some(50),
        taken: Some(format!("2031:11:{:02} 10:{:02}:00", 3 + seed, 7 * seed)),
        ..scene.sensor
    };
    scene
}

/// Light yarn on the dark field of the ruler card; on an ordinary one should the card not print.
fn on_card(name: &str, label: Option<&str>, diameter_mm: f64, yarn: YarnSpec, seed: u64) -> Scene {
    let size = if diameter_mm < 1.2 { CardSize::Small } else { CardSize::Full };
    let label = label.and_then(|sample| Label::new(sample, Some("Ivo")).ok());
    let Ok(printed) = PrintedCard::new(size, label.as_ref()) else {
        return on_ruler(name, RulerUnit::Mm, diameter_mm, yarn, across(0.0, 0.5, 0), seed);
    };
    let layout = CardLayout::of(size);
    let offset_mm = layout.height / 2.0 - layout.dark_field.middle().y;
    let (width_mm, height_mm) = printed.size_mm();
    let card = CardSpec {
        width_mm,
        height_mm,
        thickness_mm: 0.25,
        colour: [0.8; 3],
        face: Face::RulerCard(Arc::new(printed)),
    };
    let laying = Laying::Across { angle_deg: 1.0, offset_mm, bow_mm: 0.6, kinks: 0 };
    let mut scene = window(name, card, yarn, laying, seed);
    // The whole small card, or the lower two thirds of the full one.
    if size == CardSize::Small {
        scene.camera.distance_mm = 135.0;
    } else {
        scene.camera.target = [0.0, -18.0];
        scene.camera.distance_mm = 185.0;
    }
    scene
}

fn ruler(unit: RulerUnit, width_mm: f64) -> RulerSpec {
    let (ranks, per) = match unit {
        RulerUnit::Mm => (vec![(1, 6.0, 0.2), (2, 4.6, 0.16), (10, 3.1, 0.16)], 10.0),
        RulerUnit::Inch => ((0..5).map(|i| (1u32 << i, 6.4 * 0.8f64.powi(i), 0.18)).collect(), 25.4),
    };
    let start_mm = 6.0;
    RulerSpec {
        unit,
        ranks,
        start_mm,
        length_mm: ((width_mm - start_mm - 2.0) / per).floor() * per,
        inset_mm: 0.0,
        numeral_mm: 3.2,
        counts_mm: false,
        at_top: false,
    }
}

fn plain_card(width_mm: f64, height_mm: f64, thickness_mm: f64, unit: RulerUnit) -> CardSpec {
    let face = Face::Ruler(ruler(unit, width_mm));
    CardSpec { width_mm, height_mm, thickness_mm, colour: [0.78, 0.77, 0.73], face }
}

fn on_ruler(name: &str, unit: RulerUnit, diameter_mm: f64, yarn: YarnSpec, laying: Laying, seed: u64) -> Scene {
    let mut scene = window(name, plain_card(120.0, 70.0, 0.4, unit), yarn, laying, seed);
    scene.camera.target = [2.0, -4.0];
    scene.camera.distance_mm = if diameter_mm < 1.0 { 150.0 } else { 175.0 };
    scene
}

/// A strand on the table, beside a ruler.
fn beside_ruler(name: &str, yarn: YarnSpec, seed: u64) -> Scene {
    let laying = Laying::Across { angle_deg: 3.0, offset_mm: 26.0, bow_mm: 0.8, kinks: 0 };
    let mut scene = window(name, plain_card(158.0, 28.0, 0.4, RulerUnit::Mm), yarn, laying, seed);
    scene.camera.target = [0.0, 12.0];
    scene.camera.distance_mm = 175.0;
    scene
}

fn wound(name: &str, yarn: YarnSpec, seed: u64) -> Scene {
    let pitch_mm = 1.08 * yarn.diameter_mm;
    let laying = Laying::Wraps { count: 24, pitch_mm, first_mm: -12.0 };
    let mut scene = window(name, plain_card(158.0, 28.0, 1.6, RulerUnit::Inch), yarn, laying, seed);
    scene.camera.target = [3.0, 0.0];
    scene.camera.distance_mm = 165.0;
    scene.clutter = vec![Clutter::Bead { at: [38.0, 28.0], radius_mm: 4.5, colour: MADDER }];
    scene
}

fn passes(name: &str, yarn: YarnSpec, seed: u64) -> Scene {
    let laying =
        Laying::Pieces { count: 4, length_mm: 170.0, spacing_mm: 9.0, offset_mm: 6.0, angle_deg: 0.0, bow_mm: 0.8 };
    let mut scene = window(name, plain_card(120.0, 70.0, 0.4, RulerUnit::Mm), yarn, laying, seed);
    scene.camera.target = [0.0, -2.0];
    scene.camera.distance_mm = 172.0;
    scene
}
