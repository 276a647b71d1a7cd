//! Adapters, the Bluetooth service and the bus: gone and back, slow, several.

use super::cage::{Cage, News, Service, packets};
use super::knob::{Knob, uuid};
use super::{KNOB, OTHER, TOLD, streaming, together};
use crate::fake::{Answer, FakeSensor, PATIENCE};
use std::thread::sleep;
use std::time::{Duration, Instant};
use swingd::engine::device::own;

/// For so long it is gone.
const GONE: Duration = Duration::from_secs(3);

/// And streams again so soon after it is back, on a machine that is busy with other tests.
const AGAIN: Duration = Duration::from_secs(6);

/// Once the fault is over, how long after `back` the first packet was counted.
#[track_caller]
fn streams_again(service: &Service, back: Instant, before: u64, what: &str) {
    service.state("", what, |it| packets(it) > before);
    let took = back.elapsed();
    println!("{what}: {took:?} from back to the first packet; printed: {:#?}", service.printed());
    assert!(took < AGAIN, "{what}: {took:?}");
}

#[test]
fn switched_off_and_on() {
    let (cage, _knob, service) = streaming("power");
    let (mark, off_at) = (service.mark(), Instant::now());
    cage.fake().power("hci0", false);
    let off = service.fault(mark, "connection");
    assert!(off.at - off_at < TOLD, "told after {:?}", off.at - off_at);
    assert_eq!(off.data["cause"], "Bluetooth is switched off", "the first word of it is the right one");
    assert!(off.data["remedy"].as_str().unwrap().contains("switch Bluetooth on"), "{}", off.text);
    sleep(GONE.saturating_sub(off_at.elapsed()));
    assert!(!cage.fake().is_powered("hci0"), "it is not for a program to switch it on");
    let before = packets(&service.state("", "any", |_| true));
    cage.fake().power("hci0", true);
    streams_again(&service, Instant::now(), before, "switched on");
    service.cleared(mark, "connection");
}

#[test]
fn bluetooth_service_restarted() {
    let (cage, _knob, service) = streaming("service");
    let (mark, gone_at) = (service.mark(), Instant::now());
    cage.fake().stop_service();
    let fault = service.fault(mark, "connection");
    assert!(fault.at - gone_at < TOLD, "told after {:?}", fault.at - gone_at);
    assert!(fault.data["remedy"].as_str().unwrap().starts_with("start the Bluetooth service"), "{}", fault.text);
    sleep(GONE.saturating_sub(gone_at.elapsed()));
    let before = packets(&service.state("", "any", |_| true));
    cage.fake().start_service();
    streams_again(&service, Instant::now(), before, "service back");
    service.cleared(mark, "connection");
}

#[test]
fn bus_gone_and_back() {
    let (cage, _knob, service) = streaming("bus");
    let (mark, gone_at) = (service.mark(), Instant::now());
    cage.fake_mut().stop_bus();
    let fault = service.fault(mark, "connection");
    assert!(fault.at - gone_at < TOLD, "told after {:?}", fault.at - gone_at);
    assert!(fault.data["remedy"].as_str().unwrap().starts_with("start the Bluetooth service"), "{}", fault.text);
    sleep(GONE.saturating_sub(gone_at.elapsed()));
    let before = packets(&service.state("", "any", |_| true));
    cage.fake_mut().start_bus();
    streams_again(&service, Instant::now(), before, "bus back");
    service.cleared(mark, "connection");
}

#[test]
fn switched_off_from_the_beginning() {
    let cage = Cage::start();
    let _knob = Knob::still(&cage, KNOB, "Knob");
    cage.fake().power("hci0", false);
    let service = Service::start(&cage, "off-at-first", "", &[]);
    let fault = service.fault(0, "radio");
    assert!(fault.text.contains("switched off"), "{}", fault.text);
    cage.fake().power("hci0", true);
    streams_again(&service, Instant::now(), 0, "found");
    service.cleared(0, "radio");
}

#[test]
fn no_sensor_stays_stuck() {
    together(&[
        a_connection_that_hangs_and_reads_that_are_late_leave_no_sensor_stuck,
        a_sensor_that_refuses_for_a_while_is_not_waited_for_longer_than_needed,
        out_of_reach_for_longer_than_an_attempt_lasts,
    ]);
}

fn a_connection_that_hangs_and_reads_that_are_late_leave_no_sensor_stuck() {
    let (cage, _knob, service) = streaming("slow");
    cage.fake().on_connect(KNOB, Answer::Hang);
    let mark = service.mark();
    cage.fake().lose(KNOB);
    service.fault(mark, "connection");
    sleep(Duration::from_secs(2));
    let before = packets(&service.state("", "any", |_| true));
    cage.fake().on_connect(KNOB, Answer::Accept);
    streams_again(&service, Instant::now(), before, "connects again");
    cage.fake().on_read(KNOB, Answer::Late(Duration::from_millis(900)));
    cage.fake().lose(KNOB);
    let (before, back) = (packets(&service.state("", "any", |_| true)), Instant::now());
    streams_again(&service, back, before + 1, "with late reads");
    cage.fake().on_read(KNOB, Answer::Hang);
    cage.fake().lose(KNOB);
    sleep(Duration::from_secs(1));
    cage.fake().on_read(KNOB, Answer::Accept);
    let (before, back) = (packets(&service.state("", "any", |_| true)), Instant::now());
    streams_again(&service, back, before + 1, "after a read that hung");
}

fn a_sensor_that_refuses_for_a_while_is_not_waited_for_longer_than_needed() {
    let (cage, _knob, service) = streaming("refused");
    cage.fake().on_connect(KNOB, Answer::Refuse("org.bluez.Error.Failed", "le-connection-abort-by-local"));
    let attempts = cage.fake().calls("Connect");
    cage.fake().lose(KNOB);
    sleep(Duration::from_secs(5));
    let attempts = cage.fake().calls("Connect") - attempts;
    assert!((4..20).contains(&attempts), "{attempts} attempts in 5 s");
    let before = packets(&service.state("", "any", |_| true));
    cage.fake().on_connect(KNOB, Answer::Accept);
    streams_again(&service, Instant::now(), before, "no longer refused");
}

fn out_of_reach_for_longer_than_an_attempt_lasts() {
    let (cage, _knob, service) = streaming("reach");
    let mark = service.mark();
    cage.fake().heard_by(KNOB, "hci0", None);
    cage.fake().lose(KNOB);
    let away = |it: &News| it.kind == "fault" && it.text.contains("wake the sensor");
    service.expect(mark, "the loss", away);
    // Told once; the cause stays up to date beside it.
    let until = Instant::now() + PATIENCE;
    let gave_up = || service.faults().iter().any(|fault| fault["cause"].as_str().unwrap().contains("took more than"));
    while !gave_up() {
        assert!(Instant::now() < until, "no attempt was given up: {:?}", service.faults());
        sleep(Duration::from_millis(100));
    }
    let before = packets(&service.state("", "any", |_| true));
    cage.fake().heard_by(KNOB, "hci0", Some(-60));
    streams_again(&service, Instant::now(), before, "in reach again");
    service.cleared(mark, "connection");
}

#[test]
fn two_sensors_on_two_adapters_and_a_stranger_that_is_left_alone() {
    const STRANGER: &str = "C0:00:00:00:00:03";
    let cage = Cage::start();
    cage.fake().add_adapter("hci1");
    let knobs = [(KNOB, "Knob", "hci1"), (OTHER, "Other", "hci0")].map(|(address, name, not_by)| {
        let knob = Knob::still(&cage, address, name);
        cage.fake().heard_by(address, not_by, None);
        knob
    });
    let heart_rate = uuid("0000180d-0000-1000-8000-00805f9b34fb");
    cage.fake().add_sensor(FakeSensor::new(STRANGER, "Chest strap").service(heart_rate, &[]));
    let service = Service::start(&cage, "two", "", &[]);
    for name in ["Knob", "Other"] {
        service.state(name, "fifty packets", |it| packets(it) >= 50);
    }
    let by = [KNOB, OTHER].map(|address| cage.fake().connected_by(address));
    assert_eq!(by, [Some("hci0".to_owned()), Some("hci1".to_owned())]);
    assert_eq!((cage.fake().calls("Connect"), cage.fake().is_connected(STRANGER)), (2, false));
    assert_eq!(service.sensors().1.len(), 2);
    // A loss of one is nothing to the other.
    let mark = service.mark();
    cage.fake().lose(KNOB);
    let fault = service.fault(mark, "connection");
    assert!(fault.data["sensor"].as_str().unwrap().starts_with("Knob"), "{}", fault.text);
    service.cleared(mark, "connection");
    let starts = cage.fake().writes(OTHER, uuid(own::CONTROL)).iter().filter(|it| *it == &[1]).count();
    assert_eq!(starts, 1);
    drop(knobs);
}

#[test]
fn only_the_sensors_that_are_named_are_connected() {
    let cage = Cage::start();
    let knobs = [(KNOB, "Knob"), (OTHER, "Other")].map(|(address, name)| Knob::still(&cage, address, name));
    let service = Service::start(&cage, "only", "", &["--sensors-only", "Other"]);
    service.state("Other", "packets", |it| packets(it) >= 20);
    assert!(!cage.fake().is_connected(KNOB) && cage.fake().calls("Connect") == 1);
    assert_eq!(service.sensors().1.len(), 1);
    drop(knobs);
}
