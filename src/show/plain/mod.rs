//! What a spinner would say of a yarn, worked out from its figures: one paragraph, then each figure with its interval, in
//! metric and in imperial units, and what to do by hand about what is missing.

pub mod by_hand;
mod list;
mod spoken;

pub use list::{Shown, Told, figures};
pub(crate) use spoken::evenness_called;
pub use spoken::paragraph;

/// The units that a person reads in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Units {
    /// Millimetres, turns to the metre.
    Metric,
    /// Inches, turns to the inch.
    Imperial,
}
