//! The target and the rubric: a small TOML file.

use crate::figures::Quantity;
use crate::figures::report::{Sample, TwistDirection};
use crate::show::columns::{PLIES, SAMPLE};
use crate::work::figure::Figure;
use crate::work::keys::{Key, nearest, unknown};

/// Keys of the file itself.
pub const TARGET_KEYS: &[Key] = &[
    Key { name: "title", meaning: "heading of the sheet and the pages" },
    Key { name: "out_of", meaning: "the full mark; 100 where it is missing" },
    Key {
        name: "provisional_below_percent",
        meaning: "per cent of the weights that must have been read, else the mark is called provisional; 100 where it is missing",
    },
    Key {
        name: "like",
        meaning: "a saved report of a yarn to match, beside this file; criteria without a value take theirs from it",
    },
    Key { name: "criterion", meaning: "what is marked; one [[criterion]] for each figure" },
];

/// Keys of a criterion.
pub const CRITERION_KEYS: &[Key] = &[
    Key { name: "figure", meaning: "the figure, by its name in the report; also plies and twist_direction" },
    Key { name: "value", meaning: "what is asked: a number, or \"S\" or \"Z\"" },
    Key { name: "tolerance", meaning: "so far from the value there is the full mark, in the figure's unit" },
    Key { name: "tolerance_percent", meaning: "the same in per cent of the value" },
    Key {
        name: "zero_beyond",
        meaning: "so far from the value there is no mark; three tolerances where it is missing",
    },
    Key { name: "zero_beyond_percent", meaning: "the same in per cent of the value" },
    Key { name: "weight", meaning: "how much it counts; 1 where it is missing" },
    Key {
        name: "side",
        meaning: "\"both\", \"at-most\" (only too much is a fault) or \"at-least\" (only too little is); both where it is missing",
    },
    Key {
        name: "advice_more",
        meaning: "what to say to who should have more of it, instead of the program's own sentence",
    },
    Key { name: "advice_less", meaning: "what to say to who should have less of it" },
];

/// Which side of the value is a fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Too much and too little.
    Both,
    /// Only too much.
    AtMost,
    /// Only too little.
    AtLeast,
}

/// What a criterion asks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum What {
    /// A number.
    Number {
        /// Which.
        figure: Figure,
        /// Asked.
        value: f64,
        /// Full mark up to here from it.
        tolerance: f64,
        /// No mark from here on.
        zero_beyond: f64,
        /// Which side is a fault.
        side: Side,
    },
    /// The number of plies.
    Plies(u32),
    /// The direction of the final twist.
    Direction(TwistDirection),
}

impl What {
    /// The key of the figure.
    #[must_use]
    pub fn key(&self) -> &'static str {
        match self {
            Self::Number { figure, .. } => figure.key(),
            Self::Plies(_) => "plies",
            Self::Direction(_) => "twist_direction",
        }
    }

    /// The figure in words.
    #[must_use]
    pub fn words(&self) -> &'static str {
        match self {
            Self::Number { figure, .. } => figure.words(),
            Self::Plies(_) => "plies",
            Self::Direction(_) => "direction of twist",
        }
    }
}

/// One thing that is marked.
#[derive(Debug, Clone, PartialEq)]
pub struct Criterion {
    /// What is asked.
    pub what: What,
    /// How much it counts.
    pub weight: f64,
    /// Said to who should have more.
    pub advice_more: Option<String>,
    /// Said to who should have less.
    pub advice_less: Option<String>,
}

/// What a class is marked by.
#[derive(Debug, Clone, PartialEq)]
pub struct Rubric {
    /// Heading.
    pub title: String,
    /// The full mark.
    pub out_of: f64,
    /// Part of the weights, 0 to 1, that must have been read; a mark that rests on less is provisional.
    pub provisional_below: f64,
    /// What is marked, in the order of the file.
    pub criteria: Vec<Criterion>,
}

/// Why a rubric cannot be used; `place` names the criterion.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RubricError {
    /// Not TOML.
    #[error("it is not valid TOML: {0}")]
    Toml(String),
    /// A key that does not exist.
    #[error("{place}: {sentence}")]
    UnknownKey {
        /// Where.
        place: String,
        /// What is wrong, and the nearest.
        sentence: String,
    },
    /// A value of the wrong kind or size.
    #[error("{place}: {key} {wanted}")]
    Value {
        /// Where.
        place: String,
        /// Which key.
        key: &'static str,
        /// What it must be.
        wanted: String,
    },
    /// Nothing to mark.
    #[error("there is no [[criterion]]; add one for each figure that is marked")]
    Empty,
    /// Twice the same figure.
    #[error("the figure {0} is asked twice; keep one")]
    Twice(&'static str),
}

/// Marks and weights are added and divided: a billion is enough for all of them, and leaves room for that.
const LARGEST: f64 = 1e9;

/// One table of the file, with its place for messages.
struct Table<'a> {
    table: &'a toml::Table,
    place: String,
}

impl Table<'_> {
    fn known(&self, keys: &[Key]) -> Result<(), RubricError> {
        match self.table.keys().find(|k| !keys.iter().any(|known| known.name == *k)) {
            Some(key) => Err(RubricError::UnknownKey { place: self.place.clone(), sentence: unknown(key, keys) }),
            None => Ok(()),
        }
    }

    fn wrong(&self, key: &'static str, wanted: impl Into<String>) -> RubricError {
        RubricError::Value { place: self.place.clone(), key, wanted: wanted.into() }
    }

    fn text(&self, key: &'static str) -> Result<Option<String>, RubricError> {
        match self.table.get(key) {
            None => Ok(None),
            Some(toml::Value::String(text)) => Ok(Some(text.clone())),
            Some(_) => Err(self.wrong(key, "must be a text in quotes")),
        }
    }

    /// A number; above 0 where `positive`.
    fn number(&self, key: &'static str, positive: bool) -> Result<Option<f64>, RubricError> {
        let number = match self.table.get(key) {
            None => return Ok(None),
            Some(toml::Value::Integer(n)) => *n as f64,
            Some(toml::Value::Float(n)) => *n,
            Some(_) => return Err(self.wrong(key, "must be a number")),
        };
        if number.abs() <= LARGEST && (number > 0.0 || !positive) {
            Ok(Some(number))
        } else {
            Err(self.wrong(
                key,
                if positive { "must be above 0, and at most 1e9" } else { "must be a number, at most 1e9" },
            ))
        }
    }
}

impl Rubric {
    /// The saved report that the file wants to be matched, if it names one.
    ///
    /// # Errors
    /// [`RubricError`] where the file is no TOML or `like` is no text.
    pub fn like(text: &str) -> Result<Option<String>, RubricError> {
        let table: toml::Table = text.parse().map_err(|e: toml::de::Error| RubricError::Toml(e.to_string()))?;
        Table { table: &table, place: "the file".to_owned() }.text("like")
    }

    /// Reads the file's text; `like` is the sample that it names, if it names one.
    ///
    /// # Errors
    /// [`RubricError`], naming the criterion and the key.
    pub fn from_toml(text: &str, like: Option<&Sample>) -> Result<Self, RubricError> {
        let table: toml::Table = text.parse().map_err(|e: toml::de::Error| RubricError::Toml(e.to_string()))?;
        let top = Table { table: &table, place: "the file".to_owned() };
        top.known(TARGET_KEYS)?;
        let list = match table.get("criterion") {
            None => return Err(RubricError::Empty),
            Some(toml::Value::Array(list)) if !list.is_empty() => list,
            Some(_) => return Err(top.wrong("criterion", "must be written as [[criterion]], in double brackets")),
        };
        let mut criteria: Vec<Criterion> = Vec::new();
        for (i, item) in list.iter().enumerate() {
            let toml::Value::Table(table) = item else {
                return Err(top.wrong("criterion", "must be written as [[criterion]], in double brackets"));
            };
            let made = criterion(&Table { table, place: format!("criterion {}", i + 1) }, like)?;
            if criteria.iter().any(|c| c.what.key() == made.what.key()) {
                return Err(RubricError::Twice(made.what.key()));
            }
            criteria.push(made);
        }
        let percent = top.number("provisional_below_percent", false)?.unwrap_or(100.0);
        if !(0.0..=100.0).contains(&percent) {
            return Err(top.wrong("provisional_below_percent", "must be from 0 to 100"));
        }
        Ok(Self {
            provisional_below: percent / 100.0,
            title: top.text("title")?.unwrap_or_else(|| "Marks".to_owned()),
            out_of: top.number("out_of", true)?.unwrap_or(100.0),
            criteria,
        })
    }
}

fn criterion(table: &Table<'_>, like: Option<&Sample>) -> Result<Criterion, RubricError> {
    table.known(CRITERION_KEYS)?;
    let name = table.text("figure")?.ok_or_else(|| table.wrong("figure", "is missing"))?;
    let what = match name.as_str() {
        "plies" => What::Plies(plies(table, like)?),
        "twist_direction" => What::Direction(direction(table, like)?),
        other => number(table, other, like)?,
    };
    if !matches!(what, What::Number { .. }) {
        let only_numbers = ["tolerance", "tolerance_percent", "zero_beyond", "zero_beyond_percent", "side"];
        if let Some(key) = only_numbers.into_iter().find(|k| table.table.contains_key(*k)) {
            return Err(table.wrong(key, "has no meaning for plies and direction: they are right or wrong"));
        }
    }
    Ok(Criterion {
        what,
        weight: table.number("weight", true)?.unwrap_or(1.0),
        advice_more: table.text("advice_more")?,
        advice_less: table.text("advice_less")?,
    })
}

const NO_VALUE: &str = "is missing, and no measured sample (like) answers it";

fn plies(table: &Table<'_>, like: Option<&Sample>) -> Result<u32, RubricError> {
    match table.number("value", true)? {
        Some(n) if n.fract() == 0.0 && n <= PLIES[1] => Ok(n as u32),
        Some(_) => Err(table.wrong("value", "must be a whole number of plies, 1 to 12")),
        None => like.and_then(|s| s.plies.value().copied()).ok_or_else(|| table.wrong("value", NO_VALUE)),
    }
}

fn direction(table: &Table<'_>, like: Option<&Sample>) -> Result<TwistDirection, RubricError> {
    match table.text("value")?.as_deref() {
        Some("S") => Ok(TwistDirection::S),
        Some("Z") => Ok(TwistDirection::Z),
        Some(_) => Err(table.wrong("value", "must be \"S\" or \"Z\"")),
        None => like.and_then(|s| s.twist_direction.value().copied()).ok_or_else(|| table.wrong("value", NO_VALUE)),
    }
}

fn number(table: &Table<'_>, name: &str, like: Option<&Sample>) -> Result<What, RubricError> {
    let figure = Figure::from_key(name).ok_or_else(|| {
        let known = Figure::ALL.iter().map(|f| f.key()).chain(["plies", "twist_direction"]);
        let near = nearest(name, known.clone());
        let advice = near.map_or_else(
            || format!("choose one of {}", known.collect::<Vec<_>>().join(", ")),
            |near| format!("did you mean \"{near}\"?"),
        );
        table.wrong("figure", format!("\"{name}\" does not exist; {advice}"))
    })?;
    let measured = |s: &Sample| figure.of(s).value().copied();
    let value = table
        .number("value", false)?
        .or_else(|| like.and_then(measured))
        .ok_or_else(|| table.wrong("value", NO_VALUE))?;
    let [low, high] = SAMPLE.iter().find(|c| c.name() == figure.key()).map_or([-LARGEST, LARGEST], |c| c.within);
    if !(low..=high).contains(&value) {
        return Err(table.wrong("value", format!("is {value}, and {name} can only lie between {low} and {high}")));
    }
    let either = |plain: &'static str, percent: &'static str| -> Result<Option<f64>, RubricError> {
        match (table.number(plain, true)?, table.number(percent, true)?) {
            (Some(_), Some(_)) => Err(table.wrong(percent, format!("stands beside {plain}; keep one of them"))),
            (Some(absolute), None) => Ok(Some(absolute)),
            (None, Some(_)) if value == 0.0 => Err(table.wrong(percent, format!("of 0 is nothing; give {plain}"))),
            (None, Some(percent)) => Ok(Some(percent / 100.0 * value.abs())),
            (None, None) => Ok(None),
        }
    };
    // A measured target is itself only known to its interval, so without a tolerance that is the tolerance.
    let from_like = || like.and_then(|s| Quantity::half_width(figure.of(s)));
    let tolerance = either("tolerance", "tolerance_percent")?
        .or_else(from_like)
        .filter(|t| *t > 0.0)
        .ok_or_else(|| table.wrong("tolerance", "is missing"))?;
    let zero_beyond = either("zero_beyond", "zero_beyond_percent")?.unwrap_or(3.0 * tolerance);
    if zero_beyond < tolerance {
        return Err(table.wrong("zero_beyond", "must not be smaller than the tolerance"));
    }
    let side = match table.text("side")?.as_deref() {
        None | Some("both") => Side::Both,
        Some("at-most") => Side::AtMost,
        Some("at-least") => Side::AtLeast,
        Some(_) => return Err(table.wrong("side", "must be \"both\", \"at-most\" or \"at-least\"")),
    };
    Ok(What::Number { figure, value, tolerance, zero_beyond, side })
}
