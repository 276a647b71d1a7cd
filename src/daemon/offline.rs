//! The API over a data folder that no service has: for a command that comes when none runs.
//!
//! The same routes over the same store, event log and lock, so that a command has one way into the record whether a service
//! runs or not. There are no sensors here, and what a crash of the service left of a recording is finished at the service's
//! next start, not here.

use super::access::Access;
use super::api::{self, Api};
use super::clock::{Clock, SystemClock};
use super::event_log::EventLog;
use super::lock::{Holder, InstanceLock, make_private_folder};
use super::metrics::Metrics;
use super::opening::{Settings, StartError, open_hub, open_store};
use super::record::archive;
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
        let store = open_store(settings).await?;
        let clock: Arc<dyn Clock> = Arc::new(SystemClock::new());
        let (hub, log) = open_hub(settings, &*clock).map_err(failed(folder))?;
        let streams = CancellationToken::new();
        let api = Api {
            store: store.clone(),
            hub,
            metrics: Arc::new(Metrics::new(clock.now().utc_ns as f64 * 1e-9)),
            access: Arc::new(Access::new(&settings.http, settings.cage.clone(), settings.listen, store.clone())),
            nearly_full_bytes: settings.nearly_full_bytes,
            clock,
            cage: settings.cage.clone(),
            data_folder: folder.clone(),
            turns: Arc::default(),
            plate: Arc::new(|_| {}),
            example: None,
            nearby: Arc::default(),
            checks: Arc::default(),
            cancel: streams.clone(),
            screen: Arc::default(),
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
