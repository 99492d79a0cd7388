//! Whether the memory for a picture is to be had, asked before any of it is taken: an allocation that fails later would
//! end the program without a word about the photo.

use std::path::Path;

use super::error::PhotoError;
use super::{Limits, Reduced};

/// What decoding and measuring take for a pixel at their peak: three bytes for the picture, the rest for a turned copy
/// and what finding works on. Half of it would let through what then fails; twice would refuse what fits.
const BYTES_PER_PIXEL: u64 = 8;

/// What they take whatever the size: tables, bands around the yarn, the stacks of threads, and half of it the eye's nets.
const BYTES_BESIDE: u64 = 160 << 20;

/// What the eye's look at the whole picture takes for each pixel that is left of it, at its peak. Measured: 0.7 megapixels take 50 MB.
const BYTES_PER_PIXEL_SEEN: u64 = 72;

/// Asks the system for the memory of a picture of `width` x `height` px, and gives it back.
///
/// `decoders_own` is what the decoder holds beside the picture, bytes.
///
/// # Errors
/// [`PhotoError::TooMuchMemory`] where it is more than a picture of the most pixels allowed takes, and
/// [`PhotoError::NoRoom`] where it is not to be had.
pub(super) fn check(
    path: &Path,
    limits: &Limits,
    width: u64,
    height: u64,
    decoders_own: u64,
) -> Result<(), PhotoError> {
    let needed = width.saturating_mul(height).saturating_mul(BYTES_PER_PIXEL).saturating_add(decoders_own);
    // Small pictures may need tables as large as they are.
    let allowed = (u64::from(limits.max_megapixels) * 1_000_000 * BYTES_PER_PIXEL).max(BYTES_BESIDE);
    if needed > allowed {
        return Err(PhotoError::TooMuchMemory { file: path.to_owned(), limit: limits.max_megapixels });
    }
    let side = |px: u64| usize::try_from(px).unwrap_or(usize::MAX);
    let factor = Reduced::whole_factor(side(width), side(height)) as u64;
    let seen = BYTES_PER_PIXEL_SEEN * (width / factor) * (height / factor);
    let needed = needed.saturating_add(BYTES_BESIDE + seen);
    let mut probe: Vec<u8> = Vec::new();
    match usize::try_from(needed).ok().and_then(|n| probe.try_reserve_exact(n).ok()) {
        Some(()) => Ok(()),
        None => Err(PhotoError::NoRoom { file: path.to_owned(), width, height, needed_mb: needed.div_ceil(1 << 20) }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_that_no_machine_holds_is_refused_with_its_size() {
        let most = Limits { max_megapixels: u32::MAX, ..Limits::default() };
        let side = 22_000_000;
        let error = check("a.png".as_ref(), &most, side, side, 0).unwrap_err().to_string();
        assert!(error.contains("22000000 x 22000000 px") && error.contains("memory"), "{error}");
        assert!(check("a.png".as_ref(), &most, 4000, 3000, 0).is_ok());
    }

    #[test]
    fn what_a_format_needs_beside_the_picture_counts() {
        let limits = Limits { max_megapixels: 100, ..Limits::default() };
        assert!(check("a.jpg".as_ref(), &limits, 10_000, 10_000, 0).is_ok());
        let error = check("a.jpg".as_ref(), &limits, 10_000, 10_000, 1).unwrap_err();
        assert!(matches!(error, PhotoError::TooMuchMemory { limit: 100, .. }), "{error}");
    }
}
