//! The command line: what was typed (`args`), what is meant (`settings`), and the exit codes (`exit`).
//!
//! Each subcommand stands in its own file with its arguments and a `run`; to add one, declare the file here and write
//! one line in [`args::Command`] and one in `dispatch`.

pub mod args;
mod batch;
mod card;
mod compare;
mod config;
pub mod console;
mod demo;
mod desk;
pub mod exit;
mod grade;
pub mod habits;
mod measure;
mod outputs;
mod plan;
mod portfolio;
mod schema;
pub mod settings;
mod shell;
mod skein;

use clap::Parser;

use args::{Args, Command};
use console::Console;
use exit::{Failure, Outcome};
use habits::{Habits, Place};

/// Runs the program.
#[must_use]
pub fn run() -> std::process::ExitCode {
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(shown) => return exit::after_parsing(&shown),
    };
    let console = Console::new(args.quiet);
    outlive_file_limits();
    start_threads();
    // Who starts the program by a double click says nothing, and wants the page.
    let command = args.command.unwrap_or_else(|| Command::Desk(Default::default()));
    exit::code(dispatch(command, &console), &console)
}

/// A file that grows beyond the limit on sizes is to be a failure like a full disk's. Left to itself the system ends the
/// program there, and what was half written stays.
fn outlive_file_limits() {
    #[cfg(unix)]
    {
        let noticed = std::sync::Arc::new(std::sync::atomic::AtomicBool::new(false));
        // Where it cannot be had, the system does as it did.
        let _ = signal_hook::flag::register(signal_hook::consts::SIGXFSZ, noticed);
    }
}

/// Starts the threads that the stages share. Left to themselves they start when first needed, and panic where the
/// system gives none (no memory for their stacks, a limit on processes); then this thread does the work alone.
fn start_threads() {
    if !roomy() || rayon::ThreadPoolBuilder::new().build_global().is_err() {
        // Where not even that can be had, the first stage says so.
        let _ = rayon::ThreadPoolBuilder::new().num_threads(1).use_current_thread().build_global();
    }
}

/// Whether there is room for more than one thread. Each reserves addresses for a heap of its own (64 MB with the usual C
/// library) that the others cannot use; where addresses are limited, the pictures need them.
fn roomy() -> bool {
    Vec::<u8>::new().try_reserve_exact(512 << 20).is_ok()
}

fn dispatch(mut command: Command, console: &Console) -> Result<Outcome, Failure> {
    if habits::matter_to(&command)
        && let Some(habits) = Habits::read(&Place::of_environment())?
    {
        habits.fill(&mut command);
    }
    match command {
        Command::Measure(args) => measure::run(*args, console),
        Command::Batch(args) => batch::run(&args, console),
        Command::Card(args) => card::run(&args, console),
        Command::Grade(args) => grade::run(&args, console),
        Command::Portfolio(args) => portfolio::run(&args, console),
        Command::Compare(args) => compare::run(&args, console),
        Command::Skein(args) => skein::run(&args, console),
        Command::Plan(args) => plan::run(&args, console),
        Command::Schema(args) => schema::run(&args, console),
        Command::Completions(args) => shell::completions(&args, console),
        Command::Man(args) => shell::man(&args, console),
        Command::Config(args) => config::run(&args, console),
        Command::Demo(args) => demo::run(&args, console),
        Command::Desk(args) => desk::run(args, console),
    }
}
