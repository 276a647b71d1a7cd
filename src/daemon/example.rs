//! The lesson that comes with the program, played as if a sensor sent it, so that whoever has none yet sees what there is to
//! see.
//!
//! It is simulated, and so it is kept apart: its swings are those of an invented athlete or of nobody
//! ([`Stations::keep_to`](super::Stations::keep_to)); it ends when somebody else is put at the plate, when a sensor connects, and
//! with the service; while its athlete is at the plate, a notice says that what is shown is simulated. Who the athlete is and
//! when it may be played, the [API](super::api) decides.

use super::Stations;
use super::clock::Clock;
use super::files::{OpenRecording, RecordingError, from_reader};
use super::hub::{Fault, Hub};
use super::inlet::Inlet;
use super::playback::{Pace, play};
use super::record::plate::AtBat;
use super::recorder::SystemDisk;
use crate::engine::wire::mcap::{Entry, LinkRecord, LinkState};
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use uuid::Uuid;

/// The sensor that sends it.
pub const SENSOR: &str = "example";
/// The notice that what is shown is simulated.
pub const NOTICE: &str = "example";

const FILE: &str = "lesson.mcap";
const LESSON: &[u8] = include_bytes!("../../replay-data/lesson.mcap");
/// Of so many entries one is taken to look for sensors: at 50 packets a second, twenty times as fast, ten times a second.
const LOOK_EVERY: u64 = 100;

/// The way into the station of [`SENSOR`]; `None` if there is no room for it.
pub type Open = Arc<dyn Fn() -> Option<Arc<Inlet>> + Send + Sync>;
/// From here on the sensor's swings are this athlete's or nobody's.
pub type KeepTo = Arc<dyn Fn(Uuid) + Send + Sync>;

/// The bundled lesson.
///
/// # Errors
/// Never, as long as the file is what a test holds it to be.
pub fn lesson() -> Result<OpenRecording, RecordingError> {
    from_reader(Path::new(FILE), LESSON, None)
}

/// The bundled lesson as a file: its name and its bytes.
pub fn lesson_file() -> (&'static str, &'static [u8]) {
    (FILE, LESSON)
}

/// What plays it.
pub struct Example {
    /// The way into its station.
    pub open: Open,
    /// Whose its swings are.
    pub keep_to: KeepTo,
    /// Where the notice stands.
    pub hub: Arc<Hub>,
    /// The time.
    pub clock: Arc<dyn Clock>,
    /// The service's tasks.
    pub tasks: TaskTracker,
    /// Ends them.
    pub cancel: CancellationToken,
    /// What is played, or was last with its athlete at the plate still.
    pub shown: Mutex<Option<Shown>>,
}

/// What is played.
#[derive(Clone, Debug)]
pub struct Shown {
    /// Whose it is; not known before that is looked up.
    athlete_id: Option<Uuid>,
    /// Ends it; cancelled too when it has ended.
    stop: CancellationToken,
}

/// The right to play it; what was begun with it ends when it is let go unused.
#[derive(Debug)]
pub struct Claim(Option<CancellationToken>);

impl Drop for Claim {
    fn drop(&mut self) {
        self.0.iter().for_each(CancellationToken::cancel);
    }
}

impl Example {
    /// For a service with these stations.
    pub fn at(
        stations: &Arc<Stations<SystemDisk>>,
        hub: &Arc<Hub>,
        clock: &Arc<dyn Clock>,
        tasks: &TaskTracker,
        cancel: &CancellationToken,
    ) -> Arc<Self> {
        let (opening, keeping) = (Arc::clone(stations), Arc::clone(stations));
        Arc::new(Self {
            open: Arc::new(move || opening.open(SENSOR)),
            keep_to: Arc::new(move |athlete_id| keeping.keep_to(SENSOR, athlete_id)),
            hub: Arc::clone(hub),
            clock: Arc::clone(clock),
            tasks: tasks.clone(),
            cancel: cancel.clone(),
            shown: Mutex::default(),
        })
    }

    /// The right to play it; `None` while it is played.
    pub fn claim(&self) -> Option<Claim> {
        let mut shown = self.lock();
        if shown.as_ref().is_some_and(|shown| !shown.stop.is_cancelled()) {
            return None;
        }
        let stop = self.cancel.child_token();
        *shown = Some(Shown { athlete_id: None, stop: stop.clone() });
        Some(Claim(Some(stop)))
    }

    /// It is to be this athlete's; to be said before they are put at the plate.
    pub fn belongs_to(&self, athlete_id: Uuid) {
        (self.keep_to)(athlete_id);
        if let Some(shown) = &mut *self.lock() {
            shown.athlete_id = Some(athlete_id);
        }
    }

    /// Plays it, `speed` times as fast as it was. Whether it is played: not if somebody else came to the plate meanwhile, or
    /// there is no station for it.
    pub fn play(self: &Arc<Self>, mut claim: Claim, mut lesson: OpenRecording, speed: f64) -> bool {
        let Some(stop) = claim.0.as_ref().filter(|stop| !stop.is_cancelled()).cloned() else { return false };
        let Some(inlet) = (self.open)() else { return false };
        claim.0 = None;
        self.say("what is shown is simulated: the lesson that comes with the program".into());
        let (this, ended) = (Arc::clone(self), stop.clone());
        let mut count = 0u64;
        let mut next = move || {
            count += 1;
            if count.is_multiple_of(LOOK_EVERY)
                && let Some(sensor) = this.real_sensor()
            {
                ended.cancel();
                this.say(format!(
                    "the example has ended, as the sensor {sensor} is connected; its athlete is at the plate still"
                ));
            }
            next_entry(&mut lesson)
        };
        let clock = Arc::clone(&self.clock);
        self.tasks.spawn_blocking(move || {
            play(&mut next, &inlet, &*clock, Pace { speed }, &stop);
            if stop.is_cancelled() {
                inlet.push(lost(&*clock));
            }
            stop.cancel();
        });
        true
    }

    /// Ends it, and the notice; whose it was.
    pub fn end(&self) -> Option<Uuid> {
        let shown = self.lock().take()?;
        shown.stop.cancel();
        self.hub.clear(None, NOTICE);
        shown.athlete_id
    }

    /// Somebody is put at the plate; to be said before its station hears it.
    pub fn heard(&self, at_bat: &AtBat) {
        let is_others = |shown: &Shown| shown.athlete_id.is_none() || shown.athlete_id != at_bat.plate.athlete_id;
        let is_over = self.lock().as_ref().is_some_and(is_others);
        if is_over {
            self.end();
        }
    }

    /// A sensor that is connected and is not this one.
    pub fn real_sensor(&self) -> Option<String> {
        self.hub.connected().into_iter().find(|name| name != SENSOR)
    }

    fn say(&self, cause: String) {
        self.hub.fault(Fault {
            sensor: None,
            key: NOTICE,
            cause,
            remedy: "put somebody at the plate, and erase the athlete Example when you have seen enough".into(),
        });
    }

    fn lock(&self) -> MutexGuard<'_, Option<Shown>> {
        self.shown.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The next entry of a recording that is played for somebody else than was at the plate when it was made: that is not told.
pub fn next_entry(lesson: &mut OpenRecording) -> Option<Entry> {
    loop {
        match lesson.next_entry() {
            Ok(Some(Entry::AtThePlate { .. })) => {}
            Ok(entry) => return entry,
            Err(error) => {
                tracing::error!(%error, "the recording cannot be read on");
                return None;
            }
        }
    }
}

fn lost(clock: &dyn Clock) -> Entry {
    let log_time_ns = u64::try_from(clock.now().utc_ns).unwrap_or(0);
    let link = LinkRecord { state: LinkState::Lost, cause: Some("the example was ended".into()) };
    Entry::Link { log_time_ns, link }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bundled_lesson_is_a_recording_and_names_nobody_when_it_is_played() {
        let mut lesson = lesson().unwrap();
        let mut entries = std::iter::from_fn(|| next_entry(&mut lesson));
        assert!(matches!(entries.next(), Some(Entry::Profile { .. })));
        let rest: Vec<_> = entries.collect();
        assert!(rest.len() > 1000 && rest.iter().all(|entry| matches!(entry, Entry::Samples { .. })), "{}", rest.len());
    }
}
