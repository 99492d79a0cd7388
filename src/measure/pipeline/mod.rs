//! Runs the stages once, in order, and gathers their figures into a report.

mod coarse;
mod evenness;
mod gathered;
mod lengths;
mod profile;
mod readings;
mod turns;

use std::convert::Infallible;

use super::photo::Photo;
use super::scale::{self, Scale, ScaleFound, ScaleParams, ScaleRequest};
use super::strand::{self, StrandRequest, Strands};
use super::twist::{self, Twist, TwistRequest};
use crate::figures::quantity::{Component, Quantity, Sourced};
use crate::figures::report::{Evenness, PhotoFacts, Program, Report, SCHEMA, Sample, ScaleFigures};
use crate::figures::words::{Method, Warning};
use gathered::Gathered;

/// Everything that the person states about one photo.
#[derive(Debug, Clone, Default)]
pub struct Request {
    /// About the scale.
    pub scale: ScaleRequest,
    /// About the yarn.
    pub strand: StrandRequest,
    /// About the twist.
    pub twist: TwistRequest,
    /// The sample's label.
    pub label: Option<String>,
}

/// The constants of all stages.
#[derive(Debug, Clone, Default)]
pub struct Params {
    /// Of the scale stage.
    pub scale: ScaleParams,
}

/// What every stage saw; the overlay draws it.
#[derive(Debug, Clone)]
pub struct Evidence {
    /// Scale and rulers.
    pub scale: ScaleFound,
    /// Pieces of yarn.
    pub strands: Strands,
    /// Their twist.
    pub twist: Twist,
}

/// A measured photo.
#[derive(Debug, Clone)]
pub struct Measured {
    /// The figures.
    pub report: Report,
    /// What they rest on.
    pub evidence: Evidence,
}

/// Measures one photo: all stages, once, in order.
#[must_use]
pub fn measure(photo: &Photo, request: &Request, params: &Params) -> Measured {
    match measure_unless(photo, request, params, &|| Ok::<(), Infallible>(())) {
        Ok(measured) => measured,
        Err(never) => match never {},
    }
}

/// The same; before each stage after the first it asks whether to go on.
///
/// # Errors
/// What `go_on` answers.
pub fn measure_unless<E>(
    photo: &Photo,
    request: &Request,
    params: &Params,
    go_on: &dyn Fn() -> Result<(), E>,
) -> Result<Measured, E> {
    let scale = scale::find_scale(photo, &request.scale, &params.scale);
    go_on()?;
    let mut strands = strand::find_strands(photo, &scale, &request.strand);
    coarse::widen(&mut strands, photo);
    go_on()?;
    let twist = twist::read_twist(&strands, &request.twist);
    go_on()?;
    let evidence = Evidence { scale, strands, twist };
    let report = report(photo, request, &evidence);
    Ok(Measured { report, evidence })
}

/// The figures that the evidence supports.
#[must_use]
pub fn report(photo: &Photo, request: &Request, evidence: &Evidence) -> Report {
    let gathered = Gathered::from_evidence(evidence);
    Report {
        schema: SCHEMA.to_owned(),
        program: Program { name: env!("CARGO_PKG_NAME").to_owned(), version: env!("CARGO_PKG_VERSION").to_owned() },
        photo: PhotoFacts {
            file: photo.name.clone(),
            width_px: u32::try_from(photo.rgb.width()).unwrap_or(u32::MAX),
            height_px: u32::try_from(photo.rgb.height()).unwrap_or(u32::MAX),
            taken_at: photo.camera.taken_at.clone(),
        },
        scale: scale_figures(&gathered),
        sample: sample(request, &gathered),
        strands: gathered.pieces.iter().map(profile::strand_figures).collect(),
        warnings: warnings(photo, request, evidence),
    }
}

fn scale_figures(gathered: &Gathered) -> ScaleFigures {
    let known = gathered.evidence.scale.scale.known();
    ScaleFigures {
        method: known.map(|k| k.method),
        print_factor: gathered.evidence.scale.print_factor,
        px_per_mm: lengths::px_per_mm(gathered),
        tilt_deg: match (&gathered.evidence.scale.scale, known.and_then(|k| k.tilt_deg)) {
            (Scale::Unknown(reason), _) => Quantity::Unanswered(reason.clone()),
            (Scale::Known(_), None) => Quantity::Unanswered(crate::figures::Reason::PoseUnclear),
            (Scale::Known(_), Some((tilt, u))) => {
                let whole = [(tilt - 1.96 * u).max(0.0), (tilt + 1.96 * u).min(90.0)];
                let budget = vec![Component { source: Sourced::Model, standard_uncertainty: u }];
                Quantity::with_interval(tilt, whole, Method::CardPose, budget)
            }
        },
    }
}

fn sample(request: &Request, gathered: &Gathered) -> Sample {
    let twists_per_mm = turns::twists_per_mm(gathered);
    let diameter_mm = lengths::diameter_mm(gathered);
    let wraps_per_inch = lengths::wraps_per_inch(gathered, &diameter_mm);
    let (faults, faults_reason) = match evenness::faults(gathered) {
        Ok(faults) => (Some(faults), None),
        Err(reason) => (None, Some(Warning { code: reason.code().to_owned(), message: reason.message() })),
    };
    Sample {
        label: request.label.clone().or_else(|| gathered.evidence.scale.chosen_card()?.label_line()),
        strands: u32::try_from(gathered.pieces.len()).unwrap_or(u32::MAX),
        length_mm: lengths::length_mm(gathered),
        plies: turns::plies(gathered),
        twist_direction: turns::direction(gathered),
        diameter_px: lengths::diameter_px(gathered),
        envelope_diameter_mm: lengths::envelope_mm(gathered, &diameter_mm),
        weight_categories: crate::figures::weight::weight_categories(&wraps_per_inch),
        wraps_per_inch,
        twist_angle_deg: turns::angle_deg(gathered),
        ply_angles_deg: turns::ply_angles_deg(gathered),
        twists_per_inch: twists_per_mm.scaled(crate::base::units::MM_PER_INCH),
        twists_per_metre: twists_per_mm.scaled(1000.0),
        bumps_per_inch: turns::bumps_per_inch(gathered, &twists_per_mm),
        bumps_per_diameter: turns::bumps_per_diameter(gathered),
        fibre_angle_deg: turns::fibre_angle_deg(gathered),
        evenness: Evenness {
            diameter_cv_percent: evenness::diameter_cv(gathered),
            between_strands_cv_percent: evenness::between_strands_cv(gathered),
            twist_cv_percent: turns::twist_cv(gathered),
            faults,
            faults_reason,
        },
        hairiness: lengths::hairiness(gathered),
        kinks: lengths::kinks(gathered),
        diameter_mm,
    }
}

/// Uncertainty of the width from the file's shades, as a fraction, from which on it is said: more than the edges of a good photo
/// leave open.
const SAID_COARSE: f64 = 0.05;

fn warnings(photo: &Photo, request: &Request, evidence: &Evidence) -> Vec<Warning> {
    let mut out = evidence.scale.chosen_card().map(|card| card.warnings()).unwrap_or_default();
    if photo.camera.pictures > 1 {
        out.push(Warning {
            code: "several-pictures".to_owned(),
            message: format!(
                "The file holds {} pages or frames; only the first full-size one was measured.",
                photo.camera.pictures
            ),
        });
    }
    let cards = &evidence.scale.cards;
    if let (Some(chosen), true) = (evidence.scale.chosen_card(), cards.len() > 1) {
        out.push(Warning {
            code: "several-cards".to_owned(),
            message: format!(
                "{} ruler cards are seen; number {} and the yarn on it were measured. Choose another with --ruler.",
                cards.len(),
                chosen.number
            ),
        });
    }
    if request.scale.print_factor.is_some() && evidence.scale.print_factor.is_none() {
        out.push(Warning {
            code: "print-scale-unused".to_owned(),
            message: "What the print measures was stated, but the scale does not come from a ruler card: it made no difference."
                .to_owned(),
        });
    }
    if evidence.scale.unit_against_marks {
        out.push(Warning {
            code: "unit-against-marks".to_owned(),
            message: "The unit stated with --unit was believed, but the ruler's marks look like another; look at the overlay."
                .to_owned(),
        });
    }
    if evidence.scale.numerals_backwards {
        out.push(Warning {
            code: "mirrored".to_owned(),
            message:
                "The ruler's numerals read backwards: the photo is mirrored, and S and Z change places; turn it back."
                    .to_owned(),
        });
    }
    if evidence.strands.coarse > SAID_COARSE {
        out.push(Warning {
            code: "few-shades".to_owned(),
            message: "The file keeps few shades (few colours, or hard compression), so that edges and plies are less sure than they \
                      look; measure the camera's own file."
                .to_owned(),
        });
    }
    if evidence.twist.plies_stated {
        out.push(Warning {
            code: "plies-stated".to_owned(),
            message: "The number of plies was stated, not measured.".to_owned(),
        });
    }
    if let (Some((seen, against)), Ok((stated, _))) = (evidence.twist.against_statement(), &evidence.twist.plies) {
        let named = |n: u32| if n == 1 { "singles".to_owned() } else { format!("{n}-ply yarn") };
        out.push(Warning {
            code: "plies-against-photo".to_owned(),
            message: format!(
                "It was stated that this is {}, but it looks like {} (the statement is wrong with a probability of {}); every figure \
                 of twist follows the statement, so count the plies again, or leave --plies out.",
                named(*stated),
                named(seen),
                if against > 0.99 { "more than 99 %".to_owned() } else { format!("{:.0} %", 100.0 * against) }
            ),
        });
    }
    out
}
