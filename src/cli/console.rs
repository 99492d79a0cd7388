//! Standard output for the result, standard error for people. No colour is written by us; what the parser writes
//! honours `NO_COLOR`.

use std::io::{ErrorKind, IsTerminal, Write};

use super::exit::Failure;
use crate::show::escape;

/// Where the program speaks.
#[derive(Debug, Clone, Copy)]
pub struct Console {
    quiet: bool,
}

impl Console {
    /// With `quiet` only failures are told.
    #[must_use]
    pub fn new(quiet: bool) -> Self {
        Self { quiet }
    }

    /// Whether a person is reading standard error.
    #[must_use]
    pub fn person_reads_stderr(&self) -> bool {
        std::io::stderr().is_terminal()
    }

    /// Whether only failures are to be told.
    #[must_use]
    pub fn is_quiet(&self) -> bool {
        self.quiet
    }

    /// Writes the whole result to standard output, in one piece. A reader that has gone away (a closed pipe) is no
    /// failure.
    ///
    /// # Errors
    /// [`Failure::Output`] where standard output cannot be written, for instance on a full disk.
    pub fn result(&self, bytes: &[u8]) -> Result<(), Failure> {
        let mut out = std::io::stdout().lock();
        match out.write_all(bytes).and_then(|()| out.flush()) {
            Err(error) if error.kind() != ErrorKind::BrokenPipe => {
                Err(Failure::Output(format!("standard output cannot be written: {error}")))
            }
            _ => Ok(()),
        }
    }

    /// Tells a person something, unless quiet.
    pub fn say(&self, text: &str) {
        if !self.quiet {
            self.tell(text);
        }
    }

    /// Tells a failure, always.
    pub fn complain(&self, text: &str) {
        self.tell(&format!("strandrule: {}", escape::one_line(text)));
    }

    fn tell(&self, text: &str) {
        // Nowhere is left to tell that standard error is closed.
        let _ = writeln!(std::io::stderr().lock(), "{text}");
    }
}
