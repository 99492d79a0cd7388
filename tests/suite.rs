//! The integration tests, one binary.

mod batch;
mod cli;
mod evenness;
mod house;
mod outside;
mod photo;
mod plan;
mod reference;
mod report;
mod scale;
mod twist;
