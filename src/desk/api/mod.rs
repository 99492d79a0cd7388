//! The interface that the page's script talks to: small, JSON in and out, and nothing in it that could not be answered by
//! the library inside the browser. Every address stands here.

mod class;
mod papers;
mod photos;
mod samples;

use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::{DefaultBodyLimit, Request};
use axum::http::StatusCode;
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{delete, get, post, put};

pub(super) use photos::{announced, overlay};

use super::Desk;
use super::phone;
use super::refused::Refused;

/// Largest question that is no photo, bytes: a roster of two thousand rows is a tenth of it.
const MOST_BYTES: usize = 1 << 20;

/// How long a question that is no photo may take, its body and its answer: a portfolio of some hundred photos is written in
/// a few seconds, and who waits for news waits less.
const WITHIN: Duration = Duration::from_secs(90);

/// Everything but the pages themselves.
pub(crate) fn routes() -> Router<Arc<Desk>> {
    let small = Router::new()
        .route("/api/desk", get(photos::now))
        .route("/api/forms", get(samples::factors))
        .route("/api/photos/{id}", get(photos::one).delete(photos::put_away))
        .route("/api/photos/{id}/stated", put(photos::state))
        .route("/api/photos/{id}/again", post(photos::again))
        .route("/api/photos/{id}/stop", post(photos::stop))
        .route("/api/photos/{id}/{picture}", get(photos::picture))
        .route("/api/samples", put(samples::name).get(samples::together))
        .route("/api/compare", get(samples::two))
        .route("/api/plan", post(samples::planned))
        .route("/api/portfolio", post(samples::portfolio))
        .route("/api/class", get(class::standing))
        .route("/api/class/roster", put(class::put_roster))
        .route("/api/class/target", put(class::put_target))
        .route("/api/class/sheet", post(class::sheet))
        .route("/api/phone", post(phone::on).merge(delete(phone::off)))
        .route("/api/close", post(super::close))
        .route("/cards.pdf", get(papers::cards))
        .route("/sheets/{*address}", get(papers::written))
        .layer(DefaultBodyLimit::max(MOST_BYTES))
        .layer(middleware::from_fn(in_time));
    // A photo has limits and times of its own.
    small.route("/api/photos", post(photos::send).layer(DefaultBodyLimit::disable()))
}

async fn in_time(request: Request, next: Next) -> Response {
    tokio::time::timeout(WITHIN, next.run(request)).await.unwrap_or_else(|_late| {
        Refused::with(StatusCode::REQUEST_TIMEOUT, "that took too long; try again").into_response()
    })
}
