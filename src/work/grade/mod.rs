//! A class marked against a target: what each yarn is, what was asked, the mark, and what to change at the wheel.
//!
//! A mark is never decided by noise: a figure that cannot be told from the target within its interval meets it, and
//! where the interval reaches over a limit, both marks are said and the better one is given.

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
pub use written::{photos_of, read_target, write};

#[cfg(test)]
mod tests;
