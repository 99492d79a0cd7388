//! The report's types (schema `strandrule-report-1`), its words and when they are used, and nothing else. Changing them is
//! changing a promise: grade sheets and other people's scripts read them.

pub mod balance;
pub mod quantity;
pub mod report;
pub mod weight;
pub mod words;

pub use balance::Balance;
pub use quantity::{Component, Interval, Quantity, Sourced};
pub use report::Report;
pub use weight::weight_categories;
pub use words::{Method, Reason, Warning};
