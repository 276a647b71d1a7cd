//! Each fault is told with its remedy within 2 s, and is over without anyone's doing.

use crate::support::cage::{Mishap, Outcome, What, live};
use crate::support::radio::Radios;
use crate::support::sensor::{Motion, Rates, Sensor};
use serde_json::Value;
use std::time::Duration;
use swingd::sim::Random;

/// The mishap, and its end, s after the first packet.
const AT_S: f64 = 4.0;
const OVER_S: f64 = 8.0;
/// From what happens to when it is told.
const TOLD_WITHIN_S: f64 = 2.0;

/// A lesson in which `first` happens at [`AT_S`] and `then` at [`OVER_S`].
fn lesson(first: What, then: What) -> Outcome {
    let motion = Motion::lesson(710_005, 2);
    let at = |at_s: f64, what| Mishap { at: Duration::from_secs_f64(at_s), what };
    live(Sensor::new(motion, Rates::default(), Random::new(710_002)), vec![at(AT_S, first), at(OVER_S, then)])
}

/// The fault comes in time and with a remedy, and goes.
fn check(outcome: &Outcome, key: &str, over_within_s: f64) {
    let (told_s, over_s) = outcome.fault(key, AT_S);
    let told_s = told_s.unwrap_or_else(|| panic!("{key} was not told: {:?}", outcome.events));
    let over_s = over_s.unwrap_or_else(|| panic!("{key} is not over"));
    assert!(told_s - AT_S <= TOLD_WITHIN_S, "{key}: told after {} s", told_s - AT_S);
    assert!(over_s > OVER_S && over_s - OVER_S <= over_within_s, "{key}: over {} s later", over_s - OVER_S);
    let faults = outcome.events.iter().filter(|news| news.kind == "fault");
    for fault in faults.map(|news| serde_json::from_str::<Value>(&news.data).unwrap()) {
        let long = |key: &str| fault[key].as_str().is_some_and(|text| text.len() > 10);
        assert!(long("cause") && long("remedy"), "{fault}");
    }
}

#[test]
fn a_sensor_that_falls_silent_without_a_word() {
    let first: What = Box::new(|radio, _| {
        let mut air = radio.air();
        air.reports_loss = false;
        air.sensors.values_mut().for_each(|sensor| sensor.in_reach = false);
    });
    let then: What = Box::new(|radio, _| radio.air().sensors.values_mut().for_each(|sensor| sensor.in_reach = true));
    let outcome = lesson(first, then);
    let (told_s, _) = outcome.fault("no_data", AT_S);
    assert!(told_s.is_some_and(|told_s| told_s - AT_S <= TOLD_WITHIN_S), "{told_s:?}");
    let (_, over_s) = outcome.fault("connection", AT_S);
    assert!(over_s.is_some_and(|over_s| over_s > OVER_S && over_s < OVER_S + 3.0), "{over_s:?}");
    assert!(outcome.state["counts"]["lost_samples"].as_u64().unwrap() > 3000);
}

#[test]
fn the_radio_switched_off_and_on() {
    for radios in [Radios::Off, Radios::ServiceGone] {
        let first: What = Box::new(move |radio, _| radio.air().radio = radios);
        let then: What = Box::new(|radio, _| radio.air().radio = Radios::On);
        check(&lesson(first, then), "connection", 3.0);
    }
}

#[test]
fn a_disk_that_is_read_only_and_one_that_is_full() {
    let read_only: What = Box::new(|_, disk| disk.make_read_only(true));
    let full: What = Box::new(|_, disk| {
        let used = disk.contents().values().map(|bytes| bytes.len() as u64).sum();
        disk.limit(Some(used));
    });
    for first in [read_only, full] {
        let outcome = lesson(first, Box::new(|_, disk| disk.heal()));
        check(&outcome, "recording", 2.0);
        // Live numbers go on: the swings are told, and those that are not recorded say so.
        assert!(!outcome.swings().is_empty());
        assert!(outcome.state["recording"]["lost_entries"].as_u64().unwrap() > 100);
    }
}

/// What is said of a lesson in which nothing goes wrong.
#[test]
fn a_lesson_without_mishap_has_no_fault() {
    let nothing: fn() -> What = || Box::new(|_, _| {});
    let outcome = lesson(nothing(), nothing());
    let last_s =
        outcome.events.iter().zip(&outcome.told_at_s).filter(|(news, _)| news.kind == "fault").map(|(_, at)| *at);
    let before_the_end: Vec<f64> = last_s.filter(|at_s| *at_s < outcome.length_s).collect();
    assert!(before_the_end.is_empty(), "{before_the_end:?} {:?}", outcome.events);
    assert!(!outcome.swings().is_empty());
}

#[test]
fn a_profile_that_cannot_be_used() {
    let motion = Motion::lesson(710_005, 2);
    let bad = Motion { profile_toml: "[bat]\nlength_m = 9\n".into(), ..(*motion).clone() };
    let outcome = live(Sensor::new(std::sync::Arc::new(bad), Rates::default(), Random::new(710_002)), Vec::new());
    let (told_s, _) = outcome.fault("profile", f64::NEG_INFINITY);
    assert!(told_s.is_some_and(|told_s| told_s < TOLD_WITHIN_S), "{told_s:?} {:?}", outcome.events);
    assert!(!outcome.swings().is_empty(), "measured with the defaults");
}

#[test]
fn packets_that_do_not_fit_and_a_bad_link() {
    let spoilt: What = Box::new(|radio, _| {
        radio.air().sensors.values_mut().for_each(|it| it.rates = Rates { spoilt: 0.5, ..Rates::default() });
    });
    let well: fn() -> What =
        || Box::new(|radio, _| radio.air().sensors.values_mut().for_each(|sensor| sensor.rates = Rates::default()));
    check(&lesson(spoilt, well()), "unreadable", 6.0);
    let lossy: What = Box::new(|radio, _| {
        radio.air().sensors.values_mut().for_each(|it| it.rates = Rates { lost: 0.5, ..Rates::default() });
    });
    check(&lesson(lossy, well()), "loss", 6.0);
}
