//! One btleplug [`Manager`] with all that lives and ends with it.
//!
//! btleplug keeps the task that holds its connection to the system's bus to itself, and that task cannot be ended. So
//! each session has a runtime of its own, of one thread: ending that ends the connection, and what drains the sensors'
//! notifications shares its thread with nothing else. On that thread bluez-async 0.9 panics now and then, where a stream
//! is dropped as a signal arrives: a task of its own ends that had nothing more to do.

use super::super::{RadioError, Sink};
use super::discovery::Discovery;
use super::error::{explained, not_permitted};
use super::{Limits, THREAD_NAME};
use btleplug::api::{BDAddr, Central as _, CentralState, Manager as _, Peripheral as _};
use btleplug::platform::{Adapter, Manager, Peripheral, PeripheralId};
use futures::StreamExt as _;
use std::collections::HashMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::runtime::{Builder, Handle, Runtime};
use tokio::sync::OnceCell;
use tokio::task::JoinHandle;
use tokio::time::{Instant, sleep, timeout};
use tokio_util::task::AbortOnDropHandle;

/// Between two looks at the list of sensors while one is waited for.
const LOOK: Duration = Duration::from_millis(100);

/// How long macOS may take to tell the state of its adapter after a start.
const STATE_LIMIT: Duration = Duration::from_secs(1);

pub(super) struct Session {
    manager: Manager,
    limits: Limits,
    /// Those that were connected to, for as long as the session lives: see [`Known`].
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

/// A peripheral that was connected to, with its one stream of notifications.
///
/// After a loss the stream goes silent, and resumes with the next connection to the same peripheral; a second stream
/// would double everything. What notifications mean is looked up in this `Peripheral`, so it alone is asked to discover.
pub(super) struct Known {
    pub(super) peripheral: Peripheral,
    sink: Mutex<Option<Sink>>,
    drain: OnceCell<JoinHandle<()>>,
}

/// One that can be connected to, as the platform lists it.
pub(super) struct Listed {
    pub(super) peripheral: Peripheral,
    pub(super) adapter: String,
}

impl Session {
    pub(super) async fn open(limits: Limits) -> Result<Arc<Self>, RadioError> {
        let runtime = Builder::new_multi_thread().worker_threads(1).thread_name(THREAD_NAME).enable_all().build();
        let runtime = runtime.map_err(|e| RadioError::Other(format!("no thread for the radio: {e}")))?;
        let handle = runtime.handle().clone();
        let runtime = OwnRuntime(Mutex::new(Some(runtime)));
        // `Manager::new` blocks its thread, on a bus that hangs for 25 s: it is the runtime's own, which is given up then.
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

    /// Ends all tasks and the connection to the bus; links of this session are lost.
    fn end(&self) {
        self.is_over.store(true, Ordering::Release);
        self.runtime.end();
    }

    /// Something that the system's Bluetooth service answers by itself. Where it is silent, it or the bus is gone, and
    /// the session ends: nobody tells us that a bus has gone, and a connection to it does not come back.
    pub(super) async fn of_service<T: Send + 'static>(
        &self,
        call: impl Future<Output = Result<T, RadioError>> + Send + 'static,
    ) -> Result<T, RadioError> {
        let answer = on(&self.handle, "an answer of the Bluetooth service", self.limits.service, call).await;
        if matches!(answer, Err(RadioError::TimedOut { .. })) {
            self.end();
        }
        answer.map_err(silence_is_gone)
    }

    /// Something that the sensor has to answer. Where it takes too long, the service is asked whether it is there.
    pub(super) async fn of_sensor<T: Send + 'static>(
        &self,
        what: &'static str,
        limit: Duration,
        call: impl Future<Output = btleplug::Result<T>> + Send + 'static,
    ) -> Result<T, RadioError> {
        let answer = on(&self.handle, what, limit, call).await;
        if matches!(answer, Err(RadioError::TimedOut { .. })) {
            let manager = self.manager.clone();
            self.of_service(async move { manager.adapters().await.map_err(|e| explained(&e)) }).await?;
        }
        answer
    }

    /// Whether any adapter is there and on.
    pub(super) async fn health(&self) -> Result<(), RadioError> {
        let manager = self.manager.clone();
        self.of_service(async move { powered_adapters(&manager).await.map(drop) }).await
    }

    /// All that the platform lists, heard now or not.
    async fn listed(&self) -> Result<Vec<Listed>, RadioError> {
        let manager = self.manager.clone();
        self.of_service(async move { listed(&manager).await }).await
    }

    /// Listens for so long; what was heard, and by which adapter.
    pub(super) async fn heard(&self, duration: Duration) -> Result<Vec<Heard>, RadioError> {
        self.health().await?;
        let _listening = self.discovery.listen().await.inspect_err(|e| self.end_if_late(e))?;
        sleep(duration).await;
        let manager = self.manager.clone();
        // While still listening: BlueZ forgets signal strengths with the end of it.
        self.of_service(async move {
            let mut heard = Vec::new();
            for listed in listed(&manager).await? {
                heard.extend(listed.heard().await?);
            }
            Ok(heard)
        })
        .await
    }

    fn end_if_late(&self, error: &RadioError) {
        if matches!(error, RadioError::TimedOut { .. }) {
            self.end();
        }
    }

    /// The peripheral with this id; where the platform has forgotten it, adverts are listened for.
    pub(super) async fn find(&self, id: &str) -> Result<Arc<Known>, RadioError> {
        self.health().await?;
        if let Some(found) = self.best(id).await? {
            return Ok(found);
        }
        let _listening = self.discovery.listen().await.inspect_err(|e| self.end_if_late(e))?;
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
        let mut best = None;
        for candidate in self.listed().await?.into_iter().filter(|it| key(&it.peripheral) == id) {
            let peripheral = candidate.peripheral.clone();
            let state = self.of_service(async move {
                let connected = peripheral.is_connected().await.map_err(|e| explained(&e))?;
                let properties = peripheral.properties().await.map_err(|e| explained(&e))?;
                Ok((connected, properties.and_then(|it| it.rssi)))
            });
            let (is_connected, rssi_dbm) = match state.await {
                Ok(state) => state,
                Err(RadioError::NotFound) => continue,
                Err(error) => return Err(error),
            };
            let is_known = locked(&self.known).contains_key(&candidate.peripheral.id());
            let rank = (is_connected, rssi_dbm, is_known);
            if best.as_ref().is_none_or(|(highest, _)| rank > *highest) {
                best = Some((rank, candidate.peripheral));
            }
        }
        Ok(best.map(|(_, peripheral)| self.known(peripheral)))
    }

    fn known(&self, peripheral: Peripheral) -> Arc<Known> {
        let mut known = locked(&self.known);
        // A stream that ended (none does on Linux) is begun anew.
        known.retain(|_, it| it.drain.get().is_none_or(|drain| !drain.is_finished()));
        let new = || Arc::new(Known { peripheral: peripheral.clone(), sink: Mutex::default(), drain: OnceCell::new() });
        known.entry(peripheral.id()).or_insert_with(new).clone()
    }

    /// Sees to it that notifications of the peripheral are drained, once.
    pub(super) async fn drain(&self, known: &Arc<Known>) -> Result<(), RadioError> {
        let begin = async {
            let weak = Arc::downgrade(known);
            let peripheral = known.peripheral.clone();
            let begun = self.of_service(async move {
                let mut stream = peripheral.notifications().await.map_err(|e| explained(&e))?;
                Ok(tokio::spawn(async move {
                    while let Some(notification) = stream.next().await {
                        let sink = weak.upgrade().and_then(|known| locked(&known.sink).clone());
                        if let Some(sink) = sink {
                            sink(notification.uuid, notification.value);
                        }
                    }
                }))
            });
            begun.await
        };
        known.drain.get_or_try_init(|| begin).await.map(drop)
    }
}

impl Known {
    /// From now on notifications go there.
    pub(super) fn attach(&self, sink: Sink) {
        *locked(&self.sink) = Some(sink);
    }

    /// From now on they go nowhere, unless they already go elsewhere.
    pub(super) fn detach(&self, sink: &Sink) {
        let mut current = locked(&self.sink);
        if current.as_ref().is_some_and(|it| Arc::ptr_eq(it, sink)) {
            *current = None;
        }
    }
}

/// One that was heard, with what it advertises.
pub(super) struct Heard {
    pub(super) id: String,
    pub(super) adapter: String,
    pub(super) rssi_dbm: i16,
    pub(super) name: Option<String>,
    pub(super) services: Vec<uuid::Uuid>,
}

impl Listed {
    /// `None` if it was not heard now: BlueZ lists everything it ever met.
    async fn heard(self) -> Result<Option<Heard>, RadioError> {
        let properties = match self.peripheral.properties().await.map_err(|e| explained(&e)) {
            Ok(properties) => properties,
            Err(RadioError::NotFound) => None,
            Err(error) => return Err(error),
        };
        let Some(properties) = properties else { return Ok(None) };
        let Some(rssi_dbm) = properties.rssi else { return Ok(None) };
        // BlueZ's alias of a sensor without a name is its address with dashes.
        let address = self.peripheral.address().to_string().replace(':', "-");
        let local = properties.local_name.filter(|name| !name.eq_ignore_ascii_case(&address));
        let name = properties.advertisement_name.or(local);
        let id = key(&self.peripheral);
        Ok(Some(Heard { id, adapter: self.adapter, rssi_dbm, name, services: properties.services }))
    }
}

/// What a sensor is known by: its address, whichever adapter hears it; on macOS, which tells none, the platform's id.
fn key(peripheral: &Peripheral) -> String {
    let address = peripheral.address();
    if address == BDAddr::default() { peripheral.id().to_string() } else { address.to_string() }
}

async fn listed(manager: &Manager) -> Result<Vec<Listed>, RadioError> {
    let mut all = Vec::new();
    for adapter in powered_adapters(manager).await? {
        let name = adapter_name(&adapter).await?;
        let peripherals = adapter.peripherals().await.map_err(|e| explained(&e))?;
        all.extend(peripherals.into_iter().map(|peripheral| Listed { peripheral, adapter: name.clone() }));
    }
    Ok(all)
}

/// `hci0` of `hci0 (usb:v1D6Bp0246d0540)`.
async fn adapter_name(adapter: &Adapter) -> Result<String, RadioError> {
    let info = adapter.adapter_info().await.map_err(|e| explained(&e))?;
    Ok(info.split(" (").next().unwrap_or_default().to_owned())
}

/// Adapters that are switched on; an error if there are none, or all are off.
pub(super) async fn powered_adapters(manager: &Manager) -> Result<Vec<Adapter>, RadioError> {
    let all = manager.adapters().await.map_err(|e| explained(&e))?;
    let mut powered = Vec::new();
    let mut outcome = RadioError::NoAdapter;
    for adapter in all {
        match state(&adapter).await {
            Ok(CentralState::PoweredOn) => powered.push(adapter),
            Ok(CentralState::PoweredOff) => outcome = RadioError::SwitchedOff,
            Ok(CentralState::Unknown) if cfg!(target_os = "macos") => outcome = not_permitted(),
            Ok(CentralState::Unknown) => outcome = RadioError::SwitchedOff,
            // It was unplugged meanwhile.
            Err(RadioError::NotFound) => {}
            Err(error) => return Err(error),
        }
    }
    if powered.is_empty() { Err(outcome) } else { Ok(powered) }
}

/// Whether an adapter is on. `adapter_state` calls an adapter that cannot be asked switched off, so `adapter_info` comes
/// first, which tells errors.
async fn state(adapter: &Adapter) -> Result<CentralState, RadioError> {
    adapter.adapter_info().await.map_err(|e| explained(&e))?;
    let end = Instant::now() + STATE_LIMIT;
    loop {
        let state = adapter.adapter_state().await.map_err(|e| explained(&e))?;
        if state != CentralState::Unknown || Instant::now() >= end {
            return Ok(state);
        }
        sleep(LOOK).await;
    }
}

/// Runs a call on the session's thread, for no longer than `limit`.
async fn on<T: Send + 'static, E: Into<CallError>>(
    handle: &Handle,
    what: &'static str,
    limit: Duration,
    call: impl Future<Output = Result<T, E>> + Send + 'static,
) -> Result<T, RadioError>
where
    E: Send + 'static,
{
    let task = AbortOnDropHandle::new(handle.spawn(call));
    match timeout(limit, task).await {
        Ok(Ok(answer)) => answer.map_err(|e| e.into().0),
        Ok(Err(ended)) if ended.is_panic() => Err(RadioError::Other("the Bluetooth library failed".into())),
        Ok(Err(_)) => Err(RadioError::ServiceGone("the connection to it was closed".into())),
        Err(_) => Err(RadioError::TimedOut { what, limit_s: limit.as_secs() }),
    }
}

/// An error of either kind.
struct CallError(RadioError);

impl From<RadioError> for CallError {
    fn from(error: RadioError) -> Self {
        Self(error)
    }
}

impl From<btleplug::Error> for CallError {
    fn from(error: btleplug::Error) -> Self {
        Self(explained(&error))
    }
}

fn silence_is_gone(error: RadioError) -> RadioError {
    match error {
        RadioError::TimedOut { limit_s, .. } => RadioError::ServiceGone(format!("no answer within {limit_s} s")),
        other => other,
    }
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
