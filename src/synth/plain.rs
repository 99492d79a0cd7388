//! A scene without any difficulty, to start from.

use super::scene::{
    CameraSpec, CardSpec, Face, HairSpec, Laying, LightSpec, Pattern, PlySpec, RulerSpec, RulerUnit, Scene, SensorSpec,
    TableSpec, Turning, YarnSpec,
};

impl YarnSpec {
    /// Even yarn without hairs: `plies` equal cream plies, just touching, fibres along the axis where plied.
    #[must_use]
    pub fn even(plies: usize, turning: Turning, diameter_mm: f64, angle_deg: f64) -> Self {
        Self {
            plies: vec![PlySpec { relative_radius: 1.0, colour: [0.70, 0.61, 0.44] }; plies],
            colour_name: "cream".to_owned(),
            turning,
            diameter_mm,
            angle_deg,
            thickness_cv: 0.0,
            twist_cv: 0.0,
            twist_follows_thickness: 0.0,
            compress: 1.0,
            fibre_lean_deg: 0.0,
            fibre_mm: (diameter_mm / 25.0).clamp(0.035, 0.2),
            fibre_depth_mm: 0.0,
            fibre_scatter_deg: 0.0,
            relief: 0.0,
            hair: HairSpec { per_cm: 0.0, length_mm: 3.0, height_mm: 0.4, radius_mm: 0.01 },
            gloss: 0.0,
            faults: Vec::new(),
        }
    }
}

impl Scene {
    /// Yarn (or none) straight across a white card with a millimetre ruler, from straight above, at 30 px/mm, without
    /// blur, noise or shadow, 1600 x 1200 px.
    #[must_use]
    pub fn plain(name: &str, yarn: Option<YarnSpec>) -> Self {
        let across = Laying::Across { angle_deg: 0.0, offset_mm: 0.0, bow_mm: 0.0, kinks: 0 };
        Self {
            name: name.to_owned(),
            kind: "plain".to_owned(),
            seed: 1,
            refuse: None,
            yarn: yarn.map(|y| (y, across)),
            pieces: Vec::new(),
            card: CardSpec {
                width_mm: 120.0,
                height_mm: 70.0,
                thickness_mm: 0.4,
                colour: [0.8; 3],
                face: Face::Ruler(RulerSpec {
                    unit: RulerUnit::Mm,
                    ranks: vec![(1, 6.0, 0.2), (2, 4.6, 0.15), (10, 3.2, 0.15)],
                    start_mm: 5.0,
                    length_mm: 110.0,
                    inset_mm: 0.0,
                    numeral_mm: 3.0,
                    counts_mm: false,
                    at_top: false,
                }),
            },
            table: TableSpec {
                pattern: Pattern::Plain,
                colour: [0.3; 3],
                accent: [0.25; 3],
                turn_deg: 0.0,
                scale: 1.0,
            },
            picture: None,
            clutter: Vec::new(),
            things: Vec::new(),
            light: LightSpec {
                azimuth_deg: 90.0,
                elevation_deg: 60.0,
                direct: 0.0,
                softness_deg: 5.0,
                colour: [1.0; 3],
                falloff: 0.0,
            },
            camera: CameraSpec {
                width_px: 1600,
                height_px: 1200,
                focal_px: 6000.0,
                target: [0.0, 0.0],
                distance_mm: 200.0,
                tilt_deg: 0.0,
                tilt_azimuth_deg: 0.0,
                roll_deg: 0.0,
                k1: 0.0,
            },
            sensor: SensorSpec {
                lens_sigma_px: 0.0,
                defocus_px: 0.0,
                extra_blur_px: 0.0,
                vignette: 0.0,
                noise: 0.0,
                sharpening: 0.0,
                exposure: 1.0,
                jpeg_quality: 95,
                half_colour: false,
                orientation: 1,
                focal_35mm: None,
                taken: None,
                samples: 3,
            },
        }
    }
}
