//! Measures yarn from a photo: diameter, wraps per inch, twist direction and angle, twists per inch, plies and
//! evenness, each with its 95 % interval or the reason why the photo does not support an answer.
//!
//! The rooms, and the one direction in which they may use each other:
//! `base | card figures | measure | show | work | cli`; `synth` sees `base` and `card` only.

pub mod base;
pub mod card;
pub mod cli;
pub mod figures;
pub mod measure;
pub mod show;
pub mod synth;
pub mod work;
