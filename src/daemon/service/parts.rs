//! Parts of a service as it starts, put together.

use super::{Settings, StartError};
use crate::daemon::checks::Checks;
use crate::daemon::clock::Clock;
use crate::daemon::example::Example;
use crate::daemon::hub::Hub;
use crate::daemon::metrics::Metrics;
use crate::daemon::nearby::Nearby;
use crate::daemon::record::Turns;
use crate::daemon::record::ingest::Entrance;
use crate::daemon::recorder::SystemDisk;
use crate::daemon::store::Store;
use crate::daemon::{Stations, access, api};
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;

/// None yet, with recordings in that folder.
pub(super) fn stations(
    settings: &Settings,
    recordings: PathBuf,
    hub: &Arc<Hub>,
    clock: &Arc<dyn Clock>,
    entrance: &Entrance,
) -> Arc<Stations<SystemDisk>> {
    Arc::new(Stations::new(
        Arc::clone(hub),
        Arc::clone(clock),
        Arc::new(|| SystemDisk),
        recordings,
        settings.nearly_full_bytes,
        settings.limits,
        entrance.clone(),
    ))
}

/// Where front-ends are listened for, and under which address.
///
/// # Errors
/// If the address is not free.
pub(super) async fn listen(asked: SocketAddr) -> Result<(Vec<TcpListener>, SocketAddr), StartError> {
    let listen_error = |cause| StartError::Listen { address: asked, cause };
    let listeners = access::server::listen(asked).await.map_err(listen_error)?;
    let address = listeners.first().map_or(Ok(asked), TcpListener::local_addr).map_err(listen_error)?;
    Ok((listeners, address))
}

/// What the API works with.
pub(super) struct Shared<'a> {
    pub settings: &'a Settings,
    pub address: SocketAddr,
    pub store: &'a Store,
    pub hub: &'a Arc<Hub>,
    pub clock: &'a Arc<dyn Clock>,
    pub stations: &'a Arc<Stations<SystemDisk>>,
    pub nearby: &'a Arc<Nearby>,
    pub turns: &'a Arc<Turns>,
    /// The service's tasks, and what ends them.
    pub tasks: (&'a TaskTracker, &'a CancellationToken),
    /// Ends what front-ends are told.
    pub streams: &'a CancellationToken,
}

impl Shared<'_> {
    /// The API's handlers have it.
    pub(super) fn api(&self) -> api::Api {
        let Self { settings, store, hub, clock, stations, .. } = *self;
        let (tasks, cancel) = self.tasks;
        let example = Example::at(stations, hub, clock, tasks, cancel);
        let heard = Arc::clone(&example);
        let (plate, tapped) = (Arc::clone(stations), Arc::clone(stations));
        let access = access::Access::new(&settings.http, settings.cage.clone(), self.address, store.clone());
        api::Api {
            store: store.clone(),
            hub: Arc::clone(hub),
            clock: Arc::clone(clock),
            cage: settings.cage.clone(),
            data_folder: settings.data_folder.clone(),
            turns: Arc::clone(self.turns),
            plate: Arc::new(move |at_bat| {
                // What is simulated ends before anybody real is at the plate.
                heard.heard(at_bat);
                plate.at_the_plate(at_bat);
            }),
            example: Some(example),
            access: Arc::new(access),
            metrics: Arc::new(Metrics::new(clock.now().utc_ns as f64 * 1e-9)),
            nearly_full_bytes: settings.nearly_full_bytes,
            nearby: Arc::clone(self.nearby),
            checks: Arc::new(Checks::new(Arc::new(move |sensor| tapped.tap(sensor)))),
            cancel: self.streams.clone(),
            screen: Arc::default(),
            heartbeat: api::HEARTBEAT,
        }
    }
}
