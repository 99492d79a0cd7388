//! When a plied yarn is called balanced: one rule for every place that uses the word.
//!
//! The word is used only where the whole interval supports it. Two signs show it: the ply's turns over those of the singles
//! it was plied from, and the fibres on its surface, which lie along a balanced yarn.

use super::quantity::{Interval, Quantity};

/// How the ply twist stands to the singles' twist.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Balance {
    /// Too little ply twist.
    Underplied,
    /// As much as spinners want.
    Balanced,
    /// Too much.
    Overplied,
}

/// Ply turns over the singles' turns that is called balanced: surface fibres along the axis need about 0.5 (round plies,
/// small angles), the spinners' rule is 2/3. The rules are no finer than a tenth, so the band is 0.5 less a tenth of it to 2/3
/// plus a tenth of it.
pub const TURNS: Interval = [0.45, 0.73];

/// The same band as surface fibres show it, degrees to the yarn's axis: where two round plies run at 25 to 32 degrees, turns
/// at its two ends leave the fibres 10 degrees from the axis either way, by the geometry of helices.
pub const FIBRES_DEG: Interval = [-10.0, 10.0];

impl Balance {
    /// What the turns per length of singles and of the yarn plied from them, against their twist, support; `None` where their
    /// intervals reach over an end of the band, or the singles may have no twist.
    #[must_use]
    pub fn of_turns(singles: Interval, ply: Interval) -> Option<Self> {
        let positive = singles[0] > 0.0 && ply[0] >= 0.0;
        positive.then(|| Self::within([ply[0] / singles[1], ply[1] / singles[0]], TURNS)).flatten()
    }

    /// What the angle of a plied yarn's surface fibres supports, degrees, positive in the sense of the final twist.
    #[must_use]
    pub fn of_fibres(fibre_angle_deg: &Quantity<f64>) -> Option<Self> {
        Self::within(fibre_angle_deg.interval95()?, FIBRES_DEG)
    }

    fn within([low, high]: Interval, band: Interval) -> Option<Self> {
        if low >= band[0] && high <= band[1] {
            Some(Self::Balanced)
        } else if high < band[0] {
            Some(Self::Underplied)
        } else if low > band[1] {
            Some(Self::Overplied)
        } else {
            None
        }
    }

    /// In a word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Underplied => "underplied",
            Self::Balanced => "balanced",
            Self::Overplied => "overplied",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figures::Method;

    #[test]
    fn the_word_is_used_only_where_the_whole_interval_supports_it() {
        let fibres = |value, interval| Quantity::with_interval(value, interval, Method::LineAngle, Vec::new());
        for (value, interval, expected) in [
            (2.5, [-6.5, 11.5], None),
            (2.5, [-4.0, 9.0], Some(Balance::Balanced)),
            (15.0, [11.0, 19.0], Some(Balance::Overplied)),
            (-15.0, [-19.0, -11.0], Some(Balance::Underplied)),
            (15.0, [9.0, 21.0], None),
        ] {
            assert_eq!(Balance::of_fibres(&fibres(value, interval)), expected, "{interval:?}");
        }
        assert_eq!(Balance::of_turns([8.0, 10.0], [5.0, 5.4]), Some(Balance::Balanced));
        assert_eq!(Balance::of_turns([8.0, 10.0], [5.0, 6.0]), None, "six over eight are 0.75");
        assert_eq!(Balance::of_turns([0.0, 10.0], [5.0, 6.0]), None, "singles that may have no twist");
    }
}
