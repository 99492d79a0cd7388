//! The integration tests, one binary.

mod evenness;
mod outside;
