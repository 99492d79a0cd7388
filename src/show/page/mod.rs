//! Pages: one look for the report of a photo, a portfolio, a class and a person. Every page is one file that opens from
//! a disk without a network, prints on A4 and Letter, and follows the reader's light or dark setting.
//!
//! Parts are [`Markup`], whose texts escape by themselves; [`own`] makes visible what people's own text may hide.

pub mod axis;
mod figures;
pub mod look;
mod plots;
mod report;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::escape;

pub use figures::{advice, figures_table, lead};
pub(super) use figures::{number, sure};
pub use plots::{histogram, profile};
pub use report::{evenness_section, inset_figure, look_section, report_page, strand_figure, swatch};

const STYLE: &str = include_str!("style.css");

/// A whole document. `script` is our own and runs at the end, if not empty.
#[must_use]
pub fn document(title: &str, header: &Markup, main: &Markup, script: &str) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (own(title)) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                a class="skip" href="#main" { "To the content" }
                header { (header) }
                main id="main" { (main) }
                footer {
                    p {
                        "Measured with strandrule " (env!("CARGO_PKG_VERSION"))
                        ". Each range is a 95\u{a0}% interval: in 19 of 20 cases the true figure lies in it."
                    }
                }
                @if !script.is_empty() { script { (PreEscaped(script)) } }
            }
        }
    };
    page.into_string() + "\n"
}

/// Whether nothing stands in it.
#[must_use]
pub fn is_empty(part: &Markup) -> bool {
    part.0.is_empty()
}

/// A table that a narrow screen scrolls, with a name for those who do not see it.
#[must_use]
pub fn scrolled(name: &str, table: &Markup) -> Markup {
    html! { section class="scroll" tabindex="0" aria-label=(name) { (table) } }
}

/// A PNG as the source of an image.
#[must_use]
pub fn data_uri(png: &[u8]) -> String {
    format!("data:image/png;base64,{}", STANDARD.encode(png))
}

/// The same with a capital letter in front.
#[must_use]
pub fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map(|c| c.to_uppercase().collect::<String>() + letters.as_str()).unwrap_or_default()
}

/// When a photo was taken, as people write it; `None` stays nothing.
#[must_use]
pub fn taken(at: Option<&str>) -> String {
    at.map(|at| format!(", taken {}", own(&at.replacen('T', " ", 1)))).unwrap_or_default()
}

/// Text of people's own with control characters and marks of direction made visible; the page escapes it.
#[must_use]
pub fn own(text: &str) -> String {
    escape::one_line(text)
}
