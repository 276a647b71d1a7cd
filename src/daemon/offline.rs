//! The API over a data folder that no service has: for a command that comes when none runs.
//!
//! The same routes over the same store under the same lock, so that a command has one way into the record whether a service
//! runs or not. There are no sensors here, nobody is told events, and what a crash of the service left of a recording is
//! finished at the service's next start, not here.

use super::api::{self, Api};
use super::clock::SystemClock;
use super::hub::Hub;
use super::lock::{Holder, InstanceLock, make_private_folder};
use super::record::finish_imports;
use super::service::{Settings, StartError};
use super::store::Store;
use std::sync::Arc;
use tokio_util::sync::CancellationToken;

/// An open record, with its API, and the data folder's lock for as long as it is there.
pub struct Offline {
    router: axum::Router,
    store: Store,
    streams: CancellationToken,
    _lock: InstanceLock,
}

impl Offline {
    /// Takes the folder and opens the store. Listens nowhere.
    ///
    /// # Errors
    /// If somebody has the folder ([`StartError::Lock`]), or it or the store cannot be used.
    pub async fn open(settings: &Settings) -> Result<Self, StartError> {
        let folder = &settings.data_folder;
        let lock = InstanceLock::take(folder, &Holder::this_process(jiff::Timestamp::now(), None))?;
        let recordings = folder.join("recordings");
        make_private_folder(&recordings).map_err(|cause| StartError::Folder { path: recordings.clone(), cause })?;
        let store = Store::open(&settings.store).await?;
        if let Err(error) = finish_imports(&store, &settings.cage, &recordings).await {
            tracing::warn!(%error, "an import that was cut short is left as it is");
        }
        let streams = CancellationToken::new();
        let api = Api {
            store: store.clone(),
            hub: Arc::new(Hub::new(Vec::new(), 1, settings.events_keep, Box::new(|_| {}))),
            clock: Arc::new(SystemClock::new()),
            cage: settings.cage.clone(),
            data_folder: folder.clone(),
            turns: Arc::default(),
            plate: Arc::new(|_| {}),
            cancel: streams.clone(),
            heartbeat: api::HEARTBEAT,
        };
        Ok(Self { router: api::app(api), store, streams, _lock: lock })
    }

    /// The routes.
    pub fn router(&self) -> axum::Router {
        self.router.clone()
    }

    /// Waits for what is going on, and closes the store. The folder is free once this is dropped.
    pub async fn close(&self) {
        self.streams.cancel();
        self.store.close().await;
    }
}
