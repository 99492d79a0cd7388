//! Connections: as many at once as there is room for, none that keeps a place by saying nothing.

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::net::TcpListener;
use tokio::sync::Semaphore;
use tokio::task::JoinSet;

/// Connections at once. A browser opens six to one place; a class's phones and a few open pages stay far below.
const MOST_CONNECTIONS: usize = 256;

/// How long the lines before a body may take. A phone on a weak network sends them in one packet.
const HEADERS_WITHIN: Duration = Duration::from_secs(10);

/// Answers on a listener until the future is dropped; every connection ends with it.
pub(crate) async fn serve(listener: TcpListener, router: Router) -> Infallible {
    let room = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    let mut connections = JoinSet::new();
    loop {
        while connections.try_join_next().is_some() {}
        // More than there is room for wait in the system's own queue.
        let Ok(place) = Arc::clone(&room).acquire_owned().await else { continue };
        let stream = match listener.accept().await {
            Ok((stream, _)) => stream,
            Err(_) => {
                // Out of file handles, or the caller is gone already: both pass.
                tokio::time::sleep(Duration::from_millis(20)).await;
                continue;
            }
        };
        let service = TowerToHyperService::new(router.clone());
        connections.spawn(async move {
            let connection = http1::Builder::new()
                .timer(TokioTimer::new())
                .header_read_timeout(HEADERS_WITHIN)
                .max_buf_size(64 << 10)
                .serve_connection(TokioIo::new(stream), service);
            // However it ends, the place is free.
            let _ = connection.await;
            drop(place);
        });
    }
}
