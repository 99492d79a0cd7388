//! The command line.

/// Runs the program.
#[must_use]
pub fn run() -> std::process::ExitCode {
    std::process::ExitCode::SUCCESS
}
