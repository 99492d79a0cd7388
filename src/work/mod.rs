//! What is done with figures: arithmetic of the trade, plans, comparisons, marks, batches, portfolios. Works on saved
//! reports; only `batch` runs the pipeline.

pub mod arithmetic;
