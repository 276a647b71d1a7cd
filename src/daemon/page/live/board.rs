//! The one task that draws the page for all viewers, as long as somebody looks.
//!
//! Enters: what the hub tells, swings with their curves, that something was changed through the API, and what was read of the
//! store. Leaves: a [`Screen`], of which viewers take the latest. It begins with the first viewer and ends some time after the
//! last; nothing waits for it. Numbers are drawn and sent before charts. What is read of the store is read by tasks beside
//! it, one of a kind at a time, so that a slow disk does not hold up a number. It may be cancelled at any time: it keeps
//! nothing. Should it panic, it is logged and begun anew as long as somebody looks.

use super::draw;
use super::read::{self, Question};
use super::scene::{Read, Scene};
use super::screen::{Part, Parts, Said, Screen, Slot};
use super::then::{self, Kind, Then};
use crate::daemon::api::{Api, Problem};
use crate::daemon::hub::{self, LiveSwing, News, Subscription};
use crate::daemon::store::StoreError;
use crate::daemon::store::rows::UtcMicros;
use crate::engine::Stage;
use crate::report::words::Units;
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::broadcast::error::RecvError;
use tokio::sync::{Notify, watch};
use tokio::task::{Id, JoinError, JoinSet};
use tokio::time::{Instant, MissedTickBehavior, interval};
use uuid::Uuid;

/// Without a viewer for so long, the task ends; a page that is loaded again comes sooner.
const LINGER: Duration = Duration::from_secs(30);
/// Faults are looked at so often: their causes hold numbers that are not told.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// Everything is read again so often: another installation may share the store. In looks.
const READ_EVERY: u32 = 30;
/// A viewer waits so long for the first drawing.
const PATIENCE: Duration = Duration::from_secs(2);
/// After a panic, the task begins anew so much later.
const AGAIN: Duration = Duration::from_secs(1);

const UNITS: [Units; 2] = [Units::Us, Units::Metric];

/// The way to the task, the same for all handlers.
#[derive(Default)]
pub struct Board {
    screen: watch::Sender<Arc<Screen>>,
    /// How many look, in each of [`UNITS`].
    viewers: [AtomicUsize; 2],
    came: Notify,
    touched: Notify,
    /// Of what was drawn last; a task that begins anew goes on with it.
    version: AtomicU64,
    /// Whether the task is there: it ends only under this lock, so that nobody who comes is left without.
    task: Mutex<bool>,
    /// Whether what was to be drawn last was drawn.
    is_well: AtomicBool,
}

/// Somebody looks, as long as this is there.
pub struct Watching {
    board: Arc<Board>,
    units: Units,
}

impl Board {
    /// Somebody looks: the task runs, and draws these units.
    pub fn watch(self: &Arc<Self>, api: &Api, units: Units) -> Watching {
        self.viewers[units as usize].fetch_add(1, Ordering::Relaxed);
        let watching = Watching { board: Arc::clone(self), units };
        let mut task = self.task.lock().unwrap_or_else(PoisonError::into_inner);
        if !std::mem::replace(&mut *task, true) {
            self.screen.send_replace(Arc::default());
            self.is_well.store(false, Ordering::Relaxed);
            tokio::spawn(keep(api.clone(), Arc::clone(self)));
        }
        drop(task);
        self.came.notify_one();
        watching
    }

    /// Something was changed through the API.
    pub fn touch(&self) {
        self.touched.notify_one();
    }

    fn next_version(&self) -> u64 {
        self.version.fetch_add(1, Ordering::Relaxed) + 1
    }

    fn is_watched(&self, units: Units) -> bool {
        self.viewers[units as usize].load(Ordering::Relaxed) > 0
    }

    /// Whether the task is to end: whoever comes from here on begins another.
    pub(super) fn ends(&self, is_over: bool) -> bool {
        let mut task = self.task.lock().unwrap_or_else(PoisonError::into_inner);
        *task = !is_over && UNITS.into_iter().any(|units| self.is_watched(units));
        !*task
    }
}

impl Watching {
    /// What there is to send, from here on.
    pub fn screen(&self) -> watch::Receiver<Arc<Screen>> {
        self.board.screen.subscribe()
    }

    /// The screen once it is drawn, and it is known whose data are on it; as it is when that takes too long.
    pub async fn drawn(&self) -> Arc<Screen> {
        let mut screen = self.screen();
        let drawn = screen.wait_for(|screen| screen.parts(self.units).is_some() && screen.about.is_some());
        // Whoever gets one that is not drawn sees to it.
        let _ = tokio::time::timeout(PATIENCE, drawn).await;
        Arc::clone(&screen.borrow())
    }

    /// Whether what is sent is what is so: the task lives and could draw.
    pub fn is_well(&self) -> bool {
        self.board.is_well.load(Ordering::Relaxed)
    }
}

impl Drop for Watching {
    fn drop(&mut self) {
        self.board.viewers[self.units as usize].fetch_sub(1, Ordering::Relaxed);
    }
}

/// What was read beside the task.
enum Found {
    Scene(Result<Box<Read>, StoreError>),
    Then(Box<(Kind, Result<Option<Then>, StoreError>)>),
}

struct Task {
    api: Api,
    board: Arc<Board>,
    scene: Scene,
    /// Of the earlier swings that are shown, or are being read.
    kind: Option<Kind>,
    said: Option<Said>,
    readings: JoinSet<Found>,
    /// The store being read, and whether it has to be once more.
    reading: Option<Id>,
    is_stale: bool,
    /// Earlier swings being read, and whether they have to be once more: then what is being read is out of date.
    reading_then: Option<Id>,
    is_then_stale: bool,
    looks: u32,
    seen: Instant,
}

/// The task, as long as it is needed.
async fn keep(api: Api, board: Arc<Board>) {
    loop {
        if let Err(error) = tokio::spawn(run(api.clone(), Arc::clone(&board))).await {
            board.is_well.store(false, Ordering::Relaxed);
            tracing::error!(%error, "the page could not be drawn; it is begun anew");
            tokio::time::sleep(AGAIN).await;
        }
        if board.ends(api.cancel.is_cancelled()) {
            return;
        }
    }
}

/// Until nobody has looked for a while.
async fn run(api: Api, board: Arc<Board>) {
    let (cancel, mut swings) = (api.cancel.clone(), api.hub.swings());
    let Subscription { mut news, .. } = api.hub.subscribe(None);
    let mut look = interval(LOOK_EVERY);
    look.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let mut task = Task::new(api, Arc::clone(&board));
    task.begin();
    loop {
        tokio::select! {
            biased;
            () = cancel.cancelled() => return,
            told = swings.recv() => match told {
                Ok(told) => task.swing(&told).await,
                // The latest follow.
                Err(RecvError::Lagged(_)) => {}
                Err(RecvError::Closed) => return,
            },
            told = news.recv() => match told {
                Ok(told) => task.news(&told),
                Err(RecvError::Lagged(_)) => task.begin(),
                Err(RecvError::Closed) => return,
            },
            Some(found) = task.readings.join_next() => match found {
                Ok(found) => task.found(found),
                Err(error) => task.broken(&error),
            },
            () = board.touched.notified() => task.touched(),
            () = board.came.notified() => task.draw(&[]),
            _ = look.tick() => if !task.look() { return },
        }
    }
}

impl Task {
    fn new(api: Api, board: Arc<Board>) -> Self {
        Self {
            api,
            board,
            scene: Scene::default(),
            kind: None,
            said: None,
            readings: JoinSet::new(),
            reading: None,
            is_stale: false,
            reading_then: None,
            is_then_stale: false,
            looks: 0,
            seen: Instant::now(),
        }
    }

    /// Everything is looked at anew.
    fn begin(&mut self) {
        for (name, state) in self.api.hub.sensors() {
            self.scene.sensors.extend(serde_json::from_str(&state).ok().map(|state| (name, state)));
        }
        self.scene.faults = self.api.hub.faults();
        self.read();
    }

    /// The numbers first, as they are waited for.
    async fn swing(&mut self, told: &LiveSwing) {
        let now = self.now();
        if self.scene.swing(told, now) {
            if told.told.stage == Stage::Smoothed {
                self.say();
            }
            self.draw(&[Slot::Numbers]);
            // Viewers send while charts are drawn.
            tokio::task::yield_now().await;
        }
        self.draw(&[Slot::Speed, Slot::Side, Slot::Above, Slot::Round]);
    }

    fn say(&mut self) {
        let Some(last) = &self.scene.last else { return };
        let [us, metric] = UNITS.map(|units| draw::said(&self.scene, last, units));
        self.said = Some(Said::new(self.board.next_version(), &us, &metric));
    }

    fn news(&mut self, news: &News) {
        match news.kind.as_str() {
            hub::SENSOR => {
                #[derive(serde::Deserialize)]
                struct Named {
                    sensor: String,
                }
                let named = serde_json::from_str::<Named>(&news.data);
                if let (Ok(named), Ok(state)) = (named, serde_json::from_str(&news.data)) {
                    self.scene.sensors.insert(named.sensor, state);
                    self.draw(&[Slot::Sensor]);
                }
            }
            hub::FAULT | hub::FAULT_CLEARED => {
                self.scene.faults = self.api.hub.faults();
                self.draw(&[Slot::Faults]);
            }
            "plate" | "stored" => self.read(),
            _ => {}
        }
    }

    fn touched(&mut self) {
        self.is_then_stale = true;
        self.read();
    }

    /// Reads the store, or once more when it has been read.
    fn read(&mut self) {
        self.is_stale = true;
        if self.reading.is_some() {
            return;
        }
        self.is_stale = false;
        let (api, now) = (self.api.clone(), self.now());
        let last = self.scene.last.as_ref().map(|last| (last.id, last.athlete_id));
        let reading = async move { Found::Scene(read::read(&api, Question { last }, now).await.map(Box::new)) };
        self.reading = Some(self.readings.spawn(reading).id());
    }

    fn found(&mut self, found: Found) {
        match found {
            Found::Scene(Ok(read)) => {
                self.reading = None;
                self.scene.read(*read);
                self.kind();
                self.read_then();
                self.draw(&Slot::ALL);
                if self.is_stale {
                    self.read();
                }
            }
            Found::Scene(Err(error)) => {
                tracing::warn!(%error, "the page cannot be read from the store");
                self.failed(Problem::from(error).detail);
            }
            Found::Then(found) => self.found_then(*found),
        }
    }

    fn found_then(&mut self, (kind, then): (Kind, Result<Option<Then>, StoreError>)) {
        self.reading_then = None;
        match then {
            Ok(then) if self.kind.as_ref() == Some(&kind) && !self.is_then_stale => {
                self.scene.then = then;
                self.draw(&[Slot::Numbers, Slot::Speed]);
            }
            // What was asked for meanwhile is another one.
            Ok(_) => self.read_then(),
            Err(error) => {
                tracing::warn!(%error, "earlier swings cannot be read");
                self.is_then_stale = true;
            }
        }
    }

    /// What was being read will not come.
    fn broken(&mut self, error: &JoinError) {
        tracing::error!(%error, "what is shown could not be read");
        if self.reading_then == Some(error.id()) {
            (self.reading_then, self.is_then_stale) = (None, true);
        } else {
            self.failed("reading it failed; the log says more".to_owned());
        }
    }

    /// It is tried again at a later look.
    fn failed(&mut self, why: String) {
        (self.reading, self.is_stale) = (None, true);
        self.scene.unread = Some(why);
        self.draw(&Slot::ALL);
    }

    /// Earlier swings of another kind are others.
    fn kind(&mut self) {
        let kind = self.scene.at_bat.as_ref().and_then(Kind::of);
        if kind != self.kind {
            (self.scene.then, self.kind, self.is_then_stale) = (None, kind, true);
        }
    }

    /// Earlier swings, if they are not known or may have been changed; one at a time.
    fn read_then(&mut self) {
        if self.reading_then.is_some() || !self.is_then_stale {
            return;
        }
        self.is_then_stale = false;
        if let Some(kind) = self.kind.clone() {
            let api = self.api.clone();
            let reading = async move {
                let then = then::read(&api, &kind).await;
                Found::Then(Box::new((kind, then)))
            };
            self.reading_then = Some(self.readings.spawn(reading).id());
        }
    }

    /// Whether to go on: somebody looks, or did a moment ago.
    fn look(&mut self) -> bool {
        let now = Instant::now();
        if UNITS.into_iter().any(|units| self.board.is_watched(units)) {
            self.seen = now;
        }
        self.looks += 1;
        let faults = self.api.hub.faults();
        if faults != self.scene.faults {
            self.scene.faults = faults;
            self.draw(&[Slot::Faults]);
        }
        if self.is_stale || self.looks.is_multiple_of(READ_EVERY) {
            self.read();
        }
        self.read_then();
        now.duration_since(self.seen) < LINGER
    }

    /// Draws these parts anew, and all of them in units that somebody has begun to look in; viewers get what is different.
    fn draw(&mut self, slots: &[Slot]) {
        if self.scene.at_bat.is_none() && self.scene.unread.is_none() {
            return;
        }
        let mut screen = Screen::clone(&self.board.screen.borrow());
        for units in UNITS {
            let before = screen.parts(units).map(Arc::clone);
            let parts = self.board.is_watched(units).then(|| self.parts(before, slots, units));
            screen.put(units, parts);
        }
        screen.said.clone_from(&self.said);
        screen.about = self.about();
        self.board.screen.send_replace(Arc::new(screen));
        self.board.is_well.store(true, Ordering::Relaxed);
    }

    fn parts(&self, before: Option<Arc<Parts>>, slots: &[Slot], units: Units) -> Arc<Parts> {
        let draw =
            |slot: Slot| Part::new(slot, self.board.next_version(), draw::part(&self.scene, slot, units).into_string());
        let Some(mut parts) = before else { return Arc::new(Slot::ALL.map(draw)) };
        for &slot in slots {
            let drawn = draw(slot);
            if drawn.html != parts[slot as usize].html {
                Arc::make_mut(&mut parts)[slot as usize] = drawn;
            }
        }
        parts
    }

    /// `None`: nothing is read yet.
    fn about(&self) -> Option<Arc<[Uuid]>> {
        self.scene.at_bat.as_ref()?;
        let choices = self.scene.choices.athletes.iter().map(|athlete| athlete.id);
        Some(choices.chain(self.scene.athlete_id()).collect())
    }

    fn now(&self) -> UtcMicros {
        self.api.now()
    }
}
