//! What a question is about: one photo, or all photos of a sample.

use super::hand::{Hand, Stage};
use super::refused::Refused;
use crate::figures::Report;
use crate::work::batch;

/// A photo or a sample.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Yarn {
    /// The photo with this id.
    Photo(String),
    /// The sample of this name.
    Sample(String),
}

impl Yarn {
    /// As the page writes it: `photo:ID` or `sample:NAME`.
    ///
    /// # Errors
    /// For anything else.
    pub(crate) fn parse(text: &str) -> Result<Self, Refused> {
        match text.split_once(':') {
            Some(("photo", id)) => Ok(Self::Photo(id.to_owned())),
            Some(("sample", name)) => Ok(Self::Sample(name.to_owned())),
            _ => Err(Refused::wrong("choose a photo or a sample")),
        }
    }

    /// Its name, and the reports of its photos with theirs.
    ///
    /// # Errors
    /// Where there is none that was measured.
    pub(crate) fn reports(&self, hand: &Hand) -> Result<(String, Vec<Report>), Refused> {
        let entries: Vec<(String, String)> = {
            let photos = hand.photos();
            let mine = photos.all.values().filter(|e| match self {
                Self::Photo(id) => e.id == *id,
                Self::Sample(name) => e.sample.as_ref() == Some(name),
            });
            mine.filter(|e| e.stage != Stage::Failed).map(|e| (e.id.clone(), e.name.clone())).collect()
        };
        let name = match self {
            Self::Sample(name) => name.clone(),
            Self::Photo(_) => entries.first().map(|(_, name)| name.clone()).unwrap_or_default(),
        };
        let mut reports = Vec::with_capacity(entries.len());
        for (id, _) in entries {
            let Some(record) = hand.record(&id) else { continue };
            reports.extend(batch::report_of(hand.folder.out(), &record).map_err(|e| Refused::failed(e.to_string()))?);
        }
        if reports.is_empty() {
            return Err(Refused::missing("nothing of this was measured yet"));
        }
        Ok((name, reports))
    }
}
