//! Which adapters there are, and what they list and hear.

use super::super::RadioError;
use super::error::not_permitted;
use btleplug::api::{BDAddr, Central as _, CentralState, Manager as _, Peripheral as _};
use btleplug::platform::{Adapter, Manager, Peripheral};
use std::time::Duration;
use tokio::time::{Instant, sleep};

/// How long macOS may take to tell the state of its adapter after a start.
const STATE_LIMIT: Duration = Duration::from_secs(1);

/// Between two questions for it.
const ASK_AGAIN: Duration = Duration::from_millis(50);

/// One that was heard, with what it advertises.
pub(super) struct Heard {
    pub(super) id: String,
    pub(super) adapter: String,
    pub(super) rssi_dbm: Option<i16>,
    pub(super) name: Option<String>,
    pub(super) services: Vec<uuid::Uuid>,
}

/// What a sensor is known by: its address, whichever adapter hears it; on macOS, which tells none, the platform's id.
pub(super) fn key(peripheral: &Peripheral) -> String {
    let address = peripheral.address();
    if address == BDAddr::default() { peripheral.id().to_string() } else { address.to_string() }
}

/// Everything that has a signal strength or is connected. BlueZ lists all it ever met, and forgets signal strengths when listening ends.
pub(super) async fn heard(manager: &Manager) -> Result<Vec<Heard>, RadioError> {
    let mut all = Vec::new();
    for adapter in powered_adapters(manager).await? {
        let info = adapter.adapter_info().await?;
        // `hci0` of `hci0 (usb:v1D6Bp0246d0540)`
        let name = info.split(" (").next().unwrap_or_default();
        for peripheral in adapter.peripherals().await? {
            all.extend(heard_now(&peripheral, name).await?);
        }
    }
    Ok(all)
}

async fn heard_now(peripheral: &Peripheral, adapter: &str) -> Result<Option<Heard>, RadioError> {
    let properties = match peripheral.properties().await.map_err(RadioError::from) {
        Ok(properties) => properties,
        // Forgotten since it was listed.
        Err(RadioError::NotFound) => None,
        Err(error) => return Err(error),
    };
    let Some(properties) = properties else { return Ok(None) };
    // One that is connected, as by a program that was killed, does not advertise.
    if properties.rssi.is_none() && !peripheral.is_connected().await.unwrap_or(false) {
        return Ok(None);
    }
    let rssi_dbm = properties.rssi;
    // BlueZ's alias of a sensor without a name is its address with dashes.
    let nameless = peripheral.address().to_string().replace(':', "-");
    let local = properties.local_name.filter(|name| !name.eq_ignore_ascii_case(&nameless));
    let name = properties.advertisement_name.or(local);
    let adapter = adapter.to_owned();
    Ok(Some(Heard { id: key(peripheral), adapter, rssi_dbm, name, services: properties.services }))
}

/// A peripheral with this id as one adapter has it.
pub(super) struct Candidate {
    pub(super) peripheral: Peripheral,
    pub(super) is_connected: bool,
    pub(super) rssi_dbm: Option<i16>,
}

/// All that have this id, heard now or not: one for each adapter that knows it.
pub(super) async fn candidates(manager: &Manager, id: &str) -> Result<Vec<Candidate>, RadioError> {
    let mut all = Vec::new();
    for adapter in powered_adapters(manager).await? {
        let peripherals = adapter.peripherals().await?.into_iter();
        for peripheral in peripherals.filter(|it| key(it) == id) {
            match candidate(peripheral).await {
                Ok(candidate) => all.push(candidate),
                Err(RadioError::NotFound) => {}
                Err(error) => return Err(error),
            }
        }
    }
    Ok(all)
}

async fn candidate(peripheral: Peripheral) -> Result<Candidate, RadioError> {
    let is_connected = peripheral.is_connected().await?;
    let rssi_dbm = peripheral.properties().await?.and_then(|it| it.rssi);
    Ok(Candidate { peripheral, is_connected, rssi_dbm })
}

/// Adapters that are switched on; an error if there are none, or all are off.
pub(super) async fn powered_adapters(manager: &Manager) -> Result<Vec<Adapter>, RadioError> {
    let mut powered = Vec::new();
    let mut otherwise = RadioError::NoAdapter;
    for adapter in manager.adapters().await? {
        match state(&adapter).await {
            Ok(CentralState::PoweredOn) => powered.push(adapter),
            Ok(CentralState::Unknown) if cfg!(target_os = "macos") => otherwise = not_permitted(),
            Ok(CentralState::PoweredOff | CentralState::Unknown) => otherwise = RadioError::SwitchedOff,
            // It was unplugged meanwhile.
            Err(RadioError::NotFound) => {}
            Err(error) => return Err(error),
        }
    }
    if powered.is_empty() { Err(otherwise) } else { Ok(powered) }
}

/// Whether an adapter is on. `adapter_state` calls an adapter that cannot be asked switched off, so `adapter_info` comes
/// first, which tells errors.
async fn state(adapter: &Adapter) -> Result<CentralState, RadioError> {
    adapter.adapter_info().await?;
    let end = Instant::now() + STATE_LIMIT;
    loop {
        let state = adapter.adapter_state().await?;
        if state != CentralState::Unknown || Instant::now() >= end {
            return Ok(state);
        }
        sleep(ASK_AGAIN).await;
    }
}
