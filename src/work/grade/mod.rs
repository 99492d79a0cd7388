//! A class marked against a target: what each yarn is, what was asked, the mark, and what to change at the wheel.
//!
//! A mark is never decided by noise: it is a range, from the least to the most that the intervals allow, in which what was
//! not read counts from nothing to full; and it is said on how much of the target it rests.

mod advice;
mod class;
mod marking;
mod pages;
mod rubric;
mod sheet;
mod written;

pub use class::{Class, Entry, Photo, gather};
pub use marking::{Marked, Result, Standing, mark};
pub use pages::{class_page, file_name, person_page};
pub use rubric::{CRITERION_KEYS, Criterion, Rubric, RubricError, Side, TARGET_KEYS, What};
pub use sheet::csv;
pub use written::{like_of, photos_of, read_target, write};

#[cfg(test)]
mod tests;
