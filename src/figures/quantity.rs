//! A figure that cannot lie: either measured, with its interval, or unanswered, with a reason.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::words::{Method, Reason};

/// Coverage factor of a 95 % interval of a normal distribution. Source: JCGM 100:2008, table G.1.
pub const COVERAGE_FACTOR_95: f64 = 1.96;

/// A 95 % coverage interval, in the unit of its quantity.
pub type Interval = [f64; 2];

/// Where a component of uncertainty comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Sourced {
    /// The mapping from pixels to millimetres.
    Scale,
    /// Where the core's edge was placed.
    Edge,
    /// That only some of the yarn was seen.
    Sampling,
    /// What the method takes for granted.
    Model,
    /// Resolution and noise of the picture.
    Picture,
}

/// One component of a quantity's uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Component {
    /// Where it comes from.
    pub source: Sourced,
    /// One standard uncertainty, in the unit of the quantity.
    pub standard_uncertainty: f64,
}

/// A figure of the report: measured with its interval, or unanswered with a reason.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(
    into = "Written<T>",
    try_from = "Written<T>",
    bound(serialize = "T: Clone + Serialize", deserialize = "T: Deserialize<'de>")
)]
pub enum Quantity<T> {
    /// The photo supports an answer.
    Measured {
        /// The answer.
        value: T,
        /// The 95 % interval of a number; `None` only for words and counts, which carry a probability.
        interval95: Option<Interval>,
        /// How probable a word or count is, 0 to 1.
        probability: Option<f64>,
        /// How it was obtained.
        method: Method,
        /// What the interval is made of.
        budget: Vec<Component>,
    },
    /// The photo supports none.
    Unanswered(Reason),
}

impl Quantity<f64> {
    /// A number with the components of its standard uncertainty, added in squares (JCGM 100:2008, 5.1.2); the interval
    /// is `value` plus and minus 1.96 times their root. A number that is not finite is unanswered.
    #[must_use]
    pub fn from_budget(value: f64, method: Method, budget: Vec<Component>) -> Self {
        let u = budget.iter().map(|c| c.standard_uncertainty.powi(2)).sum::<f64>().sqrt();
        Self::with_interval(value, [value - COVERAGE_FACTOR_95 * u, value + COVERAGE_FACTOR_95 * u], method, budget)
    }

    /// A number with an interval of its own (not symmetric, or bounded by nature). Not finite: unanswered.
    #[must_use]
    pub fn with_interval(value: f64, interval95: Interval, method: Method, budget: Vec<Component>) -> Self {
        if !(value.is_finite() && interval95.iter().all(|v| v.is_finite())) {
            return Self::Unanswered(Reason::NotFinite);
        }
        let interval95 = [interval95[0].min(value), interval95[1].max(value)];
        Self::Measured { value, interval95: Some(interval95), probability: None, method, budget }
    }

    /// The same quantity in another unit: value, interval and budget times `factor`, which must be positive.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        match self {
            Self::Measured { value, interval95, probability, method, budget } => Self::Measured {
                value: value * factor,
                interval95: interval95.map(|i| i.map(|v| v * factor)),
                probability: *probability,
                method: *method,
                budget: budget
                    .iter()
                    .map(|c| Component { standard_uncertainty: c.standard_uncertainty * factor, ..*c })
                    .collect(),
            },
            Self::Unanswered(reason) => Self::Unanswered(reason.clone()),
        }
    }

    /// Half the width of the 95 % interval; `None` when unanswered.
    #[must_use]
    pub fn half_width(&self) -> Option<f64> {
        match self {
            Self::Measured { interval95: Some([low, high]), .. } => Some((high - low) / 2.0),
            _ => None,
        }
    }
}

impl<T> Quantity<T> {
    /// A word or a count with the probability that it is right.
    #[must_use]
    pub fn likely(value: T, probability: f64, method: Method) -> Self {
        Self::Measured {
            value,
            interval95: None,
            probability: Some(probability.clamp(0.0, 1.0)),
            method,
            budget: Vec::new(),
        }
    }

    /// The value, if there is one.
    #[must_use]
    pub fn value(&self) -> Option<&T> {
        match self {
            Self::Measured { value, .. } => Some(value),
            Self::Unanswered(_) => None,
        }
    }

    /// The 95 % interval, if there is one.
    #[must_use]
    pub fn interval95(&self) -> Option<Interval> {
        match self {
            Self::Measured { interval95, .. } => *interval95,
            Self::Unanswered(_) => None,
        }
    }

    /// Why there is no value, if there is none.
    #[must_use]
    pub fn reason(&self) -> Option<&Reason> {
        match self {
            Self::Measured { .. } => None,
            Self::Unanswered(reason) => Some(reason),
        }
    }
}

/// A quantity as it stands in JSON (the report's fixed part).
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
struct Written<T> {
    value: Option<T>,
    interval95: Option<Interval>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    probability: Option<f64>,
    method: Option<Method>,
    reason: Option<WrittenReason>,
    budget: Vec<Component>,
}

/// A reason as it stands in JSON.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
struct WrittenReason {
    /// A fixed short word.
    code: String,
    /// One sentence and what to do.
    message: String,
}

impl<T> From<Quantity<T>> for Written<T> {
    fn from(quantity: Quantity<T>) -> Self {
        match quantity {
            Quantity::Measured { value, interval95, probability, method, budget } => {
                Self { value: Some(value), interval95, probability, method: Some(method), reason: None, budget }
            }
            Quantity::Unanswered(reason) => Self {
                value: None,
                interval95: None,
                probability: None,
                method: None,
                reason: Some(WrittenReason { code: reason.code().to_owned(), message: reason.message() }),
                budget: Vec::new(),
            },
        }
    }
}

impl<T> TryFrom<Written<T>> for Quantity<T> {
    type Error = String;
    fn try_from(written: Written<T>) -> Result<Self, String> {
        if let Some([low, high]) = written.interval95.filter(|[low, high]| low > high) {
            return Err(format!("an interval from {low} to {high} runs backwards"));
        }
        if let Some(p) = written.probability.filter(|p| !(0.0..=1.0).contains(p)) {
            return Err(format!("{p} is no probability"));
        }
        if let Some(part) = written.budget.iter().find(|part| part.standard_uncertainty < 0.0) {
            return Err(format!("an uncertainty of {} cannot be", part.standard_uncertainty));
        }
        match (written.value, written.method, written.reason) {
            (Some(value), Some(method), None) => Ok(Self::Measured {
                value,
                interval95: written.interval95,
                probability: written.probability,
                method,
                budget: written.budget,
            }),
            (None, _, Some(reason)) => Ok(Self::Unanswered(Reason::from_written(&reason.code, &reason.message))),
            _ => Err("a quantity needs either a value with its method or a reason".to_owned()),
        }
    }
}

impl<T: JsonSchema> JsonSchema for Quantity<T> {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        format!("Quantity_of_{}", T::schema_name()).into()
    }
    fn json_schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
        Written::<T>::json_schema(generator)
    }
}
