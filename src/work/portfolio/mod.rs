//! A portfolio: a page for each sample and an index, each one file that opens without a network.

mod notes;
mod pages;

pub use notes::{NOTE_KEYS, Notes, NotesError};
pub use pages::{Piece, index_page, page_name, sample_page};

#[cfg(test)]
mod tests;
