//! Where everything that happens is told: numbered events that can be resumed, and the present state of each sensor.
//!
//! Events ([`Hub::publish`]) have persistent, increasing ids, are kept (the last few thousand) and go to every
//! subscriber. States and faults are not events but what is so now: a new subscriber gets all of them first, and each
//! change. Nothing here waits for a slow subscriber or a slow disk: a subscriber that lags catches up from what is kept or
//! learns that it cannot; the log that makes ids outlive the process is written by a thread of its own
//! ([`event_log`](super::event_log)). Who draws swings in this process gets them with their curves as well
//! ([`Hub::swings`]): those are kept nowhere, and whoever lags sees the latest.

use crate::engine::session::ToldSwing;
use serde::Serialize;
use std::collections::{BTreeMap, VecDeque};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::broadcast;

/// News on their way to one subscriber before it lags: a burst of a few swings on eight sensors.
const CHANNEL_DEPTH: usize = 256;

/// Swings on their way to whoever draws them: the first word and the final one of a swing on each of eight sensors.
const SWINGS_DEPTH: usize = 16;

/// The kind of the news of a sensor's state.
pub const SENSOR: &str = "sensor";
/// The kind of the news that something is wrong.
pub const FAULT: &str = "fault";
/// The kind of the news that it is no longer.
pub const FAULT_CLEARED: &str = "fault_cleared";

/// One piece of news.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct News {
    /// Increasing over the life of the data folder; `None` for a state, which is superseded by the next one.
    pub id: Option<u64>,
    /// What kind it is of.
    pub kind: String,
    /// JSON, on one line.
    pub data: String,
}

/// What is wrong, why, and what can be done.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Fault {
    /// The sensor it concerns; `None`: the whole service.
    pub sensor: Option<String>,
    /// One word for programs.
    pub key: &'static str,
    /// Why, for people.
    pub cause: String,
    /// What can be done, for people.
    pub remedy: String,
}

/// A swing as the station told it, curves and all.
#[derive(Clone, Debug)]
pub struct LiveSwing {
    /// Of which sensor.
    pub sensor: Arc<str>,
    /// Of which session of it.
    pub session: Arc<str>,
    /// What it is or will be in the store, once that is known.
    pub swing_id: Option<uuid::Uuid>,
    /// What was told.
    pub told: Box<ToldSwing>,
}

/// Takes what is to be kept beyond the process.
pub type Keep = Box<dyn Fn(&Arc<News>) + Send + Sync>;

/// Tells which events are to be forgotten.
pub type Forget = Arc<dyn Fn(&News) -> bool + Send + Sync>;

/// Takes events out of what is kept beyond the process; how many those were.
pub type ForgetKept = Box<dyn Fn(&Forget) -> std::io::Result<u64> + Send + Sync>;

/// The one place of news.
pub struct Hub {
    inner: Mutex<Inner>,
    sender: broadcast::Sender<Arc<News>>,
    swings: broadcast::Sender<Arc<LiveSwing>>,
    keep: Keep,
    forget_kept: Option<ForgetKept>,
}

struct Inner {
    /// The first of this run.
    first_id: u64,
    next_id: u64,
    kept: VecDeque<Arc<News>>,
    most_kept: usize,
    sensors: BTreeMap<String, Arc<News>>,
    faults: BTreeMap<(Option<String>, &'static str), Fault>,
    /// How many events of each kind this run has told.
    told: BTreeMap<String, u64>,
    /// What is not told any more, by whose it was.
    forgotten: BTreeMap<uuid::Uuid, Forget>,
}

/// What a new subscriber gets.
pub struct Subscription {
    /// States and faults as they are now.
    pub now: Vec<Arc<News>>,
    /// Events since the one it knew; `None`: some of them are no longer kept, or its id was never given.
    pub missed: Option<Vec<Arc<News>>>,
    /// The last id given so far.
    pub last_id: u64,
    /// What comes from here on.
    pub news: broadcast::Receiver<Arc<News>>,
}

impl Hub {
    /// With the events of earlier runs, oldest first; the next id is later than theirs and at least `first_id`.
    pub fn new(earlier: Vec<News>, first_id: u64, most_kept: usize, keep: Keep) -> Self {
        let last = earlier.iter().filter_map(|news| news.id).max().unwrap_or(0);
        let mut kept: VecDeque<_> = earlier.into_iter().map(Arc::new).collect();
        while kept.len() > most_kept {
            kept.pop_front();
        }
        let first_id = first_id.max(last + 1);
        let inner = Inner {
            first_id,
            next_id: first_id,
            kept,
            most_kept,
            sensors: BTreeMap::new(),
            faults: BTreeMap::new(),
            told: BTreeMap::new(),
            forgotten: BTreeMap::new(),
        };
        let (sender, swings) = (broadcast::Sender::new(CHANNEL_DEPTH), broadcast::Sender::new(SWINGS_DEPTH));
        Self { inner: Mutex::new(inner), sender, swings, keep, forget_kept: None }
    }

    /// What is kept beyond the process can be forgotten so.
    #[must_use]
    pub fn forgetting(self, forget_kept: ForgetKept) -> Self {
        Self { forget_kept: Some(forget_kept), ..self }
    }

    /// Forgets the events of somebody who is to be erased, and tells none of theirs from here on; how many were kept. Waits
    /// for the disk. Whoever asks for what came since such an event is told that it cannot be resumed.
    ///
    /// # Errors
    /// If they cannot be taken out of what is kept beyond the process.
    pub fn forget(&self, whose: uuid::Uuid, is_theirs: &Forget) -> std::io::Result<u64> {
        let forgotten = {
            let mut inner = self.lock();
            let before = inner.kept.len();
            inner.kept.retain(|news| !is_theirs(news));
            let forgotten = before - inner.kept.len();
            inner.forgotten.insert(whose, Arc::clone(is_theirs));
            forgotten as u64
        };
        // What was kept before this reaches the disk before the word to forget it does.
        self.forget_kept.as_ref().map_or(Ok(forgotten), |forget| forget(is_theirs))
    }

    /// Tells an event; its id.
    pub fn publish(&self, kind: &str, data: String) -> u64 {
        let mut inner = self.lock();
        self.publish_in(&mut inner, kind, data).0
    }

    /// Swings with their curves, from here on.
    pub fn swings(&self) -> broadcast::Receiver<Arc<LiveSwing>> {
        self.swings.subscribe()
    }

    /// Whether anybody wants them.
    pub fn draws_swings(&self) -> bool {
        self.swings.receiver_count() > 0
    }

    /// Tells a swing: the event, and to whoever draws it here, it. Neither of somebody who is forgotten.
    pub fn swing(&self, kind: &str, data: String, drawn: Option<LiveSwing>) -> u64 {
        let mut inner = self.lock();
        let (id, is_told) = self.publish_in(&mut inner, kind, data);
        if let Some(drawn) = drawn.filter(|_| is_told) {
            let _ = self.swings.send(Arc::new(drawn));
        }
        id
    }

    /// A sensor's state is this now.
    pub fn sensor(&self, sensor: &str, state: &impl Serialize) {
        let Ok(data) = serde_json::to_string(state) else { return };
        let mut inner = self.lock();
        if inner.sensors.get(sensor).is_some_and(|before| before.data == data) {
            return;
        }
        let news = Arc::new(News { id: None, kind: SENSOR.into(), data });
        inner.sensors.insert(sensor.into(), Arc::clone(&news));
        // Without a subscriber there is nobody to tell.
        let _ = self.sender.send(news);
    }

    /// Something is wrong. Told once as long as the remedy stays the same: the cause may hold numbers that change.
    pub fn fault(&self, fault: Fault) {
        let mut inner = self.lock();
        let key = (fault.sensor.clone(), fault.key);
        if let Some(told) = inner.faults.get_mut(&key).filter(|told| told.remedy == fault.remedy) {
            told.cause = fault.cause;
            return;
        }
        if let Ok(data) = serde_json::to_string(&fault) {
            self.publish_in(&mut inner, FAULT, data);
        }
        tracing::warn!(sensor = fault.sensor, fault = fault.key, cause = fault.cause, remedy = fault.remedy);
        inner.faults.insert(key, fault);
    }

    /// It is right again.
    pub fn clear(&self, sensor: Option<&str>, key: &'static str) {
        let mut inner = self.lock();
        let Some(fault) = inner.faults.remove(&(sensor.map(str::to_owned), key)) else { return };
        tracing::info!(sensor = fault.sensor, fault = fault.key, "cleared");
        if let Ok(data) = serde_json::to_string(&fault) {
            self.publish_in(&mut inner, FAULT_CLEARED, data);
        }
    }

    /// What is wrong now.
    pub fn faults(&self) -> Vec<Fault> {
        self.lock().faults.values().cloned().collect()
    }

    /// How many events of each kind this run has told.
    pub fn told(&self) -> BTreeMap<String, u64> {
        self.lock().told.clone()
    }

    /// Each sensor's name and the JSON of its state, in the order of the names.
    pub fn sensors(&self) -> Vec<(String, String)> {
        self.lock().sensors.iter().map(|(name, news)| (name.clone(), news.data.clone())).collect()
    }

    /// From here on, and what was missed since the event `after`; without one nothing was.
    pub fn subscribe(&self, after: Option<u64>) -> Subscription {
        let inner = self.lock();
        let fault = |fault: &Fault| {
            let data = serde_json::to_string(fault).ok()?;
            Some(Arc::new(News { id: None, kind: FAULT.into(), data }))
        };
        let now = inner.sensors.values().cloned().chain(inner.faults.values().filter_map(fault)).collect();
        Subscription {
            now,
            missed: after.map_or(Some(Vec::new()), |after| inner.since(after)),
            last_id: inner.next_id - 1,
            news: self.sender.subscribe(),
        }
    }

    /// The event's id, and whether it may be told.
    fn publish_in(&self, inner: &mut Inner, kind: &str, data: String) -> (u64, bool) {
        let id = inner.next_id;
        inner.next_id += 1;
        *inner.told.entry(kind.to_owned()).or_default() += 1;
        let news = Arc::new(News { id: Some(id), kind: kind.into(), data });
        if inner.forgotten.values().any(|is_theirs| is_theirs(&news)) {
            return (id, false);
        }
        (self.keep)(&news);
        inner.kept.push_back(Arc::clone(&news));
        if inner.kept.len() > inner.most_kept {
            inner.kept.pop_front();
        }
        let _ = self.sender.send(news);
        (id, true)
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The names of the sensors that are connected by their last word, in their order.
    pub fn connected(&self) -> Vec<String> {
        #[derive(serde::Deserialize)]
        struct State<'a> {
            link: Option<&'a str>,
        }
        let is_connected =
            |state: &str| serde_json::from_str(state).is_ok_and(|it: State| it.link == Some("connected"));
        self.sensors().into_iter().filter(|(_, state)| is_connected(state)).map(|(name, _)| name).collect()
    }
}

impl Inner {
    /// Events later than `after`; `None` if one of them may be gone, or `after` was never given.
    fn since(&self, after: u64) -> Option<Vec<Arc<News>>> {
        if after >= self.next_id {
            return None;
        }
        let is_kept = |id| self.kept.iter().any(|news| news.id == Some(id));
        // Whoever came before this run told anything knows an id that no event has.
        let is_begin = after + 1 == self.first_id && (self.first_id == self.next_id || is_kept(self.first_id));
        let later = self.kept.iter().filter(|news| news.id > Some(after)).cloned().collect();
        (is_kept(after) || is_begin || after + 1 == self.next_id).then_some(later)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hub(earlier: Vec<News>, first_id: u64) -> Hub {
        Hub::new(earlier, first_id, 3, Box::new(|_| {}))
    }

    fn fault(cause: &str) -> Fault {
        Fault { sensor: Some("knob".into()), key: "no_data", cause: cause.into(), remedy: "wake it".into() }
    }

    #[test]
    fn ids_go_on_where_an_earlier_run_ended_even_if_the_clock_went_back() {
        let earlier = |id| News { id: Some(id), kind: "swing".into(), data: "{}".into() };
        assert_eq!(hub(vec![earlier(41), earlier(42)], 7).publish("swing", "{}".into()), 43);
        assert_eq!(hub(vec![earlier(42)], 100).publish("swing", "{}".into()), 100);
    }

    #[test]
    fn what_was_missed_is_given_or_said_to_be_gone() {
        let hub = hub(Vec::new(), 10);
        for k in 0..5 {
            hub.publish("swing", format!("{{\"k\":{k}}}"));
        }
        let missed = |after| {
            let missed = hub.subscribe(after).missed;
            missed.map(|missed| missed.iter().filter_map(|news| news.id).collect::<Vec<_>>())
        };
        assert_eq!(missed(Some(12)), Some(vec![13, 14]));
        assert_eq!(missed(Some(14)), Some(vec![]));
        assert_eq!(missed(None), Some(vec![]));
        assert_eq!(missed(Some(10)), None, "11 is no longer kept");
        assert_eq!(missed(Some(99)), None, "never given");
    }

    #[test]
    fn what_is_forgotten_is_told_to_nobody_any_more() {
        let hub = hub(Vec::new(), 10);
        let mut news = hub.subscribe(None).news;
        hub.publish("swing", "mine".into());
        hub.publish("swing", "theirs".into());
        let is_theirs: Forget = Arc::new(|news| news.data == "theirs");
        assert_eq!(hub.forget(uuid::Uuid::from_u128(1), &is_theirs).unwrap(), 1);
        assert_eq!(hub.publish("swing", "theirs".into()), 12);
        hub.publish("swing", "mine".into());
        let told: Vec<_> = std::iter::from_fn(|| news.try_recv().ok()).map(|news| news.id).collect();
        assert_eq!(told, [Some(10), Some(11), Some(13)]);
        let kept = |after| hub.subscribe(Some(after)).missed.map(|missed| missed.len());
        assert_eq!((kept(10), kept(11)), (Some(1), None));
    }

    #[test]
    fn a_swing_is_drawn_where_somebody_draws_and_not_of_who_is_forgotten() {
        let hub = hub(Vec::new(), 10);
        let told = |number| ToldSwing {
            number,
            run: 0,
            stage: crate::engine::Stage::Streaming,
            swing: crate::report::example::swing(1),
            contact_utc: None,
            at_the_plate: Default::default(),
            profile: Arc::default(),
        };
        let live = |number| {
            let (sensor, session, told) = ("knob".into(), "first".into(), Box::new(told(number)));
            Some(LiveSwing { sensor, session, swing_id: None, told })
        };
        assert!(!hub.draws_swings());
        hub.swing("swing", "mine".into(), live(0));
        let mut drawn = hub.swings();
        assert!(hub.draws_swings());
        let is_theirs: Forget = Arc::new(|news| news.data == "theirs");
        hub.forget(uuid::Uuid::from_u128(1), &is_theirs).unwrap();
        hub.swing("swing", "theirs".into(), live(1));
        assert_eq!(hub.swing("swing", "mine".into(), live(2)), 12);
        assert_eq!(drawn.try_recv().unwrap().told.number, 2);
        assert!(drawn.try_recv().is_err(), "one of before is kept nowhere");
    }

    #[test]
    fn who_came_before_the_first_event_misses_nothing_until_that_is_gone() {
        let hub = hub(Vec::new(), 10);
        let begin = hub.subscribe(None).last_id;
        let missed = || hub.subscribe(Some(begin)).missed.map(|missed| missed.len());
        for k in 0..4 {
            assert_eq!(missed(), Some(k));
            hub.publish("swing", "{}".into());
        }
        assert_eq!(missed(), None, "the first of four is no longer kept");
    }

    #[test]
    fn states_and_faults_are_what_is_so_now() {
        let hub = hub(Vec::new(), 1);
        let mut news = hub.subscribe(None).news;
        hub.sensor("knob", &1);
        hub.sensor("knob", &1);
        hub.sensor("knob", &2);
        hub.fault(fault("silent for 1 s"));
        hub.fault(fault("silent for 2 s"));
        assert_eq!(hub.faults()[0].cause, "silent for 2 s");
        let now = hub.subscribe(None).now;
        assert_eq!(now.iter().map(|news| news.kind.as_str()).collect::<Vec<_>>(), [SENSOR, FAULT]);
        assert_eq!(now[0].data, "2");
        hub.clear(Some("knob"), "no_data");
        hub.clear(Some("knob"), "no_data");
        assert_eq!(hub.faults(), []);
        let mut told = Vec::new();
        while let Ok(news) = news.try_recv() {
            told.push((news.kind.clone(), news.id.is_some()));
        }
        let expected = [(SENSOR, false), (SENSOR, false), (FAULT, true), (FAULT_CLEARED, true)];
        assert_eq!(told, expected.map(|(kind, numbered)| (kind.to_owned(), numbered)));
    }
}
