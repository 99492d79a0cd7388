//! The integration tests, one binary.

mod outside;
