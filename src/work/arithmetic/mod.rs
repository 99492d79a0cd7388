//! Arithmetic of the trade as pure functions. None of them reads a report; each names its source.

pub mod evenness;
pub mod helix;
pub mod sampling;
pub mod thickness;
pub mod twist_factor;
pub mod wheel;
pub mod yarn_number;
