//! The portfolio's pages.

use std::collections::BTreeSet;
use std::fmt::Write;

use super::notes::Notes;
use crate::figures::Report;
use crate::figures::report::{Sample, StrandFigures};
use crate::show::page::{
    advice, capital, data_uri, document, evenness_section, figures_table, lead, look_section, own, taken,
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
    let header = format!(
        "<p class=\"under\"><a href=\"index.html\">All samples</a></p><h1>{}</h1>\n<p class=\"under\">{photos}{taken}</p>",
        own(piece.title())
    );
    let mut main = lead_with_picture(piece);
    main.push_str(&notes_section(&piece.notes));
    let rest = look_section(sample, None, piece.shown.near.as_deref(), piece.shown.facts.as_ref());
    if !rest.is_empty() {
        main.push_str("<h2>From near</h2>");
        main.push_str(&rest);
    }
    let strands: Vec<&StrandFigures> = piece.reports.iter().flat_map(|r| &r.strands).collect();
    main.push_str(&evenness_section(sample, &strands));
    main.push_str("<h2>All figures</h2>");
    main.push_str(&figures_table(sample));
    main.push_str(&between(&piece.pooled));
    main.push_str(&advice(sample, &piece.pooled.warnings));
    if let Some(png) = &piece.shown.overlay {
        let _ = write!(
            main,
            "<h2>What was looked at</h2><figure><img class=\"big\" src=\"{}\" alt=\"The photo with everything that was measured drawn in\"><figcaption>{}</figcaption></figure>",
            data_uri(png),
            piece.reports.first().map(|r| own(&r.photo.file)).unwrap_or_default()
        );
    }
    document(piece.title(), &header, &main, "")
}

fn lead_with_picture(piece: &Piece) -> String {
    let sample = &piece.pooled.sample;
    let mut out = look_section(sample, piece.shown.strand.as_deref(), None, None);
    out.push_str(&lead(sample));
    out
}

fn notes_section(notes: &Notes) -> String {
    let mut rows = String::new();
    for (key, text) in notes.entries.iter().filter(|(key, _)| *key != "title") {
        let _ = write!(rows, "<dt>{}</dt><dd>{}</dd>", capital(key), own_lines(text));
    }
    if rows.is_empty() { rows } else { format!("<h2>How it was made</h2><dl class=\"notes\">{rows}</dl>") }
}

/// A note with its own line breaks kept.
fn own_lines(text: &str) -> String {
    text.lines().map(own).collect::<Vec<_>>().join("<br>")
}

/// How the photos of a sample differ.
fn between(pooled: &PooledReport) -> String {
    if pooled.photos.len() < 2 || pooled.between_photos.is_empty() {
        return String::new();
    }
    let mut out = String::from(
        "<h3>Between the photos</h3><section class=\"scroll\" tabindex=\"0\" aria-label=\"Between the photos\"><table><caption>Standard deviation between photos, beyond what each photo's own uncertainty explains</caption><thead><tr><th scope=\"col\">Figure</th><th scope=\"col\" class=\"r\">Photos</th><th scope=\"col\" class=\"r\">Deviation</th><th scope=\"col\">95&nbsp;% interval</th></tr></thead><tbody>",
    );
    for b in &pooled.between_photos {
        let (Some(sd), Some([low, high])) = (b.standard_deviation.value(), b.standard_deviation.interval95()) else {
            continue;
        };
        let _ = write!(
            out,
            "<tr><th scope=\"row\">{} {}</th><td class=\"r\">{}</td><td class=\"r\">{sd:.2}</td><td>{low:.2} to {high:.2}</td></tr>",
            b.figure.words(),
            own(b.figure.unit()),
            b.photos
        );
    }
    out.push_str("</tbody></table></section>");
    out
}

/// The index: every sample with its yarn and main figures; sorted and filtered by a small script of its own, complete
/// without it. `pages` are the file names, in the order of `pieces`.
#[must_use]
pub fn index_page(title: &str, pieces: &[Piece], pages: &[String]) -> String {
    let header = format!(
        "<h1>{}</h1>\n<p class=\"under\">{} {}</p>",
        own(title),
        pieces.len(),
        if pieces.len() == 1 { "sample" } else { "samples" }
    );
    let mut main = String::from(
        "<div id=\"tools\" class=\"tools\" hidden><div><label for=\"find\">Show only those with the words</label><input id=\"find\" type=\"search\" autocomplete=\"off\"></div><div><label for=\"order\">In the order of</label><select id=\"order\"><option value=\"name\">name</option><option value=\"thick\">thickness</option><option value=\"twist\">twist</option><option value=\"angle\">twist angle</option><option value=\"even\">unevenness</option></select></div><p id=\"told\" class=\"under\" role=\"status\"></p></div><ul id=\"shelf\" class=\"shelf\">",
    );
    let data =
        |sample: &Sample, figure: Figure| figure.of(sample).value().map(|v| format!("{v:.6}")).unwrap_or_default();
    for (piece, page) in pieces.iter().zip(pages) {
        let sample = &piece.pooled.sample;
        let picture = piece.shown.near.as_ref().or(piece.shown.strand.as_ref());
        let picture = picture.map(|png| format!("<img src=\"{}\" alt=\"\">", data_uri(png))).unwrap_or_default();
        let _ = write!(
            main,
            "<li data-name=\"{}\" data-thick=\"{}\" data-twist=\"{}\" data-angle=\"{}\" data-even=\"{}\"><a href=\"{page}\">{picture}<strong>{}</strong>{}</a></li>",
            own(&piece.title().to_lowercase()),
            data(sample, Figure::DiameterMm),
            data(sample, Figure::TwistsPerInch),
            data(sample, Figure::TwistAngleDeg),
            data(sample, Figure::DiameterCvPercent),
            own(piece.title()),
            lines(piece)
        );
    }
    main.push_str("</ul>");
    document(title, &header, &main, include_str!("index.js"))
}

/// The main figures of a sample, a line each.
fn lines(piece: &Piece) -> String {
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
    all.iter().filter(|l| !l.is_empty()).map(|l| format!("<span>{}</span>", own(l))).collect()
}
