//! Pages: one look for the report of a photo, a portfolio, a class and a person. Every page is one file that opens from
//! a disk without a network, prints on A4 and Letter, and follows the reader's light or dark setting.
//!
//! Writers return whole documents; every text that people chose passes through [`html`](super::escape::html).

pub mod axis;
mod figures;
pub mod look;
mod plots;
mod report;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use super::escape;

pub use figures::{advice, figures_table, lead};
pub(super) use figures::{number, sure};
pub use plots::{histogram, profile};
pub use report::{evenness_section, inset_figure, look_section, report_page, strand_figure, swatch};

const STYLE: &str = include_str!("style.css");

/// A whole document. `title` is plain text; `header` and `main` are HTML; `script` runs at the end, if not empty.
#[must_use]
pub fn document(title: &str, header: &str, main: &str, script: &str) -> String {
    let script = if script.is_empty() { String::new() } else { format!("<script>{script}</script>\n") };
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>{}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n\
         <a class=\"skip\" href=\"#main\">To the content</a>\n<header>\n{header}\n</header>\n\
         <main id=\"main\">\n{main}\n</main>\n\
         <footer><p>Measured with strandrule {}. Each range is a 95&nbsp;% interval: in 19 of 20 cases the true figure lies in it.</p></footer>\n\
         {script}</body>\n</html>\n",
        escape::html(title),
        env!("CARGO_PKG_VERSION")
    )
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

/// Text of people's own, safe in HTML; control characters and marks of direction made visible.
#[must_use]
pub fn own(text: &str) -> String {
    escape::html(&escape::one_line(text))
}
