//! A photo's bytes, from a file that may fail, grow or be replaced while it is read.

use std::fs::{File, Metadata};
use std::io::Read;
use std::path::Path;
use std::time::SystemTime;

use super::Limits;
use super::error::PhotoError;

/// Reads a photo's bytes; errors call it `named`.
///
/// # Errors
/// [`PhotoError::Unreadable`], [`PhotoError::NotAFile`], [`PhotoError::TooManyBytes`] or [`PhotoError::Changed`].
pub fn bytes_of(path: &Path, named: &Path, limits: &Limits) -> Result<Vec<u8>, PhotoError> {
    let unreadable = |source| PhotoError::Unreadable { file: named.to_owned(), source };
    // Asked before it is opened: opening a pipe would wait for somebody to write into it.
    regular(&std::fs::metadata(path).map_err(unreadable)?, named)?;
    let mut file = File::open(path).map_err(unreadable)?;
    let before = file.metadata().map_err(unreadable)?;
    regular(&before, named)?;
    if before.len() > limits.max_bytes {
        return Err(PhotoError::TooManyBytes { file: named.to_owned(), bytes: before.len(), limit: limits.max_bytes });
    }
    let bytes = all(&mut file, before.len(), limits.max_bytes).map_err(unreadable)?;
    let after = file.metadata().map_err(unreadable)?;
    if state(&before) != state(&after) {
        return Err(PhotoError::Changed { file: named.to_owned() });
    }
    if bytes.len() as u64 > limits.max_bytes {
        let bytes = bytes.len() as u64;
        return Err(PhotoError::TooManyBytes { file: named.to_owned(), bytes, limit: limits.max_bytes });
    }
    Ok(bytes)
}

fn regular(about: &Metadata, named: &Path) -> Result<(), PhotoError> {
    if about.is_file() { Ok(()) } else { Err(PhotoError::NotAFile { file: named.to_owned() }) }
}

/// What changes when somebody writes into the file. (Who puts another file in its place does not trouble us: the one
/// that was opened stays whole until it is closed.)
fn state(about: &Metadata) -> (u64, Option<SystemTime>) {
    (about.len(), about.modified().ok())
}

/// Everything, but no more than one byte above `most`, however much the file grows meanwhile.
fn all(from: &mut impl Read, expected: u64, most: u64) -> std::io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    let room = usize::try_from(expected.min(most)).ok();
    // One more than expected, so that the end is seen without growing.
    room.and_then(|room| bytes.try_reserve_exact(room.saturating_add(1)).ok())
        .ok_or(std::io::ErrorKind::OutOfMemory)?;
    from.take(most.saturating_add(1)).read_to_end(&mut bytes)?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use std::io::{Error, ErrorKind};

    use super::*;

    /// A disk that fails after so many bytes.
    struct Failing(usize);

    impl Read for Failing {
        fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
            if self.0 == 0 {
                return Err(Error::from(ErrorKind::ConnectionReset));
            }
            let n = into.len().min(self.0).min(100);
            into[..n].fill(7);
            self.0 -= n;
            Ok(n)
        }
    }

    #[test]
    fn a_read_error_half_way_is_an_error_and_no_half_file() {
        let error = all(&mut Failing(5000), 10_000, 1 << 20).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::ConnectionReset);
    }

    #[test]
    fn a_file_that_never_ends_is_left_at_the_limit() {
        assert_eq!(all(&mut std::io::repeat(1), 10, 5000).unwrap().len(), 5001);
    }
}
