//! The ruler card: its geometry, told once; its codes; its label; the printable sheet.
//!
//! [`layout`] and [`codes`] say where everything lies, in millimetres; the sheet is drawn from them and the card is
//! searched for with them in a photo.

pub mod codes;
mod face;
pub mod label;
pub mod layout;
mod pdf;
pub mod png;
pub mod roster;
mod shapes;
pub mod sheet;
mod svg;

pub use face::face;
pub use pdf::pdf;
pub use png::{PngError, png as png_bytes};
pub use shapes::{Anchor, Drawing, Rect, Shape};
pub use svg::svg;
