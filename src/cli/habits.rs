//! The habits of one person: what they would otherwise state with every command. A small TOML file, never required;
//! whatever the command line states beats it.

use std::ffi::OsString;
use std::io::Read;
use std::path::{Path, PathBuf};

use clap::ValueEnum;

use super::args::{Command, LookArgs, Unit};
use super::card::PaperName;
use super::exit::Failure;
use crate::work::keys::{Key, unknown};

/// Names another file, or `none`.
pub const VARIABLE: &str = "STRANDRULE_CONFIG";

/// Largest file: a few lines are a few hundred bytes.
const MAX_BYTES: u64 = 64 << 10;

/// Every key of the file.
pub const HABIT_KEYS: &[Key] = &[
    Key {
        name: "focal_35mm",
        meaning: "the camera's focal length on 35 mm film, mm, for photos that do not say it: 26",
    },
    Key { name: "unit", meaning: "the unit of the ruler that you use: \"mm\" or \"inch\"" },
    Key { name: "plies", meaning: "how many plies your yarn has, 1 to 12, if it is always the same: 2" },
    Key { name: "paper", meaning: "what cards are printed on: \"a4\" or \"letter\"" },
];

/// Where the file is looked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// Named by the person: it has to be there.
    Stated(PathBuf),
    /// The usual place of such files: it may be missing.
    Usual(PathBuf),
    /// Nowhere: switched off, or no home folder.
    Nowhere,
}

impl Place {
    /// As the environment says.
    #[must_use]
    pub fn of_environment() -> Self {
        Self::of(&|name| std::env::var_os(name).filter(|value| !value.is_empty()), std::env::var_os(VARIABLE).is_some())
    }

    /// `get` answers variables that are set and not empty; `stated` says whether ours is set at all.
    ///
    /// Source: XDG Base Directory Specification: `$XDG_CONFIG_HOME`, by default `$HOME/.config`; a relative path there is
    /// to be ignored. Windows keeps such files under `%APPDATA%`.
    fn of(get: &dyn Fn(&str) -> Option<OsString>, stated: bool) -> Self {
        match get(VARIABLE) {
            Some(path) if path.eq_ignore_ascii_case("none") => return Self::Nowhere,
            Some(path) => return Self::Stated(path.into()),
            None if stated => return Self::Nowhere,
            None => {}
        }
        let absolute = |name: &str| get(name).map(PathBuf::from).filter(|path| path.is_absolute());
        let folder = if cfg!(windows) { absolute("APPDATA") } else { absolute("XDG_CONFIG_HOME") };
        folder
            .or_else(|| absolute("HOME").map(|home| home.join(".config")))
            .map_or(Self::Nowhere, |folder| Self::Usual(folder.join("strandrule").join("config.toml")))
    }
}

/// What a person has set; whatever is `None` is not set.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Habits {
    /// The camera's focal length on 35 mm film, mm.
    pub focal_35mm_mm: Option<f64>,
    /// The unit of the ruler.
    pub unit: Option<Unit>,
    /// Plies of the yarn.
    pub plies: Option<u32>,
    /// Paper for cards.
    pub paper: Option<PaperName>,
}

impl Habits {
    /// Reads the file. `None` where there is none and none has to be.
    ///
    /// # Errors
    /// [`Failure::Input`] naming the file and the key.
    pub fn read(place: &Place) -> Result<Option<Self>, Failure> {
        let (path, required) = match place {
            Place::Nowhere => return Ok(None),
            Place::Stated(path) => (path, true),
            Place::Usual(path) => (path, false),
        };
        let wrong = |problem: String| Failure::Input(format!("{}: {problem}", path.display()));
        match text_of(path) {
            Ok(text) => Self::from_toml(&text).map(Some).map_err(wrong),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound && !required => Ok(None),
            Err(error) => {
                Err(wrong(format!("cannot be read: {error}; mend it, or set {VARIABLE} to another file or to none")))
            }
        }
    }

    /// Reads the file's text.
    ///
    /// # Errors
    /// A sentence that names the key, what is wrong and what to write.
    pub fn from_toml(text: &str) -> Result<Self, String> {
        let table: toml::Table = text.parse().map_err(|e: toml::de::Error| format!("is no TOML: {}", e.message()))?;
        if let Some(key) = table.keys().find(|key| !HABIT_KEYS.iter().any(|known| known.name == key.as_str())) {
            return Err(unknown(key, HABIT_KEYS));
        }
        Ok(Self {
            focal_35mm_mm: table
                .get("focal_35mm")
                .map(|value| focal(value).ok_or("focal_35mm must be a length in mm, 1 to 2000, as in focal_35mm = 26"))
                .transpose()?,
            unit: table.get("unit").map(|value| word(value).ok_or("unit must be \"mm\" or \"inch\"")).transpose()?,
            plies: table
                .get("plies")
                .map(|value| plies(value).ok_or("plies must be a whole number, 1 to 12"))
                .transpose()?,
            paper: table
                .get("paper")
                .map(|value| word(value).ok_or("paper must be \"a4\" or \"letter\""))
                .transpose()?,
        })
    }

    /// Fills in what the command line leaves open.
    pub fn fill(&self, command: &mut Command) {
        match command {
            Command::Measure(args) => self.fill_look(&mut args.look),
            Command::Batch(args) => self.fill_look(&mut args.look),
            Command::Grade(args) => self.fill_look(&mut args.look),
            Command::Portfolio(args) => self.fill_look(&mut args.look),
            Command::Card(args) => args.paper = args.paper.or(self.paper),
            Command::Desk(args) => args.habits = *self,
            Command::Compare(_)
            | Command::Skein(_)
            | Command::Plan(_)
            | Command::Schema(_)
            | Command::Completions(_)
            | Command::Man(_)
            | Command::Demo(_)
            | Command::Config(_) => {}
        }
    }

    fn fill_look(&self, look: &mut LookArgs) {
        look.plies = look.plies.or(self.plies);
        look.usual_focal_35mm = self.focal_35mm_mm;
        // Where the scale is stated in another way there is no ruler whose unit would matter.
        if look.dpi.is_none() && look.points.is_none() {
            look.unit = look.unit.or(self.unit);
        }
    }
}

/// Whether a command takes habits; the others run whatever is in the file.
#[must_use]
pub fn matter_to(command: &Command) -> bool {
    matches!(
        command,
        Command::Measure(_)
            | Command::Batch(_)
            | Command::Grade(_)
            | Command::Portfolio(_)
            | Command::Card(_)
            | Command::Desk(_)
    )
}

fn text_of(path: &Path) -> std::io::Result<String> {
    if !std::fs::metadata(path)?.is_file() {
        return Err(std::io::Error::other("it is not a file"));
    }
    let mut text = String::new();
    std::fs::File::open(path)?.take(MAX_BYTES + 1).read_to_string(&mut text)?;
    if text.len() as u64 > MAX_BYTES {
        return Err(std::io::Error::other("it is far too long"));
    }
    Ok(text)
}

fn focal(value: &toml::Value) -> Option<f64> {
    let mm = value.as_float().or_else(|| value.as_integer().map(|n| n as f64))?;
    (1.0..=2000.0).contains(&mm).then_some(mm)
}

fn plies(value: &toml::Value) -> Option<u32> {
    u32::try_from(value.as_integer()?).ok().filter(|n| (1..=12).contains(n))
}

/// One of an option's own words.
fn word<T: ValueEnum>(value: &toml::Value) -> Option<T> {
    T::from_str(value.as_str()?, true).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_is_read_and_a_misspelt_one_names_the_nearest() {
        let all = Habits::from_toml("focal_35mm = 26\nunit = \"inch\"\nplies = 2\npaper = \"Letter\"\n").unwrap();
        let wanted = Habits {
            focal_35mm_mm: Some(26.0),
            unit: Some(Unit::Inch),
            plies: Some(2),
            paper: Some(PaperName::Letter),
        };
        assert_eq!(all, wanted);
        assert_eq!(Habits::from_toml("").unwrap(), Habits::default());
        for (text, said) in [
            ("papier = \"a4\"", "did you mean \"paper\""),
            ("Unit = \"mm\"", "did you mean \"unit\""),
            ("zzz = 1", "the keys are focal_35mm, unit, plies, paper"),
            ("plies = 0", "1 to 12"),
            ("plies = 2.5", "whole number"),
            ("plies = \"2\"", "whole number"),
            ("focal_35mm = 1e9", "1 to 2000"),
            ("focal_35mm = nan", "1 to 2000"),
            ("unit = 25.4", "\"mm\" or \"inch\""),
            ("paper = [\"a4\"]", "\"a4\" or \"letter\""),
            ("paper", "is no TOML"),
        ] {
            let error = Habits::from_toml(text).unwrap_err();
            assert!(error.contains(said), "{text}: {error}");
        }
    }

    /// Source: XDG Base Directory Specification, "Environment variables".
    #[cfg(unix)]
    #[test]
    fn the_place_is_where_such_files_usually_are() {
        let place = |set: &[(&str, &str)]| {
            let stated = set.iter().any(|(name, _)| *name == VARIABLE);
            let get = |name: &str| {
                let value = set.iter().find(|(n, v)| *n == name && !v.is_empty());
                value.map(|(_, v)| OsString::from(v))
            };
            Place::of(&get, stated)
        };
        let home = ("HOME", "/home/ada");
        assert_eq!(place(&[home]), Place::Usual("/home/ada/.config/strandrule/config.toml".into()));
        assert_eq!(place(&[home, ("XDG_CONFIG_HOME", "/cfg")]), Place::Usual("/cfg/strandrule/config.toml".into()));
        assert_eq!(place(&[home, ("XDG_CONFIG_HOME", "cfg")]), place(&[home]));
        assert_eq!(place(&[home, ("XDG_CONFIG_HOME", "")]), place(&[home]));
        assert_eq!(place(&[home, (VARIABLE, "my.toml")]), Place::Stated("my.toml".into()));
        assert_eq!(place(&[home, (VARIABLE, "none")]), Place::Nowhere);
        assert_eq!(place(&[home, (VARIABLE, "")]), Place::Nowhere);
        assert_eq!(place(&[]), Place::Nowhere);
    }
}
