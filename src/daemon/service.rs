//! The whole service, put together: started, and stopped so that nothing is lost.

mod parts;

use super::access;
use super::clock::{Clock, SystemClock};
use super::event_log::EventLog;
use super::finder::{Catalogue, Finder, Open, Wants};
use super::hub::{Fault, Hub};
use super::lock::{Holder, InstanceLock, make_private_folder};
use super::nearby::Nearby;
pub use super::opening::{Settings, StartError};
use super::opening::{bring_back_the_plate, chosen_before, open_hub, open_store};
use super::playback::{Pace, play};
use super::radio::Radio;
use super::record::backlog::Backlog;
use super::record::erase::Eraser;
use super::record::ingest::{Entrance, Ingest};
use super::record::{Turns, archive, retention};
use super::recorder::{Leftovers, SystemDisk};
use super::store::Store;
use super::store::queries::tokens;
use super::store::rows::UtcMicros;
use super::{STOP_WITHIN, Stations, api};
use crate::engine::wire::mcap::Entry;
use parts::Shared;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Duration;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;

/// Of the time that stopping may take, sources have this much to end,
const TASKS_WITHIN: Duration = Duration::from_millis(1200);
/// stations to finish,
const STATIONS_WITHIN: Duration = Duration::from_millis(2650);
/// what they told to be stored,
const STORE_WITHIN: Duration = Duration::from_millis(450);
/// front-ends to read the last that was told,
const STREAMS_WITHIN: Duration = Duration::from_millis(200);
/// the event log to be written,
const LOG_WITHIN: Duration = Duration::from_millis(200);
/// and the store to be closed.
const CLOSE_WITHIN: Duration = Duration::from_millis(250);
const _: () = assert!(
    TASKS_WITHIN.as_millis()
        + STATIONS_WITHIN.as_millis()
        + STORE_WITHIN.as_millis()
        + STREAMS_WITHIN.as_millis()
        + LOG_WITHIN.as_millis()
        + CLOSE_WITHIN.as_millis()
        <= STOP_WITHIN.as_millis()
);
/// Events that the log could not take are looked for so often.
const LOOK_EVERY: Duration = Duration::from_secs(1);

/// The running service.
pub struct Service {
    hub: Arc<Hub>,
    store: Store,
    stations: Arc<Stations<SystemDisk>>,
    clock: Arc<dyn Clock>,
    nearby: Arc<Nearby>,
    address: SocketAddr,
    cancel: CancellationToken,
    tasks: TaskTracker,
    /// Ends what front-ends are told, and the server of it.
    streams: CancellationToken,
    server: JoinHandle<()>,
    entrance: Entrance,
    ingest: JoinHandle<()>,
    log: EventLog,
    lock: InstanceLock,
}

impl Service {
    /// Takes the folder, finishes what a crash left, and listens. Sources are added afterwards.
    ///
    /// # Errors
    /// If another service has the folder, it cannot be written to, or the address is not free.
    pub async fn start(settings: &Settings) -> Result<Self, StartError> {
        let folder = &settings.data_folder;
        let failed = |path: &Path| {
            let path = path.to_owned();
            move |cause| StartError::Folder { path, cause }
        };
        make_private_folder(folder).map_err(failed(folder))?;
        let mut holder = Holder::this_process(jiff::Timestamp::now(), None);
        let mut lock = InstanceLock::take(folder, &holder)?;
        let recordings = folder.join("recordings");
        archive::tidy(folder).map_err(failed(folder))?;
        make_private_folder(&recordings).map_err(failed(&recordings))?;
        let store = open_store(settings).await?;
        // Looked for before any recorder begins, so that none of its files is among them.
        let leftovers = Leftovers::look(&SystemDisk, &recordings);
        let backlog = Backlog::look(&settings.cage, recordings.clone());
        let clock: Arc<dyn Clock> = Arc::new(SystemClock::new());
        let (hub, log) = open_hub(settings, &*clock).map_err(failed(folder))?;
        let (entrance, jobs) = Entrance::new(&settings.cage);
        let ingest = Ingest::spawn(store.clone(), Arc::clone(&hub), Arc::clone(&clock), &settings.cage, jobs);
        let stations = parts::stations(settings, recordings, &hub, &clock, &entrance);
        let (listeners, address) = parts::listen(settings.listen).await?;
        holder.http = Some(address);
        lock.tell(&holder)?;
        bring_back_the_plate(&store, &settings.cage, &*clock, &stations).await?;
        let (cancel, tasks) = (CancellationToken::new(), TaskTracker::new());
        let streams = CancellationToken::new();
        let turns: Arc<Turns> = Arc::default();
        let nearby = Arc::new(Nearby::new(chosen_before(&store, &settings.cage).await?));
        let shared = Shared {
            settings,
            address,
            store: &store,
            hub: &hub,
            clock: &clock,
            stations: &stations,
            nearby: &nearby,
            turns: &turns,
            tasks: (&tasks, &cancel),
            streams: &streams,
        };
        let shared = shared.api();
        let (lost, failing) = (log.lost(), log.failing());
        let watching = api::watch_the_plate(shared.clone(), cancel.clone());
        let (app, head) = (api::app(shared), settings.http.patience.head);
        let server = tokio::spawn(access::server::serve(listeners, app, head, streams.clone()));
        let service = Self {
            hub,
            store,
            stations,
            clock,
            nearby,
            address,
            cancel,
            tasks,
            streams,
            server,
            entrance,
            ingest,
            log,
            lock,
        };
        service.tasks.spawn(service.look_after(settings, leftovers, backlog, turns));
        service.tasks.spawn(watching);
        service.tasks.spawn(watch_log(lost, failing, Arc::clone(&service.hub), service.cancel.clone()));
        Ok(service)
    }

    /// Finishes what a crash left, goes on with what is to be erased, and only then stores what earlier runs did not; beside
    /// that, erases what was kept long enough. Not waited for at the end: what is not done then is at the next start.
    fn look_after(
        &self,
        settings: &Settings,
        leftovers: Leftovers,
        backlog: Backlog,
        turns: Arc<Turns>,
    ) -> impl Future<Output = ()> + use<> {
        let stations = Arc::clone(&self.stations);
        let eraser = Eraser {
            store: self.store.clone(),
            data_folder: settings.data_folder.clone(),
            cage: settings.cage.clone(),
            hub: Some(Arc::clone(&self.hub)),
            plate: Some(Arc::new(move |at_bat| stations.at_the_plate(at_bat))),
            steps: Arc::default(),
        };
        let (days, clock, cancel) = (settings.retention_days, Arc::clone(&self.clock), self.cancel.clone());
        let tasks = self.tasks.clone();
        async move {
            let finished = tokio::task::spawn_blocking(move || tell_recovered(leftovers)).await;
            let (resuming, now) = (eraser.clone(), UtcMicros(clock.now().utc_ns / 1000));
            // A task of its own, as what follows has to come whatever becomes of it.
            let resumed = tokio::spawn(async move { resuming.resume(now).await });
            tokio::select! {
                resumed = resumed => match resumed {
                    Ok(Ok(_)) => {}
                    Ok(Err(error)) => tracing::warn!(%error, "what is to be erased still could not be looked for"),
                    Err(error) => tracing::error!(%error, "what is to be erased still is tried again later"),
                },
                () = cancel.cancelled() => return,
            }
            if finished.is_ok() {
                let (store, clock, cancel) = (eraser.store.clone(), Arc::clone(&clock), cancel.clone());
                tasks.spawn(async move {
                    tokio::select! {
                        () = backlog.work_off(&store, &clock, &turns) => {}
                        () = cancel.cancelled() => {}
                    }
                });
            }
            retention::look_after(eraser, days, clock, cancel).await;
        }
    }

    /// Where front-ends find it.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Where everything is told.
    pub fn hub(&self) -> &Arc<Hub> {
        &self.hub
    }

    /// How many tokens are worth something; `None`: the store does not tell now.
    pub async fn valid_tokens(&self) -> Option<i64> {
        let now = UtcMicros(self.clock.now().utc_ns / 1000);
        let count = async { tokens::count_valid(&mut *self.store.read().await?, now).await };
        count.await.ok()
    }

    /// Its stations.
    pub fn stations(&self) -> &Arc<Stations<SystemDisk>> {
        &self.stations
    }

    /// Its clock.
    pub fn clock(&self) -> &Arc<dyn Clock> {
        &self.clock
    }

    /// Ends when the service is to stop.
    pub fn cancel(&self) -> &CancellationToken {
        &self.cancel
    }

    /// Looks for sensors that are understood, and keeps those connected that were chosen, or where none was, those that
    /// are wanted.
    pub fn find_sensors<R: Radio>(&self, radio: Arc<R>, catalogue: Catalogue, wants: Wants, open: Open) {
        self.nearby.begin();
        let finder = Finder {
            radio,
            catalogue,
            wants,
            open,
            nearby: Arc::clone(&self.nearby),
            hub: Arc::clone(&self.hub),
            clock: Arc::clone(&self.clock),
            tasks: self.tasks.clone(),
            cancel: self.cancel.clone(),
        };
        self.tasks.spawn(finder.run());
    }

    /// Plays a recording as the sensor of this name; ends with its last entry. `None` if there is no station for it.
    pub fn play(
        &self,
        sensor: &str,
        mut entries: impl FnMut() -> Option<Entry> + Send + 'static,
        pace: Pace,
    ) -> Option<JoinHandle<u64>> {
        let inlet = self.stations.open(sensor)?;
        let (clock, cancel) = (Arc::clone(&self.clock), self.cancel.clone());
        Some(self.tasks.spawn_blocking(move || play(&mut entries, &inlet, &*clock, pace, &cancel)))
    }

    /// Ends the sources, then the stations with their recordings, then what front-ends are told; within [`STOP_WITHIN`].
    pub async fn stop(mut self) {
        self.cancel.cancel();
        self.tasks.close();
        if tokio::time::timeout(TASKS_WITHIN, self.tasks.wait()).await.is_err() {
            tracing::warn!("a task did not end in time");
        }
        let stations = Arc::clone(&self.stations);
        let stopped = tokio::task::spawn_blocking(move || stations.stop());
        if tokio::time::timeout(STATIONS_WITHIN, stopped).await.is_err() {
            tracing::warn!("a recording was not finished in time; it is at the next start");
        }
        let stored = async {
            self.entrance.stop().await;
            (&mut self.ingest).await
        };
        match tokio::time::timeout(STORE_WITHIN, stored).await {
            Ok(Ok(())) => {}
            Ok(Err(error)) => tracing::error!(%error, "what was told last may not be stored; it is at the next start"),
            Err(_) => {
                self.ingest.abort();
                tracing::warn!("what was told last was not stored in time; it is at the next start");
            }
        }
        self.streams.cancel();
        if tokio::time::timeout(STREAMS_WITHIN, &mut self.server).await.is_err() {
            tracing::debug!("a front-end did not read to the end of its stream");
            self.server.abort();
        }
        let log = self.log;
        let closed = tokio::task::spawn_blocking(move || log.close());
        if tokio::time::timeout(LOG_WITHIN, closed).await.is_err() {
            tracing::warn!("the event log was not written in time; after a restart the last events cannot be resumed");
        }
        if tokio::time::timeout(CLOSE_WITHIN, self.store.close()).await.is_err() {
            tracing::warn!("the store is still in use and was not closed; what was committed is on disk");
        }
        drop(self.lock);
    }
}

/// Finishes what a crash left, and says so.
fn tell_recovered(leftovers: Leftovers) {
    for recovered in leftovers.recover(&SystemDisk) {
        let path = recovered.path.display();
        match recovered.error {
            None => {
                tracing::info!(%path, messages = recovered.messages, cut_bytes = recovered.cut_bytes, "recording finished");
            }
            Some(error) => tracing::warn!(%path, error, "a recording is kept as the last run left it"),
        }
    }
}

async fn watch_log(lost: Arc<AtomicU64>, failing: Arc<AtomicBool>, hub: Arc<Hub>, cancel: CancellationToken) {
    let mut before = 0;
    loop {
        tokio::select! {
            () = tokio::time::sleep(LOOK_EVERY) => {}
            () = cancel.cancelled() => return,
        }
        let now = lost.load(Ordering::Relaxed);
        if now > before || failing.load(Ordering::Relaxed) {
            hub.fault(Fault {
                sensor: None,
                key: "event_log",
                cause: "events cannot be written to the event log; after a restart they cannot be resumed".into(),
                remedy: "make room on the disk, and check that the data folder can be written to".into(),
            });
        } else {
            hub.clear(None, "event_log");
        }
        before = now;
    }
}
