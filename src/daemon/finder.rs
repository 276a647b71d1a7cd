//! Which sensors to connect to: a task that listens, tells what it understands and starts a keeper for each.
//!
//! Listening costs the connections some of the radio's time, so it is done without pause only while there is no sensor,
//! and now and then afterwards; more often while somebody looks for one. A choice among what is heard takes effect when the
//! present listening ends.

use super::clock::Clock;
use super::hub::{Fault, Hub};
use super::inlet::Inlet;
use super::link::{Described, Keeper, Speaks, Target, Write};
use super::nearby::{Claim, Heard, Nearby};
use super::radio::{Advert, Radio, RadioError};
use crate::engine::device::descriptor::{Command, Descriptor};
use crate::engine::device::own;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Duration;
use tokio::task::JoinHandle;
use tokio::time::{sleep, timeout};
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

/// The radio is looked at so often: what is wrong with it is told within 2 s.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// It has answered by then, or does not.
const ANSWERS_WITHIN: Duration = Duration::from_millis(900);

/// The fault of the radio as a whole.
pub const RADIO: &str = "radio";
/// The fault of a radio that works but does not listen.
pub const LISTENING: &str = "listening";

/// What a sensor of the project's own profile is called.
const OWN_KIND: &str = "swingd sensor";

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
        let commands = |commands: &[Command]| {
            let write = |it: &Command| {
                let (bytes, with_response) = (it.bytes.clone(), it.with_response);
                Some(Write { characteristic: uuid(&it.characteristic)?, bytes, with_response })
            };
            commands.iter().filter_map(write).collect()
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
            Speaks::Own => Some(OWN_KIND.into()),
            Speaks::Described(_) => self.described_of(advert).map(|(_, descriptor)| descriptor.name.clone()),
        }
    }

    /// What is poor about the layouts of those that were heard: the kind, and in words. Each kind once.
    pub fn limits_of(&self, heard: &[Advert]) -> Vec<(&str, &str)> {
        let kinds: BTreeSet<&str> =
            heard.iter().filter_map(|advert| Some(self.described_of(advert)?.1.name.as_str())).collect();
        let is_heard = |descriptor: &&Descriptor| kinds.contains(descriptor.name.as_str());
        let descriptors = self.described.iter().map(|(_, descriptor)| descriptor).filter(is_heard);
        descriptors.flat_map(|it| it.limits.iter().map(|limit| (it.name.as_str(), limit.as_str()))).collect()
    }

    /// Whether it says by a service what it is. Names are anybody's: a sensor that is known by its name alone is connected
    /// to only if it is asked for.
    pub fn is_sure(&self, advert: &Advert) -> bool {
        let nameless = Advert { name: None, ..advert.clone() };
        self.understand(&nameless).is_some()
    }

    fn described_of(&self, advert: &Advert) -> Option<&(String, Descriptor)> {
        let services: Vec<String> = advert.services.iter().map(Uuid::to_string).collect();
        let services: Vec<&str> = services.iter().map(String::as_str).collect();
        self.described.iter().find(|(_, descriptor)| descriptor.matches(advert.name.as_deref(), &services))
    }
}

/// Whether a sensor is to be connected to while none is chosen. It is told whether the sensor says by a service what it is.
pub type Wants = Box<dyn Fn(&Advert, bool) -> bool + Send + Sync>;

/// Opens a station for a sensor, with the profile its samples are to be read with put into it; `None` if it cannot be.
pub type Open = Box<dyn Fn(&Advert) -> Option<Arc<Inlet>> + Send + Sync>;

/// What looks for sensors.
pub struct Finder<R> {
    /// The radio.
    pub radio: Arc<R>,
    /// What is understood.
    pub catalogue: Catalogue,
    /// What is wanted while none is chosen.
    pub wants: Wants,
    /// Where it goes.
    pub open: Open,
    /// What is heard goes there, what is chosen comes from there.
    pub nearby: Arc<Nearby>,
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
    /// Listens until cancelled, and watches the radio.
    pub async fn run(self) {
        tokio::join!(self.watch(), self.listen());
    }

    async fn watch(&self) {
        loop {
            let health = match timeout(ANSWERS_WITHIN, self.radio.health()).await {
                Ok(health) => health,
                Err(_) => Err(RadioError::ServiceGone("no answer".into())),
            };
            match health {
                Ok(()) => self.hub.clear(None, RADIO),
                Err(error) => self.fault(RADIO, &error),
            }
            tokio::select! {
                () = sleep(LOOK_EVERY) => {}
                () = self.cancel.cancelled() => return,
            }
        }
    }

    fn fault(&self, key: &'static str, error: &RadioError) {
        let (cause, remedy) = (error.to_string(), error.remedy().to_owned());
        self.hub.fault(Fault { sensor: None, key, cause, remedy });
    }

    async fn listen(&self) {
        let mut kept = Kept::new();
        loop {
            let before = kept.len();
            let listen = if kept.is_empty() { LISTEN_WITHOUT } else { LISTEN_WITH };
            let heard = tokio::select! {
                heard = self.radio.scan(listen) => heard,
                () = self.cancel.cancelled() => return,
            };
            match heard {
                Ok(adverts) => {
                    self.hub.clear(None, LISTENING);
                    adverts.iter().for_each(|advert| self.hear(advert));
                    self.let_go(&mut kept);
                    adverts.iter().for_each(|advert| self.keep(advert, &mut kept));
                }
                // Where the whole radio is not to be used, that is told as such.
                Err(error) if self.radio.health().await.is_ok() => self.fault(LISTENING, &error),
                Err(_) => self.hub.clear(None, LISTENING),
            }
            let is_ending = kept.values().any(|kept| kept.let_go.is_cancelled());
            let pause = match kept.len() {
                0 => PAUSE_WITHOUT,
                _ if is_ending => PAUSE_WITHOUT,
                now if now > before || self.nearby.is_looked_at() => PAUSE_AFTER_ONE,
                _ => PAUSE_WITH,
            };
            tokio::select! {
                () = sleep(pause) => {}
                () = self.nearby.changed() => {}
                () = self.cancel.cancelled() => return,
            }
            self.follow_the_choice(&mut kept);
        }
    }

    /// What is understood is near.
    fn hear(&self, advert: &Advert) {
        let Some(kind) = self.catalogue.name_of(advert) else { return };
        self.nearby.hear(Heard {
            is_sure: self.catalogue.is_sure(advert),
            advert: advert.clone(),
            kind,
            utc_ns: self.clock.now().utc_ns,
            sensor: None,
        });
    }

    /// Lets go whom nobody wants any more, and begins with those that were chosen, as soon as they are known.
    fn follow_the_choice(&self, kept: &mut Kept) {
        self.let_go(kept);
        for heard in self.nearby.heard() {
            if self.nearby.claim(&heard.advert.id) == Claim::Chosen {
                self.keep(&heard.advert, kept);
            }
        }
    }

    fn let_go(&self, kept: &mut Kept) {
        kept.retain(|_, kept| !(kept.let_go.is_cancelled() && kept.task.is_finished()));
        for (id, kept) in kept.iter().filter(|(_, kept)| !self.is_wanted(&kept.advert)) {
            if !kept.let_go.is_cancelled() {
                tracing::info!(id, "sensor let go");
                kept.let_go.cancel();
                self.nearby.keep(id, None);
            }
        }
    }

    fn is_wanted(&self, advert: &Advert) -> bool {
        match self.nearby.claim(&advert.id) {
            Claim::Chosen => true,
            Claim::Configured => (self.wants)(advert, self.catalogue.is_sure(advert)),
            Claim::None => false,
        }
    }

    /// Starts a keeper for a sensor that is understood, wanted and not kept yet.
    fn keep(&self, advert: &Advert, kept: &mut Kept) {
        if kept.contains_key(&advert.id) || !self.is_wanted(advert) {
            return;
        }
        let Some(speaks) = self.catalogue.understand(advert) else { return };
        let Some(inlet) = (self.open)(advert) else { return };
        tracing::info!(sensor = inlet.sensor(), id = advert.id, rssi_dbm = advert.rssi_dbm, "sensor found");
        for (kind, limit) in self.catalogue.limits_of(std::slice::from_ref(advert)) {
            tracing::warn!(sensor = inlet.sensor(), kind, limit, "what is poor about this kind of sensor");
        }
        self.nearby.keep(&advert.id, Some(inlet.sensor()));
        let let_go = self.cancel.child_token();
        let keeper = Keeper {
            radio: Arc::clone(&self.radio),
            target: Target { id: advert.id.clone(), name: advert.name.clone(), speaks },
            inlet,
            hub: Arc::clone(&self.hub),
            clock: Arc::clone(&self.clock),
            cancel: self.cancel.clone(),
            let_go: let_go.clone(),
        };
        let task = self.tasks.spawn(keeper.run());
        kept.insert(advert.id.clone(), KeptSensor { advert: advert.clone(), let_go, task });
    }
}

/// The sensors that have a keeper, by what the radio calls them.
type Kept = BTreeMap<String, KeptSensor>;

struct KeptSensor {
    advert: Advert,
    let_go: CancellationToken,
    task: JoinHandle<()>,
}
