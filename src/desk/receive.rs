//! Photos being received: piece by piece to the disk, beside their name, and renamed when they are whole. One that breaks
//! off leaves nothing.

use std::io;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use axum::body::{Body, Bytes};
use axum::http::StatusCode;
use hyper::body::Body as _;
use serde::Serialize;
use tokio::sync::{Semaphore, mpsc};

use super::hand::Hand;
use super::names;
use super::refused::Refused;
use crate::show::file::{Target, WriteError};
use crate::work::batch::Check;

/// Photos received at once. Each takes a thread that waits for the disk.
const AT_ONCE: usize = 16;

/// How long a place may be waited for: two hundred photos at once on a slow disk get theirs before.
const PLACE_WITHIN: Duration = Duration::from_secs(120);

/// How long nothing may come.
const PIECE_WITHIN: Duration = Duration::from_secs(20);

/// After this long a photo must have come at `LEAST_BYTES_PER_SECOND`, or the place is given to another: a phone at the
/// edge of a network sends ten times as fast.
const SLOW_START: Duration = Duration::from_secs(30);
const LEAST_BYTES_PER_SECOND: u64 = 4 << 10;

/// Pieces held between network and disk.
const PIECES: usize = 4;

/// Places for photos being received.
#[derive(Debug, Clone)]
pub(crate) struct Places(Arc<Semaphore>);

impl Default for Places {
    fn default() -> Self {
        Self(Arc::new(Semaphore::new(AT_ONCE)))
    }
}

/// A photo that has come.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(crate) struct Arrived {
    /// The photo that stands for it.
    pub(crate) id: String,
    /// `false` where the same picture was here before.
    pub(crate) new: bool,
}

enum Piece {
    Bytes(Bytes),
    End,
}

/// Receives a photo that its sender calls `given`.
///
/// # Errors
/// Where it is too large, too slow or breaks off, or the disk refuses; nothing of it is kept then.
pub(crate) async fn receive(
    hand: &Arc<Hand>,
    places: &Places,
    given: &str,
    announced: Option<u64>,
    mut body: Body,
) -> Result<Arrived, Refused> {
    let limit = hand.limits.max_bytes;
    if announced.is_some_and(|bytes| bytes > limit) {
        return Err(too_large(limit));
    }
    let busy = || Refused::with(StatusCode::SERVICE_UNAVAILABLE, "too many photos at once; send it again");
    let place = tokio::time::timeout(PLACE_WITHIN, Arc::clone(&places.0).acquire_owned());
    let _place = place.await.ok().and_then(Result::ok).ok_or_else(busy)?;
    let name = Reserved { hand: Arc::clone(hand), name: hand.reserve(&names::of_photo(given)) };
    let (send, pieces) = mpsc::channel(PIECES);
    let writer = {
        let (hand, name) = (Arc::clone(hand), name.name.clone());
        tokio::task::spawn_blocking(move || written(&hand, &name, pieces))
    };
    let sent = passed_on(&mut body, &send, announced, limit).await;
    // Without its end the writer gives the file up; the answer waits until nothing of it is left.
    drop(send);
    let written = writer.await.map_err(|_broken| Refused::failed("the photo could not be kept; send it again"))?;
    sent?;
    match written {
        Ok(Kept::New(check)) => {
            let (id, new) = hand.arrived(&name.name, check);
            Ok(Arrived { id, new })
        }
        Ok(Kept::Known(id)) => Ok(Arrived { id, new: false }),
        Err(error) => Err(Refused::failed(error.to_string())),
    }
}

/// Hands the pieces of a body to the writer, and their end where all of them have come.
async fn passed_on(
    body: &mut Body,
    send: &mpsc::Sender<Piece>,
    announced: Option<u64>,
    limit: u64,
) -> Result<(), Refused> {
    // The first tick comes at once; each one after it is a second that passed.
    let mut ticks = tokio::time::interval(Duration::from_secs(1));
    ticks.tick().await;
    let (mut seconds, mut bytes) = (0u64, 0u64);
    let slow = || Refused::with(StatusCode::REQUEST_TIMEOUT, "the photo came too slowly; send it again from nearer by");
    let broken = || Refused::with(StatusCode::BAD_REQUEST, "the photo broke off; send it again");
    loop {
        let next = std::future::poll_fn(|cx| {
            while ticks.poll_tick(cx).is_ready() {
                seconds += 1;
            }
            Pin::new(&mut *body).poll_frame(cx)
        });
        let Some(frame) = tokio::time::timeout(PIECE_WITHIN, next).await.map_err(|_late| slow())? else { break };
        let Ok(piece) = frame.map_err(|_gone| broken())?.into_data() else { continue };
        bytes += piece.len() as u64;
        if bytes > limit {
            return Err(too_large(limit));
        }
        if seconds > SLOW_START.as_secs() && bytes < LEAST_BYTES_PER_SECOND * seconds {
            return Err(slow());
        }
        if send.send(Piece::Bytes(piece)).await.is_err() {
            // The writer has stopped, and says why.
            return Ok(());
        }
    }
    if bytes == 0 {
        return Err(Refused::wrong("the photo is empty; send it again"));
    }
    if announced.is_some_and(|announced| announced != bytes) {
        return Err(broken());
    }
    let _ = send.send(Piece::End).await;
    Ok(())
}

fn too_large(limit: u64) -> Refused {
    Refused::with(StatusCode::PAYLOAD_TOO_LARGE, format!("the photo is larger than {} MB", limit >> 20))
}

/// A name that is free again whatever becomes of the photo.
struct Reserved {
    hand: Arc<Hand>,
    name: String,
}

impl Drop for Reserved {
    fn drop(&mut self) {
        self.hand.give_up(&self.name);
    }
}

enum Kept {
    New(String),
    Known(String),
}

/// Writes the pieces; the file is there only after the last.
fn written(hand: &Hand, name: &str, mut pieces: mpsc::Receiver<Piece>) -> Result<Kept, WriteError> {
    let mut check = Check::default();
    let mut known = None;
    let filled = Target::open(&hand.folder.photo(name))?.fill(|out| {
        loop {
            match pieces.blocking_recv() {
                Some(Piece::Bytes(piece)) => {
                    check.add(&piece);
                    out.write_all(&piece)?;
                }
                Some(Piece::End) => break,
                None => return Err(io::Error::from(io::ErrorKind::UnexpectedEof)),
            }
        }
        known = hand.known(&check.text());
        // The file is given up for the one that is there.
        if known.is_some() { Err(io::Error::from(io::ErrorKind::AlreadyExists)) } else { Ok(()) }
    });
    match known {
        Some(id) => Ok(Kept::Known(id)),
        None => filled.map(|()| Kept::New(check.text())),
    }
}
