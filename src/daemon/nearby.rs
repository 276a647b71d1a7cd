//! The sensors that the radio hears, and which of them somebody chose to use.
//!
//! The finder writes what it hears and reads what is chosen; the API reads both, and writes the choice, which is in the store
//! first. The rule is [`Nearby::claim`].

use super::radio::Advert;
use std::collections::BTreeMap;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::Notify;
use tokio::time::Instant;

/// What was not heard for so long is not near any more. A connected sensor often does not advertise; it is kept.
const FORGOTTEN_AFTER: Duration = Duration::from_secs(300);
/// More than any cage has; those heard longest ago make room.
const MOST_HEARD: usize = 64;
/// Somebody who looked so lately looks still: a page asks every two seconds.
const LOOKS_FOR: Duration = Duration::from_secs(10);

/// What decides whether a sensor is connected to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Claim {
    /// Somebody chose it.
    Chosen,
    /// Nobody chose any: as the service is configured.
    Configured,
    /// Another was chosen.
    None,
}

/// A sensor that is understood, as it was heard last.
#[derive(Clone, Debug, PartialEq)]
pub struct Heard {
    /// What it advertises, its name as it came over the air.
    pub advert: Advert,
    /// What kind of sensor it is.
    pub kind: String,
    /// Whether it says so by a service; else it is known by its name alone.
    pub is_sure: bool,
    /// When, ns of UTC.
    pub utc_ns: i64,
    /// What the service calls it, while it is kept connected.
    pub sensor: Option<String>,
}

/// What is near, and what is chosen.
#[derive(Debug, Default)]
pub struct Nearby {
    inner: Mutex<Inner>,
    changed: Notify,
    /// Held while a choice goes into the store and from there in here, so that both come in the same order.
    pub turn: tokio::sync::Mutex<()>,
}

#[derive(Debug, Default)]
struct Inner {
    is_listening: bool,
    heard: BTreeMap<String, (Instant, Heard)>,
    /// By what the radio calls them, with the name they advertised.
    chosen: BTreeMap<String, Option<String>>,
    looked: Option<Instant>,
}

impl Nearby {
    /// Nothing was heard yet; these were chosen before.
    pub fn new(chosen: BTreeMap<String, Option<String>>) -> Self {
        let this = Self::default();
        this.lock().chosen = chosen;
        this
    }

    /// What decides whether this one is connected to: chosen ones always are; while any is chosen, no other.
    pub fn claim(&self, id: &str) -> Claim {
        let inner = self.lock();
        match (inner.chosen.contains_key(id), inner.chosen.is_empty()) {
            (true, _) => Claim::Chosen,
            (false, true) => Claim::Configured,
            (false, false) => Claim::None,
        }
    }

    /// Uses this one, or no longer. It takes effect within seconds.
    pub fn choose(&self, id: &str, name: Option<String>, is_used: bool) {
        let mut inner = self.lock();
        if is_used {
            inner.chosen.insert(id.to_owned(), name);
        } else {
            inner.chosen.remove(id);
        }
        drop(inner);
        self.changed.notify_one();
    }

    /// What is chosen, with the names that were advertised.
    pub fn chosen(&self) -> BTreeMap<String, Option<String>> {
        self.lock().chosen.clone()
    }

    /// A radio is listened to from here on.
    pub fn begin(&self) {
        self.lock().is_listening = true;
    }

    /// Whether one is: not where a recording is played.
    pub fn is_listening(&self) -> bool {
        self.lock().is_listening
    }

    /// Somebody wants to see what is near now.
    pub fn look(&self) {
        let before = self.lock().looked.replace(Instant::now());
        if before.is_none_or(|before| before.elapsed() > LOOKS_FOR) {
            self.changed.notify_one();
        }
    }

    /// Whether somebody does.
    pub fn is_looked_at(&self) -> bool {
        self.lock().looked.is_some_and(|looked| looked.elapsed() <= LOOKS_FOR)
    }

    /// Waits until another sensor is chosen, or somebody begins to look.
    pub async fn changed(&self) {
        self.changed.notified().await;
    }

    /// This was heard now.
    pub fn hear(&self, heard: Heard) {
        let mut inner = self.lock();
        let id = heard.advert.id.clone();
        let sensor = inner.heard.remove(&id).and_then(|(_, before)| before.sensor);
        while inner.heard.len() >= MOST_HEARD {
            let quiet = inner.heard.iter().filter(|(_, (_, heard))| heard.sensor.is_none());
            let oldest = quiet.min_by_key(|(_, (at, _))| *at).map(|(id, _)| id.clone());
            let Some(oldest) = oldest else { return };
            inner.heard.remove(&oldest);
        }
        inner.heard.insert(id, (Instant::now(), Heard { sensor, ..heard }));
    }

    /// It is kept connected under this name, or no longer.
    pub fn keep(&self, id: &str, sensor: Option<&str>) {
        if let Some((_, heard)) = self.lock().heard.get_mut(id) {
            heard.sensor = sensor.map(str::to_owned);
        }
    }

    /// What is near, by what the radio calls it.
    pub fn heard(&self) -> Vec<Heard> {
        let mut inner = self.lock();
        inner.heard.retain(|_, (at, heard)| heard.sensor.is_some() || at.elapsed() <= FORGOTTEN_AFTER);
        inner.heard.values().map(|(_, heard)| heard.clone()).collect()
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(id: &str) -> Heard {
        let advert = Advert {
            id: id.into(),
            name: Some("Knob".into()),
            rssi_dbm: Some(-60),
            services: vec![],
            adapter: "a".into(),
        };
        Heard { advert, kind: "swingd sensor".into(), is_sure: true, utc_ns: 7, sensor: None }
    }

    #[test]
    fn a_chosen_one_is_always_used_and_others_only_while_none_is_chosen() {
        let nearby = Nearby::default();
        assert_eq!(nearby.claim("a"), Claim::Configured);
        nearby.choose("a", None, true);
        assert_eq!((nearby.claim("a"), nearby.claim("b")), (Claim::Chosen, Claim::None));
        nearby.choose("b", None, true);
        nearby.choose("a", None, false);
        assert_eq!((nearby.claim("a"), nearby.claim("b")), (Claim::None, Claim::Chosen));
        nearby.choose("b", None, false);
        assert_eq!((nearby.claim("a"), nearby.claim("b")), (Claim::Configured, Claim::Configured));
        let kept = Nearby::new([("c".to_owned(), None)].into());
        assert_eq!((kept.claim("c"), kept.claim("a")), (Claim::Chosen, Claim::None));
    }

    #[tokio::test(start_paused = true)]
    async fn a_choice_wakes_the_finder_also_where_it_does_not_wait_yet() {
        let nearby = Nearby::default();
        nearby.choose("a", None, true);
        tokio::time::timeout(Duration::from_secs(1), nearby.changed()).await.unwrap();
        tokio::time::timeout(Duration::from_secs(1), nearby.changed()).await.unwrap_err();
        nearby.look();
        tokio::time::timeout(Duration::from_secs(1), nearby.changed()).await.unwrap();
        nearby.look();
        tokio::time::timeout(Duration::from_secs(1), nearby.changed()).await.unwrap_err();
        assert!(nearby.is_looked_at());
        tokio::time::advance(LOOKS_FOR * 2).await;
        assert!(!nearby.is_looked_at());
    }

    #[tokio::test(start_paused = true)]
    async fn what_was_not_heard_for_long_is_forgotten_unless_it_is_connected() {
        let nearby = Nearby::default();
        ["a", "b"].iter().for_each(|id| nearby.hear(heard(id)));
        nearby.keep("b", Some("Knob-b"));
        tokio::time::advance(FORGOTTEN_AFTER + Duration::from_secs(1)).await;
        let left = nearby.heard();
        assert_eq!((left.len(), left[0].sensor.as_deref()), (1, Some("Knob-b")));
        nearby.hear(heard("b"));
        assert_eq!(nearby.heard()[0].sensor.as_deref(), Some("Knob-b"), "it is still connected");
    }

    #[tokio::test(start_paused = true)]
    async fn however_many_are_heard_the_list_is_bounded() {
        let nearby = Nearby::default();
        for k in 0..3 * MOST_HEARD {
            nearby.hear(heard(&format!("{k:03}")));
            tokio::time::advance(Duration::from_millis(1)).await;
        }
        let left = nearby.heard();
        assert_eq!((left.len(), left[0].advert.id.as_str()), (MOST_HEARD, "128"));
    }
}
