//! The class's sheet and each person's page as HTML. A person's page holds nobody else's name or mark.

use maud::{Markup, html};

use super::class::{Class, Entry};
use super::marking::{Result as Mark, Standing};
use super::rubric::Rubric;
use crate::show::page::{advice, capital, data_uri, document, figures_table, is_empty, lead, own, scrolled};

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
    fn signed(self, words: &str) -> Markup {
        let sign = match self {
            Self::Meets => Some(("ok", "●")),
            Self::CannotBeTold => Some(("ok", "○")),
            Self::Misses => Some(("off", "▲")),
            Self::NotMarked => None,
        };
        html! {
            @if let Some((class, sign)) = sign { span class=(class) aria-hidden="true" { (sign) } " " }
            (words)
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
    let header = html! {
        h1 { (own(person)) }
        p class="under" { (own(&rubric.title)) ", sample " (own(entry.label.sample())) }
    };
    let main = html! {
        @if let Some(png) = strand_png {
            figure { img class="strand" src=(data_uri(png)) alt="The yarn, laid straight"; }
        }
        @if let (Some(mark), Some(pooled)) = (&entry.mark, &entry.pooled) {
            (marked(mark))
            h2 { "The yarn" }
            (lead(&pooled.sample))
            @if let Some(png) = overlay_png { (overlay_figure(png, entry.photos.len())) }
            (advice(&pooled.sample, &pooled.warnings))
            h2 { "All figures" }
            (figures_table(&pooled.sample))
        } @else {
            p { "No photo of this sample was found, so there is no mark yet." }
        }
    };
    document(&title, &header, &main, "")
}

/// A mark and how it came about.
fn marked(mark: &Mark) -> Markup {
    html! {
        p { span class="mark num" { (total(mark)) } " out of " (mark.out_of) ": " (rests_on(mark)) "." }
        @if mark.total[0] < mark.total[1] {
            p class="why" { "The mark is a range: where an interval reaches over a limit, the part counts from the least to the most that it allows, and what was not read counts from nothing to full." }
        }
        @if mark.provisional {
            p { strong { "Provisional:" } " too little of what was asked could be read. Take the photo again as told below." }
        }
        h2 { "What was asked, and what it is" }
        (criteria_table(mark))
    }
}

fn overlay_figure(png: &[u8], photos: usize) -> Markup {
    html! {
        figure {
            img class="big" src=(data_uri(png)) alt="The photo with the ruler's marks, the numbered pieces of yarn, their edges and their twist drawn in";
            figcaption {
                "What was looked at"
                @if photos > 1 { ", on the first of " (photos) " photos" }
                "."
            }
        }
    }
}

fn criteria_table(mark: &Mark) -> Markup {
    let table = html! {
        table {
            caption { "Each part of the mark" }
            thead {
                tr {
                    @for name in ["Figure", "Asked", "Measured", "How it stands"] { th scope="col" { (name) } }
                    @for name in ["Part", "Weight"] { th scope="col" class="r" { (name) } }
                }
            }
            tbody {
                @for c in &mark.criteria {
                    tr {
                        th scope="row" { (own(&capital(c.words))) }
                        td { (own(&c.asked)) }
                        td { (own(&c.measured)) }
                        td { (c.standing.signed(c.standing.words())) }
                        td class="r" { (range(c.share.map(|end| format!("{:.0} %", 100.0 * end)))) }
                        td class="r" { (c.weight) }
                    }
                }
            }
        }
    };
    html! {
        (scrolled("Criteria", &table))
        h3 { "What to change at the wheel" }
        ul class="said" {
            @for c in &mark.criteria {
                li { strong { (own(&capital(c.words))) ":" } " " (own(&c.sentence)) }
            }
        }
    }
}

/// The whole class: a table with a link to each page, and what is missing.
#[must_use]
pub fn class_page(class: &Class, rubric: &Rubric) -> String {
    let missing = missing(class);
    let header = html! {
        h1 { (own(&rubric.title)) }
        p class="under" {
            (class.entries.len()) " on the list, " (class.marked()) " marked, out of " (rubric.out_of)
            @if !is_empty(&missing) { "; " a href="#look" { "some are to be looked at" } }
        }
    };
    let main = html! {
        h2 { "Marks" }
        p class="why" { "● meets what was asked, ○ cannot be told from it, ▲ misses it. A mark is a range, from the least to the most that the intervals allow; what was not read counts from nothing to full. Each name leads to a page of its own." }
        section class="scroll short" tabindex="0" aria-label="Marks" {
            table {
                caption { "One row a sample" }
                thead {
                    tr {
                        th scope="col" { "Person" }
                        th scope="col" { "Sample" }
                        th scope="col" class="r" { "Photos" }
                        th scope="col" class="r" { "Mark" }
                        @for criterion in &rubric.criteria {
                            th scope="col" { (own(&capital(criterion.what.words()))) }
                        }
                    }
                }
                tbody { @for entry in &class.entries { (row(entry, rubric)) } }
            }
        }
        (missing)
    };
    document(&rubric.title, &header, &main, "")
}

fn row(entry: &Entry, rubric: &Rubric) -> Markup {
    // The interval stands on the person's own page.
    let short = |measured: &str| own(measured.split(" (").next().unwrap_or_default());
    html! {
        tr {
            th scope="row" {
                a href=(format!("people/{}", file_name(entry))) { (own(entry.label.person().unwrap_or("(no name)"))) }
            }
            td { (own(entry.label.sample())) }
            td class="r" { (entry.photos.len()) }
            @if let Some(mark) = &entry.mark {
                td class="r" { strong { (total(mark)) } br; small { (rests_on(mark)) } }
                @for c in &mark.criteria { td { (c.standing.signed(&short(&c.measured))) } }
            } @else {
                td class="r" { "none" }
                td colspan=(rubric.criteria.len()) { "no photo" }
            }
        }
    }
}

/// Who has no photo, whose label could not be read, who has several, what failed.
fn missing(class: &Class) -> Markup {
    let line = |e: &Entry| own(&e.label.line());
    let without = class.entries.iter().filter(|e| e.photos.is_empty()).map(line).collect();
    let unread = class.unread.iter().map(|p| own(p)).collect();
    let strangers = class.strangers.iter().map(|(photo, label, near)| {
        let near = near.as_deref().map(|n| format!(", perhaps {}", own(n))).unwrap_or_default();
        format!("{}: \u{201c}{}\u{201d}{near}", own(photo), own(label))
    });
    let failed = class.failed.iter().map(|(p, why)| format!("{}: {}", own(p), own(why))).collect();
    let several = class.entries.iter().filter(|e| e.photos.len() > 1);
    let several = several.map(|e| format!("{} ({} photos)", line(e), e.photos.len())).collect();
    let lists: [(&str, &str, Vec<String>); 5] = [
        ("No photo", "", without),
        (
            "Label could not be read",
            "Say at the desk whose these are, or name them in a table with the columns photo and sample, and give it with --map.",
            unread,
        ),
        (
            "Label not on the list",
            "Mend the roster, say at the desk whose these are, or name them in the table of --map.",
            strangers.collect(),
        ),
        ("Could not be measured", "", failed),
        ("Several photos, taken together", "", several),
    ];
    let lists: Vec<_> = lists.into_iter().filter(|(.., items)| !items.is_empty()).collect();
    if lists.is_empty() {
        return Markup::default();
    }
    html! {
        section id="look" {
            h2 { "To be looked at" }
            @for (title, help, items) in lists {
                h3 { (title) }
                @if !help.is_empty() { p class="why" { (help) } }
                ul class="said" { @for item in items { li { (item) } } }
            }
        }
    }
}
