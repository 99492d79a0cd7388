//! The command line.

use std::io::Write;
use std::process::ExitCode;

use clap::Parser;

use crate::measure::{photo, pipeline};

/// Measures yarn from a photo.
#[derive(Debug, Parser)]
#[command(name = "strandrule", version)]
enum Arguments {
    /// Measure one photo and print its report.
    Measure {
        /// The photo.
        photo: std::path::PathBuf,
        /// How many plies the yarn has.
        #[arg(long)]
        plies: Option<u32>,
    },
}

/// Runs the program.
#[must_use]
pub fn run() -> ExitCode {
    let Arguments::Measure { photo: path, plies } = Arguments::parse();
    let mut stderr = std::io::stderr();
    match photo::read(&path, &photo::Limits::default()) {
        Ok(photo) => {
            let request =
                pipeline::Request { twist: crate::measure::twist::TwistRequest { plies }, ..Default::default() };
            let measured = pipeline::measure(&photo, &request, &pipeline::Params::default());
            match serde_json::to_writer_pretty(std::io::stdout().lock(), &measured.report) {
                Ok(()) => ExitCode::SUCCESS,
                Err(_) => ExitCode::from(4),
            }
        }
        Err(error) => {
            let _ = writeln!(stderr, "strandrule: {error}");
            ExitCode::from(3)
        }
    }
}
