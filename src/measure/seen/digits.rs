//! Which digit is it? One small picture of ink at a time; how sure, or that it is none.

use std::sync::LazyLock;

use super::net::Net;

/// Side of the picture, px. Ten strokes of two pixels: finer print has no more to tell.
pub const SIDE: usize = 24;

/// Longer side of the ink's box within it, px.
pub const BOX: usize = 20;

/// Index of "no digit" beside those of the ten digits.
pub const NONE: usize = 10;

static NET: LazyLock<Option<Net>> = LazyLock::new(|| Net::of(include_bytes!("weights/digits.onnx")));

/// Logarithms of the probabilities of 0 to 9 and of none, for `SIDE` rows of `SIDE` samples of ink, 0 to 1.
#[must_use]
pub fn read(ink: Vec<f32>) -> Option<[f64; 11]> {
    let logits = NET.as_ref()?.run([1, SIDE, SIDE], ink)?.into_iter().next()?;
    let highest = logits.iter().copied().fold(f32::MIN, f32::max);
    let sum: f32 = logits.iter().map(|l| (l - highest).exp()).sum();
    let total = f64::from(highest + sum.ln());
    let logs: Vec<f64> = logits.iter().map(|l| f64::from(*l) - total).collect();
    logs.try_into().ok()
}
