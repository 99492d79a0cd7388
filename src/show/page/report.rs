//! The page of one photo, and the parts that other pages share with it.

use std::fmt::Write;

use super::figures::fixed;
use super::look::{Colour, LookFacts};
use super::{advice, data_uri, document, figures_table, histogram, lead, own, profile, taken};
use crate::figures::Report;
use crate::figures::report::{FaultKind, Sample, StrandFigures};

/// Pieces whose profile is plotted; more would make the page endless, and the histogram holds them all.
const PROFILES: usize = 6;

/// The strand laid straight.
#[must_use]
pub fn strand_figure(strip_png: &[u8], alt: &str) -> String {
    format!(
        "<figure><img class=\"strand\" src=\"{}\" alt=\"{}\"><figcaption>Some of the yarn, cut out of the photo and laid straight.</figcaption></figure>",
        data_uri(strip_png),
        own(alt)
    )
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
pub fn inset_figure(inset_png: &[u8], facts: &LookFacts) -> String {
    let picture = format!(
        "<img class=\"near\" src=\"{}\" alt=\"A short part of the yarn, enlarged: single fibres and the lines of twist\">",
        data_uri(inset_png)
    );
    let Some(mm) = facts.inset_mm.filter(|mm| *mm > 0.0) else {
        return format!(
            "<figure>{picture}<figcaption>A part of it, enlarged; without a scale its length is not known.</figcaption></figure>"
        );
    };
    // A round length that takes about a fifth of the picture.
    let bar =
        [0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0].into_iter().rfind(|b| *b <= mm / 3.5).unwrap_or(mm / 5.0);
    let share = 100.0 * bar / mm;
    // On paper the picture is 150 mm wide.
    let times = 150.0 / mm;
    format!(
        "<figure class=\"inset\">{picture}<div class=\"scalebar\" style=\"width:{share:.2}%\"></div><div class=\"num\">{bar} mm</div>\
         <figcaption>{mm:.1} mm of it, enlarged: {times:.0} times when this picture is 150 mm wide.</figcaption></figure>"
    )
}

/// The colour, with what it is worth.
#[must_use]
pub fn swatch(colour: &Colour) -> String {
    let [r, g, b] = colour.srgb;
    let [l, a, bb] = colour.lab;
    let worth = if colour.balanced {
        "White-balanced by the grey steps of the card; lightness is only as true as the printer's greys."
    } else {
        "Not white-balanced: no grey step of a ruler card was seen, so this colour holds the colour of the light too."
    };
    format!(
        "<p class=\"colour\"><span class=\"swatch\" style=\"background:rgb({r} {g} {b})\" role=\"img\" aria-label=\"The yarn's mean colour\"></span>\
         <span class=\"num\">L* {}, a* {}, b* {} (CIELAB, D65); sRGB {r}, {g}, {b}; varies along the strand by {:.1} (CIE 1976)</span></p><p class=\"why\">{worth}</p>",
        fixed(l, 0),
        fixed(a, 0),
        fixed(bb, 0),
        colour.spread
    )
}

/// Strand, enlarged part and colour; empty parts are left out.
#[must_use]
pub fn look_section(
    sample: &Sample,
    strip_png: Option<&[u8]>,
    inset_png: Option<&[u8]>,
    facts: Option<&LookFacts>,
) -> String {
    let mut out = String::new();
    if let Some(strip) = strip_png {
        out.push_str(&strand_figure(strip, &described(sample)));
    }
    if let Some((inset, facts)) = inset_png.zip(facts) {
        out.push_str(&inset_figure(inset, facts));
    }
    if let Some(colour) = facts.and_then(|f| f.colour.as_ref()) {
        out.push_str("<h2>Colour</h2>");
        out.push_str(&swatch(colour));
    }
    out
}

/// Profiles, distribution and faults.
#[must_use]
pub fn evenness_section(sample: &Sample, strands: &[&StrandFigures]) -> String {
    let widths: Vec<f64> = strands.iter().flat_map(|s| s.profile.width_mm.iter().copied()).collect();
    if widths.is_empty() {
        return String::new();
    }
    let mut out = String::from("<h2>How even it is</h2>");
    let plied = sample.plies.value().is_some_and(|n| *n > 1);
    for (i, strand) in strands.iter().take(PROFILES).enumerate() {
        let plot = profile(&format!("p{i}"), &strand.profile);
        if !plot.is_empty() {
            let note = if plied {
                " The small waves are the plies passing, which is structure and no unevenness."
            } else {
                ""
            };
            let _ = write!(
                out,
                "<figure>{plot}<figcaption>Piece {}. The dashed line is its mean.{note}</figcaption></figure>",
                strand.number
            );
        }
    }
    if strands.len() > PROFILES {
        let _ = write!(
            out,
            "<p class=\"why\">{} more pieces are not drawn; all are in the distribution.</p>",
            strands.len() - PROFILES
        );
    }
    let _ = write!(
        out,
        "<figure>{}<figcaption>How much of the yarn's length has which width, all pieces together.</figcaption></figure>",
        histogram("h", &widths)
    );
    if let Some(faults) = &sample.evenness.faults {
        if faults.list.is_empty() {
            let _ = write!(out, "<p>No thick or thin place of 30&nbsp;% or more on {:.0} mm.</p>", faults.searched_mm);
        } else {
            out.push_str("<section class=\"scroll\" tabindex=\"0\" aria-label=\"Thick and thin places\"><table><caption>Thick and thin places of 30&nbsp;% or more</caption><thead><tr><th scope=\"col\">Piece</th><th scope=\"col\">Kind</th><th scope=\"col\" class=\"r\">From</th><th scope=\"col\" class=\"r\">Length</th><th scope=\"col\" class=\"r\">Against the median</th></tr></thead><tbody>");
            for fault in &faults.list {
                let kind = match fault.kind {
                    FaultKind::Thick => "thick",
                    FaultKind::Thin => "thin",
                };
                let _ = write!(
                    out,
                    "<tr><td>{}</td><td>{kind}</td><td class=\"r\">{:.1} mm</td><td class=\"r\">{:.1} mm</td><td class=\"r\">{:+.0} %</td></tr>",
                    fault.strand, fault.start_mm, fault.length_mm, fault.deviation_percent
                );
            }
            out.push_str("</tbody></table></section>");
        }
    }
    out
}

/// The page of one photo: the yarn, its figures, what was looked at, and what to do about what is missing.
#[must_use]
pub fn report_page(report: &Report, overlay_png: Option<&[u8]>, look: Option<&super::look::Look>) -> String {
    let sample = &report.sample;
    let title = sample.label.clone().unwrap_or_else(|| report.photo.file.clone());
    let header = format!(
        "<h1>{}</h1>\n<p class=\"under\">photo {}, {} × {} px{}</p>",
        own(&title),
        own(&report.photo.file),
        report.photo.width_px,
        report.photo.height_px,
        taken(report.photo.taken_at.as_deref())
    );
    let mut main = look.map(|l| strand_figure(&l.strip_png, &described(sample))).unwrap_or_default();
    main.push_str(&lead(sample));
    main.push_str(&advice(sample, &report.warnings));
    if let Some(png) = overlay_png {
        let _ = write!(
            main,
            "<h2>What was looked at</h2><figure><img class=\"big\" src=\"{}\" alt=\"The photo with the ruler's marks, the numbered pieces of yarn, their edges and their twist drawn in, and each piece laid straight below\"><figcaption>Look here first: if a line follows the wrong thing, measure again with the number of the right piece or ruler.</figcaption></figure>",
            data_uri(png)
        );
    }
    if let Some(look) = look {
        main.push_str("<h2>From near</h2>");
        main.push_str(&inset_figure(&look.inset_png, &look.facts));
        if let Some(colour) = &look.facts.colour {
            main.push_str(&swatch(colour));
        }
    }
    main.push_str("<h2>All figures</h2>");
    main.push_str(&figures_table(sample));
    main.push_str(&evenness_section(sample, &report.strands.iter().collect::<Vec<_>>()));
    document(&title, &header, &main, "")
}
