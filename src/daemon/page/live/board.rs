//! The one task that draws the page for all viewers, as long as somebody looks.
//!
//! Enters: what the hub tells, swings with their curves, that something was changed through the API, and what was read of the
//! store. Leaves: a [`Screen`], of which viewers take the latest. It begins with the first viewer and ends some time after the
//! last; nothing waits for it. Numbers are drawn and sent before charts. What is read of the store is read by tasks beside
//! it, one at a time, so that a slow disk does not hold up a number. It may be cancelled at any time: it keeps nothing.

use super::draw;
use super::read::{self, Question};
use super::scene::{Read, Scene};
use super::screen::{Part, Parts, Said, Screen, Slot};
use super::then::{self, Kind, Then};
use crate::daemon::api::Api;
use crate::daemon::hub::{self, LiveSwing, News, Subscription};
use crate::daemon::store::StoreError;
use crate::daemon::store::rows::UtcMicros;
use crate::engine::Stage;
use crate::report::words::Units;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::broadcast::error::RecvError;
use tokio::sync::{Notify, watch};
use tokio::task::{JoinHandle, JoinSet};
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
    task: Mutex<Option<JoinHandle<()>>>,
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
        if task.as_ref().is_none_or(JoinHandle::is_finished) {
            self.screen.send_replace(Arc::default());
            *task = Some(tokio::spawn(run(api.clone(), Arc::clone(self))));
        }
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
}

impl Watching {
    /// What there is to send, from here on.
    pub fn screen(&self) -> watch::Receiver<Arc<Screen>> {
        self.board.screen.subscribe()
    }

    /// The screen once it is drawn, or as it is when that takes too long.
    pub async fn drawn(&self) -> Arc<Screen> {
        let mut screen = self.screen();
        let drawn = screen.wait_for(|screen| screen.parts(self.units).is_some());
        // A screen that is not drawn in time is filled by the stream.
        let _ = tokio::time::timeout(PATIENCE, drawn).await;
        Arc::clone(&screen.borrow())
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
    /// Whether the store is being read, and has to be once more.
    is_reading: bool,
    is_stale: bool,
    is_then_stale: bool,
    looks: u32,
    seen: Instant,
}

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
                Err(error) => task.failed(&error.to_string()),
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
            is_reading: false,
            is_stale: false,
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
        if self.is_reading {
            return;
        }
        (self.is_reading, self.is_stale) = (true, false);
        let (api, now) = (self.api.clone(), self.now());
        let last = self.scene.last.as_ref().map(|last| (last.id, last.athlete_id));
        self.readings.spawn(async move { Found::Scene(read::read(&api, Question { last }, now).await.map(Box::new)) });
    }

    fn found(&mut self, found: Found) {
        match found {
            Found::Scene(Ok(read)) => {
                self.is_reading = false;
                self.scene.read(*read);
                self.read_then();
                self.draw(&Slot::ALL);
                if self.is_stale {
                    self.read();
                }
            }
            Found::Scene(Err(error)) => self.failed(&error.to_string()),
            Found::Then(found) => match *found {
                (kind, Ok(then)) if self.kind.as_ref() == Some(&kind) => {
                    self.scene.then = then;
                    self.draw(&[Slot::Numbers, Slot::Speed]);
                }
                (_, Ok(_)) => {}
                (_, Err(error)) => tracing::warn!(%error, "earlier swings cannot be read"),
            },
        }
    }

    /// It is tried again at a later look.
    fn failed(&mut self, why: &str) {
        tracing::warn!(why, "the page cannot be read from the store");
        (self.is_reading, self.is_stale) = (false, true);
        self.scene.unread = Some(why.to_owned());
        self.draw(&Slot::ALL);
    }

    /// Earlier swings, if they are of another kind than those shown or may have been changed.
    fn read_then(&mut self) {
        let kind = self.scene.at_bat.as_ref().and_then(Kind::of);
        let is_other = kind != self.kind;
        if is_other {
            self.scene.then = None;
        }
        if !is_other && !self.is_then_stale {
            return;
        }
        self.is_then_stale = false;
        self.kind.clone_from(&kind);
        if let Some(kind) = kind {
            let api = self.api.clone();
            self.readings.spawn(async move {
                let then = then::read(&api, &kind).await;
                Found::Then(Box::new((kind, then)))
            });
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
        screen.about = self.about().into();
        self.board.screen.send_replace(Arc::new(screen));
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

    fn about(&self) -> Vec<Uuid> {
        let choices = self.scene.choices.athletes.iter().map(|athlete| athlete.id);
        choices.chain(self.scene.athlete_id()).collect()
    }

    fn now(&self) -> UtcMicros {
        self.api.now()
    }
}
