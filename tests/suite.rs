//! The integration tests, one binary.

mod evenness;
mod outside;
mod reference;
mod scale;
