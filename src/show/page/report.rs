//! The page of one photo, and the parts that other pages share with it.

use maud::{Markup, html};

use super::figures::fixed;
use super::look::{Colour, LookFacts};
use super::{advice, data_uri, document, figures_table, histogram, is_empty, lead, own, profile, scrolled, taken};
use crate::figures::Report;
use crate::figures::report::{FaultKind, Faults, Sample, StrandFigures};

/// Pieces whose profile is plotted; more would make the page endless, and the histogram holds them all.
const PROFILES: usize = 6;

/// The strand laid straight.
#[must_use]
pub fn strand_figure(strip_png: &[u8], alt: &str) -> Markup {
    html! {
        figure {
            img class="strand" src=(data_uri(strip_png)) alt=(own(alt));
            figcaption { "Some of the yarn, cut out of the photo and laid straight." }
        }
    }
}

/// What the picture of a strand shows, for those who do not see it.
fn described(sample: &Sample) -> String {
    let kind = match sample.plies.value() {
        Some(1) => "singles".to_owned(),
        Some(n) => format!("{n}-ply yarn"),
        None => "yarn".to_owned(),
    };
    let twist = sample.twist_direction.value().map(|d| format!(" twisted {d:?}")).unwrap_or_default();
    let thick = sample.diameter_mm.value().map(|d| format!(", {d:.2} mm thick")).unwrap_or_default();
    format!("A piece of {kind}{twist}{thick}, laid straight")
}

/// The enlarged part with a scale bar of a round length; its width on paper is stated.
#[must_use]
pub fn inset_figure(inset_png: &[u8], facts: &LookFacts) -> Markup {
    let picture = html! {
        img class="near" src=(data_uri(inset_png)) alt="A short part of the yarn, enlarged: single fibres and the lines of twist";
    };
    let Some(mm) = facts.inset_mm.filter(|mm| *mm > 0.0) else {
        return html! {
            figure {
                (picture)
                figcaption { "A part of it, enlarged; without a scale its length is not known." }
            }
        };
    };
    // A round length that takes about a fifth of the picture.
    let bar =
        [0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0].into_iter().rfind(|b| *b <= mm / 3.5).unwrap_or(mm / 5.0);
    let share = 100.0 * bar / mm;
    // On paper the picture is 150 mm wide.
    let times = 150.0 / mm;
    html! {
        figure class="inset" {
            (picture)
            div class="scalebar" style=(format!("width:{share:.2}%")) {}
            div class="num" { (bar) " mm" }
            figcaption {
                (format!("{mm:.1} mm of it, enlarged: {times:.0} times when this picture is 150 mm wide."))
            }
        }
    }
}

/// The colour, with what it is worth.
#[must_use]
pub fn swatch(colour: &Colour) -> Markup {
    let [r, g, b] = colour.srgb;
    let [l, a, bb] = colour.lab.map(|v| fixed(v, 0));
    let worth = if colour.balanced {
        "White-balanced by the grey steps of the card; lightness is only as true as the printer's greys."
    } else {
        "Not white-balanced: no grey step of a ruler card was seen, so this colour holds the colour of the light too."
    };
    let spread = colour.spread;
    html! {
        p class="colour" {
            span class="swatch" style=(format!("background:rgb({r} {g} {b})")) role="img" aria-label="The yarn's mean colour" {}
            span class="num" {
                (format!("L* {l}, a* {a}, b* {bb} (CIELAB, D65); sRGB {r}, {g}, {b}; varies along the strand by {spread:.1} (CIE 1976)"))
            }
        }
        p class="why" { (worth) }
    }
}

/// Strand, enlarged part and colour; empty parts are left out.
#[must_use]
pub fn look_section(
    sample: &Sample,
    strip_png: Option<&[u8]>,
    inset_png: Option<&[u8]>,
    facts: Option<&LookFacts>,
) -> Markup {
    html! {
        @if let Some(strip) = strip_png { (strand_figure(strip, &described(sample))) }
        @if let Some((inset, facts)) = inset_png.zip(facts) { (inset_figure(inset, facts)) }
        @if let Some(colour) = facts.and_then(|f| f.colour.as_ref()) {
            h2 { "Colour" }
            (swatch(colour))
        }
    }
}

/// Profiles, distribution and faults.
#[must_use]
pub fn evenness_section(sample: &Sample, strands: &[&StrandFigures]) -> Markup {
    let widths: Vec<f64> = strands.iter().flat_map(|s| s.profile.width_mm.iter().copied()).collect();
    if widths.is_empty() {
        return Markup::default();
    }
    let plied = sample.plies.value().is_some_and(|n| *n > 1);
    let plots = strands.iter().take(PROFILES).enumerate();
    let plots = plots.map(|(i, strand)| (strand.number, profile(&format!("p{i}"), &strand.profile)));
    html! {
        h2 { "How even it is" }
        @for (number, plot) in plots.filter(|(_, plot)| !is_empty(plot)) {
            figure {
                (plot)
                figcaption {
                    "Piece " (number) ". The dashed line is its mean."
                    @if plied { " The small waves are the plies passing, which is structure and no unevenness." }
                }
            }
        }
        @if strands.len() > PROFILES {
            p class="why" { (strands.len() - PROFILES) " more pieces are not drawn; all are in the distribution." }
        }
        figure {
            (histogram("h", &widths))
            figcaption { "How much of the yarn's length has which width, all pieces together." }
        }
        @if let Some(faults) = &sample.evenness.faults { (faults_section(faults)) }
    }
}

/// Thick and thin places.
fn faults_section(faults: &Faults) -> Markup {
    if faults.list.is_empty() {
        return html! {
            p { (format!("No thick or thin place of 30\u{a0}% or more on {:.0} mm.", faults.searched_mm)) }
        };
    }
    let kind = |kind: FaultKind| match kind {
        FaultKind::Thick => "thick",
        FaultKind::Thin => "thin",
    };
    let table = html! {
        table {
            caption { "Thick and thin places of 30\u{a0}% or more" }
            thead {
                tr {
                    th scope="col" { "Piece" }
                    th scope="col" { "Kind" }
                    @for name in ["From", "Length", "Against the median"] { th scope="col" class="r" { (name) } }
                }
            }
            tbody {
                @for fault in &faults.list {
                    tr {
                        td { (fault.strand) }
                        td { (kind(fault.kind)) }
                        td class="r" { (format!("{:.1} mm", fault.start_mm)) }
                        td class="r" { (format!("{:.1} mm", fault.length_mm)) }
                        td class="r" { (format!("{:+.0} %", fault.deviation_percent)) }
                    }
                }
            }
        }
    };
    scrolled("Thick and thin places", &table)
}

/// The page of one photo: the yarn, its figures, what was looked at, and what to do about what is missing.
#[must_use]
pub fn report_page(report: &Report, overlay_png: Option<&[u8]>, look: Option<&super::look::Look>) -> String {
    let sample = &report.sample;
    let title = sample.label.clone().unwrap_or_else(|| report.photo.file.clone());
    let photo = &report.photo;
    let header = html! {
        h1 { (own(&title)) }
        p class="under" {
            "photo " (own(&photo.file)) ", " (photo.width_px) " × " (photo.height_px) " px"
            (taken(photo.taken_at.as_deref()))
        }
    };
    let main = html! {
        @if let Some(look) = look { (strand_figure(&look.strip_png, &described(sample))) }
        (lead(sample))
        (advice(sample, &report.warnings))
        @if let Some(png) = overlay_png {
            h2 { "What was looked at" }
            figure {
                img class="big" src=(data_uri(png)) alt="The photo with the ruler's marks, the numbered pieces of yarn, their edges and their twist drawn in, and each piece laid straight below";
                figcaption { "Look here first: if a line follows the wrong thing, measure again with the number of the right piece or ruler." }
            }
        }
        @if let Some(look) = look {
            h2 { "From near" }
            (inset_figure(&look.inset_png, &look.facts))
            @if let Some(colour) = &look.facts.colour { (swatch(colour)) }
        }
        h2 { "All figures" }
        (figures_table(sample))
        (evenness_section(sample, &report.strands.iter().collect::<Vec<_>>()))
    };
    document(&title, &header, &main, "")
}
