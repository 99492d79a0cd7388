//! Reports made by hand for unit tests of this room.

use crate::figures::quantity::{Component, Sourced};
use crate::figures::report::{
    Evenness, Faults, PhotoFacts, Profile, Program, Report, SCHEMA, Sample, ScaleFigures, StrandFigures, TwistDirection,
};
use crate::figures::{Method, Quantity};

/// A number with one standard uncertainty, all of it sampling.
pub(crate) fn measured(value: f64, u: f64) -> Quantity<f64> {
    let budget = vec![Component { source: Sourced::Sampling, standard_uncertainty: u }];
    Quantity::from_budget(value, Method::Combined, budget)
}

/// A two-ply S yarn of 2 mm with 4 turns an inch on one pass of 100 mm.
pub(crate) fn report(file: &str) -> Report {
    let stations = 200;
    Report {
        schema: SCHEMA.to_owned(),
        program: Program { name: "strandrule".to_owned(), version: "0.0.0".to_owned() },
        photo: PhotoFacts { file: file.to_owned(), width_px: 4000, height_px: 3000, taken_at: None },
        scale: ScaleFigures {
            method: Some(Method::RulerCard),
            px_per_mm: measured(20.0, 0.02),
            tilt_deg: measured(3.0, 0.5),
            print_factor: None,
        },
        sample: Sample {
            label: None,
            strands: 1,
            length_mm: measured(100.0, 0.2),
            plies: Quantity::likely(2, 0.99, Method::Combined),
            twist_direction: Quantity::likely(TwistDirection::S, 0.999, Method::LineAngle),
            diameter_mm: measured(2.0, 0.02),
            diameter_px: measured(40.0, 0.4),
            envelope_diameter_mm: measured(2.4, 0.03),
            wraps_per_inch: match measured(12.7, 0.127) {
                Quantity::Measured { value, interval95, probability, budget, .. } => {
                    Quantity::Measured { value, interval95, probability, method: Method::FromDiameter, budget }
                }
                other => other,
            },
            weight_categories: Vec::new(),
            twist_angle_deg: measured(26.0, 0.5),
            ply_angles_deg: None,
            twists_per_inch: measured(4.0, 0.05),
            twists_per_metre: measured(157.48, 1.97),
            bumps_per_inch: measured(8.0, 0.1),
            bumps_per_diameter: measured(0.63, 0.01),
            fibre_angle_deg: measured(1.0, 2.0),
            evenness: Evenness {
                diameter_cv_percent: measured(9.0, 1.0),
                between_strands_cv_percent: Quantity::Unanswered(crate::figures::Reason::OnePiece),
                twist_cv_percent: measured(12.0, 2.0),
                faults: Some(Faults { searched_mm: 100.0, list: Vec::new() }),
                faults_reason: None,
            },
            hairiness: measured(0.1, 0.02),
            kinks: measured(0.0, 1.0),
        },
        strands: vec![StrandFigures {
            number: 1,
            length_mm: Some(100.0),
            left_out: Vec::new(),
            profile: Profile {
                at_mm: (0..stations).map(|i| f64::from(i) * 0.5).collect(),
                width_mm: (0..stations).map(|i| 2.0 + 0.2 * (f64::from(i) * 0.7).sin()).collect(),
                twist_angle_deg: vec![Some(26.0); 200],
                twists_per_inch: vec![Some(4.0); 200],
                ..Profile::default()
            },
        }],
        warnings: Vec::new(),
    }
}
