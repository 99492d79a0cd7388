//! Samples: photos put together, told together, compared, planned from, and shown on pages.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Query, State};
use serde::{Deserialize, Serialize};

use super::super::Desk;
use super::super::refused::{Refused, beside};
use super::super::yarn::Yarn;
use super::photos::Words;
use crate::base::units::MM_PER_INCH;
use crate::card::label::{Label, MAX_CHARACTERS};
use crate::figures::Report;
use crate::figures::report::TwistDirection;
use crate::work::arithmetic::thickness::Fibre;
use crate::work::arithmetic::yarn_number::{GRAMS_PER_OUNCE, METRES_PER_YARD};
use crate::work::batch::{Folder, Grouping};
use crate::work::compare::{Comparison, compare};
use crate::work::figure::Figure;
use crate::work::plan::{self, Goal, PlanRequest, PlyTwist, WeighedSkein, WheelRequest};
use crate::work::pool::pool_reports;
use crate::work::portfolio;
use crate::work::skein::{USUAL_WITHIN_PERCENT, check_skein};

/// Which photos are which sample; no name takes them out of any.
#[derive(Deserialize)]
pub(crate) struct Named {
    photos: Vec<String>,
    sample: Option<String>,
}

/// Puts photos into a sample, or takes them out.
pub(crate) async fn name(State(desk): State<Arc<Desk>>, Json(named): Json<Named>) -> Result<Json<()>, Refused> {
    let sample = named.sample.map(|s| s.trim().to_owned()).filter(|s| !s.is_empty());
    if let Some(sample) = &sample {
        // A name that a card could bear is a name that every table can hold; "sample / person" has two of them.
        let (first, person) = sample.split_once(" / ").map_or((sample.as_str(), None), |(s, p)| (s, Some(p)));
        Label::new(first, person).map_err(|e| Refused::wrong(e.to_string()))?;
        if sample.chars().count() > 2 * MAX_CHARACTERS + 3 {
            return Err(Refused::wrong("that name is too long"));
        }
    }
    beside(move || {
        let _one_at_a_time = desk.tables();
        let mut map = desk.hand.folder.map().map_err(Refused::wrong)?;
        for id in &named.photos {
            let (entry, _) = desk.hand.photo(id).ok_or_else(|| Refused::missing("there is no such photo"))?;
            match &sample {
                Some(sample) => map.insert(entry.name, sample.clone()),
                None => map.remove(&entry.name),
            };
        }
        desk.hand.folder.keep_map(&map).map_err(Refused::failed)?;
        desk.hand.group().map_err(Refused::failed)
    })
    .await
    .map(Json)
}

/// Which yarn: `photo:ID` or `sample:NAME`.
#[derive(Deserialize)]
pub(crate) struct Of {
    of: String,
}

/// A sample told.
#[derive(Serialize)]
pub(crate) struct Together {
    name: String,
    photos: usize,
    words: Words,
    /// Whether the skein is even, as far as its passes tell.
    skein: Vec<String>,
}

/// All photos of a sample together.
pub(crate) async fn together(State(desk): State<Arc<Desk>>, Query(of): Query<Of>) -> Result<Json<Together>, Refused> {
    beside(move || {
        let (name, reports) = Yarn::parse(&of.of)?.reports(&desk.hand)?;
        let pooled = pool_reports(&reports).ok_or_else(|| Refused::missing("nothing of this was measured yet"))?;
        let skein = check_skein(&reports, USUAL_WITHIN_PERCENT).map(|check| check.sentences).unwrap_or_default();
        Ok(Json(Together { name, photos: reports.len(), words: Words::of_pooled(&pooled), skein }))
    })
    .await
}

/// Two yarns.
#[derive(Deserialize)]
pub(crate) struct Two {
    first: String,
    second: String,
}

/// Two yarns side by side.
pub(crate) async fn two(State(desk): State<Arc<Desk>>, Query(two): Query<Two>) -> Result<Json<Comparison>, Refused> {
    beside(move || {
        let first = Yarn::parse(&two.first)?.reports(&desk.hand)?;
        let mut second = Yarn::parse(&two.second)?.reports(&desk.hand)?;
        if first.0 == second.0 {
            second.0.push_str(" (2)");
        }
        Ok(Json(compare(&[first, second])))
    })
    .await
}

/// What a plan starts from; lengths in mm and m, weights in g.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Planned {
    /// The yarn; null to plan without a photo.
    of: Option<String>,
    /// Ply so many of it; null to spin one like it.
    ply: Option<u32>,
    ply_angle: Option<f64>,
    ply_direction: Option<TwistDirection>,
    #[serde(default)]
    ratios: Vec<f64>,
    treadles: Option<f64>,
    draft_mm: Option<f64>,
    skein_m: Option<f64>,
    skein_g: Option<f64>,
    fibre: Option<String>,
    staple_mm: Option<f64>,
}

/// A plan in words.
#[derive(Serialize)]
pub(crate) struct InWords {
    sentences: Vec<String>,
}

/// The plan for the wheel.
pub(crate) async fn planned(
    State(desk): State<Arc<Desk>>,
    Json(asked): Json<Planned>,
) -> Result<Json<InWords>, Refused> {
    beside(move || {
        let reports = match &asked.of {
            Some(of) => Yarn::parse(of)?.reports(&desk.hand)?.1,
            None => Vec::new(),
        };
        let made = plan::plan(&request(&asked, &reports)?).map_err(|e| Refused::wrong(e.to_string()))?;
        Ok(Json(InWords { sentences: plan::text(&made).lines().map(str::to_owned).collect() }))
    })
    .await
}

fn request(asked: &Planned, reports: &[Report]) -> Result<PlanRequest, Refused> {
    let yarn = pool_reports(reports).map(|p| plan::Yarn::from_sample(&p.sample)).unwrap_or_default();
    let skein = asked.skein_m.zip(asked.skein_g).map(|(metres, grams)| WeighedSkein { metres, grams });
    if asked.skein_m.is_some() != asked.skein_g.is_some() {
        return Err(Refused::wrong("a weighed skein needs its length and its weight"));
    }
    let goal = match asked.ply {
        Some(plies) => Some(Goal::PlySingles {
            plies,
            twist: asked.ply_angle.map_or(PlyTwist::Balanced, PlyTwist::Angle),
            direction: asked.ply_direction,
        }),
        None if yarn == plan::Yarn::default() && skein.is_some() => None,
        None => Some(Goal::SpinLike),
    };
    let fibre = match asked.fibre.as_deref().filter(|f| !f.is_empty()) {
        None => None,
        Some(name) => Some(
            Fibre::ALL
                .into_iter()
                .find(|f| f.word() == name)
                .ok_or_else(|| Refused::wrong("choose one of the fibres"))?,
        ),
    };
    Ok(PlanRequest {
        yarn,
        goal,
        wheel: WheelRequest {
            ratios: asked.ratios.clone(),
            treadles: asked.treadles,
            draft_inches: asked.draft_mm.map(|mm| mm / MM_PER_INCH),
        },
        skein,
        fibre,
        staple_mm: asked.staple_mm,
    })
}

/// Metres in a yard and grams in an ounce, so that the page converts as the program does.
#[derive(Serialize)]
pub(crate) struct Factors {
    metres_per_yard: f64,
    grams_per_ounce: f64,
    mm_per_inch: f64,
    fibres: Vec<&'static str>,
    figures: Vec<FigureNamed>,
}

/// A figure that can be asked.
#[derive(Serialize)]
pub(crate) struct FigureNamed {
    key: &'static str,
    words: &'static str,
    unit: &'static str,
}

/// What forms need to know.
pub(crate) async fn factors() -> Json<Factors> {
    let figures = Figure::ALL.into_iter().map(|f| FigureNamed { key: f.key(), words: f.words(), unit: f.unit() });
    Json(Factors {
        metres_per_yard: METRES_PER_YARD,
        grams_per_ounce: GRAMS_PER_OUNCE,
        mm_per_inch: MM_PER_INCH,
        fibres: Fibre::ALL.into_iter().map(Fibre::word).collect(),
        figures: figures.collect(),
    })
}

/// Heading of a portfolio.
#[derive(Deserialize)]
pub(crate) struct Titled {
    title: String,
}

/// Where a page that was written can be seen.
#[derive(Serialize)]
pub(crate) struct Written {
    /// Its address on the desk.
    pub(crate) page: String,
    /// Where it lies on the disk.
    pub(crate) file: String,
}

/// Writes the portfolio.
pub(crate) async fn portfolio(
    State(desk): State<Arc<Desk>>,
    Json(titled): Json<Titled>,
) -> Result<Json<Written>, Refused> {
    beside(move || {
        let _one_at_a_time = desk.tables();
        let out = desk.hand.folder.out();
        let folder = Folder::open(out).map_err(|e| Refused::failed(e.to_string()))?;
        let map = desk.hand.folder.map().map_err(Refused::failed)?;
        let grouping = Grouping::Map(map);
        let title = Some(titled.title.trim()).filter(|t| !t.is_empty()).unwrap_or("Yarn samples");
        let pages = out.join("portfolio");
        let written = portfolio::write(&folder, &grouping, &out.join("photos"), title, &pages)
            .map_err(|e| Refused::failed(e.to_string()))?;
        if written.samples == 0 {
            return Err(Refused::wrong("there is no sample to show yet"));
        }
        let file = pages.join("index.html").display().to_string();
        Ok(Json(Written { page: "/sheets/portfolio/index.html".to_owned(), file }))
    })
    .await
}
