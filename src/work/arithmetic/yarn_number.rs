//! Yarn numbers: how heavy a length of yarn is, in every system a spinner meets.

/// Metres in one yard, exactly (international yard, 1959).
pub const METRES_PER_YARD: f64 = 0.9144;
/// Grams in one pound, exactly (international avoirdupois pound, 1959).
pub const GRAMS_PER_POUND: f64 = 453.592_37;
/// Grams in one ounce.
pub const GRAMS_PER_OUNCE: f64 = GRAMS_PER_POUND / 16.0;

/// A way of numbering yarn. Direct systems grow with weight, the others with fineness.
///
/// Source of the definitions: ASTM D2260 (tables of conversion factors), ISO 1144 (tex system); factors are exact here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum System {
    /// Grams per 1000 m (direct; ISO 1144).
    Tex,
    /// Grams per 10 000 m (direct).
    Decitex,
    /// Grams per 9000 m (direct).
    Denier,
    /// Metric count: metres per gram.
    MetricNm,
    /// Cotton count: hanks of 840 yd per pound.
    CottonNe,
    /// Worsted count: hanks of 560 yd per pound.
    Worsted,
    /// Woollen run: 1600 yd per pound.
    Run,
    /// Linen lea (and American woollen cut): 300 yd per pound.
    Lea,
    /// Yorkshire woollen skeins: 256 yd per pound.
    YorkshireSkein,
    /// Yards per pound.
    YardsPerPound,
    /// Metres per 100 g.
    MetresPer100g,
}

impl System {
    /// Every system.
    pub const ALL: [Self; 11] = [
        Self::Tex,
        Self::Decitex,
        Self::Denier,
        Self::MetricNm,
        Self::CottonNe,
        Self::Worsted,
        Self::Run,
        Self::Lea,
        Self::YorkshireSkein,
        Self::YardsPerPound,
        Self::MetresPer100g,
    ];

    /// The word used on the command line and in output.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Tex => "tex",
            Self::Decitex => "dtex",
            Self::Denier => "denier",
            Self::MetricNm => "Nm",
            Self::CottonNe => "Ne",
            Self::Worsted => "worsted",
            Self::Run => "run",
            Self::Lea => "lea",
            Self::YorkshireSkein => "yorkshire",
            Self::YardsPerPound => "yd/lb",
            Self::MetresPer100g => "m/100g",
        }
    }

    /// Tex for a number of this system.
    #[must_use]
    pub fn to_tex(self, number: f64) -> f64 {
        match self {
            Self::Tex => number,
            Self::Decitex => number / 10.0,
            Self::Denier => number / 9.0,
            indirect => 1000.0 / (indirect.metres_per_gram() * number),
        }
    }

    /// The number of this system for a yarn of `tex`.
    #[must_use]
    pub fn of_tex(self, tex: f64) -> f64 {
        match self {
            Self::Tex => tex,
            Self::Decitex => tex * 10.0,
            Self::Denier => tex * 9.0,
            indirect => 1000.0 / (indirect.metres_per_gram() * tex),
        }
    }

    /// Metres per gram of a yarn numbered 1, for the indirect systems; 1 for the direct ones, which do not use it.
    fn metres_per_gram(self) -> f64 {
        let yards_per_pound = |yards: f64| yards * METRES_PER_YARD / GRAMS_PER_POUND;
        match self {
            Self::Tex | Self::Decitex | Self::Denier | Self::MetricNm => 1.0,
            Self::CottonNe => yards_per_pound(840.0),
            Self::Worsted => yards_per_pound(560.0),
            Self::Run => yards_per_pound(1600.0),
            Self::Lea => yards_per_pound(300.0),
            Self::YorkshireSkein => yards_per_pound(256.0),
            Self::YardsPerPound => yards_per_pound(1.0),
            Self::MetresPer100g => 0.01,
        }
    }
}

/// Tex of a skein that was measured and weighed; `None` unless both are positive and finite.
#[must_use]
pub fn tex_of_skein(metres: f64, grams: f64) -> Option<f64> {
    (metres > 0.0 && grams > 0.0 && metres.is_finite() && grams.is_finite()).then(|| grams / metres * 1000.0)
}

/// Tex of a plied yarn before take-up: the sum of its plies. In an indirect system the same reads
/// 1/N = 1/N1 + 1/N2 (ASTM D2260). Plying take-up makes the real yarn heavier.
#[must_use]
pub fn resultant_tex(plies_tex: &[f64]) -> f64 {
    plies_tex.iter().sum()
}
