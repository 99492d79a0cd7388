//! `schema`: the JSON Schema of every output, for other programs.

use clap::{Args, ValueEnum};

use super::console::Console;
use super::exit::{Failure, Outcome};
use super::measure::SeveralPhotos;
use crate::figures::Report;
use crate::show::json;
use crate::work::compare::Comparison;
use crate::work::plan::Plan;
use crate::work::pool::PooledReport;
use crate::work::skein::SkeinCheck;

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
    /// What `batch` writes for each sample
    Pooled,
    /// What `skein` prints
    Skein,
    /// What `compare` prints
    Comparison,
    /// What `plan` prints
    Plan,
}

/// Prints the schema.
pub(super) fn run(args: &SchemaArgs, console: &Console) -> Result<Outcome, Failure> {
    let schema = match args.of {
        Output::Report => json::schema_of::<Report>(),
        Output::Several => json::schema_of::<SeveralPhotos>(),
        Output::Pooled => json::schema_of::<PooledReport>(),
        Output::Skein => json::schema_of::<SkeinCheck>(),
        Output::Comparison => json::schema_of::<Comparison>(),
        Output::Plan => json::schema_of::<Plan>(),
    };
    console.result(schema.as_bytes())?;
    Ok(Outcome::Answered)
}
