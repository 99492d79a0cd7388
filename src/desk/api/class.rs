//! A class: who is in it, what is asked, the marks as they come, and the sheet.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use serde::{Deserialize, Serialize};

use super::super::Desk;
use super::super::refused::{Refused, beside};
use super::samples::Written;
use crate::card::label::Label;
use crate::card::roster;
use crate::work::batch::{Folder, Grouping};
use crate::work::grade::{self, Class, Entry, Marked, Rubric, Side, What};

/// A row of the class.
#[derive(Serialize)]
pub(crate) struct Row {
    sample: String,
    person: Option<String>,
    code: String,
    photos: Vec<String>,
    /// The mark as people read it; null without any photo.
    mark: Option<Mark>,
}

/// A mark.
#[derive(Serialize)]
pub(crate) struct Mark {
    /// The least and the most that it can be.
    total: String,
    out_of: f64,
    /// On how much of what was asked it rests, per cent.
    rests_on_percent: f64,
    /// Whether that is less than the target asks for.
    provisional: bool,
    criteria: Vec<OneCriterion>,
}

/// A criterion of a mark.
#[derive(Serialize)]
pub(crate) struct OneCriterion {
    words: String,
    asked: String,
    measured: String,
    standing: &'static str,
    sentence: String,
}

/// What is asked, as the form shows it.
#[derive(Serialize)]
pub(crate) struct Target {
    title: String,
    out_of: f64,
    criteria: Vec<Asked>,
}

/// A criterion of the form.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Asked {
    figure: String,
    /// A number, or S or Z.
    value: serde_json::Value,
    #[serde(default)]
    tolerance: Option<f64>,
    #[serde(default)]
    weight: Option<f64>,
    #[serde(default)]
    side: Option<String>,
}

/// The class as it stands.
#[derive(Serialize)]
pub(crate) struct Standing {
    /// The roster's own text; null without one.
    roster: Option<String>,
    target: Option<Target>,
    /// What is wrong with the roster or the target on the disk.
    problem: Option<String>,
    rows: Vec<Row>,
    /// Photos whose label could not be read, or is not on the roster, with what it says.
    astray: Vec<String>,
    marked: usize,
}

/// The class as it stands: marks of what was measured so far.
pub(crate) async fn standing(State(desk): State<Arc<Desk>>) -> Result<Json<Standing>, Refused> {
    beside(move || Ok(Json(now(&desk)?))).await
}

fn now(desk: &Desk) -> Result<Standing, Refused> {
    let folder = &desk.hand.folder;
    let text = folder.text("roster.csv").map_err(Refused::failed)?;
    let mut standing = Standing {
        roster: text.as_deref().map(|bytes| String::from_utf8_lossy(bytes).into_owned()),
        target: None,
        problem: None,
        rows: Vec::new(),
        astray: Vec::new(),
        marked: 0,
    };
    let labels = match text.as_deref().map(roster::labels).transpose() {
        Ok(labels) => labels,
        Err(error) => {
            standing.problem = Some(format!("the roster: {error}"));
            return Ok(standing);
        }
    };
    let plain = |label: &Label| Row {
        sample: label.sample().to_owned(),
        person: label.person().map(str::to_owned),
        code: label.short_code(),
        photos: Vec::new(),
        mark: None,
    };
    if folder.text("target.toml").map_err(Refused::failed)?.is_none() {
        standing.rows = labels.iter().flatten().map(plain).collect();
        return Ok(standing);
    }
    match grade::read_target(&folder.out().join("target.toml")) {
        Err(error) => {
            standing.problem = Some(error);
            standing.rows = labels.iter().flatten().map(plain).collect();
        }
        Ok(rubric) => {
            let (class, _) = gathered(desk, labels.as_deref(), &rubric)?;
            standing.marked = class.marked();
            standing.rows = class.entries.iter().map(row).collect();
            let strangers = class.strangers.iter().map(|(photo, label, near)| {
                let near = near.as_deref().map(|n| format!(", perhaps {n}")).unwrap_or_default();
                format!("{photo}: \u{201c}{label}\u{201d} is not on the roster{near}")
            });
            let unread = class.unread.iter().map(|photo| format!("{photo}: belongs to nobody yet"));
            standing.astray = strangers.chain(unread).collect();
            standing.target = Some(target(&rubric));
        }
    }
    Ok(standing)
}

fn gathered(desk: &Desk, labels: Option<&[Label]>, rubric: &Rubric) -> Result<(Class, Folder), Refused> {
    let folder = Folder::open(desk.hand.folder.out()).map_err(|e| Refused::failed(e.to_string()))?;
    let map = Grouping::Map(desk.hand.folder.map().map_err(Refused::failed)?);
    let photos = grade::photos_of(&folder, Some(&map)).map_err(|e| Refused::failed(e.to_string()))?;
    Ok((grade::gather(labels, photos, rubric), folder))
}

fn row(entry: &Entry) -> Row {
    Row {
        sample: entry.label.sample().to_owned(),
        person: entry.label.person().map(str::to_owned),
        code: entry.label.short_code(),
        photos: entry.photos.clone(),
        mark: entry.mark.as_ref().map(|mark| Mark {
            total: match mark.total {
                [least, most] if least < most => format!("{least:.1} to {most:.1}"),
                [_, most] => format!("{most:.1}"),
            },
            rests_on_percent: (100.0 * mark.rests_on).round(),
            provisional: mark.provisional,
            out_of: mark.out_of,
            criteria: mark.criteria.iter().map(criterion).collect(),
        }),
    }
}

fn criterion(marked: &Marked) -> OneCriterion {
    OneCriterion {
        words: marked.words.to_owned(),
        asked: marked.asked.clone(),
        measured: marked.measured.clone(),
        standing: marked.standing.word(),
        sentence: marked.sentence.clone(),
    }
}

fn target(rubric: &Rubric) -> Target {
    let asked = |criterion: &grade::Criterion| {
        let (value, tolerance, side) = match criterion.what {
            What::Number { value, tolerance, side, .. } => (value.into(), Some(tolerance), Some(side)),
            What::Plies(n) => (n.into(), None, None),
            What::Direction(direction) => (format!("{direction:?}").into(), None, None),
        };
        let side = side.map(|side| match side {
            Side::Both => "both",
            Side::AtMost => "at-most",
            Side::AtLeast => "at-least",
        });
        Asked {
            figure: criterion.what.key().to_owned(),
            value,
            tolerance,
            weight: Some(criterion.weight),
            side: side.map(str::to_owned),
        }
    };
    Target { title: rubric.title.clone(), out_of: rubric.out_of, criteria: rubric.criteria.iter().map(asked).collect() }
}

/// Takes a roster: a table as text. An empty one is put away.
pub(crate) async fn put_roster(State(desk): State<Arc<Desk>>, body: String) -> Result<Json<usize>, Refused> {
    beside(move || {
        if body.trim().is_empty() {
            let path = desk.hand.folder.out().join("roster.csv");
            return match std::fs::remove_file(path) {
                Err(e) if e.kind() != std::io::ErrorKind::NotFound => Err(Refused::failed(format!("roster.csv: {e}"))),
                _ => Ok(Json(0)),
            };
        }
        let labels = roster::labels(body.as_bytes()).map_err(|e| Refused::wrong(e.to_string()))?;
        desk.hand.folder.keep("roster.csv", body.as_bytes()).map_err(Refused::failed)?;
        desk.hand.change();
        Ok(Json(labels.len()))
    })
    .await
}

/// What the form says.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Form {
    title: String,
    out_of: f64,
    criteria: Vec<Asked>,
}

/// Takes what is asked. What a file says beyond the form (own advice, where nothing counts) is kept.
pub(crate) async fn put_target(State(desk): State<Arc<Desk>>, Json(form): Json<Form>) -> Result<Json<()>, Refused> {
    beside(move || {
        let _one_at_a_time = desk.tables();
        let before = desk.hand.folder.text("target.toml").map_err(Refused::failed)?.unwrap_or_default();
        let before =
            String::from_utf8(before).ok().and_then(|text| text.parse::<toml::Table>().ok()).unwrap_or_default();
        let text = with_form(before, &form)?.to_string();
        Rubric::from_toml(&text, None).map_err(|e| Refused::wrong(e.to_string()))?;
        desk.hand.folder.keep("target.toml", text.as_bytes()).map_err(Refused::failed)?;
        desk.hand.change();
        Ok(Json(()))
    })
    .await
}

/// A target file's table with what the form says in it.
fn with_form(mut file: toml::Table, form: &Form) -> Result<toml::Table, Refused> {
    let kept: Vec<toml::Table> = match file.remove("criterion") {
        Some(toml::Value::Array(list)) => list.into_iter().filter_map(|item| item.try_into().ok()).collect(),
        _ => Vec::new(),
    };
    // Every value stands in the form now.
    file.remove("like");
    file.insert("title".to_owned(), form.title.clone().into());
    file.insert("out_of".to_owned(), form.out_of.into());
    let mut criteria = Vec::new();
    for asked in &form.criteria {
        let same = |table: &&toml::Table| table.get("figure").and_then(toml::Value::as_str) == Some(&asked.figure);
        let mut table = kept.iter().find(same).cloned().unwrap_or_default();
        let value: toml::Value = match &asked.value {
            serde_json::Value::String(text) => text.clone().into(),
            serde_json::Value::Number(n) => match (n.as_i64(), n.as_f64()) {
                (Some(whole), _) => whole.into(),
                (None, Some(number)) => number.into(),
                (None, None) => return Err(Refused::wrong("a value is no number")),
            },
            _ => return Err(Refused::wrong("each figure needs a value")),
        };
        table.insert("figure".to_owned(), asked.figure.clone().into());
        table.insert("value".to_owned(), value);
        let mut put = |key: &str, value: Option<toml::Value>| match value {
            Some(value) => {
                table.insert(key.to_owned(), value);
            }
            None => {
                table.remove(key);
            }
        };
        put("tolerance_percent", None);
        put("tolerance", asked.tolerance.map(Into::into));
        put("weight", asked.weight.map(Into::into));
        put("side", asked.side.clone().map(Into::into));
        criteria.push(toml::Value::Table(table));
    }
    file.insert("criterion".to_owned(), toml::Value::Array(criteria));
    Ok(file)
}

/// Writes the sheet, the table and a page for each person.
pub(crate) async fn sheet(State(desk): State<Arc<Desk>>) -> Result<Json<Written>, Refused> {
    beside(move || {
        let _one_at_a_time = desk.tables();
        let folder = &desk.hand.folder;
        let text = folder.text("roster.csv").map_err(Refused::failed)?;
        let labels = text.as_deref().map(roster::labels).transpose().map_err(|e| Refused::wrong(e.to_string()))?;
        let rubric = grade::read_target(&folder.out().join("target.toml")).map_err(Refused::wrong)?;
        let (class, batch) = gathered(&desk, labels.as_deref(), &rubric)?;
        let out = folder.out().join("marks");
        grade::write(&out, &class, &rubric, &batch).map_err(|e| Refused::failed(e.to_string()))?;
        Ok(Json(Written {
            page: "/sheets/marks/class.html".to_owned(),
            file: out.join("class.html").display().to_string(),
        }))
    })
    .await
}
