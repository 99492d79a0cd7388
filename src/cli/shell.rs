//! `completions` and `man`: the command line described for shells and for `man`, from its own definition.

use std::path::PathBuf;

use clap::{Args, CommandFactory};

use super::console::Console;
use super::exit::{Failure, Outcome};
use crate::show::file;

/// `completions`.
#[derive(Debug, Args)]
pub struct CompletionsArgs {
    /// For which shell
    #[arg(value_enum)]
    shell: clap_complete::Shell,
}

/// Prints a completion script.
pub(super) fn completions(args: &CompletionsArgs, console: &Console) -> Result<Outcome, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut super::args::Args::command(), "strandrule", &mut script);
    console.result(&script)?;
    Ok(Outcome::Answered)
}

/// `man`.
#[derive(Debug, Args)]
pub struct ManArgs {
    /// Folder to write them to
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
}

/// Writes one page for the program and one for each subcommand.
pub(super) fn man(args: &ManArgs, console: &Console) -> Result<Outcome, Failure> {
    let mut root = super::args::Args::command();
    root.build();
    let pages: Vec<clap::Command> =
        root.get_subcommands().filter(|c| c.get_name() != "help").cloned().chain([root.clone()]).collect();
    for page in pages {
        let name = page.get_display_name().unwrap_or_else(|| page.get_name()).to_owned();
        let mut text = Vec::new();
        clap_mangen::Man::new(page)
            .render(&mut text)
            .map_err(|error| Failure::Output(format!("{name}: the page cannot be written: {error}")))?;
        let path = args.folder.join(format!("{name}.1"));
        file::write(&path, &text)?;
        console.say(&path.display().to_string());
    }
    Ok(Outcome::Answered)
}
