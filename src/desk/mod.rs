//! The desk: a page on this computer on which photos become figures without a command line. It calls what the other rooms
//! have and keeps everything in one folder, laid out as a batch's.
//!
//! It listens on loopback alone, and on the home network while a phone is asked for.

mod api;
mod folder;
mod guard;
mod hand;
mod listen;
mod names;
mod page;
mod phone;
mod receive;
mod refused;
mod yarn;

use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use axum::Json;
use axum::Router;
use axum::extract::State;
use axum::middleware;
use tokio::sync::Notify;

use crate::measure::photo::Limits;
use crate::work::stated::Stated;
use folder::Folder;
use guard::Door;
use hand::Hand;
use phone::Phone;
use receive::Places;

pub use guard::TOKEN;
pub use names::usual_folder;

/// What a desk is opened with.
#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Where everything is kept.
    pub folder: PathBuf,
    /// The port; any free one where it is not stated.
    pub port: Option<u16>,
    /// What is stated of all photos.
    pub stated: Stated,
    /// Bounds on each photo.
    pub limits: Limits,
    /// Whether cards are printed on Letter unless told otherwise.
    pub letter: bool,
    /// The address that the phone's door is opened on instead of the home network's.
    pub phone_at: Option<IpAddr>,
}

/// An open desk.
#[derive(Debug)]
pub struct Desk {
    hand: Arc<Hand>,
    places: Places,
    phone: Phone,
    phone_at: Option<IpAddr>,
    token: String,
    letter: bool,
    closing: Notify,
    tables: Mutex<()>,
}

/// Why a desk cannot be opened.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DeskError {
    /// The folder.
    #[error("{0}")]
    Folder(String),
    /// The port, or the system.
    #[error("{0}")]
    System(String),
}

/// A desk that listens, but does not answer yet.
#[derive(Debug)]
pub struct Listening {
    desk: Arc<Desk>,
    listener: std::net::TcpListener,
    port: u16,
}

/// Opens a desk.
///
/// # Errors
/// [`DeskError`].
pub fn open(options: Options) -> Result<Listening, DeskError> {
    let folder = Folder::open(&options.folder).map_err(DeskError::Folder)?;
    let port = options.port.unwrap_or(0);
    let listener = std::net::TcpListener::bind(SocketAddr::from((Ipv4Addr::LOCALHOST, port))).map_err(|e| {
        DeskError::System(format!("port {port} cannot be listened to: {e}; name another, or leave it out"))
    })?;
    let system = |e: std::io::Error| DeskError::System(e.to_string());
    listener.set_nonblocking(true).map_err(system)?;
    let port = listener.local_addr().map_err(system)?.port();
    let desk = Desk::new(folder, options)?;
    Ok(Listening { desk, listener, port })
}

impl Listening {
    /// The address of its page.
    #[must_use]
    pub fn url(&self) -> String {
        format!("http://127.0.0.1:{}/", self.port)
    }

    /// Where everything is kept.
    #[must_use]
    pub fn folder(&self) -> PathBuf {
        self.desk.hand.folder.out().to_owned()
    }

    /// What answers, for a program that brings its own connections; nothing is measured before [`Self::serve`] or
    /// [`Self::start`].
    pub fn router(&self) -> Router {
        router(&self.desk, self.port)
    }

    /// Starts measuring.
    ///
    /// # Errors
    /// [`DeskError::System`] where the system gives no thread.
    pub fn start(&self) -> Result<(), DeskError> {
        self.desk.hand.start().map_err(DeskError::System)
    }

    /// What every change must carry.
    #[must_use]
    pub fn token(&self) -> &str {
        &self.desk.token
    }

    /// Answers until somebody closes the desk.
    ///
    /// # Errors
    /// [`DeskError::System`] where the system gives no thread or no socket.
    pub fn serve(self) -> Result<(), DeskError> {
        self.start()?;
        let system = |e: std::io::Error| DeskError::System(e.to_string());
        let runtime =
            tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().map_err(system)?;
        let router = self.router();
        runtime.block_on(async {
            let listener = tokio::net::TcpListener::from_std(self.listener).map_err(system)?;
            tokio::select! {
                never = listen::serve(listener, router) => match never {},
                () = self.desk.closing.notified() => {}
            }
            // The answer to whoever closed it is still on its way.
            tokio::time::sleep(std::time::Duration::from_millis(200)).await;
            Ok(())
        })?;
        // Threads that wait for the disk are not waited for: what they write is whole or not there.
        runtime.shutdown_background();
        Ok(())
    }
}

impl Drop for Desk {
    fn drop(&mut self) {
        self.hand.end();
    }
}

impl Desk {
    fn new(folder: Folder, options: Options) -> Result<Arc<Self>, DeskError> {
        Ok(Arc::new(Self {
            hand: Hand::new(folder, options.stated, options.limits).map_err(DeskError::Folder)?,
            places: Places::default(),
            phone: Phone::default(),
            phone_at: options.phone_at,
            token: guard::secret().map_err(DeskError::System)?,
            letter: options.letter,
            closing: Notify::new(),
            tables: Mutex::new(()),
        }))
    }

    /// Held by whoever reads and rewrites one of the folder's small files.
    fn tables(&self) -> MutexGuard<'_, ()> {
        self.tables.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn router(desk: &Arc<Desk>, port: u16) -> Router {
    let door = Arc::new(Door::of_loopback(port, desk.token.clone()));
    api::routes()
        .merge(page::routes())
        .layer(middleware::from_fn_with_state(door, guard::guard))
        .with_state(Arc::clone(desk))
}

/// Closes the desk.
async fn close(State(desk): State<Arc<Desk>>) -> Json<()> {
    desk.closing.notify_one();
    Json(())
}
