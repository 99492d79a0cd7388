//! Settings of the wheel for a twist.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Range;
use crate::work::arithmetic::wheel::{self, RatioClass};

/// What the spinner's wheel and hands offer.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct WheelRequest {
    /// Flyer turns per treadle of each whorl at hand.
    pub ratios: Vec<f64>,
    /// Treadles per draft.
    pub treadles: Option<f64>,
    /// Yarn fed in per draft, inches.
    pub draft_inches: Option<f64>,
}

/// One way to reach a twist.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WheelSetting {
    /// Flyer turns per treadle.
    pub ratio: f64,
    /// How such a ratio is called: low, moderate, high, very high.
    pub ratio_class: String,
    /// Treadles per draft.
    pub treadles: f64,
    /// Yarn fed in per draft, inches.
    pub draft_inches: f64,
    /// Turns per inch that this gives, counted on the length fed in.
    pub twists_per_inch: f64,
}

/// Settings for a wished twist (its middle): for every ratio, the third of ratio, treadles and draft from the other two.
///
/// With a ratio alone, one treadle a draft is taken. Without a ratio, treadles and draft give the ratio to look for;
/// with neither, there is nothing to say.
pub(super) fn settings(twist: Range, request: &WheelRequest) -> Vec<WheelSetting> {
    let wished = twist.middle();
    let setting = |ratio: f64, treadles: f64, draft_inches: f64| WheelSetting {
        ratio,
        ratio_class: RatioClass::of(ratio).word().to_owned(),
        treadles,
        draft_inches,
        twists_per_inch: wheel::turns_per_inch(ratio, treadles, draft_inches),
    };
    if request.ratios.is_empty() {
        return match (request.treadles, request.draft_inches) {
            (Some(treadles), Some(inches)) => vec![setting(wished * inches / treadles, treadles, inches)],
            _ => Vec::new(),
        };
    }
    let each = |ratio: f64| match (request.treadles, request.draft_inches) {
        (_, Some(inches)) => setting(ratio, wheel::treadles_per_draft(wished, inches, ratio), inches),
        (treadles, None) => {
            let treadles = treadles.unwrap_or(1.0);
            setting(ratio, treadles, wheel::inches_per_draft(wished, treadles, ratio))
        }
    };
    request.ratios.iter().copied().map(each).collect()
}
