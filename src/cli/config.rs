//! `config`: where the file with a person's habits is looked for, and what it holds.

use std::fmt::Write;

use clap::{Args, ValueEnum};

use super::console::Console;
use super::exit::{Failure, Outcome};
use super::habits::{HABIT_KEYS, Habits, Place, VARIABLE};
use super::outputs::Places;

const EXAMPLES: &str = "\
Examples:
  strandrule config
      where the file is looked for, every key with its meaning, and what is set
  strandrule config > my.toml
      the same as a file to start from; take the # from the lines that you want
  STRANDRULE_CONFIG=my.toml strandrule measure yarn.jpg
      another file for once; STRANDRULE_CONFIG=none for none

The file is never required, and what the command line states beats it.";

/// `config`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct ConfigArgs {}

/// Prints place and content as TOML.
pub(super) fn run(_args: &ConfigArgs, console: &Console) -> Result<Outcome, Failure> {
    Places::of_program().check()?;
    let place = Place::of_environment();
    let habits = Habits::read(&place)?;
    console.result(text(&place, habits.as_ref()).as_bytes())?;
    Ok(Outcome::Answered)
}

fn text(place: &Place, habits: Option<&Habits>) -> String {
    let mut out = match place {
        Place::Nowhere => format!("# No file is looked for ({VARIABLE} says so, or there is no home folder).\n"),
        Place::Stated(path) => format!("# {path:?}, named by {VARIABLE}:\n"),
        Place::Usual(path) if habits.is_none() => format!("# {path:?} is looked for, and is not there.\n"),
        Place::Usual(path) => format!("# {path:?}:\n"),
    };
    let habits = habits.copied().unwrap_or_default();
    for key in HABIT_KEYS {
        let value = match key.name {
            "focal_35mm" => habits.focal_35mm_mm.map(|mm| mm.to_string()),
            "unit" => habits.unit.and_then(quoted),
            "plies" => habits.plies.map(|n| n.to_string()),
            _ => habits.paper.and_then(quoted),
        };
        // Writing to a String cannot fail.
        let _ = match value {
            Some(value) => writeln!(out, "\n# {}\n{} = {value}", key.meaning, key.name),
            None => writeln!(out, "\n# {}\n#{} =", key.meaning, key.name),
        };
    }
    out
}

fn quoted<T: ValueEnum>(value: T) -> Option<String> {
    Some(format!("\"{}\"", value.to_possible_value()?.get_name()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_printed_reads_back_as_the_same_habits() {
        let place = Place::Stated("a\nb.toml".into());
        for toml in ["", "plies = 3\n", "unit = \"mm\"\nfocal_35mm = 26.5\npaper = \"letter\"\nplies = 1\n"] {
            let habits = Habits::from_toml(toml).unwrap();
            assert_eq!(Habits::from_toml(&text(&place, Some(&habits))).unwrap(), habits, "{toml}");
        }
    }
}
