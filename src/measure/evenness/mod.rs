//! Fifth stage: statistics along the strand, on lengths laid out in millimetres (or in pixels where no scale is known).

mod faults;
mod ruled;
mod spread;
mod turning;

pub use faults::{FaultFound, FaultParams, find_faults};
pub use ruled::{RuledPiece, RuledStation, lay_out};
pub use spread::{Spread, between_pieces, width_spread};
pub use turning::{AveragedWidth, averaged_widths, local_turns, twist_windows};
