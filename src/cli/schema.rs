//! `schema`: the report's JSON Schema, for other programs.

use clap::Args;

use super::console::Console;
use super::exit::{Failure, Outcome};
use crate::show::json;

/// `schema`.
#[derive(Debug, Args)]
pub struct SchemaArgs {}

/// Prints the schema.
pub(super) fn run(_args: &SchemaArgs, console: &Console) -> Result<Outcome, Failure> {
    console.result(json::schema().as_bytes())?;
    Ok(Outcome::Answered)
}
