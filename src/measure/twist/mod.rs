//! Fourth stage: direction, angle, turns along the strand and plies, read from the straightened strand by several routes
//! that must agree. Everything here is in the strip's own columns; millimetres come in later.

use crate::base::geometry::{Point, Strip as StripSpace};
use crate::figures::report::TwistDirection;
use crate::figures::words::Reason;

use super::strand::Strands;

/// What the person says about the twist.
#[derive(Debug, Clone, Copy, Default)]
pub struct TwistRequest {
    /// How many plies the yarn has (1 = singles), instead of evidence.
    pub plies: Option<u32>,
}

/// A number and its standard uncertainty, in the unit that its name says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The number.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
}

/// The twist of one piece.
#[derive(Debug, Clone)]
pub struct StrandTwist {
    /// The piece's number.
    pub strand: u32,
    /// Local angle between the visible lines and the axis at the middle of the face, per station, radians, always
    /// positive; `None` where it cannot be told. Plied: the band's; singles: the fibres'.
    pub angle_rad: Vec<Option<f64>>,
    /// Plied yarn: turns of the final twist since the first station, per station, growing along the strand; `None`
    /// where they could not be followed (then the count starts again from any value). Singles: empty.
    pub turns: Vec<Option<f64>>,
    /// Length-weighted mean of the local angles and the uncertainty of that mean, radians.
    pub mean_angle_rad: Option<Estimate>,
    /// Relative standard uncertainty of the turns per length that does not come from length.
    pub turns_relative_u: f64,
    /// Ply crests met on the edges, for the overlay.
    pub bumps: Vec<Point<StripSpace>>,
    /// Plied: signed angle of the surface fibres to the axis, positive in the sense of the final twist, radians.
    pub fibre_angle_rad: Result<Estimate, Reason>,
    /// Unequal plies: the band angle of each, radians.
    pub ply_angles_rad: Option<Vec<f64>>,
}

/// The twist stage's result, all measured pieces together, with its evidence.
#[derive(Debug, Clone)]
pub struct Twist {
    /// Direction and the probability that it is right.
    pub direction: Result<(TwistDirection, f64), Reason>,
    /// Plies and the probability that the number is right.
    pub plies: Result<(u32, f64), Reason>,
    /// Whether the person stated the plies.
    pub plies_stated: bool,
    /// Why there is no angle, where no piece has one.
    pub angle_reason: Reason,
    /// Why there are no turns per length, where no piece has them.
    pub turns_reason: Reason,
    /// Each measured piece.
    pub pieces: Vec<StrandTwist>,
}

/// Constants of the method.
#[derive(Debug, Clone, Default)]
pub struct TwistParams {}

/// Reads the twist from the straightened strands.
#[must_use]
pub fn read_twist(_strands: &Strands, _request: &TwistRequest, _params: &TwistParams) -> Twist {
    Twist {
        direction: Err(Reason::TwistNotVisible),
        plies: Err(Reason::TwistNotVisible),
        plies_stated: false,
        angle_reason: Reason::TwistNotVisible,
        turns_reason: Reason::TwistNotVisible,
        pieces: Vec::new(),
    }
}
