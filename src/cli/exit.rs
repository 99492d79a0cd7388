//! Exit codes, here alone:
//!
//! | code | meaning |
//! | --- | --- |
//! | 0 | at least one figure of the yarn was answered, or the command did what it was asked |
//! | 1 | no figure of the yarn was answered; the report still says why |
//! | 2 | the command line was wrong |
//! | 3 | a file to be read (photo, report, roster, target, map, notes, habits) is unreadable, damaged, wrong or over a limit |
//! | 4 | an output cannot be written |
//! | 5 | a batch finished, some of its photos failed |
//!
//! Codes 2 to 4 leave standard output empty.

use std::process::ExitCode;

use super::console::Console;
use crate::measure::photo::PhotoError;
use crate::show::file::WriteError;
use crate::work::saved::SavedError;

/// How a command that ran to its end went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// At least one figure of the yarn, or whatever else was asked for.
    Answered,
    /// A report without a single figure of the yarn.
    NothingAnswered,
    /// A batch that finished although some photos failed.
    SomePhotosFailed,
}

/// Why a command could not do what was asked, sorted by whose fault it is; the text is a whole sentence that names the
/// file or option, what is wrong and what to do.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// The command line.
    #[error("{0}")]
    Usage(String),
    /// A file that was to be read.
    #[error("{0}")]
    Input(String),
    /// A file that was to be written.
    #[error("{0}")]
    Output(String),
}

impl From<PhotoError> for Failure {
    fn from(error: PhotoError) -> Self {
        Self::Input(error.to_string())
    }
}

impl From<SavedError> for Failure {
    fn from(error: SavedError) -> Self {
        Self::Input(error.to_string())
    }
}

impl From<WriteError> for Failure {
    fn from(error: WriteError) -> Self {
        Self::Output(error.to_string())
    }
}

/// The exit code of a finished command; a failure is told on standard error first.
#[must_use]
pub fn code(result: Result<Outcome, Failure>, console: &Console) -> ExitCode {
    let failure = match result {
        Ok(Outcome::Answered) => return ExitCode::SUCCESS,
        Ok(Outcome::NothingAnswered) => return ExitCode::from(1),
        Ok(Outcome::SomePhotosFailed) => return ExitCode::from(5),
        Err(failure) => failure,
    };
    console.complain(&failure.to_string());
    match failure {
        Failure::Usage(_) => ExitCode::from(2),
        Failure::Input(_) => ExitCode::from(3),
        Failure::Output(_) => ExitCode::from(4),
    }
}

/// Shows what the parser has to say (help, version or a mistake). Help and version succeed.
#[must_use]
pub fn after_parsing(shown: &clap::Error) -> ExitCode {
    // Nobody may be listening any more; that changes nothing.
    let _ = shown.print();
    if shown.use_stderr() { ExitCode::from(2) } else { ExitCode::SUCCESS }
}
