//! `schema`: the report's JSON Schema, for other programs.

use clap::{Args, ValueEnum};

use super::console::Console;
use super::exit::{Failure, Outcome};
use super::measure::SeveralPhotos;
use crate::figures::Report;
use crate::show::json;

/// `schema`.
#[derive(Debug, Args)]
pub struct SchemaArgs {
    /// Of which output
    #[arg(value_enum, default_value = "report")]
    of: Output,
}

/// An output with a schema.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Output {
    /// What `measure` prints for one photo
    Report,
    /// What `measure` prints for several photos of one sample
    Several,
}

/// Prints the schema.
pub(super) fn run(args: &SchemaArgs, console: &Console) -> Result<Outcome, Failure> {
    let schema = match args.of {
        Output::Report => json::schema_of::<Report>(),
        Output::Several => json::schema_of::<SeveralPhotos>(),
    };
    console.result(schema.as_bytes())?;
    Ok(Outcome::Answered)
}
