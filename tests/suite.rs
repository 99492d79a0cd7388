//! The integration tests, one binary.

#![allow(clippy::unwrap_used, clippy::print_stderr, reason = "a test may stop at once, and says aloud what it skips")]

mod batch;
mod card;
mod class;
mod cli;
mod colour;
mod compare;
mod desk;
mod determinism;
mod evenness;
mod eye;
mod faults;
mod files;
mod grade;
mod habits;
mod hostile;
mod house;
mod kept;
mod kinks;
mod lay;
mod outside;
mod photo;
mod pieces;
mod plain;
mod plan;
mod portfolio;
mod reference;
mod replay;
mod report;
mod samples;
mod sane;
mod scale;
mod shades;
mod stale;
mod stated;
mod strand;
mod terminal;
mod truth;
mod twist;
mod wound;
