//! Photos: sent, listed, looked at, stated about, measured again, put away.

use std::sync::Arc;
use std::time::Duration;

use axum::Json;
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, HeaderValue, header};
use axum::response::{IntoResponse, Response};
use image::ImageFormat;
use maud::Markup;
use serde::{Deserialize, Serialize};

use super::super::guard::POLICY_OF_SHEETS;
use super::super::hand::Entry;
use super::super::receive::{Arrived, receive};
use super::super::refused::{Refused, beside};
use super::super::{Desk, phone};
use crate::figures::Report;
use crate::figures::report::WeightCategory;
use crate::measure::photo::{self, CameraFacts, Orientation};
use crate::show::page;
use crate::show::plain::{self, Told, Units, by_hand};
use crate::work::batch;
use crate::work::pool::PooledReport;
use crate::work::stated::Stated;

/// How long a question waits for a change.
const WAIT: Duration = Duration::from_secs(25);

/// Pieces whose profile is plotted; more would make the page endless, and the histogram holds them all.
const PROFILES: usize = 4;

/// Everything that the list of photos shows.
#[derive(Serialize)]
pub(crate) struct Now {
    /// Goes up with every change.
    revision: u64,
    folder: String,
    photos: Vec<Entry>,
    /// Where the phone finds the desk; null while it is not asked for.
    phone: Option<phone::Address>,
    most_bytes: u64,
}

/// `after`: the revision that is known; the answer waits until there is a later one.
#[derive(Deserialize)]
pub(crate) struct After {
    after: Option<u64>,
}

/// What the desk holds now.
pub(crate) async fn now(State(desk): State<Arc<Desk>>, Query(asked): Query<After>) -> Json<Now> {
    let mut changes = desk.hand.changes();
    if let Some(after) = asked.after {
        // Nothing new within the time is an answer too.
        let _ = tokio::time::timeout(WAIT, changes.wait_for(|revision| *revision != after)).await;
    }
    let revision = *changes.borrow_and_update();
    let photos = desk.hand.photos().all.values().cloned().collect();
    Json(Now {
        revision,
        folder: desk.hand.folder.out().display().to_string(),
        photos,
        phone: desk.phone.address(),
        most_bytes: desk.hand.limits.max_bytes,
    })
}

/// What its sender calls a photo.
#[derive(Deserialize)]
pub(crate) struct Sent {
    #[serde(default)]
    name: String,
}

/// Takes a photo: the body is the file.
pub(crate) async fn send(
    State(desk): State<Arc<Desk>>,
    Query(sent): Query<Sent>,
    headers: HeaderMap,
    body: Body,
) -> Result<Json<Arrived>, Refused> {
    receive(&desk.hand, &desk.places, &sent.name, announced(&headers), body).await.map(Json)
}

/// The length that a request announces.
pub(crate) fn announced(headers: &HeaderMap) -> Option<u64> {
    headers.get(header::CONTENT_LENGTH)?.to_str().ok()?.parse().ok()
}

/// The paragraph in both units.
#[derive(Serialize)]
pub(crate) struct Paragraph {
    metric: String,
    imperial: String,
}

/// What is told of a yarn, whether of one photo or of several.
#[derive(Serialize)]
pub(crate) struct Words {
    paragraph: Paragraph,
    figures: Vec<Told>,
    categories: Vec<WeightCategory>,
    remarks: Vec<String>,
}

impl Words {
    /// Of one photo.
    pub(crate) fn of(report: &Report) -> Self {
        Self::new(&report.sample, &report.warnings)
    }

    /// Of several.
    pub(crate) fn of_pooled(pooled: &PooledReport) -> Self {
        Self::new(&pooled.sample, &pooled.warnings)
    }

    fn new(sample: &crate::figures::report::Sample, warnings: &[crate::figures::Warning]) -> Self {
        Self {
            paragraph: Paragraph {
                metric: plain::paragraph(sample, Units::Metric),
                imperial: plain::paragraph(sample, Units::Imperial),
            },
            figures: plain::figures(sample),
            categories: sample.weight_categories.clone(),
            remarks: warnings.iter().map(by_hand::warning).filter(|text| !text.is_empty()).collect(),
        }
    }
}

/// One photo with everything that is known of it.
#[derive(Serialize)]
pub(crate) struct Seen {
    entry: Entry,
    stated: Stated,
    /// What is stated of all photos, from the person's habits.
    stated_of_all: Stated,
    words: Option<Words>,
    size_px: Option<[u32; 2]>,
    taken_at: Option<String>,
    /// Lines over the photo; null where it was not measured.
    sketch: Option<serde_json::Value>,
    /// Plots as SVG, made by the program from numbers alone.
    plots: Vec<String>,
    scale: Option<String>,
}

/// One photo.
pub(crate) async fn one(State(desk): State<Arc<Desk>>, Path(id): Path<String>) -> Result<Json<Seen>, Refused> {
    beside(move || seen(&desk, &id)).await.map(Json)
}

fn seen(desk: &Desk, id: &str) -> Result<Seen, Refused> {
    let (entry, _) = desk.hand.photo(id).ok_or_else(no_photo)?;
    let out = desk.hand.folder.out();
    let stated = Stated::read(out, id).map_err(Refused::failed)?;
    let mut seen = Seen {
        entry,
        stated,
        stated_of_all: desk.hand.all.clone(),
        words: None,
        size_px: None,
        taken_at: None,
        sketch: None,
        plots: Vec::new(),
        scale: None,
    };
    let Some(record) = desk.hand.record(id) else { return Ok(seen) };
    if let Some(report) = batch::report_of(out, &record).map_err(|e| Refused::failed(e.to_string()))? {
        seen.words = Some(Words::of(&report));
        seen.size_px = Some([report.photo.width_px, report.photo.height_px]);
        seen.taken_at.clone_from(&report.photo.taken_at);
        seen.scale = report.scale.method.and_then(|m| serde_json::to_value(m).ok()?.as_str().map(str::to_owned));
        seen.plots = plots(&report);
    }
    let shown = batch::shown(out, &record);
    seen.sketch = shown.sketch.and_then(|bytes| serde_json::from_slice(&bytes).ok());
    Ok(seen)
}

fn plots(report: &Report) -> Vec<String> {
    let mut plots: Vec<_> = report
        .strands
        .iter()
        .take(PROFILES)
        .map(|strand| page::profile(&format!("width-{}", strand.number), &strand.profile))
        .collect();
    let widths: Vec<f64> = report.strands.iter().flat_map(|s| s.profile.width_mm.iter().copied()).collect();
    if !widths.is_empty() {
        plots.push(page::histogram("widths", &widths));
    }
    plots.into_iter().filter(|plot| !page::is_empty(plot)).map(Markup::into_string).collect()
}

fn no_photo() -> Refused {
    Refused::missing("there is no such photo; it may have been put away")
}

/// States something about a photo, in place of what was stated before, and measures it again.
pub(crate) async fn state(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    Json(stated): Json<Stated>,
) -> Result<Json<Stated>, Refused> {
    stated.check().map_err(|e| Refused::wrong(e.to_string()))?;
    stated.over(&desk.hand.all).check().map_err(|e| Refused::wrong(e.to_string()))?;
    beside(move || {
        desk.hand.photo(&id).ok_or_else(no_photo)?;
        stated.keep(desk.hand.folder.out(), &id).map_err(Refused::failed)?;
        if desk.hand.again(&id) { Ok(Json(stated)) } else { Err(not_here()) }
    })
    .await
}

fn not_here() -> Refused {
    Refused::wrong("the photo itself is not in the desk's folder; send it again to measure it again")
}

/// Measures a photo again.
pub(crate) async fn again(State(desk): State<Arc<Desk>>, Path(id): Path<String>) -> Result<Json<()>, Refused> {
    desk.hand.photo(&id).ok_or_else(no_photo)?;
    if desk.hand.again(&id) { Ok(Json(())) } else { Err(not_here()) }
}

/// Stops a photo that waits or is being measured; answers whether it was either.
pub(crate) async fn stop(State(desk): State<Arc<Desk>>, Path(id): Path<String>) -> Result<Json<bool>, Refused> {
    desk.hand.photo(&id).ok_or_else(no_photo)?;
    Ok(Json(desk.hand.stop(&id)))
}

/// Puts a photo away.
pub(crate) async fn put_away(State(desk): State<Arc<Desk>>, Path(id): Path<String>) -> Result<Json<()>, Refused> {
    desk.hand.photo(&id).ok_or_else(no_photo)?;
    beside(move || desk.hand.put_away(&id).map_err(Refused::wrong)).await.map(Json)
}

/// A photo's pictures and pages: `photo`, `overlay`, `strand`, `near`, `report` (JSON) and `page` (HTML).
pub(crate) async fn picture(
    State(desk): State<Arc<Desk>>,
    Path((id, what)): Path<(String, String)>,
) -> Result<Response, Refused> {
    beside(move || {
        let (entry, path) = desk.hand.photo(&id).ok_or_else(no_photo)?;
        if what == "photo" {
            return if entry.here { photo_itself(&desk, &path) } else { Err(not_here()) };
        }
        let record = desk.hand.record(&id).ok_or_else(not_yet)?;
        let out = desk.hand.folder.out();
        let shown = batch::shown(out, &record);
        let png = |bytes: Option<Vec<u8>>| bytes.map(|bytes| answer("image/png", bytes)).ok_or_else(not_yet);
        let report = || batch::report_of(out, &record).map_err(|e| Refused::failed(e.to_string()))?.ok_or_else(not_yet);
        match what.as_str() {
            "overlay" => png(shown.overlay),
            "strand" => png(shown.strand),
            "near" => png(shown.near),
            "report" => {
                let text = crate::show::json::text(&report()?).map_err(|e| Refused::failed(e.to_string()))?;
                Ok(answer("application/json", text.into_bytes()))
            }
            "page" => {
                let look = shown.look();
                let html = page::report_page(&report()?, shown.overlay.as_deref(), look.as_ref());
                Ok(sheet(html.into_bytes()))
            }
            _ => Err(Refused::missing("there is no such picture")),
        }
    })
    .await
}

/// What was measured, as a picture.
pub(crate) async fn overlay(desk: &Arc<Desk>, id: String) -> Result<Response, Refused> {
    picture(State(Arc::clone(desk)), Path((id, "overlay".to_owned()))).await
}

fn not_yet() -> Refused {
    Refused::missing("this photo was not measured yet")
}

/// The photo as a browser shows it: as it is, where browsers read it and turn it as we do; else drawn anew.
fn photo_itself(desk: &Desk, path: &std::path::Path) -> Result<Response, Refused> {
    let name = path.file_name().unwrap_or_default();
    let read = |e: photo::PhotoError| Refused::failed(e.to_string());
    let bytes = photo::bytes_of(path, name.as_ref(), &desk.hand.limits).map_err(read)?;
    let shown = [ImageFormat::Jpeg, ImageFormat::Png, ImageFormat::WebP];
    let format = image::guess_format(&bytes).ok().filter(|format| shown.contains(format));
    // Only a TIFF has pages, and browsers show none.
    let upright = || CameraFacts::of_file(&bytes, 0).orientation == Orientation::default();
    match format {
        Some(format) if format == ImageFormat::Jpeg || upright() => Ok(answer(format.to_mime_type(), bytes)),
        _ => {
            let photo = photo::decode(name.as_ref(), bytes, &desk.hand.limits).map_err(read)?;
            let png = page::look::png(&photo.rgb).ok_or_else(|| Refused::failed("the photo cannot be drawn"))?;
            Ok(answer("image/png", png))
        }
    }
}

/// Bytes of a kind.
pub(crate) fn answer(kind: &'static str, bytes: Vec<u8>) -> Response {
    ([(header::CONTENT_TYPE, HeaderValue::from_static(kind))], bytes).into_response()
}

/// A page that the program writes as one file, with its own policy.
pub(crate) fn sheet(html: Vec<u8>) -> Response {
    let policy = (header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY_OF_SHEETS));
    ([(header::CONTENT_TYPE, HeaderValue::from_static("text/html; charset=utf-8")), policy], html).into_response()
}
