//! Why a photo cannot be read.

use std::path::PathBuf;

/// Why a photo cannot be read: the file, what is wrong, what to do.
#[derive(Debug, thiserror::Error)]
pub enum PhotoError {
    /// The file cannot be opened or read.
    #[error("{}: cannot be read: {source}", file.display())]
    Unreadable {
        /// The file.
        file: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// Not a regular file.
    #[error("{}: is not a file; name a photo", file.display())]
    NotAFile {
        /// The path.
        file: PathBuf,
    },
    /// Somebody wrote into it meanwhile.
    #[error("{}: changed while it was read; measure it again when it is written whole", file.display())]
    Changed {
        /// The file.
        file: PathBuf,
    },
    /// Nothing in it.
    #[error("{}: is empty; copy the photo again", file.display())]
    Empty {
        /// The file.
        file: PathBuf,
    },
    /// A kind of file that this build does not read.
    #[error("{}: is not a JPEG, PNG, TIFF or WebP picture; {advice}", file.display())]
    UnknownFormat {
        /// The file.
        file: PathBuf,
        /// What to do.
        advice: &'static str,
    },
    /// Damaged or truncated.
    #[error("{}: is damaged or incomplete ({detail}); copy the photo again", file.display())]
    Damaged {
        /// The file.
        file: PathBuf,
        /// What the decoder says.
        detail: String,
    },
    /// Whole, and of a kind that this version does not read.
    #[error("{}: is {what}, which is not read; export it as JPEG, or as PNG or TIFF with 8 or 16 bits a sample", file.display())]
    Unsupported {
        /// The file.
        file: PathBuf,
        /// What it is.
        what: String,
    },
    /// More pixels than the limit.
    #[error("{}: {width} x {height} px is above the limit of {limit} megapixels; raise it with --max-megapixels", file.display())]
    TooLarge {
        /// The file.
        file: PathBuf,
        /// Width, px.
        width: u64,
        /// Height, px.
        height: u64,
        /// The limit, megapixels.
        limit: u32,
    },
    /// A side longer than the decoder takes.
    #[error("{}: has a side of more than {limit} px; reduce it, or cut out the part with yarn and ruler", file.display())]
    TooLong {
        /// The file.
        file: PathBuf,
        /// The limit, px.
        limit: u16,
    },
    /// A header that asks for more memory than any picture within the limit needs.
    #[error("{}: asks for more memory than a picture of {limit} megapixels needs; raise it with --max-megapixels", file.display())]
    TooMuchMemory {
        /// The file.
        file: PathBuf,
        /// The limit, megapixels.
        limit: u32,
    },
    /// The system does not give the memory that the picture needs.
    #[error("{}: {width} x {height} px need {needed_mb} MB of memory, more than there is; reduce it, or close other programs", file.display())]
    NoRoom {
        /// The file.
        file: PathBuf,
        /// Width, px.
        width: u64,
        /// Height, px.
        height: u64,
        /// What decoding and measuring need, MB (2^20 bytes).
        needed_mb: u64,
    },
    /// More bytes than the limit.
    #[error("{}: {bytes} bytes is above the limit of {limit} bytes; raise it with --max-bytes", file.display())]
    TooManyBytes {
        /// The file.
        file: PathBuf,
        /// Its size.
        bytes: u64,
        /// The limit.
        limit: u64,
    },
}
