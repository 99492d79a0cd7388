//! `desk`: the page on this computer, without a command line.

use std::net::IpAddr;
use std::path::PathBuf;

use clap::Args;

use super::card::PaperName;
use super::console::Console;
use super::exit::{Failure, Outcome};
use super::habits::Habits;
use crate::desk::{self, DeskError, Options};
use crate::show::escape;
use crate::work::stated::{Stated, Unit};

const EXAMPLES: &str = "\
Examples:
  strandrule desk
      opens the desk in the browser; photos and figures are kept in the pictures folder
  strandrule desk class/
      the same with a folder of its own; a folder of `batch --out` is gone on with
  strandrule desk --no-open --port 8123
      for who opens http://127.0.0.1:8123/ by hand

The desk listens on this computer alone, and on the home network while a phone is asked for. It is
closed by its own button, or by Ctrl-C.";

/// `desk`.
#[derive(Debug, Default, Args)]
#[command(after_help = EXAMPLES)]
pub struct DeskArgs {
    /// The folder for photos and figures; made if missing [default: strandrule in the pictures folder]
    #[arg(value_name = "FOLDER")]
    pub folder: Option<PathBuf>,
    /// Do not open the browser
    #[arg(long)]
    pub no_open: bool,
    /// The port of the page [default: any that is free]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    pub port: Option<u16>,
    /// This computer's address in the home network, where the phone is given another one (a computer in several networks)
    #[arg(long, value_name = "ADDRESS")]
    pub phone_at: Option<IpAddr>,
    /// What the person has set as habits.
    #[arg(skip)]
    pub habits: Habits,
}

impl From<DeskError> for Failure {
    fn from(error: DeskError) -> Self {
        Self::Output(error.to_string())
    }
}

/// Opens the desk and answers until it is closed.
pub(super) fn run(args: DeskArgs, console: &Console) -> Result<Outcome, Failure> {
    let habits = args.habits;
    let desk = desk::open(Options {
        folder: args.folder.unwrap_or_else(desk::usual_folder),
        port: args.port,
        stated: Stated {
            plies: habits.plies,
            unit: habits.unit.map(Unit::from),
            usual_focal_35mm_mm: habits.focal_35mm_mm,
            ..Stated::default()
        },
        phone_at: args.phone_at,
        letter: habits.paper == Some(PaperName::Letter),
        ..Options::default()
    })?;
    let url = desk.url();
    console.result(format!("{url}\n").as_bytes())?;
    console.say(&format!(
        "The desk is open in the browser at {url} and keeps everything in {}. Close it there, or with Ctrl-C.",
        escape::one_line(&desk.folder().display().to_string())
    ));
    if !args.no_open && open::that_detached(&url).is_err() {
        console.complain(&format!("no browser could be opened; open {url} yourself"));
    }
    desk.serve()?;
    Ok(Outcome::Answered)
}
