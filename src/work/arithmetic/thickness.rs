//! How thick a yarn of a known weight is expected to be. Never the other way round without a stated packing: two
//! yarns of one diameter may differ in weight by a third.

use crate::base::units::{MM_PER_INCH, Mm};

use super::yarn_number::System;

/// Diameters per inch of a cotton yarn of count 1. Source: Peirce, Journal of the Textile Institute 28 (1937) T45, as
/// taught: d = 1/(28 sqrt(Ne)) inch. With his specific volume of 1.1 cm3/g the exact figure is 27.93.
pub const PEIRCE_DIAMETERS_PER_INCH_NE1: f64 = 28.0;

/// Peirce's diameter of a cotton yarn of `tex`.
#[must_use]
pub fn peirce_diameter(tex: f64) -> Mm {
    let ne = System::CottonNe.of_tex(tex);
    Mm(MM_PER_INCH / (PEIRCE_DIAMETERS_PER_INCH_NE1 * ne.sqrt()))
}

/// Diameter of a round yarn of `tex` whose fibres of density `density_g_cm3` fill the part `packing` (0 to 1) of it:
/// the area is tex over density and packing.
#[must_use]
pub fn diameter(tex: f64, density_g_cm3: f64, packing: f64) -> Mm {
    Mm((4e-3 * tex / (std::f64::consts::PI * density_g_cm3 * packing)).sqrt())
}

/// The part of a yarn's section that its fibres fill, from weight and measured diameter: the inverse of [`diameter`].
/// Believable yarns lie between 0.10 and 0.75.
#[must_use]
pub fn packing(tex: f64, density_g_cm3: f64, diameter: Mm) -> f64 {
    4e-3 * tex / (std::f64::consts::PI * density_g_cm3 * diameter.0 * diameter.0)
}

/// Weavers' diameters per inch, packed hard: `constant` times the root of the yards per pound (Ashenhurst; 0.90 firm
/// worsted and cotton, 0.84 to 0.86 woollen).
#[must_use]
pub fn packed_wraps_per_inch(yards_per_pound: f64, constant: f64) -> f64 {
    constant * yards_per_pound.sqrt()
}

/// A fibre whose density is known well enough to plan with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fibre {
    /// Sheep's wool.
    Wool,
    /// Cotton.
    Cotton,
    /// Silk.
    Silk,
    /// Flax.
    Flax,
    /// Alpaca.
    Alpaca,
    /// Mohair.
    Mohair,
    /// Nylon.
    Nylon,
    /// Polyester.
    Polyester,
    /// Acrylic.
    Acrylic,
    /// Viscose.
    Viscose,
}

impl Fibre {
    /// Every fibre.
    pub const ALL: [Self; 10] = [
        Self::Wool,
        Self::Cotton,
        Self::Silk,
        Self::Flax,
        Self::Alpaca,
        Self::Mohair,
        Self::Nylon,
        Self::Polyester,
        Self::Acrylic,
        Self::Viscose,
    ];

    /// The word used on the command line.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Wool => "wool",
            Self::Cotton => "cotton",
            Self::Silk => "silk",
            Self::Flax => "flax",
            Self::Alpaca => "alpaca",
            Self::Mohair => "mohair",
            Self::Nylon => "nylon",
            Self::Polyester => "polyester",
            Self::Acrylic => "acrylic",
            Self::Viscose => "viscose",
        }
    }

    /// Density at 65 % relative humidity, g/cm3. Source: Morton & Hearle, Physical Properties of Textile Fibres,
    /// table 5.1; flax, alpaca and mohair from memory, within 2 %.
    #[must_use]
    pub fn density_g_cm3(self) -> f64 {
        match self {
            Self::Wool | Self::Alpaca | Self::Mohair => 1.31,
            Self::Cotton => 1.52,
            Self::Silk => 1.34,
            Self::Flax => 1.50,
            Self::Nylon => 1.14,
            Self::Polyester => 1.39,
            Self::Acrylic => 1.19,
            Self::Viscose => 1.49,
        }
    }
}

/// Tex of one fibre from its diameter in micrometres and density: the area of the circle times the density.
#[must_use]
pub fn fibre_tex(micrometres: f64, density_g_cm3: f64) -> f64 {
    std::f64::consts::FRAC_PI_4 * micrometres * micrometres * density_g_cm3 * 1e-3
}
