//! Whether the memory for a picture is to be had, asked before any of it is taken: an allocation that fails later would
//! end the program without a word about the photo.

use std::path::Path;

use super::error::PhotoError;

/// What decoding and measuring take for a pixel at their peak: three bytes for the picture, the rest for a turned copy
/// and what finding works on. Half of it would let through what then fails; twice would refuse what fits.
const BYTES_PER_PIXEL: u64 = 8;

/// What they take whatever the size: tables, bands around the yarn, the stacks of threads.
const BYTES_BESIDE: u64 = 64 << 20;

/// Asks the system for the memory of a picture of `width` x `height` px, and gives it back.
///
/// `decoders_own` is what the decoder holds beside the picture, bytes.
///
/// # Errors
/// [`PhotoError::NoRoom`] where it is not to be had.
pub(super) fn check(path: &Path, width: u64, height: u64, decoders_own: u64) -> Result<(), PhotoError> {
    let needed = width
        .saturating_mul(height)
        .saturating_mul(BYTES_PER_PIXEL)
        .saturating_add(decoders_own)
        .saturating_add(BYTES_BESIDE);
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
        let error = check("a.png".as_ref(), u64::from(u32::MAX), u64::from(u32::MAX), 0).unwrap_err().to_string();
        assert!(error.contains("4294967295 x 4294967295 px") && error.contains("memory"), "{error}");
        assert!(check("a.png".as_ref(), 4000, 3000, 0).is_ok());
    }
}
