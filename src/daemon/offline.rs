//! The API over a data folder that no service has: for a command that comes when none runs.
//!
//! The same routes over the same store, event log and lock, so that a command has one way into the record whether a service
//! runs or not. There are no sensors here, and what a crash of the service left of a recording is finished at the service's
//! next start, not here.

use super::api::{self, Api};
use super::clock::{Clock, SystemClock};
use super::event_log::EventLog;
use super::hub::Hub;
use super::lock::{Holder, InstanceLock, make_private_folder};
use super::record::{archive, finish_imports, restore};
use super::service::{Settings, StartError};
use super::store::Store;
use std::path::Path;
use std::sync::Arc;
use tokio_util::sync::CancellationToken;

/// An open record, with its API, and the data folder's lock for as long as it is there.
pub struct Offline {
    router: axum::Router,
    store: Store,
    streams: CancellationToken,
    log: EventLog,
    lock: InstanceLock,
}

impl Offline {
    /// Takes the folder, goes on with a restore or an import that was cut short, and opens the store. Listens nowhere.
    ///
    /// # Errors
    /// If somebody has the folder ([`StartError::Lock`]), or it or the store cannot be used.
    pub async fn open(settings: &Settings) -> Result<Self, StartError> {
        let folder = &settings.data_folder;
        let failed = |path: &Path| {
            let path = path.to_owned();
            move |cause| StartError::Folder { path, cause }
        };
        let lock = InstanceLock::take(folder, &Holder::this_process(jiff::Timestamp::now(), None))?;
        let recordings = folder.join("recordings");
        archive::tidy(folder).map_err(failed(folder))?;
        make_private_folder(&recordings).map_err(failed(&recordings))?;
        let is_restoring = restore::finish(folder).map_err(failed(folder))?;
        let store = Store::open(&settings.store).await?;
        if is_restoring {
            restore::finish_server(&store, folder).await?;
        }
        if let Err(error) = finish_imports(&store, &settings.cage, &recordings).await {
            tracing::warn!(%error, "an import that was cut short is left as it is");
        }
        let (earlier, last_id, log) = EventLog::open(folder, settings.events_keep).map_err(failed(folder))?;
        let clock: Arc<dyn Clock> = Arc::new(SystemClock::new());
        let first_id = u64::try_from(clock.now().utc_ns / 1_000_000).unwrap_or(0).max(last_id + 1);
        let hub = Hub::new(earlier, first_id, settings.events_keep, log.keeper()).forgetting(log.forgetter());
        let streams = CancellationToken::new();
        let api = Api {
            store: store.clone(),
            hub: Arc::new(hub),
            clock,
            cage: settings.cage.clone(),
            data_folder: folder.clone(),
            turns: Arc::default(),
            plate: Arc::new(|_| {}),
            cancel: streams.clone(),
            heartbeat: api::HEARTBEAT,
        };
        Ok(Self { router: api::app(api), store, streams, log, lock })
    }

    /// The routes.
    pub fn router(&self) -> axum::Router {
        self.router.clone()
    }

    /// Waits for what is going on, closes store and event log, and lets the folder go.
    pub async fn close(self) {
        let Self { router, store, streams, log, lock } = self;
        streams.cancel();
        drop(router);
        store.close().await;
        log.close();
        drop(lock);
    }
}
