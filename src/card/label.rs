//! The label: whose sample this is, for the machine (QR code, ISO/IEC 18004) and for people (letters and a short code).

use qrcodegen::{QrCode, QrCodeEcc, QrSegment, Version};

use crate::base::font;

/// Longest sample or person, in characters: two lines of the label.
pub const MAX_CHARACTERS: usize = 36;

/// The QR code's version, always the same, so that a reader who knows the card's pose knows the grid: 37 x 37 modules.
/// Level M holds 84 bytes. Source: ISO/IEC 18004, modules a side = 17 + 4 version.
pub const QR_VERSION: u8 = 5;

/// Modules along one side of the QR code.
pub const QR_MODULES: usize = 17 + 4 * QR_VERSION as usize;

/// Modules of quiet zone on each side. Source: ISO/IEC 18004.
pub const QR_QUIET: usize = 4;

/// Digits and letters that are not mistaken for each other in handwriting: no 0, O, 1, I, L. Their number, 31, is prime,
/// which the check letter needs.
const ALPHABET: &[u8; 31] = b"23456789ABCDEFGHJKMNPQRSTUVWXYZ";

/// Whose sample it is.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Label {
    sample: String,
    person: Option<String>,
}

/// Why a text cannot stand on a card.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LabelError {
    /// Nothing to print.
    #[error("the sample's name is empty; give it one")]
    Empty,
    /// Too many characters.
    #[error("\"{text}\" has {length} characters, and the card has room for {MAX_CHARACTERS}; shorten it")]
    TooLong {
        /// The text.
        text: String,
        /// Its length in characters.
        length: usize,
    },
    /// Too many bytes for the QR code.
    #[error("\"{sample}\" and \"{person}\" together are too long for the code on the card; shorten one of them")]
    TooMuch {
        /// The sample.
        sample: String,
        /// The person.
        person: String,
    },
    /// A spreadsheet would take it for a formula.
    #[error(
        "\"{text}\" begins with \"{first}\", which a spreadsheet takes for a formula; begin with a letter or digit"
    )]
    Formula {
        /// The text.
        text: String,
        /// Its first character.
        first: char,
    },
    /// Line breaks and the like.
    #[error("\"{}\" holds a line break, tab or other control character; remove it", text.escape_debug())]
    Control {
        /// The text.
        text: String,
    },
    /// Not in the font.
    #[error("\"{text}\" holds \"{character}\", which the card's font cannot print; write it otherwise")]
    NoGlyph {
        /// The text.
        text: String,
        /// The character.
        character: char,
    },
}

impl Label {
    /// A label, its texts trimmed; an empty person counts as none.
    ///
    /// # Errors
    /// [`LabelError`] where a text cannot be printed, coded or safely put in a table.
    pub fn new(sample: &str, person: Option<&str>) -> Result<Self, LabelError> {
        let sample = checked(sample)?;
        let person = person.map(checked).transpose()?.filter(|p| !p.is_empty());
        if sample.is_empty() {
            return Err(LabelError::Empty);
        }
        let label = Self { sample, person };
        if label.qr().is_none() {
            let person = label.person.unwrap_or_default();
            return Err(LabelError::TooMuch { sample: label.sample, person });
        }
        Ok(label)
    }

    /// The sample's name.
    #[must_use]
    pub fn sample(&self) -> &str {
        &self.sample
    }

    /// The person's name.
    #[must_use]
    pub fn person(&self) -> Option<&str> {
        self.person.as_deref()
    }

    /// Sample and person in one line, as reports show it.
    #[must_use]
    pub fn line(&self) -> String {
        match &self.person {
            Some(person) => format!("{} / {person}", self.sample),
            None => self.sample.clone(),
        }
    }

    /// Four letters that stand for sample and person, and a fifth that checks them: it shows every single wrong letter and
    /// every swap of two neighbours, because 31 is prime.
    #[must_use]
    pub fn short_code(&self) -> String {
        let mut number = fnv1a(self.text_without_code().as_bytes()) % 31u64.pow(4);
        let mut digits = [0usize; 4];
        for digit in digits.iter_mut().rev() {
            *digit = (number % 31) as usize;
            number /= 31;
        }
        let check = digits.iter().enumerate().map(|(i, d)| (i + 2) * d).sum::<usize>() % 31;
        digits.iter().chain([&check]).map(|d| char::from(ALPHABET[*d])).collect()
    }

    /// Whether these five letters could be somebody's short code.
    #[must_use]
    pub fn is_short_code(letters: &str) -> bool {
        let digits: Option<Vec<usize>> =
            letters.bytes().map(|b| ALPHABET.iter().position(|a| *a == b.to_ascii_uppercase())).collect();
        digits.is_some_and(|d| {
            d.len() == 5 && d.iter().take(4).enumerate().map(|(i, d)| (i + 2) * d).sum::<usize>() % 31 == d[4]
        })
    }

    fn text_without_code(&self) -> String {
        format!("{}\n{}", self.sample, self.person.as_deref().unwrap_or_default())
    }

    /// What the QR code says: a first line `SR1` and the short code, then sample and person on their own lines.
    #[must_use]
    pub fn payload(&self) -> String {
        format!("SR1 {}\n{}", self.short_code(), self.text_without_code())
    }

    /// The label that a QR code's text names; `None` for any other text, or where the short code does not fit.
    #[must_use]
    pub fn from_payload(text: &str) -> Option<Self> {
        let mut lines = text.split('\n');
        let code = lines.next()?.strip_prefix("SR1 ")?;
        let label = Self::new(lines.next()?, lines.next()).ok()?;
        (lines.next().is_none() && label.short_code() == code).then_some(label)
    }

    /// The QR code; `None` where the text is too long for it.
    #[must_use]
    pub fn qr(&self) -> Option<QrCode> {
        let version = Version::new(QR_VERSION);
        let segments = [QrSegment::make_bytes(self.payload().as_bytes())];
        QrCode::encode_segments_advanced(&segments, QrCodeEcc::Medium, version, version, None, true).ok()
    }
}

fn checked(text: &str) -> Result<String, LabelError> {
    let text = text.trim().to_owned();
    let length = text.chars().count();
    if text.chars().any(char::is_control) {
        return Err(LabelError::Control { text });
    }
    if length > MAX_CHARACTERS {
        return Err(LabelError::TooLong { text, length });
    }
    match text.chars().next() {
        Some(first) if matches!(first, '=' | '+' | '-' | '@') => return Err(LabelError::Formula { text, first }),
        _ => {}
    }
    if let Some(character) = font::missing_glyph(&text) {
        return Err(LabelError::NoGlyph { text, character });
    }
    Ok(text)
}

/// 64-bit FNV-1a. Source: RFC 9923, "The FNV Non-Cryptographic Hash Algorithm" (constants from memory).
pub(crate) fn fnv1a(bytes: &[u8]) -> u64 {
    fnv1a_from(0xcbf2_9ce4_8422_2325, bytes)
}

/// The same, gone on with from the hash of what came before.
pub(crate) fn fnv1a_from(hash: u64, bytes: &[u8]) -> u64 {
    bytes.iter().fold(hash, |hash, b| (hash ^ u64::from(*b)).wrapping_mul(0x0000_0100_0000_01b3))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fnv_agrees_with_its_published_test_values() {
        // Source: the FNV test vectors, 64-bit FNV-1a of "" and "foobar" (from memory).
        assert_eq!(fnv1a(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(fnv1a(b"foobar"), 0x8594_4171_f739_67e8);
    }

    #[test]
    fn payload_and_label_are_each_others_inverse() {
        let label = Label::new("  Sample 3, long draw ", Some("Żaneta Ö.")).unwrap();
        assert_eq!(label.sample(), "Sample 3, long draw");
        assert_eq!(Label::from_payload(&label.payload()), Some(label));
        assert_eq!(Label::from_payload("https://example.org"), None);
    }

    #[test]
    fn one_wrong_letter_or_a_swap_is_noticed() {
        let code = Label::new("A", Some("B")).unwrap().short_code();
        assert!(Label::is_short_code(&code));
        for i in 0..5 {
            for letter in ALPHABET {
                let mut other = code.clone().into_bytes();
                if other[i] != *letter {
                    other[i] = *letter;
                    assert!(!Label::is_short_code(std::str::from_utf8(&other).unwrap()));
                }
            }
        }
        for i in 0..3 {
            let mut other = code.clone().into_bytes();
            other.swap(i, i + 1);
            assert!(other == code.as_bytes() || !Label::is_short_code(std::str::from_utf8(&other).unwrap()));
        }
    }

    #[test]
    fn texts_that_cannot_stand_on_a_card_are_refused() {
        assert_eq!(Label::new("  ", None), Err(LabelError::Empty));
        assert!(matches!(Label::new("=1+1", None), Err(LabelError::Formula { first: '=', .. })));
        assert!(matches!(Label::new("a\nb", None), Err(LabelError::Control { .. })));
        assert!(matches!(Label::new(&"x".repeat(37), None), Err(LabelError::TooLong { length: 37, .. })));
        assert!(matches!(Label::new("\u{4e00}", None), Err(LabelError::NoGlyph { .. })));
        let long = "Я".repeat(36);
        assert!(matches!(Label::new(&long, Some(&long)), Err(LabelError::TooMuch { .. })));
    }
}
