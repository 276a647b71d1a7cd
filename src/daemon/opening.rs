//! What is opened before the service runs, or a command works without it: the store, its installation's name, the events of
//! earlier runs.

use super::Stations;
use super::access;
use super::clock::Clock;
use super::event_log::EventLog;
use super::hub::Hub;
use super::lock::LockError;
use super::record::restore::RestoreError;
use super::record::{finish_imports, plate, restore};
use super::recorder::SystemDisk;
use super::station::Limits;
use super::store::queries::{chosen_sensors, recordings};
use super::store::rows::UtcMicros;
use super::store::{Place, Store, StoreError};
use crate::engine::wire::mcap::AtThePlate;
use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The file in the data folder that has the installation's name.
const CAGE: &str = "cage";

/// What the service is started with.
#[derive(Clone, Debug)]
pub struct Settings {
    /// Everything is kept in it.
    pub data_folder: PathBuf,
    /// Where front-ends find it; port 0: any that is free.
    pub listen: SocketAddr,
    /// By which names, how fast and how slowly it may be asked.
    pub http: access::Settings,
    /// What this installation is called, where several share a store.
    pub cage: String,
    /// What is older than so many days is removed; 0: nothing is.
    pub retention_days: u64,
    /// How many events can be resumed.
    pub events_keep: usize,
    /// With less free space than this the disk is nearly full, bytes.
    pub nearly_full_bytes: u64,
    /// When recordings end.
    pub limits: Limits,
    /// Where the record is kept.
    pub store: Place,
}

/// Why the service cannot start.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// Another one has the folder, or it cannot be had.
    #[error(transparent)]
    Lock(#[from] LockError),
    /// The record cannot be opened.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A restore that was ended in between cannot be ended.
    #[error(transparent)]
    Restore(#[from] RestoreError),
    /// The installation was called otherwise before.
    #[error(
        "cage.name is {asked:?}, but the recordings in this data folder are stored as those of {found:?}; under another name \
         each would be stored once more. Expected cage.name = {found:?}; to begin anew as {asked:?}, take another data folder"
    )]
    Cage {
        /// What it was called.
        found: String,
        /// What it is to be called.
        asked: String,
    },
    /// The folder cannot be written to.
    #[error("{}: {cause}; expected a folder that can be written to", path.display())]
    Folder {
        /// Which.
        path: PathBuf,
        /// Why.
        cause: std::io::Error,
    },
    /// The address cannot be listened on.
    #[error("http.listen {address}: {cause}; expected a free port, or 0 for any")]
    Listen {
        /// Which.
        address: SocketAddr,
        /// Why.
        cause: std::io::Error,
    },
}

/// Holds the data folder to one name of the installation: recordings are known by it. It may change as long as none is.
async fn keep_cage(store: &Store, folder: &Path, cage: &str) -> Result<(), StartError> {
    let path = folder.join(CAGE);
    let failed = |cause| StartError::Folder { path: path.clone(), cause };
    let before = match std::fs::read_to_string(&path) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => None,
        text => Some(text.map_err(failed)?.trim_end().to_owned()),
    };
    match before {
        Some(found) if found == cage => return Ok(()),
        Some(found) if recordings::has_any_of(&mut *store.read().await?, &found).await? => {
            return Err(StartError::Cage { found, asked: cage.to_owned() });
        }
        _ => {}
    }
    let part = folder.join(format!("{CAGE}.part"));
    std::fs::write(&part, format!("{}\n", cage)).and_then(|()| std::fs::rename(&part, &path)).map_err(failed)
}

/// The store, after a restore or an import that was cut short is gone on with.
///
/// # Errors
/// If it or the data folder cannot be used.
pub(super) async fn open_store(settings: &Settings) -> Result<Store, StartError> {
    let folder = &settings.data_folder;
    let is_restoring = restore::finish(folder).map_err(|cause| StartError::Folder { path: folder.clone(), cause })?;
    let store = Store::open(&settings.store).await?;
    if is_restoring {
        restore::finish_server(&store, folder).await?;
    }
    keep_cage(&store, folder, &settings.cage).await?;
    if let Err(error) = finish_imports(&store, &settings.cage, &folder.join("recordings")).await {
        tracing::warn!(%error, "imports that were cut short are seen to at the next start");
    }
    Ok(store)
}

/// The hub, with the events of earlier runs.
pub(super) fn open_hub(settings: &Settings, clock: &dyn Clock) -> std::io::Result<(Arc<Hub>, EventLog)> {
    let (earlier, last_id, log) = EventLog::open(&settings.data_folder, settings.events_keep)?;
    // Later than any id before, even if the log of these is lost.
    let first_id = u64::try_from(clock.now().utc_ns / 1_000_000).unwrap_or(0).max(last_id + 1);
    let hub = Hub::new(earlier, first_id, settings.events_keep, log.keeper()).forgetting(log.forgetter());
    Ok((Arc::new(hub), log))
}

/// Whoever was at the plate when the service ended is again, if their lesson is not over.
///
/// # Errors
/// If it cannot be read.
pub(super) async fn bring_back_the_plate(
    store: &Store,
    cage: &str,
    clock: &dyn Clock,
    stations: &Stations<SystemDisk>,
) -> Result<(), StoreError> {
    let at_bat = plate::current(&mut *store.read().await?, cage, UtcMicros(clock.now().utc_ns / 1000)).await?;
    if at_bat.entry() == AtThePlate::default() {
        // Nobody, and how the sensors sit is known all the same.
        stations.wear(&at_bat);
    } else {
        stations.at_the_plate(&at_bat);
    }
    Ok(())
}

/// Which sensors were chosen here, with the names they had.
///
/// # Errors
/// If it cannot be read.
pub(super) async fn chosen_before(store: &Store, cage: &str) -> Result<BTreeMap<String, Option<String>>, StoreError> {
    let rows = chosen_sensors::list(&mut *store.read().await?, cage).await?;
    Ok(rows.into_iter().map(|row| (row.radio_id, row.name)).collect())
}

#[cfg(test)]
mod tests;
