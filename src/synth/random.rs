//! Scenes drawn at random over the ranges in which photos of handspun yarn fall.

use std::sync::{Arc, LazyLock};

use super::chance::Chance;
use super::printed::PrintedCard;
use super::scene::{
    Albedo, CameraSpec, CardSpec, Clutter, Face, FaultSpec, HairSpec, Laying, LightSpec, Pattern, PlySpec, RulerSpec,
    RulerUnit, Scene, SensorSpec, TableSpec, Turning, YarnSpec,
};
use crate::card::layout::CardSize;

/// Yarn colours, linear reflectance.
pub(super) const COLOURS: [(&str, Albedo); 12] = [
    ("white", [0.80, 0.80, 0.77]),
    ("cream", [0.70, 0.61, 0.44]),
    ("grey", [0.27, 0.26, 0.25]),
    ("black", [0.022, 0.021, 0.022]),
    ("brown", [0.14, 0.075, 0.04]),
    ("rust", [0.30, 0.075, 0.025]),
    ("mustard", [0.50, 0.31, 0.045]),
    ("green", [0.075, 0.19, 0.06]),
    ("teal", [0.02, 0.20, 0.20]),
    ("navy", [0.022, 0.035, 0.13]),
    ("plum", [0.13, 0.025, 0.11]),
    ("rose", [0.48, 0.13, 0.17]),
];

/// A scene drawn at random from a seed, 8 megapixels. Reduce it with [`Scene::reduced`] for quick tests.
#[must_use]
pub fn random_scene(seed: u64) -> Scene {
    let mut chance = Chance::new(seed, 1);
    let name = format!("s{seed:05}");
    let sample = chance.unit();
    // One scene in twenty has something missing, so that refusing is tried too.
    let lacks = if sample < 0.02 {
        Lacks::Yarn
    } else if sample < 0.035 {
        Lacks::Ruler
    } else if sample < 0.05 {
        Lacks::Focus
    } else {
        Lacks::Nothing
    };
    let wound = lacks == Lacks::Nothing && chance.happens(0.08);
    let mut yarn = random_yarn(&mut chance);
    let own_card = lacks != Lacks::Ruler && !wound && yarn.diameter_mm < 6.0 && chance.happens(0.2);
    let card = match own_card.then(|| ruler_card(yarn.diameter_mm)).flatten() {
        Some(printed) => on_ruler_card(&mut chance, printed),
        None => random_card(&mut chance, wound, lacks == Lacks::Ruler),
    };
    let mut laying = random_laying(&mut chance, &mut yarn, &card, wound);
    let camera = random_camera(&mut chance, &yarn, &card, &laying);
    if let Laying::Across { angle_deg, .. } = &mut laying
        && !matches!(card.face, Face::RulerCard(_))
        && chance.happens(0.25)
    {
        // Now and then askew on the card; turned with it most of the time.
        *angle_deg += chance.between(-35.0, 35.0);
    }
    let mut sensor = random_sensor(&mut chance, &camera);
    if lacks == Lacks::Focus {
        let width_px = yarn.diameter_mm * camera.focal_px / camera.distance_mm;
        sensor.defocus_px = (0.9 * width_px).clamp(14.0, 60.0);
        sensor.extra_blur_px = (0.45 * width_px).clamp(8.0, 30.0);
    }
    let refuse = match lacks {
        Lacks::Nothing => None,
        Lacks::Yarn => Some("no yarn on the card"),
        Lacks::Ruler => Some("no ruler or scale in the picture: lengths cannot be measured"),
        Lacks::Focus => Some("picture too blurred: twist and edges cannot be seen"),
    };
    Scene {
        name,
        kind: kind(&yarn, &laying, lacks),
        seed,
        refuse: refuse.map(str::to_owned),
        yarn: (lacks != Lacks::Yarn).then_some((yarn, laying)),
        pieces: Vec::new(),
        picture: None,
        things: Vec::new(),
        clutter: random_clutter(&mut chance, &card),
        table: random_table(&mut chance),
        light: random_light(&mut chance),
        card,
        camera,
        sensor,
    }
}

impl Scene {
    /// The same scene photographed with a smaller sensor of the same view, `width_px` along the longer side.
    #[must_use]
    pub fn reduced(mut self, width_px: usize) -> Self {
        let longer = self.camera.width_px.max(self.camera.height_px).max(1);
        let share = width_px as f64 / longer as f64;
        let side = |px: usize| ((px as f64 * share).round() as usize).max(1);
        (self.camera.width_px, self.camera.height_px) = (side(self.camera.width_px), side(self.camera.height_px));
        self.camera.focal_px *= share;
        self.sensor.defocus_px *= share;
        self.sensor.extra_blur_px *= share;
        self
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Lacks {
    Nothing,
    Yarn,
    Ruler,
    Focus,
}

fn kind(yarn: &YarnSpec, laying: &Laying, lacks: Lacks) -> String {
    let plies = match yarn.plies.len() {
        1 => "singles",
        2 => "two-ply",
        3 => "three-ply",
        _ => "four-ply",
    };
    match (lacks, laying) {
        (Lacks::Yarn, _) => "no yarn".to_owned(),
        (Lacks::Ruler, _) => "no ruler".to_owned(),
        (Lacks::Focus, _) => "blurred".to_owned(),
        (_, Laying::Wraps { .. }) => format!("{plies} wrapped"),
        (_, Laying::Pieces { .. }) => format!("{plies} pieces"),
        (_, Laying::Across { kinks: 1.., .. }) => format!("{plies} kinked"),
        _ => plies.to_owned(),
    }
}

fn random_card(chance: &mut Chance, strip: bool, blank: bool) -> CardSpec {
    let unit = if chance.happens(0.55) { RulerUnit::Mm } else { RulerUnit::Inch };
    let (width, height) =
        if strip { (158.0, 28.0) } else { chance.pick(&[(120.0, 70.0), (148.0, 85.0), (105.0, 74.0)]) };
    let white = chance.between(0.72, 0.86);
    let tint =
        chance.pick(&[[1.0, 1.0, 0.98], [1.0, 0.98, 0.92], [0.95, 0.99, 1.0], [0.97, 1.0, 0.92], [1.0, 0.96, 0.97]]);
    CardSpec {
        width_mm: width,
        height_mm: height,
        thickness_mm: if strip { 1.6 } else { chance.between(0.25, 0.6) },
        colour: tint.map(|t| t * white),
        face: if blank { Face::Blank } else { Face::Ruler(random_ruler(chance, unit, width, strip)) },
    }
}

/// The project's own card: the small one for thin yarn, which is photographed from near.
pub(super) fn ruler_card(diameter_mm: f64) -> Option<Arc<PrintedCard>> {
    static CARDS: LazyLock<[Option<Arc<PrintedCard>>; 2]> =
        LazyLock::new(|| [CardSize::Small, CardSize::Full].map(|size| PrintedCard::new(size, None).ok().map(Arc::new)));
    CARDS.get(usize::from(diameter_mm > 1.2)).cloned().flatten()
}

fn on_ruler_card(chance: &mut Chance, printed: Arc<PrintedCard>) -> CardSpec {
    let (width_mm, height_mm) = printed.size_mm();
    CardSpec {
        width_mm,
        height_mm,
        thickness_mm: chance.between(0.1, 0.4),
        colour: [chance.between(0.72, 0.86); 3],
        face: Face::RulerCard(printed),
    }
}

/// Height of the middle of the card's light and dark field above the card's own middle, mm.
fn fields(card: &PrintedCard) -> [f64; 2] {
    card.fields().map(|field| card.size_mm().1 / 2.0 - field.middle().y)
}

pub(super) fn random_ruler(chance: &mut Chance, unit: RulerUnit, width: f64, strip: bool) -> RulerSpec {
    let line = chance.between(0.11, 0.2);
    let long = chance.between(5.0, 7.5);
    let (ranks, per) = match unit {
        RulerUnit::Mm => {
            let mut ranks = vec![(1, long, line * 1.25), (2, 0.78 * long, line), (10, 0.52 * long, line)];
            if chance.happens(0.15) {
                ranks.push((20, 0.33 * long, 0.8 * line));
            }
            (ranks, 10.0)
        }
        RulerUnit::Inch => {
            let halving = |parts: &[u32]| {
                parts.iter().enumerate().map(|(i, p)| (*p, long * 0.8f64.powi(i as i32), line)).collect::<Vec<_>>()
            };
            let ranks = match chance.unit() {
                u if u < 0.75 => halving(&[1, 2, 4, 8, 16]),
                u if u < 0.88 => halving(&[1, 2, 4, 8, 16, 32]),
                _ => vec![(1, long, line), (2, 0.75 * long, line), (10, 0.5 * long, line)],
            };
            (ranks, 25.4)
        }
    };
    let start = if strip { 12.0 } else { chance.between(4.0, 9.0) };
    RulerSpec {
        unit,
        ranks,
        start_mm: start,
        length_mm: ((width - start - 2.0) / per).floor() * per,
        inset_mm: if chance.happens(0.7) { 0.0 } else { chance.between(0.5, 2.5) },
        numeral_mm: chance.between(2.6, 4.0),
        counts_mm: unit == RulerUnit::Mm && chance.happens(0.25),
        at_top: !strip && chance.happens(0.2),
    }
}

fn random_yarn(chance: &mut Chance) -> YarnSpec {
    let plies = match chance.unit() {
        u if u < 0.40 => 1,
        u if u < 0.72 => 2,
        u if u < 0.90 => 3,
        _ => 4,
    };
    let main = chance.pick(&COLOURS);
    let several = plies > 1 && chance.happens(0.3);
    let unequal = plies > 1 && chance.happens(0.2);
    let mut names = vec![main.0];
    let mut specs: Vec<PlySpec> = Vec::new();
    for i in 0..plies {
        let (name, colour) = if several && i > 0 && chance.happens(0.7) { chance.pick(&COLOURS) } else { main };
        if several && i > 0 {
            names.push(name);
        }
        // A thin binder beside a thick core is at one end of this, a slightly thinner ply at the other. Four plies
        // close into a ring only while none is much thicker than the rest.
        let relative = if !unequal || i == 0 { 1.0 } else { chance.between(if plies == 4 { 0.75 } else { 0.4 }, 1.0) };
        // Batches of one dye lot differ a little.
        let shade = 1.0 + 0.05 * chance.normal();
        specs.push(PlySpec { relative_radius: relative, colour: colour.map(|c| (c * shade).clamp(0.01, 0.9)) });
    }
    let diameter = if chance.happens(0.75) { chance.log_between(0.45, 3.0) } else { chance.log_between(0.3, 15.0) };
    let angle = if chance.happens(0.85) { chance.between(14.0, 45.0) } else { chance.between(3.0, 60.0) };
    let cv = if plies == 1 { chance.between(0.03, 0.16) } else { chance.between(0.02, 0.10) };
    let band = angle.to_radians().tan();
    // From fibres along the axis (balanced) to fibres that nearly follow the plies.
    let lean = (band * chance.between(-0.15, 0.75)).atan().to_degrees();
    let faults = if chance.happens(0.25) {
        let thick = chance.happens(0.5);
        let amplitude = if thick { chance.between(0.45, 1.1) } else { chance.between(-0.55, -0.33) };
        vec![FaultSpec {
            at: chance.between(0.3, 0.7),
            length_mm: diameter * chance.between(5.0, 14.0),
            amplitude,
            ply: None,
        }]
    } else {
        Vec::new()
    };
    YarnSpec {
        plies: specs,
        colour_name: names.join("+"),
        turning: if chance.happens(0.5) { Turning::S } else { Turning::Z },
        diameter_mm: diameter,
        angle_deg: angle,
        thickness_cv: cv,
        twist_cv: chance.between(0.03, 0.12),
        twist_follows_thickness: if plies == 1 { chance.between(0.6, 1.2) } else { chance.between(0.2, 0.8) },
        compress: if plies == 1 { 1.0 } else { chance.between(0.86, 1.0) },
        fibre_lean_deg: lean,
        fibre_mm: chance.between(0.03, 0.06).max(diameter / 50.0),
        fibre_depth_mm: 0.0,
        fibre_scatter_deg: chance.between(2.0, 7.0),
        hair: HairSpec {
            per_cm: chance.between(20.0, 170.0),
            length_mm: chance.between(2.0, 4.5) * diameter.max(0.6).powf(0.3),
            height_mm: chance.between(0.08, 0.4) * diameter.max(0.4).powf(0.5),
            radius_mm: chance.between(0.006, 0.011),
        },
        relief: chance.log_between(0.003, 0.03),
        gloss: if chance.happens(0.3) { chance.between(0.2, 0.8) } else { 0.05 },
        faults,
    }
}

fn random_laying(chance: &mut Chance, yarn: &mut YarnSpec, card: &CardSpec, wound: bool) -> Laying {
    if wound {
        yarn.diameter_mm = chance.log_between(0.5, 2.5);
        yarn.fibre_mm = yarn.fibre_mm.min(0.06);
        yarn.faults.clear();
        let pitch = yarn.diameter_mm * chance.between(1.02, 1.35);
        let count = (chance.between(25.0, 45.0) / pitch).round().clamp(8.0, 40.0) as usize;
        return Laying::Wraps { count, pitch_mm: pitch, first_mm: chance.between(-50.0, -10.0) };
    }
    if let Face::RulerCard(printed) = &card.face {
        // Light yarn on the dark field and the other way round, most of the time.
        let dark_yarn = yarn.plies.iter().all(|p| p.colour[1] < 0.25);
        let [light, dark] = fields(printed);
        let offset = if dark_yarn != chance.happens(0.15) { light } else { dark };
        return Laying::Across {
            angle_deg: chance.between(-5.0, 5.0),
            offset_mm: offset + chance.between(-2.0, 2.0),
            bow_mm: chance.between(0.1, 1.2),
            kinks: 0,
        };
    }
    let free = card.height_mm - 14.0;
    if yarn.diameter_mm < 3.0 && chance.happens(0.18) {
        let count = 2 + (chance.unit() * 3.0) as usize;
        let spacing = (free * 0.6 / count as f64).min(14.0).max(3.0 * yarn.diameter_mm);
        let length_mm = card.width_mm * chance.between(0.5, 0.85);
        return Laying::Pieces {
            count,
            length_mm,
            spacing_mm: spacing,
            offset_mm: if at_top(card) { -6.0 } else { 6.0 },
            angle_deg: chance.between(-4.0, 4.0),
            bow_mm: chance.between(0.2, 1.5),
        };
    }
    let kinks = usize::from(yarn.diameter_mm < 2.5 && chance.happens(0.06));
    Laying::Across {
        angle_deg: chance.between(-6.0, 6.0),
        offset_mm: chance.between(-2.0, 0.2 * free),
        bow_mm: chance.between(0.1, 2.5),
        kinks,
    }
}

/// Whether the ruler runs along the card's top edge.
fn at_top(card: &CardSpec) -> bool {
    matches!(&card.face, Face::Ruler(r) if r.at_top)
}

fn random_camera(chance: &mut Chance, yarn: &YarnSpec, card: &CardSpec, laying: &Laying) -> CameraSpec {
    // Wide, normal and long lenses of phones, as focal lengths over the diagonal of a 35 mm frame (43.27 mm).
    let focal_35mm = chance.pick(&[25.0, 26.0, 28.0, 48.0, 50.0, 52.0, 73.0, 77.0]) * (1.0 + 0.01 * chance.normal());
    let (width, height) = if chance.happens(0.3) { (2448, 3264) } else { (3264, 2448) };
    let diagonal = f64::hypot(width as f64, height as f64);
    let focal_px = focal_35mm / 43.266_6 * diagonal;
    // As near as thin yarn asks for, but the ruler must be in the picture.
    let wish = match laying {
        Laying::Wraps { .. } => chance.between(20.0, 30.0),
        _ => (30.0 / yarn.diameter_mm).clamp(14.0, 40.0) * chance.between(0.9, 1.3),
    };
    let px_per_mm: f64 = wish.clamp(13.0, 41.0);
    let distance = (focal_px / px_per_mm).max(115.0);
    let tilt = match chance.unit() {
        u if u < 0.6 => chance.between(0.5, 8.0),
        u if u < 0.85 => chance.between(8.0, 14.0),
        _ => chance.between(14.0, 20.0),
    };
    let shown_height = height as f64 * distance / focal_px;
    // The ruler's edge and the strand both in view.
    let nearer_top = match (&card.face, laying) {
        (Face::RulerCard(_), Laying::Across { offset_mm, .. }) => *offset_mm > 0.0,
        _ => at_top(card),
    };
    let edge = card.height_mm / 2.0 * if nearer_top { 1.0 } else { -1.0 };
    let shift = (shown_height * 0.5 - 12.0).max(0.0);
    let centre = if shown_height > card.height_mm * 1.2 { 0.0 } else { edge - edge.signum() * shift };
    let along = match laying {
        Laying::Wraps { first_mm, .. } => first_mm + 15.0,
        _ => chance.between(-12.0, 12.0),
    };
    let sideways = height > width;
    let roll = match chance.unit() {
        u if u < 0.6 => chance.between(-8.0, 8.0),
        u if u < 0.8 => chance.between(-45.0, 45.0),
        _ => chance.between(-180.0, 180.0),
    } + if sideways { 90.0 } else { 0.0 };
    CameraSpec {
        width_px: width,
        height_px: height,
        focal_px,
        target: [along, centre],
        distance_mm: distance,
        tilt_deg: tilt,
        tilt_azimuth_deg: chance.between(0.0, 360.0),
        roll_deg: roll,
        k1: chance.between(-0.09, 0.05) * if focal_35mm < 35.0 { 0.6 } else { 1.0 },
    }
}

fn random_sensor(chance: &mut Chance, camera: &CameraSpec) -> SensorSpec {
    let diagonal = f64::hypot(camera.width_px as f64, camera.height_px as f64);
    let longer = camera.width_px.max(camera.height_px) as f64;
    // Makers do not say whether they mean the diagonal or the width of the 35 mm frame.
    let by_width = chance.happens(0.3);
    let focal = if by_width { camera.focal_px / longer * 36.0 } else { camera.focal_px / diagonal * 43.266_6 };
    let day = 1 + (chance.unit() * 28.0) as u32;
    let month = 1 + (chance.unit() * 12.0) as u32;
    let (hour, minute) = (8 + (chance.unit() * 10.0) as u32, (chance.unit() * 60.0) as u32);
    SensorSpec {
        lens_sigma_px: chance.between(0.5, 0.9),
        defocus_px: if chance.happens(0.3) { chance.log_between(1.2, 12.0) } else { 0.0 },
        extra_blur_px: if chance.happens(0.12) { chance.between(0.4, 2.0) } else { 0.0 },
        vignette: chance.between(0.03, 0.35),
        noise: chance.log_between(0.8, 5.0),
        sharpening: chance.between(0.1, 0.9),
        exposure: chance.between(0.72, 1.05),
        jpeg_quality: chance.between(72.0, 94.99) as u8,
        half_colour: chance.happens(0.85),
        orientation: if chance.happens(0.5) { 1 } else { chance.pick(&[2, 3, 4, 5, 6, 6, 7, 8, 8]) },
        focal_35mm: (!chance.happens(0.12)).then_some(focal.round() as u16),
        taken: chance.happens(0.9).then(|| format!("2031:{month:02}:{day:02} {hour:02}:{minute:02}:00")),
        samples: 3,
    }
}

fn random_light(chance: &mut Chance) -> LightSpec {
    let warm = chance.between(-0.08, 0.08);
    LightSpec {
        azimuth_deg: chance.between(0.0, 360.0),
        elevation_deg: chance.between(32.0, 72.0),
        direct: chance.between(0.25, 0.65),
        softness_deg: chance.log_between(2.0, 16.0),
        colour: [1.0 + warm, 1.0, 1.0 - warm],
        falloff: chance.between(0.0, 0.18),
    }
}

fn random_table(chance: &mut Chance) -> TableSpec {
    let pattern = chance.pick(&[Pattern::Plain, Pattern::Wood, Pattern::Gingham, Pattern::Linen, Pattern::Marble]);
    let (colour, accent): (Albedo, Albedo) = match pattern {
        Pattern::Plain => chance.pick(&[
            ([0.35, 0.34, 0.33], [0.28, 0.27, 0.26]),
            ([0.05, 0.055, 0.06], [0.03, 0.03, 0.035]),
            ([0.16, 0.22, 0.3], [0.12, 0.18, 0.26]),
        ]),
        Pattern::Wood => chance.pick(&[
            ([0.52, 0.35, 0.18], [0.36, 0.21, 0.09]),
            ([0.2, 0.1, 0.05], [0.1, 0.05, 0.025]),
            ([0.62, 0.5, 0.34], [0.5, 0.37, 0.22]),
        ]),
        Pattern::Gingham => {
            chance.pick(&[([0.72, 0.72, 0.7], [0.03, 0.07, 0.38]), ([0.72, 0.7, 0.68], [0.4, 0.04, 0.04])])
        }
        Pattern::Linen => {
            chance.pick(&[([0.5, 0.46, 0.36], [0.3, 0.27, 0.2]), ([0.3, 0.35, 0.42], [0.12, 0.17, 0.24])])
        }
        _ => ([0.6, 0.57, 0.54], [0.25, 0.22, 0.2]),
    };
    TableSpec { pattern, colour, accent, turn_deg: chance.between(0.0, 90.0), scale: 1.0 }
}

/// A pencil, a bead or a square beside the card, never on the yarn.
fn random_clutter(chance: &mut Chance, card: &CardSpec) -> Vec<Clutter> {
    let mut things = Vec::new();
    let side = if chance.happens(0.5) { 1.0 } else { -1.0 };
    let beyond = card.height_mm / 2.0;
    if chance.happens(0.2) {
        let y = side * (beyond + chance.between(5.0, 16.0));
        let (x, lean) = (chance.between(-40.0, 20.0), chance.between(-6.0, 6.0));
        let paint = chance.pick(&COLOURS).1;
        things.push(Clutter::Pencil {
            from: [x, y],
            to: [x + 110.0, y + side * lean.abs()],
            thickness_mm: 7.0,
            colour: paint,
        });
    }
    if chance.happens(0.15) {
        let at = [chance.between(-40.0, 40.0), -side * (beyond + chance.between(6.0, 12.0))];
        things.push(Clutter::Bead { at, radius_mm: chance.between(3.0, 6.0), colour: chance.pick(&COLOURS).1 });
    }
    if chance.happens(0.15) {
        let at = [chance.between(-40.0, 40.0), side * (beyond + chance.between(12.0, 20.0))];
        let colour = chance.pick(&[[0.8, 0.22, 0.06], [0.75, 0.7, 0.1], [0.1, 0.45, 0.15]]);
        things.push(Clutter::Square {
            at,
            half_mm: chance.between(6.0, 12.0),
            turn_deg: chance.between(-20.0, 20.0),
            colour,
        });
    }
    things
}
