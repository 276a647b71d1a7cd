//! Bluetooth Low Energy through `btleplug`.
//!
//! Rules that btleplug 0.13 asks for, each held by a test of `tests/bluez`:
//!
//! - Nobody tells that the bus has gone, and calls on it hang for 30 s: every call has a limit of its own, and what was
//!   silent is given up and opened anew with the next call (`session`).
//! - A sensor has one stream of notifications for as long as a session lives; connections only change where it leads.
//! - Streams are never held without being polled: they grow without bound. `events()` is not used at all.
//! - BlueZ lists sensors that are long gone, and those that other programs look for: only what has a signal strength was
//!   heard, and what it advertises is for the caller to check again.
//! - A sensor that is connected does not advertise, so a scan does not list it.
//! - `start_scan` switches adapters on: those that are off are left alone.
//!
//! Left out: Windows and macOS hold 16 notifications for each sensor and drop more without a word; the sensor's packet
//! numbers tell. Signal strengths on macOS may be old, as nothing there forgets them.

mod discovery;
mod error;
mod known;
mod near;
mod session;

use super::{Advert, Link, Radio, RadioError, Sink};
use btleplug::api::{CharPropFlags, Characteristic, Peripheral as _, WriteType};
use error::unless_so_already;
use known::Known;
use near::Heard;
use session::Session;
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::OnceCell;
use uuid::Uuid;

/// The name of the radio's own thread.
pub const THREAD_NAME: &str = "swingd-radio";

/// How long what may take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// What the system's Bluetooth service answers by itself.
    pub service: Duration,
    /// Hearing a sensor that the system has forgotten.
    pub find: Duration,
    /// Connecting, until the system knows the sensor's services.
    pub connect: Duration,
    /// A read, a write, turning notifications on.
    pub sensor: Duration,
}

impl Default for Limits {
    /// A service answers within milliseconds and a sensor within tenths of a second; a connection takes as long as the
    /// sensor's advertising interval, 10.24 s at most (Bluetooth Core Specification, vol. 6, part B, 4.4.2.2).
    fn default() -> Self {
        Self {
            service: Duration::from_secs(3),
            find: Duration::from_secs(5),
            connect: Duration::from_secs(11),
            sensor: Duration::from_secs(4),
        }
    }
}

/// All adapters, through btleplug.
pub struct BleRadio {
    limits: Limits,
    session: Mutex<Arc<OnceCell<Arc<Session>>>>,
}

impl Default for BleRadio {
    fn default() -> Self {
        Self::new(Limits::default())
    }
}

impl BleRadio {
    /// Nothing is opened before the first call.
    pub fn new(limits: Limits) -> Self {
        Self { limits, session: Mutex::default() }
    }

    /// The session that is open, or a new one; of several callers at once one opens it.
    async fn session(&self) -> Result<Arc<Session>, RadioError> {
        let cell = {
            let mut cell = self.session.lock().unwrap_or_else(PoisonError::into_inner);
            if cell.get().is_some_and(|session| session.is_over()) {
                *cell = Arc::default();
            }
            cell.clone()
        };
        cell.get_or_try_init(|| Session::open(self.limits)).await.cloned()
    }
}

impl Radio for BleRadio {
    type Link = BleLink;

    async fn health(&self) -> Result<(), RadioError> {
        self.session().await?.health().await
    }

    async fn scan(&self, duration: Duration) -> Result<Vec<Advert>, RadioError> {
        Ok(loudest(self.session().await?.heard(duration).await?))
    }

    async fn connect(&self, id: &str, sink: Sink) -> Result<BleLink, RadioError> {
        let session = self.session().await?;
        let known = session.find(id).await?;
        let connected = connected(&session, &known, self.limits.connect).await;
        if let Err(error) = connected {
            // Else the system would go on trying, or keep a connection that nobody uses.
            let peripheral = known.peripheral.clone();
            let ended = async move { peripheral.disconnect().await };
            let _ = session.of_sensor("disconnecting", self.limits.service, ended).await;
            return Err(error);
        }
        let connection = known.attach(sink);
        let characteristics = known.peripheral.characteristics().into_iter().collect();
        Ok(BleLink { session, known, connection, characteristics, limits: self.limits })
    }
}

async fn connected(session: &Session, known: &Arc<Known>, limit: Duration) -> Result<(), RadioError> {
    let peripheral = known.peripheral.clone();
    let connected = session.of_sensor("connecting", limit, async move { peripheral.connect().await }).await;
    connected.or_else(unless_so_already)?;
    let peripheral = known.peripheral.clone();
    session.of_sensor("discovering", limit, async move { peripheral.discover_services().await }).await?;
    known.drain(session).await
}

/// Each sensor once, by the adapter that hears it best.
fn loudest(heard: Vec<Heard>) -> Vec<Advert> {
    let mut by_id = BTreeMap::<String, Heard>::new();
    for one in heard {
        if by_id.get(&one.id).is_none_or(|it| it.rssi_dbm < one.rssi_dbm) {
            by_id.insert(one.id.clone(), one);
        }
    }
    let advert = |Heard { id, adapter, rssi_dbm, name, services }| Advert { id, name, rssi_dbm, services, adapter };
    by_id.into_values().map(advert).collect()
}

/// A connection through btleplug. Dropping it ends the way of notifications to its sink, not the connection.
pub struct BleLink {
    session: Arc<Session>,
    known: Arc<Known>,
    /// See [`Known::attach`].
    connection: u64,
    characteristics: Vec<Characteristic>,
    limits: Limits,
}

impl BleLink {
    fn characteristic(&self, uuid: Uuid) -> Result<Characteristic, RadioError> {
        let found = self.characteristics.iter().find(|it| it.uuid == uuid);
        found.cloned().ok_or(RadioError::NoCharacteristic(uuid))
    }

    /// A call that the sensor answers; that the system no longer knows the sensor means that the connection is lost.
    async fn ask<T: Send + 'static>(
        &self,
        what: &'static str,
        call: impl Future<Output = btleplug::Result<T>> + Send + 'static,
    ) -> Result<T, RadioError> {
        let answer = self.session.of_sensor(what, self.limits.sensor, call).await;
        answer.map_err(|error| if error == RadioError::NotFound { RadioError::Lost } else { error })
    }
}

impl Link for BleLink {
    fn characteristics(&self) -> Vec<Uuid> {
        self.characteristics.iter().map(|it| it.uuid).collect()
    }

    async fn read(&self, characteristic: Uuid) -> Result<Vec<u8>, RadioError> {
        let (peripheral, of) = (self.known.peripheral.clone(), self.characteristic(characteristic)?);
        self.ask("reading", async move { peripheral.read(&of).await }).await
    }

    async fn write(&self, characteristic: Uuid, bytes: &[u8], with_response: bool) -> Result<(), RadioError> {
        let (peripheral, to) = (self.known.peripheral.clone(), self.characteristic(characteristic)?);
        let has = |flag| to.properties.contains(flag);
        // As is wanted, where it can be written that way at all.
        let with_response = match (has(CharPropFlags::WRITE), has(CharPropFlags::WRITE_WITHOUT_RESPONSE)) {
            (true, true) => with_response,
            (can, _) => can,
        };
        let how = if with_response { WriteType::WithResponse } else { WriteType::WithoutResponse };
        let bytes = bytes.to_vec();
        self.ask("writing", async move { peripheral.write(&to, &bytes, how).await }).await
    }

    async fn subscribe(&self, characteristic: Uuid) -> Result<(), RadioError> {
        let (peripheral, to) = (self.known.peripheral.clone(), self.characteristic(characteristic)?);
        let answer = self.ask("turning notifications on", async move { peripheral.subscribe(&to).await }).await;
        answer.or_else(unless_so_already)
    }

    async fn is_connected(&self) -> bool {
        let peripheral = self.known.peripheral.clone();
        self.session.of_service(async move { Ok(peripheral.is_connected().await?) }).await.unwrap_or(false)
    }

    async fn disconnect(&self) {
        let peripheral = self.known.peripheral.clone();
        let _ = self.ask("disconnecting", async move { peripheral.disconnect().await }).await;
        self.known.detach(self.connection);
    }
}

impl Drop for BleLink {
    fn drop(&mut self) {
        self.known.detach(self.connection);
    }
}

/// Keeps the panics of bluez-async's own tasks (see `session`) out of the terminal; all others go where they went before.
pub fn hide_harmless_panics() {
    let before = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        let is_theirs = panic.location().is_some_and(|it| it.file().contains("bluez-async"));
        if is_theirs && std::thread::current().name() == Some(THREAD_NAME) {
            tracing::debug!(%panic, "a task of the Bluetooth library ended");
        } else {
            before(panic);
        }
    }));
}
