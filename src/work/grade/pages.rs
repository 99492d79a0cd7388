//! The class's sheet and each person's page as HTML. A person's page holds nobody else's name or mark.

use std::fmt::Write;

use super::class::{Class, Entry};
use super::marking::{Result as Mark, Standing};
use super::rubric::Rubric;
use crate::show::page::{advice, capital, data_uri, document, figures_table, lead, own};

impl Standing {
    fn words(self) -> &'static str {
        match self {
            Self::Meets => "meets it",
            Self::CannotBeTold => "cannot be told from it",
            Self::Misses => "misses it",
            Self::NotMarked => "not marked",
        }
    }

    /// A sign beside the words, so that colour is not needed.
    fn sign(self) -> &'static str {
        match self {
            Self::Meets => "<span class=\"ok\" aria-hidden=\"true\">●</span> ",
            Self::CannotBeTold => "<span class=\"ok\" aria-hidden=\"true\">○</span> ",
            Self::Misses => "<span class=\"off\" aria-hidden=\"true\">▲</span> ",
            Self::NotMarked => "",
        }
    }
}

/// The name of a person's page: plain letters and the short code that the card bears.
#[must_use]
pub fn file_name(entry: &Entry) -> String {
    let plain: String = entry
        .label
        .line()
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' })
        .take(50)
        .collect();
    let parts: Vec<&str> = plain.split('-').filter(|p| !p.is_empty()).collect();
    format!("{}-{}.html", parts.join("-"), entry.label.short_code()).trim_start_matches('-').to_owned()
}

/// The ends of a range; one figure where they look alike.
fn range(ends: [String; 2]) -> String {
    let [least, most] = ends;
    if least == most { most } else { format!("{least} to {most}") }
}

fn total(mark: &Mark) -> String {
    range(mark.total.map(|end| format!("{end:.1}")))
}

/// On how much of the target a mark rests.
fn rests_on(mark: &Mark) -> String {
    let provisional = if mark.provisional { "provisional, " } else { "" };
    format!("{provisional}rests on {:.0} % of the target", 100.0 * mark.rests_on)
}

/// The page of one person: the picture, the figures, the mark, and a sentence on each criterion.
/// `strand_png` is the yarn laid straight, `overlay_png` what was measured.
#[must_use]
pub fn person_page(entry: &Entry, rubric: &Rubric, strand_png: Option<&[u8]>, overlay_png: Option<&[u8]>) -> String {
    let person = entry.label.person().unwrap_or_else(|| entry.label.sample());
    let title = format!("{person}: {}", rubric.title);
    let header = format!(
        "<h1>{}</h1>\n<p class=\"under\">{}, sample {}</p>",
        own(person),
        own(&rubric.title),
        own(entry.label.sample())
    );
    let mut main = String::new();
    if let Some(png) = strand_png {
        let _ = write!(
            main,
            "<figure><img class=\"strand\" src=\"{}\" alt=\"The yarn, laid straight\"></figure>",
            data_uri(png)
        );
    }
    let (Some(mark), Some(pooled)) = (&entry.mark, &entry.pooled) else {
        main.push_str("<p>No photo of this sample was found, so there is no mark yet.</p>");
        return document(&title, &header, &main, "");
    };
    let _ = write!(
        main,
        "<p><span class=\"mark num\">{}</span> out of {}: {}.</p>",
        total(mark),
        mark.out_of,
        rests_on(mark)
    );
    if mark.total[0] < mark.total[1] {
        main.push_str(
            "<p class=\"why\">The mark is a range: where an interval reaches over a limit, the part counts from the least to the most that it allows, and what was not read counts from nothing to full.</p>",
        );
    }
    if mark.provisional {
        main.push_str("<p><strong>Provisional:</strong> too little of what was asked could be read. Take the photo again as told below.</p>");
    }
    main.push_str("<h2>What was asked, and what it is</h2>");
    main.push_str(&criteria_table(mark));
    main.push_str("<h2>The yarn</h2>");
    main.push_str(&lead(&pooled.sample));
    if let Some(png) = overlay_png {
        let _ = write!(
            main,
            "<figure><img class=\"big\" src=\"{}\" alt=\"The photo with the ruler's marks, the numbered pieces of yarn, their edges and their twist drawn in\"><figcaption>What was looked at{}.</figcaption></figure>",
            data_uri(png),
            if entry.photos.len() > 1 {
                format!(", on the first of {} photos", entry.photos.len())
            } else {
                String::new()
            }
        );
    }
    main.push_str(&advice(&pooled.sample, &pooled.warnings));
    main.push_str("<h2>All figures</h2>");
    main.push_str(&figures_table(&pooled.sample));
    document(&title, &header, &main, "")
}

fn criteria_table(mark: &Mark) -> String {
    let mut out = String::from(
        "<section class=\"scroll\" tabindex=\"0\" aria-label=\"Criteria\"><table><caption>Each part of the mark</caption><thead><tr><th scope=\"col\">Figure</th><th scope=\"col\">Asked</th><th scope=\"col\">Measured</th><th scope=\"col\">How it stands</th><th scope=\"col\" class=\"r\">Part</th><th scope=\"col\" class=\"r\">Weight</th></tr></thead><tbody>",
    );
    for c in &mark.criteria {
        let part = range(c.share.map(|end| format!("{:.0} %", 100.0 * end)));
        let _ = write!(
            out,
            "<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td><td>{}{}</td><td class=\"r\">{part}</td><td class=\"r\">{}</td></tr>",
            own(&capital(c.words)),
            own(&c.asked),
            own(&c.measured),
            c.standing.sign(),
            c.standing.words(),
            c.weight
        );
    }
    out.push_str("</tbody></table></section><h3>What to change at the wheel</h3><ul class=\"said\">");
    for c in &mark.criteria {
        let _ = write!(out, "<li><strong>{}:</strong> {}</li>", own(&capital(c.words)), own(&c.sentence));
    }
    out.push_str("</ul>");
    out
}

/// The whole class: a table with a link to each page, and what is missing.
#[must_use]
pub fn class_page(class: &Class, rubric: &Rubric) -> String {
    let marked = class.marked();
    let missing = missing(class);
    let more = if missing.is_empty() { "" } else { "; <a href=\"#look\">some are to be looked at</a>" };
    let header = format!(
        "<h1>{}</h1>\n<p class=\"under\">{} on the list, {marked} marked, out of {}{more}</p>",
        own(&rubric.title),
        class.entries.len(),
        rubric.out_of
    );
    let mut main = String::from(
        "<h2>Marks</h2><p class=\"why\">● meets what was asked, ○ cannot be told from it, ▲ misses it. A mark is a range, from the least to the most that the intervals allow; what was not read counts from nothing to full. Each name leads to a page of its own.</p><section class=\"scroll short\" tabindex=\"0\" aria-label=\"Marks\"><table><caption>One row a sample</caption><thead><tr><th scope=\"col\">Person</th><th scope=\"col\">Sample</th><th scope=\"col\" class=\"r\">Photos</th><th scope=\"col\" class=\"r\">Mark</th>",
    );
    for criterion in &rubric.criteria {
        let _ = write!(main, "<th scope=\"col\">{}</th>", own(&capital(criterion.what.words())));
    }
    main.push_str("</tr></thead><tbody>");
    for entry in &class.entries {
        let person = entry.label.person().unwrap_or("(no name)");
        let _ = write!(
            main,
            "<tr><th scope=\"row\"><a href=\"people/{}\">{}</a></th><td>{}</td><td class=\"r\">{}</td>",
            file_name(entry),
            own(person),
            own(entry.label.sample()),
            entry.photos.len()
        );
        match &entry.mark {
            Some(mark) => {
                let _ = write!(
                    main,
                    "<td class=\"r\"><strong>{}</strong><br><small>{}</small></td>",
                    total(mark),
                    rests_on(mark)
                );
                for c in &mark.criteria {
                    // The interval stands on the person's own page.
                    let short = c.measured.split(" (").next().unwrap_or_default();
                    let _ = write!(main, "<td>{}{}</td>", c.standing.sign(), own(short));
                }
            }
            None => {
                let _ =
                    write!(main, "<td class=\"r\">none</td><td colspan=\"{}\">no photo</td>", rubric.criteria.len());
            }
        }
        main.push_str("</tr>");
    }
    main.push_str("</tbody></table></section>");
    main.push_str(&missing);
    document(&rubric.title, &header, &main, "")
}

/// Who has no photo, whose label could not be read, who has several, what failed.
fn missing(class: &Class) -> String {
    let mut out = String::new();
    let mut list = |title: &str, help: &str, items: Vec<String>| {
        if !items.is_empty() {
            let _ = write!(out, "<h3>{title}</h3><p class=\"why\">{help}</p><ul class=\"said\">");
            for item in items {
                let _ = write!(out, "<li>{item}</li>");
            }
            out.push_str("</ul>");
        }
    };
    let line = |e: &Entry| own(&e.label.line());
    list("No photo", "", class.entries.iter().filter(|e| e.photos.is_empty()).map(line).collect());
    list(
        "Label could not be read",
        "Name these in a table with the columns photo and sample, and give it with --map.",
        class.unread.iter().map(|p| own(p)).collect(),
    );
    list(
        "Label not on the list",
        "Mend the roster, or name these in the table of --map.",
        class
            .strangers
            .iter()
            .map(|(photo, label, near)| {
                let near = near.as_deref().map(|n| format!(", perhaps {}", own(n))).unwrap_or_default();
                format!("{}: \u{201c}{}\u{201d}{near}", own(photo), own(label))
            })
            .collect(),
    );
    list(
        "Could not be measured",
        "",
        class.failed.iter().map(|(p, why)| format!("{}: {}", own(p), own(why))).collect(),
    );
    list(
        "Several photos, taken together",
        "",
        class
            .entries
            .iter()
            .filter(|e| e.photos.len() > 1)
            .map(|e| format!("{} ({} photos)", line(e), e.photos.len()))
            .collect(),
    );
    if out.is_empty() { out } else { format!("<section id=\"look\"><h2>To be looked at</h2>{out}</section>") }
}
