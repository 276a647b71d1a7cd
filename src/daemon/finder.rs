//! Which sensors to connect to: a task that listens, tells what it understands and starts a keeper for each.
//!
//! Listening costs the connections some of the radio's time, so it is done without pause only while there is no sensor,
//! and now and then afterwards.

use super::clock::Clock;
use super::hub::{Fault, Hub};
use super::inlet::Inlet;
use super::link::{Described, Keeper, Speaks, Target};
use super::radio::{Advert, Radio};
use crate::engine::device::descriptor::Descriptor;
use crate::engine::device::own;
use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;
use tokio::time::sleep;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use uuid::Uuid;

/// Listens for so long at a time while no sensor is known, as nothing is told before its end,
const LISTEN_WITHOUT: Duration = Duration::from_millis(1500);
/// or once there is one.
const LISTEN_WITH: Duration = Duration::from_secs(4);
/// Between two times waits so long while no sensor is known,
const PAUSE_WITHOUT: Duration = Duration::from_millis(500);
/// after one was found, so that it can be connected in peace and a second one is found soon,
const PAUSE_AFTER_ONE: Duration = Duration::from_secs(5);
/// or else.
const PAUSE_WITH: Duration = Duration::from_secs(30);

/// The fault of the radio as a whole.
pub const RADIO: &str = "radio";

/// The sensors this program can read: those of the project's own profile, and those of its descriptors.
#[derive(Clone, Debug, Default)]
pub struct Catalogue {
    described: Vec<(String, Descriptor)>,
}

impl Catalogue {
    /// With these descriptors beside the project's own profile: text and what it says. An earlier one is preferred.
    pub fn new(described: Vec<(String, Descriptor)>) -> Self {
        Self { described }
    }

    /// How an advertised sensor is spoken to; `None` if it is not understood.
    pub fn understand(&self, advert: &Advert) -> Option<Speaks> {
        if Uuid::parse_str(own::SERVICE).is_ok_and(|own| advert.services.contains(&own)) {
            return Some(Speaks::Own);
        }
        let (toml, descriptor) = self.described_of(advert)?;
        let uuid = |text: &str| Uuid::parse_str(text).ok();
        let commands = |commands: &[crate::engine::device::descriptor::Command]| {
            commands.iter().filter_map(|it| Some((uuid(&it.characteristic)?, it.bytes.clone()))).collect()
        };
        Some(Speaks::Described(Box::new(Described {
            toml: toml.clone(),
            notify: descriptor.notify().into_iter().filter_map(uuid).collect(),
            start: commands(descriptor.start()),
            stop: commands(descriptor.stop()),
        })))
    }

    /// What an advertised sensor is called; `None` if it is not understood.
    pub fn name_of(&self, advert: &Advert) -> Option<String> {
        match self.understand(advert)? {
            Speaks::Own => Some("swingd sensor".into()),
            Speaks::Described(_) => self.described_of(advert).map(|(_, descriptor)| descriptor.name.clone()),
        }
    }

    fn described_of(&self, advert: &Advert) -> Option<&(String, Descriptor)> {
        let services: Vec<String> = advert.services.iter().map(Uuid::to_string).collect();
        let services: Vec<&str> = services.iter().map(String::as_str).collect();
        self.described.iter().find(|(_, descriptor)| descriptor.matches(advert.name.as_deref(), &services))
    }
}

/// Opens a station for a sensor, with the profile its samples are to be read with put into it; `None` if it is not to be
/// connected to, or cannot be.
pub type Open = Box<dyn Fn(&Advert) -> Option<Arc<Inlet>> + Send + Sync>;

/// What looks for sensors.
pub struct Finder<R> {
    /// The radio.
    pub radio: Arc<R>,
    /// What is understood.
    pub catalogue: Catalogue,
    /// What is wanted.
    pub open: Open,
    /// Where faults go.
    pub hub: Arc<Hub>,
    /// The time.
    pub clock: Arc<dyn Clock>,
    /// The keepers' tasks.
    pub tasks: TaskTracker,
    /// Ends it all.
    pub cancel: CancellationToken,
}

impl<R: Radio> Finder<R> {
    /// Listens until cancelled.
    pub async fn run(self) {
        let mut kept = BTreeSet::new();
        loop {
            let before = kept.len();
            let listen = if kept.is_empty() { LISTEN_WITHOUT } else { LISTEN_WITH };
            let heard = tokio::select! {
                heard = self.radio.scan(listen) => heard,
                () = self.cancel.cancelled() => return,
            };
            match heard {
                Ok(adverts) => {
                    self.hub.clear(None, RADIO);
                    adverts.iter().for_each(|advert| self.keep(advert, &mut kept));
                }
                Err(error) => self.hub.fault(Fault {
                    sensor: None,
                    key: RADIO,
                    cause: error.to_string(),
                    remedy: error.remedy().to_owned(),
                }),
            }
            let pause = match kept.len() {
                0 => PAUSE_WITHOUT,
                now if now > before => PAUSE_AFTER_ONE,
                _ => PAUSE_WITH,
            };
            tokio::select! {
                () = sleep(pause) => {}
                () = self.cancel.cancelled() => return,
            }
        }
    }

    /// Starts a keeper for a sensor that is understood, wanted and not kept yet.
    fn keep(&self, advert: &Advert, kept: &mut BTreeSet<String>) {
        if kept.contains(&advert.id) {
            return;
        }
        let Some(speaks) = self.catalogue.understand(advert) else { return };
        let Some(inlet) = (self.open)(advert) else { return };
        tracing::info!(sensor = inlet.sensor(), id = advert.id, rssi_dbm = advert.rssi_dbm, "sensor found");
        kept.insert(advert.id.clone());
        let keeper = Keeper {
            radio: Arc::clone(&self.radio),
            target: Target { id: advert.id.clone(), name: advert.name.clone(), speaks },
            inlet,
            hub: Arc::clone(&self.hub),
            clock: Arc::clone(&self.clock),
            cancel: self.cancel.clone(),
        };
        self.tasks.spawn(keeper.run());
    }
}
