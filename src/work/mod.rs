//! What is done with figures: arithmetic of the trade, plans, comparisons, marks, batches, portfolios. Works on saved
//! reports; only `batch` runs the pipeline.

pub mod arithmetic;
pub mod batch;
pub mod compare;
pub mod figure;
pub mod grade;
pub mod keys;
pub mod plan;
pub mod pool;
pub mod portfolio;
pub mod saved;
pub mod skein;
pub mod stated;

#[cfg(test)]
pub(crate) mod testing;
