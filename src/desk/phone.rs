//! The phone's door: off until it is asked for, on the home network's address of this computer, behind a secret in the
//! address, gone with the desk or before. It takes photos and shows the figures of those it took, nothing else.

use std::collections::BTreeSet;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use axum::body::Body;
use axum::extract::{DefaultBodyLimit, Path, Query, Request, State};
use axum::http::{HeaderMap, StatusCode};
use axum::middleware::{self, Next};
use axum::response::{Html, IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use maud::html;
use qrcodegen::{QrCode, QrCodeEcc};
use serde::{Deserialize, Serialize};
use tokio::net::TcpListener;
use tokio::task::AbortHandle;

use super::guard::{Door, guard, same, secret};
use super::hand::Entry;
use super::receive::{Arrived, receive};
use super::refused::{Refused, beside};
use super::{Desk, api, listen, page};
use crate::show::plain::{self, Units};
use crate::work::batch;

/// How long the phone waits for news.
const WAIT: Duration = Duration::from_secs(25);

/// Where the phone finds the desk.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(crate) struct Address {
    url: String,
    /// The same as a code to be photographed, SVG.
    qr: String,
}

/// The door, open or not.
#[derive(Debug, Default)]
pub(crate) struct Phone(Mutex<Option<Open>>);

#[derive(Debug)]
struct Open {
    address: Address,
    task: AbortHandle,
}

impl Drop for Open {
    fn drop(&mut self) {
        // All connections end with the task that holds them.
        self.task.abort();
    }
}

impl Phone {
    fn open(&self) -> MutexGuard<'_, Option<Open>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Where the phone finds the desk; `None` while it is not asked for.
    pub(crate) fn address(&self) -> Option<Address> {
        self.open().as_ref().map(|open| open.address.clone())
    }
}

/// What the phone's routes know.
struct Visit {
    desk: Arc<Desk>,
    door: Door,
    secret: String,
    /// What came through this door; the phone sees no other photo.
    sent: Mutex<BTreeSet<String>>,
}

impl Visit {
    fn sent(&self) -> MutexGuard<'_, BTreeSet<String>> {
        self.sent.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Opens the door, or says where it is.
pub(crate) async fn on(State(desk): State<Arc<Desk>>) -> Result<Json<Address>, Refused> {
    if let Some(address) = desk.phone.address() {
        return Ok(Json(address));
    }
    let ip = match desk.phone_at {
        Some(ip) => ip,
        None => home_address().map_err(Refused::wrong)?,
    };
    let listener = TcpListener::bind(SocketAddr::new(ip, 0)).await;
    let listener = listener.map_err(|e| Refused::failed(format!("the home network cannot be listened to: {e}")))?;
    let at = listener.local_addr().map_err(|e| Refused::failed(e.to_string()))?;
    let (word, token) = (secret().map_err(Refused::failed)?, secret().map_err(Refused::failed)?);
    let url = format!("http://{at}/{word}/");
    let address = Address { qr: qr_svg(&url).ok_or_else(|| Refused::failed("the code cannot be drawn"))?, url };
    let visit = Visit {
        desk: Arc::clone(&desk),
        door: Door { hosts: vec![at.to_string()], token },
        secret: word,
        sent: Mutex::default(),
    };
    let task = tokio::spawn(listen::serve(listener, routes(visit))).abort_handle();
    *desk.phone.open() = Some(Open { address: address.clone(), task });
    desk.hand.change();
    Ok(Json(address))
}

/// Shuts the door.
pub(crate) async fn off(State(desk): State<Arc<Desk>>) -> Json<()> {
    drop(desk.phone.open().take());
    desk.hand.change();
    Json(())
}

/// This computer's address in the home network. A socket is pointed at an address that belongs to nobody, which sends
/// nothing but makes the system choose its own. Source: RFC 5737 (192.0.2.0/24 is for documentation), RFC 1918 and 3927
/// (private and link-local networks).
fn home_address() -> Result<IpAddr, String> {
    let none = "this computer is in no home network now; join the one that the phone is in";
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).map_err(|_none| none.to_owned())?;
    socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).map_err(|_none| none.to_owned())?;
    match socket.local_addr().map(|at| at.ip()) {
        Ok(IpAddr::V4(ip)) if ip.is_private() || ip.is_link_local() => Ok(IpAddr::V4(ip)),
        Ok(IpAddr::V4(ip)) if ip.is_loopback() || ip.is_unspecified() => Err(none.to_owned()),
        _ => Err("this computer's address is open to the whole internet; the desk does not listen there".to_owned()),
    }
}

/// A code with four modules of quiet around it, as one path. Source: ISO/IEC 18004.
fn qr_svg(text: &str) -> Option<String> {
    const QUIET: i32 = 4;
    let code = QrCode::encode_text(text, QrCodeEcc::Medium).ok()?;
    let modules =
        (0..code.size()).flat_map(|y| (0..code.size()).map(move |x| (x, y))).filter(|(x, y)| code.get_module(*x, *y));
    let path: String = modules.map(|(x, y)| format!("M{} {}h1v1h-1z", x + QUIET, y + QUIET)).collect();
    let side = code.size() + 2 * QUIET;
    let drawn = html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox=(format!("0 0 {side} {side}")) role="img"
            aria-label="The address as a code for the phone's camera" shape-rendering="crispEdges" {
            rect width=(side) height=(side) fill="#fff" {}
            path d=(path) fill="#000" {}
        }
    };
    Some(drawn.into_string())
}

fn routes(visit: Visit) -> Router {
    let door = Arc::new(visit.door.clone());
    let visit = Arc::new(visit);
    Router::new()
        .route("/{secret}/", get(front))
        .route("/{secret}/desk/{file}", get(|Path((_, file)): Path<(String, String)>| async move { page::file(&file) }))
        .route("/{secret}/now", get(now))
        .route("/{secret}/photos/{id}/overlay", get(overlay))
        .route("/{secret}/photos", post(send).layer(DefaultBodyLimit::disable()))
        .layer(middleware::from_fn_with_state(Arc::clone(&visit), knows_the_secret))
        .layer(middleware::from_fn_with_state(door, guard))
        .with_state(visit)
}

async fn knows_the_secret(State(visit): State<Arc<Visit>>, request: Request, next: Next) -> Response {
    let first = request.uri().path().split('/').nth(1).unwrap_or_default();
    if same(first.as_bytes(), visit.secret.as_bytes()) {
        next.run(request).await
    } else {
        Refused::with(StatusCode::FORBIDDEN, "this address is none of the desk's").into_response()
    }
}

async fn front(State(visit): State<Arc<Visit>>) -> Html<String> {
    Html(page::phone(&visit.door.token, visit.desk.hand.limits.max_bytes))
}

#[derive(Deserialize)]
struct Sent {
    #[serde(default)]
    name: String,
}

async fn send(
    State(visit): State<Arc<Visit>>,
    Query(sent): Query<Sent>,
    headers: HeaderMap,
    body: Body,
) -> Result<Json<Arrived>, Refused> {
    let desk = &visit.desk;
    let arrived = receive(&desk.hand, &desk.places, &sent.name, api::announced(&headers), body).await?;
    visit.sent().insert(arrived.id.clone());
    desk.hand.change();
    Ok(Json(arrived))
}

#[derive(Deserialize)]
struct After {
    after: Option<u64>,
}

/// What the phone sees of a photo.
#[derive(Serialize)]
struct Told {
    entry: Entry,
    metric: Option<String>,
    imperial: Option<String>,
}

#[derive(Serialize)]
struct Now {
    revision: u64,
    photos: Vec<Told>,
}

async fn now(State(visit): State<Arc<Visit>>, Query(asked): Query<After>) -> Result<Json<Now>, Refused> {
    let mut changes = visit.desk.hand.changes();
    if let Some(after) = asked.after {
        // Nothing new within the time is an answer too.
        let _ = tokio::time::timeout(WAIT, changes.wait_for(|revision| *revision != after)).await;
    }
    let revision = *changes.borrow_and_update();
    beside(move || {
        let hand = &visit.desk.hand;
        let ids: Vec<String> = visit.sent().iter().cloned().collect();
        let told = ids.into_iter().filter_map(|id| hand.photo(&id)).map(|(entry, _)| {
            let record = hand.record(&entry.id);
            let report = record.and_then(|r| batch::report_of(hand.folder.out(), &r).ok().flatten());
            let words = |units| report.as_ref().map(|r| plain::paragraph(&r.sample, units));
            Told { metric: words(Units::Metric), imperial: words(Units::Imperial), entry }
        });
        Ok(Json(Now { revision, photos: told.collect() }))
    })
    .await
}

async fn overlay(State(visit): State<Arc<Visit>>, Path((_, id)): Path<(String, String)>) -> Result<Response, Refused> {
    if !visit.sent().contains(&id) {
        return Err(Refused::missing("there is no such photo"));
    }
    api::overlay(&visit.desk, id).await
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: ISO/IEC 18004: what is written is read back by another program's reader.
    #[test]
    fn the_code_says_the_address() {
        let url = "http://192.168.178.23:49152/0123456789abcdef0123456789abcdef/";
        let svg = qr_svg(url).unwrap();
        let side: usize = svg.split("viewBox=\"0 0 ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
        let mut dark = vec![false; side * side];
        let path = svg.split("d=\"").nth(1).unwrap().split('"').next().unwrap();
        for module in path.split('M').skip(1) {
            let mut at = module.split('h').next().unwrap().split(' ').map(|n| n.parse::<usize>().unwrap());
            let (x, y) = (at.next().unwrap(), at.next().unwrap());
            dark[y * side + x] = true;
        }
        let mut picture = rqrr::PreparedImage::prepare_from_greyscale(side * 6, side * 6, |x, y| {
            if dark[y / 6 * side + x / 6] { 0 } else { 255 }
        });
        let (_, said) = picture.detect_grids()[0].decode().unwrap();
        assert_eq!(said, url);
    }
}
