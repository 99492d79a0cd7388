//! What the desk answers when it cannot do what was asked: a sentence, as JSON.

use axum::Json;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Serialize;

use crate::show::page::capital;
use crate::show::plain::by_hand;

/// Why something was not done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Refused {
    status: StatusCode,
    sentence: String,
}

#[derive(Serialize)]
struct Written<'a> {
    error: &'a str,
}

impl Refused {
    /// With any status.
    #[must_use]
    pub(crate) fn with(status: StatusCode, sentence: impl Into<String>) -> Self {
        Self { status, sentence: sentence.into() }
    }

    /// What was asked makes no sense; the sentence says what to do.
    #[must_use]
    pub(crate) fn wrong(sentence: impl AsRef<str>) -> Self {
        Self::with(StatusCode::UNPROCESSABLE_ENTITY, capital(&by_hand::text(sentence.as_ref())))
    }

    /// There is no such thing.
    #[must_use]
    pub(crate) fn missing(sentence: &str) -> Self {
        Self::with(StatusCode::NOT_FOUND, sentence)
    }

    /// The disk or the system refuses.
    #[must_use]
    pub(crate) fn failed(sentence: impl AsRef<str>) -> Self {
        Self::with(StatusCode::INTERNAL_SERVER_ERROR, by_hand::text(sentence.as_ref()))
    }
}

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        (self.status, Json(Written { error: &self.sentence })).into_response()
    }
}

/// Runs what waits for the disk or the processor beside the threads that answer the network.
///
/// # Errors
/// What `work` says, or that it broke off.
pub(crate) async fn beside<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Refused> + Send + 'static,
) -> Result<T, Refused> {
    tokio::task::spawn_blocking(work)
        .await
        .unwrap_or_else(|_broken| Err(Refused::failed("the work broke off; try again")))
}
