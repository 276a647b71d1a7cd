//! Several who ask at once, and another check that is begun meanwhile.

use super::*;
use crate::engine::sample::{Sample, SensorTime};
use crate::engine::session::Session;
use crate::engine::wire::mcap::Entry;
use nalgebra::Vector3;
use std::thread;

/// A sensor that rests.
struct Resting {
    checks: Checks,
    tap: Arc<Tap>,
    session: Session,
    next: u32,
}

fn at(elapsed_ms: u64) -> Now {
    Now { utc_ns: 0, elapsed: Duration::from_millis(elapsed_ms) }
}

impl Resting {
    fn new() -> Self {
        let tap: Arc<Tap> = Arc::default();
        let given = Arc::clone(&tap);
        let checks = Checks::new(Arc::new(move |_| Some(Arc::clone(&given))));
        Self { checks, tap, session: Session::new(), next: 0 }
    }

    fn begin(&self, kind: Kind) {
        let begun = Begun { kind, begun: UtcMicros(0), bat_id: None, latitude_rad: None, fitted: Fitted::default() };
        self.checks.begin("knob", begun, Arc::clone(&self.tap), at(0));
    }

    fn sends(&mut self, samples: u32) {
        let times = self.next..self.next + samples;
        self.next = times.end;
        let sample = |k: u32| Sample {
            time: SensorTime(f64::from(k) / 200.0),
            gyro_s_radps: Vector3::zeros(),
            accel_s_mps2: Vector3::y() * 9.8,
            accel_hi_s_mps2: None,
        };
        self.session.keep_fresh(self.tap.is_open());
        self.session.take(&Entry::Samples { log_time_ns: 0, samples: times.map(sample).collect() });
        self.tap.take(&self.session, at(0));
    }

    fn stands(&self, now: Now) -> Option<Stands> {
        self.checks.told("knob", now)?.1.map(|told| told.stands)
    }

    fn present(&self) -> Present {
        self.checks.lock().get("knob").unwrap().clone()
    }
}

#[test]
fn two_who_ask_at_once_are_told_the_same_result_and_it_stays() {
    let mut resting = Resting::new();
    resting.begin(Kind::Still);
    resting.sends(300);
    assert!(resting.stands(at(0)).is_some_and(|stands| !stands.is_over()));
    let present = resting.present();
    // Somebody looks still while the rest comes and two more ask.
    let looking = present.last.lock().unwrap();
    resting.sends(500);
    let told = thread::scope(|scope| {
        let asking = [0, 1].map(|_| scope.spawn(|| resting.stands(at(1000))));
        drop(looking);
        asking.map(|one| one.join().unwrap())
    });
    assert!(told[0].is_some_and(|stands| stands.is_over()) && told[0] == told[1], "{told:?}");
    assert!(!resting.tap.is_open(), "nothing more is kept");
    assert_eq!(resting.stands(at(600_000)), told[0], "long after the tap would have closed by itself");
}

#[test]
fn who_asks_for_a_check_that_another_replaced_leaves_the_new_one_alone() {
    let mut resting = Resting::new();
    resting.begin(Kind::Still);
    let before = resting.present();
    resting.begin(Kind::Mount);
    resting.sends(1000);
    assert_eq!(before.look(at(100)), None, "what came since is the new one's");
    resting.checks.end("knob", &before.begun);
    assert!(resting.tap.is_open());
    assert!(matches!(resting.stands(at(200)), Some(Stands::Mount(Mounting::Roll { .. }))));
}

#[test]
fn samples_are_looked_at_anew_only_after_half_a_second() {
    let mut resting = Resting::new();
    resting.begin(Kind::Still);
    resting.sends(200);
    let first = resting.stands(at(0));
    resting.sends(50);
    assert_eq!(resting.stands(at(300)), first, "a quarter of a second more");
    let later = resting.stands(at(600));
    assert_ne!(later, first, "long enough ago");
    resting.sends(150);
    assert_ne!(resting.stands(at(601)), later, "much came");
}

#[test]
fn what_nobody_asked_for_a_minute_is_over() {
    let resting = Resting::new();
    resting.begin(Kind::Still);
    assert!(resting.stands(at(59_000)).is_some());
    assert!(resting.stands(at(118_000)).is_some());
    assert_eq!(resting.stands(at(180_000)), None);
    assert!(resting.checks.lock().is_empty() && !resting.tap.is_open());
}
