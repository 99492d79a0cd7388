//! Who may ask what. A page of any other site can make a browser send requests here, and a name that leads anywhere can be
//! made to lead here; so the Host is compared with a list, every change needs the right Origin and a token that only our
//! own page knows, and no answer may be used by another page.

use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::header::{self, HeaderName, HeaderValue};
use axum::http::{HeaderMap, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::refused::Refused;

/// The header that carries the token.
pub const TOKEN: &str = "strandrule-token";

/// Nothing from outside, no script or style in the page itself, no frames, no forms to elsewhere.
pub(crate) const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; \
                          connect-src 'self'; manifest-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'";

/// For sheets and pages that the program wrote as whole files: their style stands in them, and no script runs.
pub(crate) const POLICY_OF_SHEETS: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// What one listener lets in.
#[derive(Debug, Clone)]
pub(crate) struct Door {
    /// Names and ports by which it may be called, as a Host header writes them.
    pub(crate) hosts: Vec<String>,
    /// What every change must carry.
    pub(crate) token: String,
}

impl Door {
    /// The door of this computer alone.
    #[must_use]
    pub(crate) fn of_loopback(port: u16, token: String) -> Self {
        let hosts = ["127.0.0.1", "localhost", "[::1]"].map(|host| format!("{host}:{port}")).to_vec();
        Self { hosts, token }
    }

    fn knows(&self, host: &str) -> bool {
        self.hosts.iter().any(|known| known.eq_ignore_ascii_case(host))
    }

    /// Why a request is not let in; `None` where it is.
    fn against(&self, request: &Request) -> Option<&'static str> {
        let headers = request.headers();
        let mut hosts = headers.get_all(header::HOST).iter();
        let host = hosts.next().and_then(|h| h.to_str().ok()).filter(|h| self.knows(h));
        if host.is_none() || hosts.next().is_some() {
            return Some("this address is none of the desk's");
        }
        // A request may name its target in full; it then goes before the Host (RFC 9112, 3.2.2).
        if request.uri().authority().is_some_and(|full| !self.knows(full.as_str())) {
            return Some("this address is none of the desk's");
        }
        if matches!(*request.method(), Method::GET | Method::HEAD) {
            // What another page embeds or fetches; going to the desk by a link is no harm.
            let site = text(headers, "sec-fetch-site");
            let elsewhere = matches!(site, Some("cross-site" | "same-site"));
            return (elsewhere && text(headers, "sec-fetch-mode") != Some("navigate"))
                .then_some("another page may not read this");
        }
        let origin = text(headers, "origin").and_then(|o| o.strip_prefix("http://"));
        if !origin.is_some_and(|o| self.knows(o)) {
            return Some("only the desk's own page may change something");
        }
        let token = text(headers, TOKEN).unwrap_or_default();
        (!same(token.as_bytes(), self.token.as_bytes()))
            .then_some("only the desk's own page may change something; load it again")
    }
}

fn text<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    headers.get(name).and_then(|value| value.to_str().ok())
}

/// Compares without telling by the time taken where two texts part.
pub(super) fn same(a: &[u8], b: &[u8]) -> bool {
    a.len() == b.len() && a.iter().zip(b).fold(0, |sum, (x, y)| sum | (x ^ y)) == 0
}

/// Lets a request in or not, and puts what every answer bears.
pub(crate) async fn guard(State(door): State<Arc<Door>>, request: Request, next: Next) -> Response {
    let mut response = match door.against(&request) {
        Some(why) => Refused::with(StatusCode::FORBIDDEN, why).into_response(),
        None => next.run(request).await,
    };
    let headers = response.headers_mut();
    let mut put = |name: HeaderName, value: &'static str| {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    };
    put(header::CONTENT_SECURITY_POLICY, POLICY);
    put(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    put(header::REFERRER_POLICY, "no-referrer");
    put(header::X_FRAME_OPTIONS, "DENY");
    put(header::CACHE_CONTROL, "no-store");
    put(HeaderName::from_static("cross-origin-resource-policy"), "same-origin");
    put(HeaderName::from_static("cross-origin-opener-policy"), "same-origin");
    response
}

/// Letters that nobody guesses: 128 bits from the system, in hexadecimal.
///
/// # Errors
/// Where the system gives none.
pub(crate) fn secret() -> Result<String, String> {
    let mut bytes = [0u8; 16];
    getrandom::fill(&mut bytes).map_err(|e| format!("the system gives no random numbers: {e}"))?;
    Ok(bytes.iter().map(|b| format!("{b:02x}")).collect())
}
