//! Units, geometry, rasters, statistics: what every room uses, with no yarn in it.

pub mod colour;
pub mod font;
pub mod geometry;
pub mod line;
pub mod raster;
pub mod stats;
pub mod units;
