//! Runs the stages once, in order, and gathers their figures into a report.

use super::photo::Photo;
use super::scale::{self, ScaleFound, ScaleParams, ScaleRequest};
use super::strand::{self, StrandParams, StrandRequest, Strands};
use super::twist::{self, Twist, TwistParams, TwistRequest};

/// Everything that the person states about one photo.
#[derive(Debug, Clone, Default)]
pub struct Request {
    /// About the scale.
    pub scale: ScaleRequest,
    /// About the yarn.
    pub strand: StrandRequest,
    /// About the twist.
    pub twist: TwistRequest,
    /// The sample's label.
    pub label: Option<String>,
}

/// The constants of all stages.
#[derive(Debug, Clone, Default)]
pub struct Params {
    /// Of the scale stage.
    pub scale: ScaleParams,
    /// Of the strand stage.
    pub strand: StrandParams,
    /// Of the twist stage.
    pub twist: TwistParams,
}

/// What every stage saw; the overlay draws it.
#[derive(Debug, Clone)]
pub struct Evidence {
    /// Scale and rulers.
    pub scale: ScaleFound,
    /// Pieces of yarn.
    pub strands: Strands,
    /// Their twist.
    pub twist: Twist,
}

/// Runs the stages on one photo.
#[must_use]
pub fn look(photo: &Photo, request: &Request, params: &Params) -> Evidence {
    let scale = scale::find_scale(photo, &request.scale, &params.scale);
    let strands = strand::find_strands(photo, &scale, &request.strand, &params.strand);
    let twist = twist::read_twist(&strands, &request.twist, &params.twist);
    Evidence { scale, strands, twist }
}
