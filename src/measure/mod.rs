//! The stages, in the order in which a photo passes them:
//! `photo -> scale -> strand -> twist -> evenness`, and `pipeline`, which runs them once.
//! Each takes the stages before it as plain data and returns plain data with the evidence that the overlay draws.
//! No stage prints, draws, reads options or knows a file path beyond `photo`.

pub mod evenness;
pub mod photo;
pub mod pipeline;
pub mod scale;
pub mod seen;
pub mod strand;
pub mod twist;
