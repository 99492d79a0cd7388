//! The renderer against geometry from outside, and against what is in its own pictures.

mod geometry;
mod picture;
