//! Arithmetic at the wheel: how many turns a draft receives.

/// Turns per inch put in by `treadles` treadles while `inches` of yarn are drafted, the flyer turning `ratio` times a
/// treadle: ratio x treadles / inches. `ratio` is drive wheel over whorl, nearly (band thickness and slip).
/// Common practice of the trade.
#[must_use]
pub fn turns_per_inch(ratio: f64, treadles: f64, inches: f64) -> f64 {
    ratio * treadles / inches
}

/// Treadles a draft of `inches` needs for `turns_per_inch` at `ratio`.
#[must_use]
pub fn treadles_per_draft(turns_per_inch: f64, inches: f64, ratio: f64) -> f64 {
    turns_per_inch * inches / ratio
}

/// Inches to draft in `treadles` treadles for `turns_per_inch` at `ratio`.
#[must_use]
pub fn inches_per_draft(turns_per_inch: f64, treadles: f64, ratio: f64) -> f64 {
    ratio * treadles / turns_per_inch
}

/// Turns per metre that drawing yarn over the end of a bobbin of diameter `bobbin_mm` adds: one turn a wrap.
#[must_use]
pub fn turns_per_metre_over_end(bobbin_mm: f64) -> f64 {
    1000.0 / (std::f64::consts::PI * bobbin_mm)
}

/// How a wheel's ratio is felt. Common practice; 7.5 is a moderate ratio.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum RatioClass {
    /// Below 5.5: thick, soft yarn, learning.
    Low,
    /// 5.5 up to 10: the everyday range.
    Moderate,
    /// 10 up to 20: fine yarn.
    High,
    /// 20 and more: lace and cotton.
    VeryHigh,
}

impl RatioClass {
    /// The class of a ratio.
    #[must_use]
    pub fn of(ratio: f64) -> Self {
        match ratio {
            r if r < 5.5 => Self::Low,
            r if r < 10.0 => Self::Moderate,
            r if r < 20.0 => Self::High,
            _ => Self::VeryHigh,
        }
    }

    /// In a word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Low => "low",
            Self::Moderate => "moderate",
            Self::High => "high",
            Self::VeryHigh => "very high",
        }
    }
}

/// Ratios of flyer wheels that a plan accepts; outside, it warns. Accounts of spinners run from 5 to 19, lace kits to
/// about 40.
pub const BELIEVABLE_RATIO: [f64; 2] = [3.0, 40.0];

/// Fewer treadles a draft than this cannot be kept in rhythm: the hands would have to draft twice in one push.
pub const FEWEST_TREADLES: f64 = 0.5;
