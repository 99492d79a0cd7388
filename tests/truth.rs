//! The renderer against geometry from outside, and the whole measurement against photos with a known truth.

mod compare;
mod geometry;
mod photos;
mod picture;
