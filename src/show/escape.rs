//! Text that people chose (file names, labels, rosters) made harmless where it lands.

/// On one line of a terminal or a page: control characters, which could move the cursor or change colours, and the marks that
/// turn the direction of writing become visible as `\u{..}`, and so do the two that XML allows nowhere, not even escaped.
/// Escaping markup is the templates' work.
///
/// Source: XML 1.0, 2.2: characters are tab, line feed, carriage return and what lies above U+001F, without surrogates,
/// U+FFFE and U+FFFF.
#[must_use]
pub fn one_line(text: &str) -> String {
    text.chars()
        .flat_map(|c| {
            let hidden = c.is_control()
                || matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{fffe}' | '\u{ffff}');
            let (plain, escaped) = if hidden { (None, Some(c.escape_unicode())) } else { (Some(c), None) };
            plain.into_iter().chain(escaped.into_iter().flatten())
        })
        .collect()
}

/// In a cell of a table: one that a spreadsheet would run as a formula gets an apostrophe in front, which shows it as
/// text. Numbers are untouched. Quotes, commas and line ends are the CSV writer's work.
///
/// Source: OWASP, "CSV Injection": cells that begin with `=`, `+`, `-`, `@`, tab or carriage return (from memory).
#[must_use]
pub fn cell(text: &str) -> String {
    let risky = text.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']) && text.parse::<f64>().is_err();
    if risky { format!("'{text}") } else { text.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_terminal_sees_no_control_character() {
        assert_eq!(one_line("a\x1b[31mb\nc\u{202e}d"), "a\\u{1b}[31mb\\u{a}c\\u{202e}d");
        assert_eq!(one_line("a\u{ffff}b\u{fffe}"), "a\\u{ffff}b\\u{fffe}");
        assert_eq!(one_line("Grüße, 5 µm"), "Grüße, 5 µm");
    }

    #[test]
    fn a_spreadsheet_runs_no_formula() {
        for text in ["=1+1", "+A1", "-A1", "@SUM(A1)", "\t=1", "\r=1"] {
            assert!(cell(text).starts_with('\''), "{text:?}");
        }
        for text in ["-1.5", "+2", "moss 2-ply", ""] {
            assert_eq!(cell(text), text);
        }
    }
}
