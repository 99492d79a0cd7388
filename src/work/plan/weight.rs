//! Yarn numbers of a skein whose length and weight are known.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::PlanRequest;
use crate::base::units::Mm;
use crate::work::arithmetic::thickness;
use crate::work::arithmetic::yarn_number::{System, tex_of_skein};

/// A skein measured and weighed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeighedSkein {
    /// Its length, m.
    pub metres: f64,
    /// Its weight, g.
    pub grams: f64,
}

/// A yarn number in one system.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct YarnNumber {
    /// The system's name.
    pub system: String,
    /// The number, of the whole (resultant) yarn.
    pub number: f64,
}

/// The skein's number in every system.
pub(super) fn numbers(skein: &WeighedSkein) -> Vec<YarnNumber> {
    let Some(tex) = tex_of_skein(skein.metres, skein.grams) else { return Vec::new() };
    System::ALL.into_iter().map(|s| YarnNumber { system: s.word().to_owned(), number: s.of_tex(tex) }).collect()
}

/// What part of the yarn is fibre, where weight, diameter and fibre are all known.
pub(super) fn packing(request: &PlanRequest) -> Option<f64> {
    let skein = request.skein?;
    let tex = tex_of_skein(skein.metres, skein.grams)?;
    let d = request.yarn.diameter_mm?.middle();
    Some(thickness::packing(tex, request.fibre?.density_g_cm3(), Mm(d)))
}
