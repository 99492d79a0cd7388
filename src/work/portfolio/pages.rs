//! The portfolio's pages.

use std::collections::BTreeSet;

use maud::{Markup, html};

use super::notes::Notes;
use crate::figures::Report;
use crate::figures::report::StrandFigures;
use crate::show::page::{
    advice, capital, data_uri, document, evenness_section, figures_table, is_empty, lead, look_section, own, scrolled,
    taken,
};
use crate::work::batch::{Shown, is_photo_ending};
use crate::work::figure::Figure;
use crate::work::pool::PooledReport;

/// A sample of the portfolio.
#[derive(Debug, Clone)]
pub struct Piece {
    /// Its name.
    pub name: String,
    /// Its photos' reports, in order.
    pub reports: Vec<Report>,
    /// The same together.
    pub pooled: PooledReport,
    /// The pictures of the first photo.
    pub shown: Shown,
    /// The spinner's notes.
    pub notes: Notes,
}

impl Piece {
    fn title(&self) -> &str {
        self.notes.get("title").unwrap_or_else(|| without_ending(&self.name))
    }
}

/// A sample that is called after its photo, without the photo's ending.
fn without_ending(name: &str) -> &str {
    let path = std::path::Path::new(name);
    let photo = path.extension().is_some_and(is_photo_ending);
    match name.rsplit_once('.') {
        Some((stem, _)) if photo && !stem.is_empty() => stem,
        _ => name,
    }
}

/// A name for the page of a sample that no other in `taken` has.
#[must_use]
pub fn page_name(name: &str, taken: &mut BTreeSet<String>) -> String {
    let plain: String = without_ending(name)
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' })
        .take(60)
        .collect();
    let parts: Vec<&str> = plain.split('-').filter(|p| !p.is_empty()).collect();
    let base = if parts.is_empty() { "sample".to_owned() } else { parts.join("-") };
    let mut candidate = format!("{base}.html");
    let mut n = 2;
    while candidate == "index.html" || !taken.insert(candidate.clone()) {
        candidate = format!("{base}-{n}.html");
        n += 1;
    }
    candidate
}

/// The page of one sample.
#[must_use]
pub fn sample_page(piece: &Piece) -> String {
    let sample = &piece.pooled.sample;
    let photos = match piece.reports.len() {
        1 => "one photo".to_owned(),
        n => format!("{n} photos together"),
    };
    let taken = taken(piece.reports.iter().find_map(|r| r.photo.taken_at.as_deref()));
    let header = html! {
        p class="under" { a href="index.html" { "All samples" } }
        h1 { (own(piece.title())) }
        p class="under" { (photos) (taken) }
    };
    let rest = look_section(sample, None, piece.shown.near.as_deref(), piece.shown.facts.as_ref());
    let strands: Vec<&StrandFigures> = piece.reports.iter().flat_map(|r| &r.strands).collect();
    let main = html! {
        (look_section(sample, piece.shown.strand.as_deref(), None, None))
        (lead(sample))
        (notes_section(&piece.notes))
        @if !is_empty(&rest) {
            h2 { "From near" }
            (rest)
        }
        (evenness_section(sample, &strands))
        h2 { "All figures" }
        (figures_table(sample))
        (between(&piece.pooled))
        (advice(sample, &piece.pooled.warnings))
        @if let Some(png) = &piece.shown.overlay {
            h2 { "What was looked at" }
            figure {
                img class="big" src=(data_uri(png)) alt="The photo with everything that was measured drawn in";
                figcaption { (piece.reports.first().map(|r| own(&r.photo.file)).unwrap_or_default()) }
            }
        }
    };
    document(piece.title(), &header, &main, "")
}

fn notes_section(notes: &Notes) -> Markup {
    let mut entries = notes.entries.iter().filter(|(key, _)| *key != "title").peekable();
    if entries.peek().is_none() {
        return Markup::default();
    }
    html! {
        h2 { "How it was made" }
        dl class="notes" {
            @for (key, text) in entries {
                dt { (capital(key)) }
                // A note keeps its own line breaks.
                dd { @for (i, line) in text.lines().enumerate() { @if i > 0 { br; } (own(line)) } }
            }
        }
    }
}

/// How the photos of a sample differ.
fn between(pooled: &PooledReport) -> Markup {
    if pooled.photos.len() < 2 || pooled.between_photos.is_empty() {
        return Markup::default();
    }
    let rows = pooled.between_photos.iter().filter_map(|b| {
        let (sd, [low, high]) = (b.standard_deviation.value()?, b.standard_deviation.interval95()?);
        Some((b, format!("{sd:.2}"), format!("{low:.2} to {high:.2}")))
    });
    let table = html! {
        table {
            caption { "Standard deviation between photos, beyond what each photo's own uncertainty explains" }
            thead {
                tr {
                    th scope="col" { "Figure" }
                    th scope="col" class="r" { "Photos" }
                    th scope="col" class="r" { "Deviation" }
                    th scope="col" { "95\u{a0}% interval" }
                }
            }
            tbody {
                @for (b, deviation, interval) in rows {
                    tr {
                        th scope="row" { (b.figure.words()) " " (b.figure.unit()) }
                        td class="r" { (b.photos) }
                        td class="r" { (deviation) }
                        td { (interval) }
                    }
                }
            }
        }
    };
    html! {
        h3 { "Between the photos" }
        (scrolled("Between the photos", &table))
    }
}

/// What the index sorts by: how it is called in the page, and to people.
const ORDERS: [(&str, &str); 5] =
    [("name", "name"), ("thick", "thickness"), ("twist", "twist"), ("angle", "twist angle"), ("even", "unevenness")];

/// The index: every sample with its yarn and main figures; sorted and filtered by a small script of its own, complete
/// without it. `pages` are the file names, in the order of `pieces`.
#[must_use]
pub fn index_page(title: &str, pieces: &[Piece], pages: &[String]) -> String {
    let samples = if pieces.len() == 1 { "sample" } else { "samples" };
    let header = html! {
        h1 { (own(title)) }
        p class="under" { (pieces.len()) " " (samples) }
    };
    let main = html! {
        div id="tools" class="tools" hidden {
            div {
                label for="find" { "Show only those with the words" }
                input id="find" type="search" autocomplete="off";
            }
            div {
                label for="order" { "In the order of" }
                select id="order" { @for (value, words) in ORDERS { option value=(value) { (words) } } }
            }
            p id="told" class="under" role="status" {}
        }
        ul id="shelf" class="shelf" {
            @for (piece, page) in pieces.iter().zip(pages) { (shelved(piece, page)) }
        }
    };
    document(title, &header, &main, include_str!("index.js"))
}

/// A sample in the index.
fn shelved(piece: &Piece, page: &str) -> Markup {
    let sample = &piece.pooled.sample;
    let data = |figure: Figure| figure.of(sample).value().map(|v| format!("{v:.6}")).unwrap_or_default();
    let picture = piece.shown.near.as_ref().or(piece.shown.strand.as_ref());
    html! {
        li data-name=(own(&piece.title().to_lowercase())) data-thick=(data(Figure::DiameterMm))
            data-twist=(data(Figure::TwistsPerInch)) data-angle=(data(Figure::TwistAngleDeg))
            data-even=(data(Figure::DiameterCvPercent)) {
            a href=(page) {
                @if let Some(png) = picture { img src=(data_uri(png)) alt=""; }
                strong { (own(piece.title())) }
                @for line in lines(piece) { span { (own(&line)) } }
            }
        }
    }
}

/// The main figures of a sample, a line each.
fn lines(piece: &Piece) -> Vec<String> {
    let sample = &piece.pooled.sample;
    let mut all = Vec::new();
    let plies = sample.plies.value().map(|n| if *n == 1 { "singles".to_owned() } else { format!("{n}-ply") });
    let way = sample.twist_direction.value().map(|d| format!("{d:?} twist"));
    if plies.is_none() && way.is_none() && sample.diameter_mm.value().is_none() {
        all.push("nothing could be measured".to_owned());
    }
    all.push([plies, way].into_iter().flatten().collect::<Vec<_>>().join(", "));
    let thick = sample.diameter_mm.value().map(|d| format!("{d:.2} mm"));
    let turns = sample.twists_per_inch.value().map(|t| format!("{t:.1} turns/in"));
    all.push([thick, turns].into_iter().flatten().collect::<Vec<_>>().join(", "));
    all.extend(piece.notes.get("fibre").map(str::to_owned));
    all.retain(|line| !line.is_empty());
    all
}
