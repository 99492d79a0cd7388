//! The integration tests, one binary.

mod batch;
mod evenness;
mod outside;
mod plan;
mod reference;
mod scale;
mod twist;
