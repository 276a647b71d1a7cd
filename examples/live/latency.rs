//! How soon a front-end has a swing, in real time on sixteen sensors at once: twice what must be carried, to see
//! enough swings in minutes.
//!
//! First: from handing over the notification that holds the contact, which is the first to have a sample at or after the
//! contact that is told, to having read the event. The analysis wants 4 ms of samples after a blow, so where the contact is
//! in the last ones the event waits for the next notification, which comes 19 ms later; the same packets are analysed again
//! afterwards to know which one told what. A swing that met nothing is known as one only 0.18 s after it was fastest.
//!
//! Final: from the end of the follow-through, as simulated, to having read the event.

use super::load::lessons;
use super::machine::load_average;
use super::motion::{TrueSwing, holding};
use super::rig::{Played, play};
use super::sse::Heard;
use super::verdict::{Sorted, Verdicts};
use std::collections::BTreeMap;
use std::time::{Duration, Instant};
use swingd::engine::device::own;
use swingd::engine::session::{Session, Told};
use swingd::engine::wire::mcap::{Entry, Packet};
use swingd::report::event;
use swingd::sim::SwingKind;

pub const SECONDS: f64 = 300.0;
const SENSORS: usize = 16;
/// Seeds of their own, used nowhere else.
const FIRST_SEED: u64 = 820_000;
/// A told swing is the true one if its contact is this near, s.
const NEAR_S: f64 = 0.05;
const MOST_FIRST_MS: f64 = 50.0;
const MOST_FINAL_S: f64 = 1.5;
/// So many swings are needed for a 99th percentile.
const LEAST_SWINGS: f64 = 200.0;
/// The name in the event stream of a swing's first and final numbers.
const FIRST: &str = "streaming";
const FINAL: &str = "final";

/// All latencies of one kind of swing.
#[derive(Default)]
struct Latencies {
    first_ms: Vec<f64>,
    /// Of it, until the notification that completed what the analysis needs.
    waiting_ms: Vec<f64>,
    /// Of it, from that notification on: what the program takes.
    program_ms: Vec<f64>,
    final_s: Vec<f64>,
    final_program_ms: Vec<f64>,
}

/// Which packet told a swing's stage, by the swing's number and the stage.
type ToldBy = BTreeMap<(u64, &'static str), usize>;

pub fn run(seconds: f64, verdicts: &mut Verdicts) -> anyhow::Result<()> {
    println!("latency: {SENSORS} sensors for {seconds} s (load before {})", load_average());
    let outcome = play(lessons(SENSORS, seconds, FIRST_SEED)?, seconds)?;
    println!("  load after {}; {:.2} cores used", load_average(), outcome.cpu_s / outcome.seconds);
    let (mut ball, mut dry) = (Latencies::default(), Latencies::default());
    let (mut missing, mut unrecorded, mut invented, mut late_ms) = (0, 0, 0, Vec::new());
    for sensor in &outcome.sensors {
        let told_by = analyse(sensor);
        let heard = |key: &(u64, &str)| sensor.heard.iter().any(|it| (it.number, it.stage.as_str()) == *key);
        missing += told_by.keys().filter(|key| !heard(key)).count();
        unrecorded += sensor.heard.iter().filter(|heard| !heard.recorded).count();
        for event in sensor.heard.iter().filter(|heard| heard.stage == FIRST) {
            match true_swing(sensor, event) {
                Some(swing) if swing.kind == SwingKind::Ball => ball.add(sensor, &told_by, event, swing),
                Some(swing) => dry.add(sensor, &told_by, event, swing),
                None => invented += 1,
            }
        }
        let due = |place: usize| sensor.start + Duration::from_secs_f64(super::motion::due_s(place));
        let late = |(place, at): (usize, &Instant)| ms(due(place), *at);
        late_ms.extend(sensor.handed_over.iter().enumerate().map(late));
    }
    println!("  {invented} swings told that were none; {unrecorded} events told before their packets were on disk");
    let follow_through = |sensor: &Played| sensor.lesson.swings.iter().map(|it| it.over_s - it.contact_s).collect();
    let follow_through_s: Vec<Vec<f64>> = outcome.sensors.iter().map(follow_through).collect();
    Sorted::new(follow_through_s.concat()).print("simulated follow-throughs", "s");
    Sorted::new(late_ms).print("notifications handed over late by this machine", "ms");
    verdicts.at_most("events that did not reach the front-end", missing as f64, 0.0, "");
    verdicts.at_least("swings with a ball", ball.first_ms.len() as f64, LEAST_SWINGS, "");
    ball.report("ball", verdicts);
    println!("  met nothing (known 0.18 s after it was fastest; no limit for the first event)");
    dry.report_dry(verdicts);
    Ok(())
}

/// The same packets through the same analysis: what each of them told.
fn analyse(sensor: &Played) -> ToldBy {
    let mut session = Session::new();
    sensor.lesson.preamble(0).iter().for_each(|entry| drop(session.take(entry)));
    let mut told_by = ToldBy::new();
    for (place, bytes) in sensor.lesson.packets.iter().take(sensor.handed_over.len()).enumerate() {
        let (sensor, characteristic) = (String::new(), own::DATA.to_owned());
        let packet = Packet { received_utc_ns: 0, sensor, characteristic, bytes: bytes.clone() };
        for told in session.take(&Entry::Packet(packet)) {
            if let Told::Swing(swing) = told {
                told_by.insert((swing.number, event::stage(swing.stage)), place);
            }
        }
    }
    told_by
}

fn true_swing<'a>(sensor: &'a Played, event: &Heard) -> Option<&'a TrueSwing> {
    sensor.lesson.swings.iter().find(|swing| (swing.contact_s - event.contact_s).abs() < NEAR_S)
}

impl Latencies {
    fn add(&mut self, sensor: &Played, told_by: &ToldBy, event: &Heard, swing: &TrueSwing) {
        let at = |place: usize| sensor.handed_over.get(place).copied();
        let by = |stage| told_by.get(&(event.number, stage)).and_then(|place| at(*place));
        if let (Some(held), Some(completed)) = (at(holding(event.contact_s)), by(FIRST)) {
            self.first_ms.push(ms(held, event.at));
            self.waiting_ms.push(ms(held, completed));
            self.program_ms.push(ms(completed, event.at));
        }
        let ended = sensor.heard.iter().find(|heard| heard.number == event.number && heard.stage == FINAL);
        if let (Some(ended), Some(completed)) = (ended, by(FINAL)) {
            let over = sensor.start + Duration::from_secs_f64(swing.over_s);
            self.final_s.push(1e-3 * ms(over, ended.at));
            self.final_program_ms.push(ms(completed, ended.at));
        }
    }

    fn report(self, kind: &str, verdicts: &mut Verdicts) {
        let first_ms = Sorted::new(self.first_ms);
        first_ms.print(&format!("{kind}: notification with the contact to the event"), "ms");
        Sorted::new(self.waiting_ms).print("    of it, waiting for the notification that completes it", "ms");
        Sorted::new(self.program_ms).print("    of it, in the program", "ms");
        let final_s = Sorted::new(self.final_s);
        final_s.print(&format!("{kind}: end of the follow-through to the final numbers"), "s");
        Sorted::new(self.final_program_ms).print("    of it, in the program", "ms");
        verdicts.at_most(&format!("{kind}: the first event, p99"), first_ms.quantile(0.99), MOST_FIRST_MS, "ms");
        verdicts.at_most(&format!("{kind}: the final numbers, worst"), final_s.quantile(1.0), MOST_FINAL_S, "s");
    }

    fn report_dry(self, verdicts: &mut Verdicts) {
        Sorted::new(self.first_ms).print("dry: notification with the contact to the event", "ms");
        Sorted::new(self.program_ms).print("    of it, in the program", "ms");
        let final_s = Sorted::new(self.final_s);
        final_s.print("dry: end of the follow-through to the final numbers", "s");
        verdicts.at_most("dry: the final numbers, worst", final_s.quantile(1.0), MOST_FINAL_S, "s");
    }
}

/// From one instant to another, ms; negative if it was before.
fn ms(from: Instant, to: Instant) -> f64 {
    1e3 * (to.saturating_duration_since(from).as_secs_f64() - from.saturating_duration_since(to).as_secs_f64())
}
