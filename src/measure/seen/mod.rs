//! What the learned eye sees: nets, their weights and what goes into them. It says what and where; how much is measured by
//! the stages that ask it.

pub mod digits;
pub mod look;
mod net;
pub mod paths;
pub mod scout;
pub mod strip;
