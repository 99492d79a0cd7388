//! What leaves the program: figures as JSON, CSV and text, and the picture of what was measured.
//!
//! Writers take figures and return text or bytes; [`mod@file`] alone writes files. Nothing here measures.

pub mod columns;
pub mod csv;
pub mod escape;
pub mod file;
pub mod json;
pub mod overlay;
pub mod page;
pub mod plain;
pub mod summary;
