//! Quantities with their unit in the type: only the arithmetic that means something.

use std::ops::{Add, Div, Mul, Neg, Sub};

/// Millimetres in one inch, exactly (international inch, 1959).
pub const MM_PER_INCH: f64 = 25.4;

macro_rules! scalar_unit {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
        pub struct $name(pub f64);

        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }
        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }
        impl Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }
        impl Div<f64> for $name {
            type Output = Self;
            fn div(self, divisor: f64) -> Self {
                Self(self.0 / divisor)
            }
        }
        impl Div for $name {
            type Output = f64;
            fn div(self, divisor: Self) -> f64 {
                self.0 / divisor.0
            }
        }
    };
}

scalar_unit!(
    /// A length in millimetres.
    Mm
);
scalar_unit!(
    /// A length in pixels of the photo as displayed.
    Px
);

impl Mm {
    /// The same length in inches.
    #[must_use]
    pub fn inches(self) -> f64 {
        self.0 / MM_PER_INCH
    }
}

/// An angle, kept in radians. In pictures y points down, so a positive angle turns clockwise on the screen.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
pub struct Angle {
    radians: f64,
}

impl Angle {
    /// From radians.
    #[must_use]
    pub const fn radians(radians: f64) -> Self {
        Self { radians }
    }
    /// From degrees.
    #[must_use]
    pub fn degrees(degrees: f64) -> Self {
        Self { radians: degrees.to_radians() }
    }
    /// In radians.
    #[must_use]
    pub const fn as_radians(self) -> f64 {
        self.radians
    }
    /// In degrees.
    #[must_use]
    pub fn as_degrees(self) -> f64 {
        self.radians.to_degrees()
    }
    /// Tangent.
    #[must_use]
    pub fn tan(self) -> f64 {
        self.radians.tan()
    }
}

/// Turns of twist per millimetre of twisted yarn.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
pub struct TurnsPerMm(pub f64);

impl TurnsPerMm {
    /// From turns per inch.
    #[must_use]
    pub fn from_per_inch(per_inch: f64) -> Self {
        Self(per_inch / MM_PER_INCH)
    }
    /// Turns per inch.
    #[must_use]
    pub fn per_inch(self) -> f64 {
        self.0 * MM_PER_INCH
    }
    /// Turns per metre.
    #[must_use]
    pub fn per_metre(self) -> f64 {
        self.0 * 1000.0
    }
}
