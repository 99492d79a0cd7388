//! A portfolio: a page for each sample and an index, each one file that opens without a network.

mod notes;
mod pages;
mod written;

pub use notes::{NOTE_KEYS, Notes, NotesError};
pub use pages::{Piece, index_page, page_name, sample_page};
pub use written::{PortfolioError, Written, write};

#[cfg(test)]
mod tests;
