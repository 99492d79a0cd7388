//! The spinner's own notes: a small TOML file beside the photo.

use crate::work::keys::{Key, unknown};

/// Keys of a notes file; each a text, a number or a date.
pub const NOTE_KEYS: &[Key] = &[
    Key { name: "title", meaning: "what to call this yarn" },
    Key { name: "fibre", meaning: "fibre and breed, as \"Shetland wool, moorit\"" },
    Key { name: "preparation", meaning: "washed, carded, combed, dyed" },
    Key { name: "drafting", meaning: "short draw, long draw and so on" },
    Key { name: "wheel", meaning: "wheel or spindle" },
    Key { name: "ratio", meaning: "flyer turns for a treadle" },
    Key { name: "plying", meaning: "how it was plied" },
    Key { name: "finishing", meaning: "washed, fulled, hung with or without weight" },
    Key { name: "date", meaning: "when it was spun, as 2026-11-25" },
    Key { name: "weight", meaning: "of the skein" },
    Key { name: "length", meaning: "of the skein" },
    Key { name: "remarks", meaning: "anything else" },
];

/// Longest note, characters: a page is no book.
const LONGEST: usize = 4000;

/// The notes of one sample.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Notes {
    /// Key and text, in the order of [`NOTE_KEYS`].
    pub entries: Vec<(&'static str, String)>,
}

/// Why notes cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotesError {
    /// Not TOML.
    #[error("it is not valid TOML: {0}")]
    Toml(String),
    /// A key that does not exist.
    #[error("{0}")]
    UnknownKey(String),
    /// A list or a table where a text belongs.
    #[error("{0} must be a text in quotes, a number or a date")]
    Kind(&'static str),
    /// Too long.
    #[error("{0} is longer than 4000 characters; shorten it")]
    TooLong(&'static str),
}

impl Notes {
    /// Reads a notes file's text.
    ///
    /// # Errors
    /// [`NotesError`].
    pub fn from_toml(text: &str) -> Result<Self, NotesError> {
        let table: toml::Table = text.parse().map_err(|e: toml::de::Error| NotesError::Toml(e.to_string()))?;
        if let Some(key) = table.keys().find(|k| !NOTE_KEYS.iter().any(|known| known.name == *k)) {
            return Err(NotesError::UnknownKey(unknown(key, NOTE_KEYS)));
        }
        let mut entries = Vec::new();
        for key in NOTE_KEYS {
            let text = match table.get(key.name) {
                None => continue,
                Some(toml::Value::String(text)) => text.trim().to_owned(),
                Some(toml::Value::Integer(n)) => n.to_string(),
                Some(toml::Value::Float(n)) => n.to_string(),
                Some(toml::Value::Datetime(date)) => date.to_string(),
                Some(_) => return Err(NotesError::Kind(key.name)),
            };
            if text.chars().count() > LONGEST {
                return Err(NotesError::TooLong(key.name));
            }
            if !text.is_empty() {
                entries.push((key.name, text));
            }
        }
        Ok(Self { entries })
    }

    /// One entry.
    #[must_use]
    pub fn get(&self, key: &str) -> Option<&str> {
        self.entries.iter().find(|(k, _)| *k == key).map(|(_, text)| text.as_str())
    }
}
