//! The service in this process, sensors that send in real time, and viewers of the live page.

use super::browser::{self, Fetched, Seen, ask_json};
use super::machine;
use super::motion::{Lesson, due_s, holding};
use anyhow::Context;
use serde_json::Value;
use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;
use std::thread::{JoinHandle, sleep};
use std::time::{Duration, Instant};
use swingd::daemon::access;
use swingd::daemon::clock::Clock;
use swingd::daemon::inlet::Inlet;
use swingd::daemon::service::{Service, Settings};
use swingd::daemon::station::Limits;
use swingd::daemon::store::Place;
use swingd::engine::device::own;
use tokio::sync::broadcast::error::RecvError;

/// After the last packet, what is on its way may take so long.
const GRACE: Duration = Duration::from_secs(2);

/// How often the page is fetched.
const LOADS: usize = 20;

/// A swing that is told this long after another is there before that one has to be drawn.
const SAME_TIME: Duration = Duration::from_millis(150);

/// What is measured.
#[derive(Clone, Copy)]
pub struct Wanted {
    pub viewers: usize,
    pub seconds: f64,
}

/// What came of it.
#[derive(Default)]
pub struct Outcome {
    pub seconds: f64,
    /// CPU time used, s: by the whole process, and by the names of threads.
    pub cpu_s: f64,
    pub threads_cpu_s: BTreeMap<String, f64>,
    /// From handing over the packet with a contact to the first event of it.
    pub engine_ms: Vec<f64>,
    /// From a swing's event to its numbers with a viewer.
    pub numbers_ms: Vec<f64>,
    /// How often a viewer did not get a swing's numbers because another swing was the last one by then,
    pub superseded: usize,
    /// and how often without that.
    pub missed: usize,
    pub lost_entries: f64,
    pub dropped: f64,
    pub pages: Vec<Fetched>,
}

/// A swing's event, and when it was told.
struct Told {
    at: Instant,
    sensor: String,
    swing: Option<String>,
    stage: String,
    contact_s: f64,
    met_ball: bool,
}

/// What a sensor sent, and when.
struct Sent {
    handed_over: Vec<Instant>,
}

/// Plays the lessons at once, each as a sensor.
///
/// # Errors
/// If the service cannot be started or reached.
pub fn play(lessons: Vec<Lesson>, wanted: Wanted) -> anyhow::Result<Outcome> {
    let folder = tempfile::tempdir()?;
    let runtime = tokio::runtime::Runtime::new()?;
    let settings = Settings {
        data_folder: folder.path().to_owned(),
        listen: "127.0.0.1:0".parse()?,
        http: access::Settings::default(),
        cage: "cage".into(),
        retention_days: 0,
        events_keep: 500,
        nearly_full_bytes: 1_000_000_000,
        limits: Limits { idle_close_s: 600.0, most_bytes: 2_048_000_000 },
        store: Place::in_folder(folder.path()),
    };
    let service = runtime.block_on(Service::start(&settings))?;
    let told = listen(&service)?;
    let played = play_on(&service, &lessons, wanted);
    runtime.block_on(service.stop());
    // What its tasks held goes with them: the listener ends.
    drop(runtime);
    let (mut outcome, sent, viewers) = played?;
    let told = told.join().ok().context("the listener panicked")?;
    outcome.engine_ms = engine_ms(&told, &sent);
    for viewer in viewers {
        let seen = viewer.join().ok().context("a viewer panicked")?;
        put_numbers(&mut outcome, &told, &seen);
    }
    Ok(outcome)
}

fn play_on(
    service: &Service,
    lessons: &[Lesson],
    wanted: Wanted,
) -> anyhow::Result<(Outcome, Vec<Sent>, Vec<JoinHandle<Vec<Seen>>>)> {
    let address = service.address();
    put_at_the_plate(address)?;
    let units = ["us", "metric"];
    let viewers = (0..wanted.viewers).map(|k| browser::view(address, units[k % 2]));
    let viewers = viewers.collect::<anyhow::Result<Vec<_>>>()?;
    let names: Vec<String> = (0..lessons.len()).map(|k| format!("sensor-{k}")).collect();
    let inlet = |name: &String| service.stations().open(name).context("no station");
    let inlets: Vec<Arc<Inlet>> = names.iter().map(inlet).collect::<anyhow::Result<_>>()?;
    sleep(Duration::from_millis(500));
    let (before_s, threads_before_s) = (machine::process_cpu_s()?, machine::threads_cpu_s()?);
    let began = Instant::now();
    let senders = lessons.iter().zip(&inlets).map(|(lesson, inlet)| {
        let (lesson, inlet, clock) = (lesson.clone(), Arc::clone(inlet), Arc::clone(service.clock()));
        let sender = move || send(&lesson, &inlet, &*clock, began, wanted.seconds);
        std::thread::Builder::new().name("sensor".into()).spawn(sender)
    });
    let senders = senders.collect::<Result<Vec<_>, _>>()?;
    sleep(Duration::from_secs_f64(wanted.seconds - 0.1).saturating_sub(began.elapsed()));
    let after_s = machine::threads_cpu_s()?;
    let less = |(name, used_s): (&String, &f64)| {
        (name.clone(), used_s - threads_before_s.get(name).copied().unwrap_or_default())
    };
    let sent = senders.into_iter().map(|sender| sender.join().ok().context("a sensor panicked"));
    let sent = sent.collect::<anyhow::Result<Vec<Sent>>>()?;
    let mut outcome = Outcome {
        seconds: began.elapsed().as_secs_f64(),
        cpu_s: machine::process_cpu_s()? - before_s,
        threads_cpu_s: after_s.iter().map(less).collect(),
        ..Outcome::default()
    };
    sleep(GRACE);
    if wanted.viewers > 0 {
        outcome.pages = (0..LOADS).map(|_| browser::fetch_page(address)).collect::<Result<_, _>>()?;
    }
    for (_, state) in service.hub().sensors() {
        let state: Value = serde_json::from_str(&state)?;
        outcome.lost_entries += state["recording"]["lost_entries"].as_f64().unwrap_or(f64::NAN);
        outcome.dropped += state["counts"]["dropped"].as_f64().unwrap_or(f64::NAN);
    }
    Ok((outcome, sent, viewers))
}

/// Somebody with a bat, so that the page has all its parts.
fn put_at_the_plate(address: SocketAddr) -> anyhow::Result<()> {
    let athlete = ask_json(address, "POST", "/v1/athletes", r#"{"nickname":"Wren"}"#)?;
    let bat = ask_json(address, "POST", "/v1/bats", r#"{"name":"Ash 33","kind":"bat"}"#)?;
    let saying = serde_json::json!({"athlete_id": athlete["id"], "bat_id": bat["id"], "side": "right", "drill": "high tee",
        "ball_source": "machine", "pitch_speed_mps": 20.0});
    ask_json(address, "PUT", "/v1/at-the-plate", &saying.to_string())?;
    Ok(())
}

fn send(lesson: &Lesson, inlet: &Inlet, clock: &dyn Clock, start: Instant, seconds: f64) -> Sent {
    let log_time_ns = u64::try_from(clock.now().utc_ns).unwrap_or(0);
    lesson.preamble(log_time_ns).into_iter().for_each(|entry| inlet.push(entry));
    let mut handed_over = Vec::with_capacity(lesson.packets.len());
    for (place, bytes) in lesson.packets.iter().enumerate().take_while(|(place, _)| due_s(*place) < seconds) {
        let due = start + Duration::from_secs_f64(due_s(place));
        sleep(due.saturating_duration_since(Instant::now()));
        handed_over.push(Instant::now());
        inlet.packet(own::DATA.to_owned(), bytes.clone(), clock.now());
    }
    Sent { handed_over }
}

/// Notes every swing's event as the hub tells it, until the service is gone.
fn listen(service: &Service) -> anyhow::Result<JoinHandle<Vec<Told>>> {
    let mut news = service.hub().subscribe(None).news;
    let follow = move || {
        let mut all = Vec::new();
        loop {
            match news.blocking_recv() {
                Ok(told) if told.kind == "swing" => all.extend(event(&told.data, Instant::now())),
                Ok(_) | Err(RecvError::Lagged(_)) => {}
                Err(RecvError::Closed) => return all,
            }
        }
    };
    Ok(std::thread::Builder::new().name("listener".into()).spawn(follow)?)
}

fn event(data: &str, at: Instant) -> Option<Told> {
    let event: Value = serde_json::from_str(data).ok()?;
    let told = &event["told"];
    let stage = told["stage"].as_str()?.to_owned();
    Some(Told {
        at,
        sensor: event["sensor"].as_str()?.to_owned(),
        swing: event["swing_id"].as_str().map(str::to_owned),
        stage,
        contact_s: told["contact_s"].as_f64()?,
        met_ball: told["contact"] == "ball",
    })
}

/// A swing that met nothing is known as one only 0.18 s later, so only those with a ball count.
fn engine_ms(told: &[Told], sent: &[Sent]) -> Vec<f64> {
    let firsts = told.iter().filter(|told| told.stage == "streaming" && told.met_ball);
    let took = firsts.filter_map(|told| {
        let sensor: usize = told.sensor.strip_prefix("sensor-")?.parse().ok()?;
        let held = sent.get(sensor)?.handed_over.get(holding(told.contact_s))?;
        Some(told.at.saturating_duration_since(*held).as_secs_f64() * 1e3)
    });
    took.collect()
}

fn put_numbers(outcome: &mut Outcome, all: &[Told], seen: &[Seen]) {
    // A revision may change nothing that is shown.
    for told in all.iter().filter(|told| told.stage != "revised") {
        let Some(swing) = &told.swing else { continue };
        let is_it = |seen: &&Seen| seen.swing == *swing && seen.stage == told.stage;
        match seen.iter().find(is_it) {
            Some(seen) => {
                outcome.numbers_ms.push(seen.at.saturating_duration_since(told.at).as_secs_f64() * 1e3);
            }
            None if is_overtaken(told, all) => outcome.superseded += 1,
            None => outcome.missed += 1,
        }
    }
}

/// Whether another swing, of whichever sensor, was the last one when this had to be drawn: first told after this one was.
fn is_overtaken(told: &Told, all: &[Told]) -> bool {
    let begun = all.iter().find(|first| first.swing == told.swing).map_or(told.at, |first| first.at);
    let others = all.iter().filter(|other| other.stage == "streaming" && other.swing != told.swing);
    others.map(|other| other.at).any(|at| at >= begun && at <= told.at + SAME_TIME)
}
