//! What is printed: ruler cards as they are asked for, and the sheets and pages that were written.

use std::path::Path as FilePath;
use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::super::Desk;
use super::super::refused::{Refused, beside};
use super::photos::{answer, sheet};
use crate::card::label::Label;
use crate::card::layout::CardSize;
use crate::card::sheet::{Paper, sheets};
use crate::card::{pdf, roster};

/// Most plain cards at once: more is a slip of the key.
const MOST_COPIES: u16 = 100;

/// Which card.
#[derive(Deserialize)]
pub(crate) struct Card {
    #[serde(default)]
    small: bool,
    #[serde(default)]
    letter: bool,
    /// A card for each row of the roster.
    #[serde(default)]
    class: bool,
    sample: Option<String>,
    person: Option<String>,
    copies: Option<u16>,
}

/// Cards as PDF.
pub(crate) async fn cards(State(desk): State<Arc<Desk>>, Query(card): Query<Card>) -> Result<Response, Refused> {
    beside(move || {
        let text = |text: &Option<String>| text.as_deref().map(str::trim).filter(|t| !t.is_empty()).map(str::to_owned);
        let labels: Vec<Option<Label>> = if card.class {
            let bytes = desk.hand.folder.text("roster.csv").map_err(Refused::failed)?;
            let bytes = bytes.ok_or_else(|| Refused::wrong("there is no roster yet"))?;
            roster::labels(&bytes).map_err(|e| Refused::wrong(e.to_string()))?.into_iter().map(Some).collect()
        } else {
            let label = text(&card.sample).map(|sample| Label::new(&sample, text(&card.person).as_deref()));
            let label = label.transpose().map_err(|e| Refused::wrong(e.to_string()))?;
            vec![label; usize::from(card.copies.unwrap_or(1).clamp(1, MOST_COPIES))]
        };
        let paper = if card.letter { Paper::Letter } else { Paper::A4 };
        let size = if card.small { CardSize::Small } else { CardSize::Full };
        let bytes = pdf(&sheets(paper, size, &labels), "Ruler card")
            .ok_or_else(|| Refused::failed("the card could not be drawn"))?;
        // Browsers show a PDF through a page of their own, which a stricter policy would forbid.
        let policy = [(header::CONTENT_SECURITY_POLICY, "frame-ancestors 'none'")];
        Ok((policy, answer("application/pdf", bytes)).into_response())
    })
    .await
}

/// A page of the marks or of the portfolio. The address names no path: each of its parts has to be the name of something
/// that lies there.
pub(crate) async fn written(State(desk): State<Arc<Desk>>, Path(address): Path<String>) -> Result<Response, Refused> {
    beside(move || {
        let missing = || Refused::missing("there is no such page; write it once more");
        let mut place = desk.hand.folder.out().to_owned();
        let parts: Vec<&str> = address.split('/').collect();
        let known = matches!(parts.as_slice(), ["marks" | "portfolio", _] | ["marks", "people", _]);
        if !known {
            return Err(missing());
        }
        for part in parts {
            place = entry_of(&place, part).ok_or_else(missing)?;
        }
        let bytes = std::fs::read(&place).map_err(|_gone| missing())?;
        match place.extension().and_then(|e| e.to_str()) {
            Some("html") => Ok(sheet(bytes)),
            Some("csv") => {
                let file = [(header::CONTENT_DISPOSITION, "attachment; filename=\"class.csv\"")];
                Ok((file, answer("text/csv; charset=utf-8", bytes)).into_response())
            }
            _ => Err(missing()),
        }
    })
    .await
}

/// The entry of a folder that is called exactly so.
fn entry_of(folder: &FilePath, name: &str) -> Option<std::path::PathBuf> {
    let mut entries = std::fs::read_dir(folder).ok()?.flatten();
    entries.find(|entry| entry.file_name() == name).map(|entry| entry.path())
}
