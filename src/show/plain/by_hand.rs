//! Sentences for who holds a picture and no command line: where a sentence of the program names an option, this one names
//! the place to touch.

use crate::figures::{Reason, Warning};

/// What to do about a missing figure.
#[must_use]
pub fn reason(reason: &Reason) -> String {
    let said = match reason {
        Reason::NoScale => {
            "No ruler or ruler card was found, so lengths are unknown; lay one beside the yarn, or touch two points whose distance you know."
        }
        Reason::UnitUnclear => {
            "A ruler was found, but whether it shows millimetres or parts of an inch could not be told; state its unit."
        }
        Reason::UnitMismatch => {
            "The ruler that was found does not divide the unit that was stated; take that statement back to see what its marks show."
        }
        Reason::NoStrand => "No yarn was found; lay it on a plain card of another colour, or draw a frame around it.",
        Reason::NoYarnStructure => {
            "What was found shows neither leaning fibres nor plies, so it may be no yarn; if it is, light it from the side, move closer, or touch it."
        }
        Reason::RoutesDisagree => {
            "Two ways of measuring this do not agree; look at the picture, and state what you know: the piece, or the plies."
        }
        Reason::PliesUnclear => "How many plies the yarn has could not be told; state it.",
        Reason::NoSuchStrand => "No piece of yarn has the number that was stated; touch one of those that were found.",
        Reason::NoSuchRuler => "No ruler has the number that was stated; touch one of those that were found.",
        other => return text(&other.message()),
    };
    said.to_owned()
}

/// A remark.
#[must_use]
pub fn warning(warning: &Warning) -> String {
    match warning.code.as_str() {
        "several-cards" => {
            "Several ruler cards are seen; one of them and the yarn on it were measured. Touch another to take that one.".to_owned()
        }
        "unit-against-marks" => {
            "The unit that was stated was believed, but the ruler's marks look like another; look at the picture.".to_owned()
        }
        _ => text(&warning.message),
    }
}

/// Any other sentence of the program. Advice that names an option is left out, or told otherwise where it is known.
#[must_use]
pub fn text(sentence: &str) -> String {
    const TOLD: [(&str, &str); 8] = [
        ("state --tpi, or measure a photo", "measure a photo"),
        ("give a report of its singles, or state --plies 1", "choose its singles"),
        ("state --diameter, or measure a photo", "measure a photo"),
        ("state --plies (1 for singles)", "state its plies at its photo"),
        ("; state it, as in --dpi 1200", "; state it as a number"),
        (": --region lies outside", ": the region stated lies outside"),
        ("; raise it with --max-megapixels", "; make it smaller, or cut out the part with yarn and ruler"),
        ("; raise it with --max-bytes", "; make it smaller, or cut out the part with yarn and ruler"),
    ];
    let told = TOLD.iter().fold(sentence.to_owned(), |text, (option, by_hand)| text.replace(option, by_hand));
    if !told.contains("--") {
        return told;
    }
    // What is left: clauses, parted by full stops, semicolons and commas, of which those with an option go.
    let mut kept: String = told.split_inclusive(['.', ';', ',']).filter(|clause| !clause.contains("--")).collect();
    while kept.ends_with([';', ',', ' ']) {
        kept.pop();
    }
    if !kept.is_empty() && !kept.ends_with('.') {
        kept.push('.');
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_sentence_asks_for_a_command_line() {
        for one in Reason::ALL {
            let said = reason(one);
            assert!(!said.contains("--") && said.len() > 20 && said.ends_with('.'), "{one:?}: {said}");
        }
        assert_eq!(
            text("a.jpg: 20 x 30 px is above the limit of 1 megapixels; raise it with --max-megapixels"),
            "a.jpg: 20 x 30 px is above the limit of 1 megapixels; make it smaller, or cut out the part with yarn and ruler"
        );
        assert_eq!(text("Two things. Choose another with --ruler."), "Two things.");
        assert_eq!(text("Look at it, or state --plies"), "Look at it.");
        assert_eq!(text("Nothing of the sort."), "Nothing of the sort.");
    }
}
