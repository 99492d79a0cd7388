//! The desk's own pages: what stands on them before any photo does, and the files of script and style beside them.

use std::fmt::Write;
use std::sync::Arc;

use axum::Router;
use axum::extract::{Path, State};
use axum::http::{HeaderValue, header};
use axum::response::{Html, IntoResponse, Response};
use axum::routing::get;
use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::Desk;
use super::refused::Refused;
use crate::show::overlay::palette::{Ink, Meaning};

/// The files beside the pages: name, kind, content.
const FILES: [(&str, &str, &str); 12] = [
    ("desk.css", CSS, include_str!("files/desk.css")),
    ("desk.js", JS, include_str!("files/desk.js")),
    ("ask.js", JS, include_str!("files/ask.js")),
    ("make.js", JS, include_str!("files/make.js")),
    ("tray.js", JS, include_str!("files/tray.js")),
    ("stage.js", JS, include_str!("files/stage.js")),
    ("seen.js", JS, include_str!("files/seen.js")),
    ("told.js", JS, include_str!("files/told.js")),
    ("samples.js", JS, include_str!("files/samples.js")),
    ("class.js", JS, include_str!("files/class.js")),
    ("phone.js", JS, include_str!("files/phone.js")),
    ("icon.svg", "image/svg+xml", include_str!("files/icon.svg")),
];

const CSS: &str = "text/css; charset=utf-8";
const JS: &str = "text/javascript; charset=utf-8";

/// What browsers can send and we can read. A phone whose pictures are HEIC converts them for a field that asks for these.
const ACCEPTED: &str = "image/jpeg,image/png,image/webp,image/tiff";

/// The page and its files.
pub(crate) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .route("/", get(front))
        .route("/desk/{file}", get(|Path(name): Path<String>| async move { file(&name) }))
}

/// A file beside the pages.
pub(crate) fn file(name: &str) -> Response {
    if name == "marks.css" {
        return ([(header::CONTENT_TYPE, HeaderValue::from_static(CSS))], marks_css()).into_response();
    }
    match FILES.iter().find(|(known, ..)| *known == name) {
        Some((_, kind, content)) => {
            ([(header::CONTENT_TYPE, HeaderValue::from_static(kind))], *content).into_response()
        }
        None => Refused::missing("there is no such file").into_response(),
    }
}

/// The looks of the marks over a photo, from the one table that the overlay is painted by.
fn marks_css() -> String {
    let mut css = String::new();
    for meaning in Meaning::ALL {
        let look = meaning.look();
        let Ink(r, g, b) = look.ink;
        let dash = look.dash.map(|[on, off]| format!("{on} {off}")).unwrap_or_else(|| "none".to_owned());
        // Writing to a string cannot fail.
        let _ = writeln!(css, ".m-{}{{--ink:rgb({r} {g} {b});--wide:{};--dash:{dash}}}", meaning.name(), look.width);
    }
    css
}

fn document(title: &str, token: &str, most_bytes: u64, letter: bool, script: &str, body: &Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="strandrule-token" content=(token);
                meta name="strandrule-most-bytes" content=(most_bytes);
                meta name="strandrule-paper" content=(if letter { "letter" } else { "a4" });
                title { (title) }
                link rel="icon" href="desk/icon.svg" type="image/svg+xml";
                link rel="stylesheet" href="desk/desk.css";
                link rel="stylesheet" href="desk/marks.css";
                script type="module" src=(format!("desk/{script}")) {}
            }
            body { (body) }
        }
    }
    .into_string()
}

/// The places of the desk: name in addresses, and what they are called.
const PLACES: [(&str, &str); 5] =
    [("photos", "Photos"), ("samples", "Samples"), ("class", "Class"), ("wheel", "Wheel"), ("cards", "Cards")];

async fn front(State(desk): State<Arc<Desk>>) -> Html<String> {
    let body = html! {
        a class="skip" href="#main" { "To the content" }
        header class="top" {
            h1 { (PreEscaped(include_str!("files/icon.svg"))) "strandrule" }
            nav aria-label="Places of the desk" {
                ul {
                    @for (name, words) in PLACES {
                        li { a href=(format!("#{name}")) { (words) } }
                    }
                }
            }
            div class="tools" {
                label class="units" for="units" { "Units" }
                select id="units" {
                    option value="metric" { "metric" }
                    option value="imperial" { "imperial" }
                }
                button type="button" id="phone-ask" { "Use a phone" }
                button type="button" id="close-ask" class="quiet" { "Close" }
            }
        }
        p id="said" class="said" role="status" aria-live="polite" {}
        main id="main" tabindex="-1" {
            (photos())
            (samples())
            (class())
            (wheel())
            (cards())
        }
        (phone_dialog())
        (close_dialog())
        noscript { p class="said" { "The desk needs its own script; allow it for this page." } }
    };
    Html(document("strandrule", &desk.token, desk.hand.limits.max_bytes, desk.letter, "desk.js", &body))
}

fn photos() -> Markup {
    html! {
        section id="photos" class="place" aria-labelledby="photos-h" {
            div class="tray" {
                h2 id="photos-h" { "Photos" }
                div id="take" class="take" {
                    label for="files" class="button first" { "Pick photos" }
                    input type="file" id="files" multiple accept=(ACCEPTED);
                    p { "or drop them anywhere on this page, or paste one." }
                }
                p id="counted" class="soft" {}
                ul id="list" class="list" {}
            }
            div id="seen" class="seen" {
                div class="empty" {
                    h3 { "From a photo to figures" }
                    ol {
                        li { "Lay the yarn beside a ruler, or on a card from " a href="#cards" { "Cards" } "; do not pull it." }
                        li { "Photograph it from above, close, with light from the side." }
                        li { "Drop the photo here. Everything stays on this computer." }
                    }
                }
            }
        }
    }
}

fn samples() -> Markup {
    html! {
        section id="samples" class="place" aria-labelledby="samples-h" hidden {
            h2 id="samples-h" { "Samples" }
            p class="lead" { "Several photos of one yarn say more than one. Put them together here, or read the name from the ruler card." }
            form id="gather" class="sheet" {
                fieldset {
                    legend { "Photos" }
                    div id="gather-photos" class="ticks" {}
                }
                label for="gather-name" { "Name of the sample" }
                input type="text" id="gather-name" list="sample-names" maxlength="75" autocomplete="off";
                datalist id="sample-names" {}
                div class="row" {
                    button type="submit" class="first" { "Put together" }
                    button type="button" id="gather-out" { "Take out of their samples" }
                }
            }
            div id="sample-list" class="cards" {}
            div id="sample-told" {}
            form id="compare" class="sheet" {
                h3 { "Compare two" }
                label for="compare-first" { "First" }
                select id="compare-first" {}
                label for="compare-second" { "Second" }
                select id="compare-second" {}
                button type="submit" { "Compare" }
                div id="compare-told" role="status" {}
            }
            form id="book" class="sheet" {
                h3 { "Portfolio" }
                p class="soft" { "A page for every sample and an index, as files that open without this program." }
                label for="book-title" { "Heading" }
                input type="text" id="book-title" value="Yarn samples" maxlength="120";
                button type="submit" { "Write the pages" }
                p id="book-told" role="status" {}
            }
        }
    }
}

fn class() -> Markup {
    html! {
        section id="class" class="place" aria-labelledby="class-h" hidden {
            h2 id="class-h" { "Class" }
            div class="pair" {
                form id="roster" class="sheet" {
                    h3 { "Who is in it" }
                    label for="roster-text" { "Roster: one line a person, with sample and person" }
                    textarea id="roster-text" rows="8" spellcheck="false" placeholder="sample,person\nsinging singles,Ivo Candlebeck" {}
                    p class="soft" { "Paste a table, or drop a CSV file on this page." }
                    div class="row" {
                        button type="submit" class="first" { "Keep the roster" }
                        a id="roster-cards" class="button" target="_blank" rel="noopener" href="cards.pdf?class=true" { "Cards to print" }
                    }
                    p id="roster-told" role="status" {}
                }
                form id="target" class="sheet" {
                    h3 { "What is asked" }
                    label for="target-title" { "Heading" }
                    input type="text" id="target-title" value="Marks" maxlength="120";
                    label for="target-out-of" { "Full mark" }
                    input type="number" id="target-out-of" value="100" min="1" step="any";
                    label for="target-like" { "Like a yarn that was measured" }
                    select id="target-like" {}
                    div id="target-rows" {}
                    div class="row" {
                        button type="button" id="target-more" { "Ask another figure" }
                        button type="submit" class="first" { "Keep the target" }
                    }
                    p id="target-told" role="status" {}
                }
            }
            div class="row" {
                button type="button" id="sheet-write" class="first" { "Write the sheet" }
                p id="sheet-told" role="status" {}
            }
            div id="marks" {}
        }
    }
}

fn wheel() -> Markup {
    html! {
        section id="wheel" class="place" aria-labelledby="wheel-h" hidden {
            h2 id="wheel-h" { "Wheel" }
            form id="plan" class="sheet" {
                label for="plan-of" { "The yarn" }
                select id="plan-of" {}
                label for="plan-ply" { "What to do" }
                select id="plan-ply" {
                    option value="" { "Spin a yarn like it" }
                    @for n in 2..=6 { option value=(n) { (format!("Ply {n} strands of it")) } }
                }
                label for="plan-ratios" { "Ratios of your wheel" }
                input type="text" id="plan-ratios" inputmode="decimal" placeholder="6, 7.5, 9";
                label for="plan-treadles" { "Treadles for one draft" }
                input type="number" id="plan-treadles" min="0" step="any";
                label for="plan-draft" { "Yarn fed in for one draft, " span class="short-unit" { "mm" } }
                input type="number" id="plan-draft" min="0" step="any";
                label for="plan-fibre" { "Fibre" }
                select id="plan-fibre" { option value="" { "not said" } }
                label for="plan-staple" { "Staple length, " span class="short-unit" { "mm" } }
                input type="number" id="plan-staple" min="0" step="any";
                label for="plan-length" { "A weighed skein: its length, " span class="long-unit" { "m" } }
                input type="number" id="plan-length" min="0" step="any";
                label for="plan-weight" { "and its weight, " span class="weight-unit" { "g" } }
                input type="number" id="plan-weight" min="0" step="any";
                button type="submit" class="first" { "Plan" }
                div id="plan-told" role="status" {}
            }
        }
    }
}

fn cards() -> Markup {
    html! {
        section id="cards" class="place" aria-labelledby="cards-h" hidden {
            h2 id="cards-h" { "Cards" }
            p class="lead" { "A ruler card gives the scale, the tilt of the camera and the name of the sample. Print it at 100 % (actual size), then check its 100 mm line." }
            form id="card" class="sheet" {
                label for="card-size" { "Size" }
                select id="card-size" {
                    option value="full" { "postcard, 148 × 100 mm" }
                    option value="small" { "bank card, for thin yarn from near" }
                }
                label for="card-paper" { "Paper" }
                select id="card-paper" {
                    option value="a4" { "A4" }
                    option value="letter" { "Letter" }
                }
                label for="card-sample" { "Sample (may stay empty)" }
                input type="text" id="card-sample" maxlength="36";
                label for="card-person" { "Person (may stay empty)" }
                input type="text" id="card-person" maxlength="36";
                label for="card-copies" { "Copies" }
                input type="number" id="card-copies" value="1" min="1" max="100";
                button type="submit" class="first" { "Open to print" }
                p id="card-told" role="status" {}
            }
        }
    }
}

fn phone_dialog() -> Markup {
    html! {
        dialog id="phone" aria-labelledby="phone-h" {
            h2 id="phone-h" { "Use a phone" }
            p { "Photograph this code with a phone that is in the same home network, and open the address. Photos taken there appear here, and their figures on both." }
            div id="phone-code" class="code" {}
            p { a id="phone-url" target="_blank" rel="noopener noreferrer" {} }
            p class="soft" { "Whoever has this address can send photos to this desk until you end it. Nothing is encrypted on the way, so use it at home, not in a café." }
            p id="phone-told" role="status" {}
            div class="row" {
                button type="button" id="phone-end" { "End it" }
                button type="button" class="first" id="phone-hide" { "Leave it on" }
            }
        }
    }
}

fn close_dialog() -> Markup {
    html! {
        dialog id="close" aria-labelledby="close-h" {
            h2 id="close-h" { "Close the desk?" }
            p { "Photos and figures stay in " span id="close-folder" class="path" {} ". What is still waiting is measured when the desk is opened again." }
            div class="row" {
                button type="button" id="close-no" { "Stay" }
                button type="button" class="first" id="close-yes" { "Close the desk" }
            }
        }
    }
}

/// The page that the phone opens.
pub(crate) fn phone(token: &str, most_bytes: u64) -> String {
    let body = html! {
        header class="top" { h1 { (PreEscaped(include_str!("files/icon.svg"))) "strandrule" } }
        main id="main" class="phone" {
            h2 { "A photo for the desk" }
            p { "From above, close, light from the side, a ruler or the card in the picture." }
            div class="row" {
                label for="camera" class="button first" { "Take a photo" }
                input type="file" id="camera" accept="image/jpeg,image/png,image/webp" capture="environment";
                label for="files" class="button" { "Pick photos" }
                input type="file" id="files" multiple accept="image/jpeg,image/png,image/webp";
            }
            label class="units" for="units" { "Units" }
            select id="units" {
                option value="metric" { "metric" }
                option value="imperial" { "imperial" }
            }
            p id="said" class="said" role="status" aria-live="polite" {}
            ul id="list" class="list" {}
        }
    };
    document("strandrule: phone", token, most_bytes, false, "phone.js", &body)
}
