//! The integration tests, one binary.

#![allow(clippy::unwrap_used, clippy::print_stderr, reason = "a test may stop at once, and says aloud what it skips")]

mod batch;
mod cli;
<<<<<<< HEAD
mod compare;
=======
mod card;
>>>>>>> 8b0699f (List the card's fixture)
mod evenness;
mod grade;
mod house;
mod outside;
mod photo;
mod plan;
mod portfolio;
mod reference;
mod report;
mod scale;
mod strand;
mod twist;
