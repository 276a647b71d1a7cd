//! `swingd serve` as a whole, as a child process on the fake's bus: found, connected, streaming, told, recorded, through
//! all troubles of the radio and all bad habits of a sensor.
//!
//! They wait more than they compute: with `-- --test-threads 8` all take a third of the time.
//!
//! `cargo test --test bluez -- --ignored --nocapture reconnects_within` measures how soon a sensor is back.

mod boards;
mod cage;
mod chosen;
mod habits;
mod knob;
mod losses;
mod radio_faults;
mod swings;

use cage::{Cage, Service};
use knob::Knob;
use std::time::Duration;

const KNOB: &str = "C0:00:00:00:00:01";
const OTHER: &str = "C0:00:00:00:00:02";

/// A fault is told so soon.
const TOLD: Duration = Duration::from_secs(2);

/// A fake with one still knob that the program streams from.
fn streaming(name: &str) -> (Cage, Knob, Service) {
    let cage = Cage::start();
    let knob = Knob::still(&cage, KNOB, "Knob");
    let service = Service::start(&cage, name, "", &[]);
    let state = service.more_packets(50);
    let rate_hz = state["sample_rate_hz"].as_f64().expect("a rate");
    // Over one second, on a machine that is busy with other tests.
    assert!((300.0..3000.0).contains(&rate_hz), "{state}");
    (cage, knob, service)
}

/// Scripts that wait more than they compute, at once even where few tests run at a time.
fn together(scripts: &[fn()]) {
    std::thread::scope(|scope| scripts.iter().for_each(|script| drop(scope.spawn(script))));
}
