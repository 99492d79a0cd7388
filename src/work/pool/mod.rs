//! Several photos of one sample become one set of figures, with the variation between the photos.

mod counts;
mod random_effects;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::base::units::MM_PER_INCH;
use crate::figures::quantity::{COVERAGE_FACTOR_95, Component, Sourced};
use crate::figures::report::{Evenness, PhotoFacts, Program, Report, Sample};
use crate::figures::{Method, Quantity, Reason, Warning, weight_categories};
use crate::work::figure::Figure;

pub use random_effects::{Pooled, Reading, pool};

/// The schema word of a pooled report.
pub const POOLED_SCHEMA: &str = "strandrule-pooled-1";

/// One sample seen on several photos.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PooledReport {
    /// `strandrule-pooled-1`.
    pub schema: String,
    /// The program that wrote the first of the reports.
    pub program: Program,
    /// The photos, in the order given.
    pub photos: Vec<PhotoFacts>,
    /// The figures of all photos together, by the same names as in a photo's report. Strands (in faults) are counted
    /// on from photo to photo.
    pub sample: Sample,
    /// How the photos differ among themselves, for every figure that at least two of them answer.
    pub between_photos: Vec<BetweenPhotos>,
    /// Remarks on the pooling, then those of the photos, each once.
    pub warnings: Vec<Warning>,
}

/// How one figure varies from photo to photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BetweenPhotos {
    /// Which figure.
    pub figure: Figure,
    /// How many photos answer it.
    pub photos: u32,
    /// Standard deviation between photos beyond what each photo's own uncertainty explains, in the figure's unit.
    pub standard_deviation: Quantity<f64>,
    /// Each photo's value, in the order of `photos` of the report; null where it gives none.
    pub values: Vec<Option<f64>>,
}

/// A reading with its uncertainty split into what each photo has of its own and what all photos share.
pub(crate) struct Split {
    pub(crate) reading: Reading,
    pub(crate) shared: f64,
}

/// Whether repeating the photo repeats the same error: the ruler, the rule for the edge and the model stay the same
/// while light and place change. So only sampling and picture noise average out; treating the others as shared can
/// only make the pooled interval wider.
fn is_shared(source: Sourced) -> bool {
    matches!(source, Sourced::Scale | Sourced::Edge | Sourced::Model)
}

/// The reading behind a measured quantity, its uncertainty split by source. A budget that does not reach the interval
/// leaves the rest to the photo itself.
pub(crate) fn split(quantity: &Quantity<f64>) -> Option<Split> {
    let Quantity::Measured { value, budget, .. } = quantity else { return None };
    let total = quantity.half_width()? / COVERAGE_FACTOR_95;
    let shared_squared: f64 =
        budget.iter().filter(|c| is_shared(c.source)).map(|c| c.standard_uncertainty.powi(2)).sum();
    let shared = shared_squared.sqrt().min(total);
    // A reading needs some uncertainty of its own to have a finite weight: a thousandth of the whole at least.
    let own = (total * total - shared * shared).max(0.0).sqrt().max(1e-3 * total).max(1e-12 * value.abs()).max(1e-300);
    Some(Split { reading: Reading { value: *value, u: own }, shared })
}

/// Pools the reports of one sample; `None` for an empty list. One report keeps its figures as they are.
///
/// Numbers: random-effects mean (see [`pool`]) over the photos that answer, shared components not reduced by
/// repeating. Direction and plies: the photos' vote. Lengths add. Kinks: total count over total length.
#[must_use]
pub fn pool_reports(reports: &[Report]) -> Option<PooledReport> {
    let first = reports.first()?;
    let samples: Vec<&Sample> = reports.iter().map(|r| &r.sample).collect();
    let mut warnings = Vec::new();
    let sample = if reports.len() == 1 { first.sample.clone() } else { pool_samples(reports, &samples, &mut warnings) };
    let between_photos = Figure::ALL.into_iter().filter_map(|f| between(f, &samples)).collect();
    for warning in reports.iter().flat_map(|r| &r.warnings) {
        if !warnings.contains(warning) {
            warnings.push(warning.clone());
        }
    }
    Some(PooledReport {
        schema: POOLED_SCHEMA.to_owned(),
        program: first.program.clone(),
        photos: reports.iter().map(|r| r.photo.clone()).collect(),
        sample,
        between_photos,
        warnings,
    })
}

/// How a figure varies between photos; `None` where fewer than two answer.
fn between(figure: Figure, samples: &[&Sample]) -> Option<BetweenPhotos> {
    let readings: Vec<Reading> = samples.iter().filter_map(|s| split(figure.of(s)).map(|s| s.reading)).collect();
    let pooled = pool(&readings).filter(|_| readings.len() > 1)?;
    Some(BetweenPhotos {
        figure,
        photos: u32::try_from(readings.len()).unwrap_or(u32::MAX),
        standard_deviation: Quantity::with_interval(pooled.between, pooled.between95, Method::Combined, Vec::new()),
        values: samples.iter().map(|s| figure.of(s).value().copied()).collect(),
    })
}

/// The method that all answering photos used, else `Combined`.
fn common_method(samples: &[&Sample], figure: Figure) -> Method {
    let mut methods = samples.iter().filter_map(|s| match figure.of(s) {
        Quantity::Measured { method, .. } => Some(*method),
        Quantity::Unanswered(_) => None,
    });
    match methods.next() {
        Some(first) if methods.all(|m| m == first) => first,
        _ => Method::Combined,
    }
}

/// One figure of all photos; where none answers, the reason that most of them give.
fn pool_figure(samples: &[&Sample], figure: Figure) -> Quantity<f64> {
    let splits: Vec<Split> = samples.iter().filter_map(|s| split(figure.of(s))).collect();
    let readings: Vec<Reading> = splits.iter().map(|s| s.reading).collect();
    let Some(pooled) = pool(&readings) else {
        return Quantity::Unanswered(counts::commonest_reason(samples.iter().map(|s| figure.of(s).reason())));
    };
    let shared = splits.iter().map(|s| s.shared).sum::<f64>() / splits.len() as f64;
    let half = pooled.half_width(shared);
    let low = if figure.is_never_negative() { (pooled.mean - half).max(0.0) } else { pooled.mean - half };
    let high = (pooled.mean + half).min(figure.most().unwrap_or(f64::INFINITY));
    let low = low.max(-figure.most().unwrap_or(f64::INFINITY));
    let budget = vec![
        Component { source: Sourced::Sampling, standard_uncertainty: pooled.u },
        Component { source: Sourced::Model, standard_uncertainty: shared },
    ];
    Quantity::with_interval(pooled.mean, [low, high], common_method(samples, figure), budget)
}

/// All figures of several photos.
fn pool_samples(reports: &[Report], samples: &[&Sample], warnings: &mut Vec<Warning>) -> Sample {
    let figure = |f| pool_figure(samples, f);
    let (label, plies) = (counts::common_label(samples, warnings), counts::vote(samples.iter().map(|s| &s.plies)));
    let diameter_mm = figure(Figure::DiameterMm);
    let wraps_per_inch = match (common_method(samples, Figure::WrapsPerInch), &diameter_mm) {
        (Method::FromDiameter, Quantity::Measured { .. }) => wraps_from_diameter(&diameter_mm),
        _ => figure(Figure::WrapsPerInch),
    };
    let twists_per_inch = figure(Figure::TwistsPerInch);
    Sample {
        label,
        strands: samples.iter().fold(0, |sum, s| u32::saturating_add(sum, s.strands)),
        length_mm: counts::total_length(samples),
        twist_direction: counts::vote(samples.iter().map(|s| &s.twist_direction)),
        ply_angles_deg: counts::mean_ply_angles(samples, plies.value().copied()),
        plies,
        diameter_px: pool_pixels(samples),
        envelope_diameter_mm: figure(Figure::EnvelopeDiameterMm),
        weight_categories: weight_categories(&wraps_per_inch),
        wraps_per_inch,
        diameter_mm,
        twist_angle_deg: figure(Figure::TwistAngleDeg),
        twists_per_metre: twists_per_inch.scaled(1000.0 / MM_PER_INCH),
        twists_per_inch,
        bumps_per_inch: figure(Figure::BumpsPerInch),
        bumps_per_diameter: figure(Figure::BumpsPerDiameter),
        fibre_angle_deg: figure(Figure::FibreAngleDeg),
        evenness: Evenness {
            diameter_cv_percent: counts::pooled_cv(samples, Figure::DiameterCvPercent),
            between_strands_cv_percent: counts::between_strands(reports),
            twist_cv_percent: counts::pooled_cv(samples, Figure::TwistCvPercent),
            faults: counts::merged_faults(samples),
            faults_reason: if samples.iter().any(|s| s.evenness.faults.is_some()) {
                None
            } else {
                samples.iter().find_map(|s| s.evenness.faults_reason.clone())
            },
        },
        hairiness: figure(Figure::Hairiness),
        kinks: counts::pooled_kinks(samples),
    }
}

/// Pixels differ from photo to photo with the distance, so several photos have no common diameter in pixels.
fn pool_pixels(samples: &[&Sample]) -> Quantity<f64> {
    let reason = counts::commonest_reason(samples.iter().map(|s| s.diameter_px.reason()));
    if samples.iter().all(|s| s.diameter_px.value().is_none()) {
        return Quantity::Unanswered(reason);
    }
    Quantity::Unanswered(Reason::SeveralPhotos)
}

/// Wraps per inch of a pooled diameter: 25.4 over it, so that the two figures never contradict each other.
fn wraps_from_diameter(diameter_mm: &Quantity<f64>) -> Quantity<f64> {
    let (Some(d), Some([low, high])) = (diameter_mm.value().copied(), diameter_mm.interval95()) else {
        return Quantity::Unanswered(Reason::NotFinite);
    };
    let Quantity::Measured { budget, .. } = diameter_mm else { return Quantity::Unanswered(Reason::NotFinite) };
    if low <= 0.0 {
        // A diameter that may be none: the photos differ by more than they have in common.
        return Quantity::Unanswered(Reason::PhotosDisagree);
    }
    let slope = MM_PER_INCH / (d * d);
    let budget = budget.iter().map(|c| Component { standard_uncertainty: c.standard_uncertainty * slope, ..*c });
    Quantity::with_interval(
        MM_PER_INCH / d,
        [MM_PER_INCH / high, MM_PER_INCH / low],
        Method::FromDiameter,
        budget.collect(),
    )
}

#[cfg(test)]
mod tests;
