//! One btleplug [`Manager`] with all that lives and ends with it.
//!
//! btleplug keeps the task that holds its connection to the system's bus to itself, and that task cannot be ended. So
//! each session has a runtime of its own, of one thread: ending that ends the connection, and what drains the sensors'
//! notifications shares its thread with nothing else. On that thread bluez-async 0.9 panics now and then, where a stream
//! is dropped as a signal arrives: a task of its own ends that had nothing more to do.

use super::super::RadioError;
use super::discovery::{Discovery, Listening};
use super::error::bus_closed;
use super::known::Known;
use super::near::{Candidate, Heard, candidates, heard, powered_adapters};
use super::{Limits, THREAD_NAME};
use btleplug::api::{Manager as _, Peripheral as _};
use btleplug::platform::{Manager, Peripheral, PeripheralId};
use std::collections::HashMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::runtime::{Builder, Handle, Runtime};
use tokio::time::{Instant, sleep, timeout};
use tokio_util::task::AbortOnDropHandle;

/// Between two looks at the list of sensors while one is waited for.
const LOOK: Duration = Duration::from_millis(100);

pub(super) struct Session {
    manager: Manager,
    limits: Limits,
    /// Those that were connected to.
    known: Mutex<HashMap<PeripheralId, Arc<Known>>>,
    discovery: Discovery,
    is_over: AtomicBool,
    handle: Handle,
    runtime: OwnRuntime,
}

/// A runtime that may be dropped anywhere.
struct OwnRuntime(Mutex<Option<Runtime>>);

impl OwnRuntime {
    fn end(&self) {
        if let Some(runtime) = locked(&self.0).take() {
            runtime.shutdown_background();
        }
    }
}

impl Drop for OwnRuntime {
    fn drop(&mut self) {
        self.end();
    }
}

impl Session {
    pub(super) async fn open(limits: Limits) -> Result<Arc<Self>, RadioError> {
        let runtime = Builder::new_multi_thread().worker_threads(1).thread_name(THREAD_NAME).enable_all().build();
        let runtime = runtime.map_err(|e| RadioError::Other(format!("no thread for the radio: {e}")))?;
        let handle = runtime.handle().clone();
        let runtime = OwnRuntime(Mutex::new(Some(runtime)));
        // `Manager::new` blocks its thread, for 25 s on a bus that hangs: it is the runtime's own, which is given up then.
        let opened = on(&handle, "opening Bluetooth", limits.service, Manager::new()).await;
        let manager = opened.map_err(silence_is_gone)?;
        let discovery = {
            let _entered = handle.enter();
            Discovery::new(manager.clone(), limits.service)
        };
        let known = Mutex::default();
        Ok(Arc::new(Self { manager, limits, known, discovery, is_over: AtomicBool::new(false), handle, runtime }))
    }

    pub(super) fn is_over(&self) -> bool {
        self.is_over.load(Ordering::Acquire)
    }

    /// Something that the system's Bluetooth service answers by itself. Where it is silent, it or the bus is gone, and
    /// the session ends: nobody tells us that a bus has gone, and a connection to it does not come back.
    pub(super) async fn of_service<T: Send + 'static>(
        &self,
        call: impl Future<Output = Result<T, RadioError>> + Send + 'static,
    ) -> Result<T, RadioError> {
        let answer = on(&self.handle, "an answer of the Bluetooth service", self.limits.service, call).await;
        answer.map_err(|error| self.ended_by(error))
    }

    /// Something that the sensor has to answer. Where it takes too long, the service is asked whether it is there.
    pub(super) async fn of_sensor<T: Send + 'static>(
        &self,
        what: &'static str,
        limit: Duration,
        call: impl Future<Output = btleplug::Result<T>> + Send + 'static,
    ) -> Result<T, RadioError> {
        let answer = on(&self.handle, what, limit, call).await;
        if answer.as_ref().is_err_and(|error| *error == bus_closed()) {
            return answer.map_err(|error| self.ended_by(error));
        }
        if matches!(answer, Err(RadioError::TimedOut { .. })) {
            let manager = self.manager.clone();
            self.of_service(async move { Ok(manager.adapters().await?) }).await?;
        }
        answer
    }

    /// Silence, or a bus that is closed, ends the session, its tasks and its connection to the bus; its links are lost.
    fn ended_by(&self, error: RadioError) -> RadioError {
        if matches!(error, RadioError::TimedOut { .. }) || error == bus_closed() {
            self.is_over.store(true, Ordering::Release);
            self.runtime.end();
        }
        silence_is_gone(error)
    }

    /// Whether any adapter is there and on.
    pub(super) async fn health(&self) -> Result<(), RadioError> {
        let manager = self.manager.clone();
        self.of_service(async move { powered_adapters(&manager).await.map(drop) }).await
    }

    /// Listens for so long; what was heard, and by which adapter.
    pub(super) async fn heard(&self, duration: Duration) -> Result<Vec<Heard>, RadioError> {
        let _listening = self.listen().await?;
        sleep(duration).await;
        let manager = self.manager.clone();
        self.of_service(async move { heard(&manager).await }).await
    }

    async fn listen(&self) -> Result<Listening, RadioError> {
        self.discovery.listen().await.map_err(|error| self.ended_by(error))
    }

    /// The peripheral with this id; where the platform has forgotten it, adverts are listened for.
    pub(super) async fn find(&self, id: &str) -> Result<Arc<Known>, RadioError> {
        if let Some(found) = self.best(id).await? {
            return Ok(found);
        }
        let _listening = self.listen().await?;
        let end = Instant::now() + self.limits.find;
        while Instant::now() < end {
            sleep(LOOK).await;
            if let Some(found) = self.best(id).await? {
                return Ok(found);
            }
        }
        Err(RadioError::NotFound)
    }

    /// Of several adapters' peripherals with this id: the one that is connected, else the one that is heard best, else
    /// the one that was connected before.
    async fn best(&self, id: &str) -> Result<Option<Arc<Known>>, RadioError> {
        let (manager, id) = (self.manager.clone(), id.to_owned());
        let candidates = self.of_service(async move { candidates(&manager, &id).await }).await?;
        let rank = |it: &Candidate| {
            let was_connected = locked(&self.known).contains_key(&it.peripheral.id());
            (it.is_connected, it.rssi_dbm, was_connected)
        };
        let best = candidates.into_iter().max_by_key(rank);
        Ok(best.map(|it| self.known(it.peripheral)))
    }

    fn known(&self, peripheral: Peripheral) -> Arc<Known> {
        let mut known = locked(&self.known);
        known.retain(|_, it| !it.is_over());
        known.entry(peripheral.id()).or_insert_with(|| Arc::new(Known::new(peripheral))).clone()
    }
}

/// Runs a call on the session's thread, for no longer than `limit`.
async fn on<T: Send + 'static, E: Into<RadioError> + Send + 'static>(
    handle: &Handle,
    what: &'static str,
    limit: Duration,
    call: impl Future<Output = Result<T, E>> + Send + 'static,
) -> Result<T, RadioError> {
    let task = AbortOnDropHandle::new(handle.spawn(call));
    match timeout(limit, task).await {
        Ok(Ok(answer)) => answer.map_err(Into::into),
        Ok(Err(ended)) if ended.is_panic() => Err(RadioError::Other("the Bluetooth library failed".into())),
        Ok(Err(_)) => Err(RadioError::ServiceGone("the connection to it was closed".into())),
        Err(_) => Err(RadioError::TimedOut { what, limit_s: limit.as_secs() }),
    }
}

fn silence_is_gone(error: RadioError) -> RadioError {
    match error {
        RadioError::TimedOut { limit_s, .. } => RadioError::ServiceGone(format!("no answer within {limit_s} s")),
        other => other,
    }
}

pub(super) fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
