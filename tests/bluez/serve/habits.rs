//! Sensors that restart, flood, or send what they should not.

use super::cage::{Cage, Service, count, packets};
use super::knob::{Knob, Manner, Motion, PERIOD, uuid};
use super::swings::{data_packet, sequence};
use super::{KNOB, TOLD, streaming};
use serde_json::Value;
use std::thread::sleep;
use std::time::{Duration, Instant};
use swingd::engine::device::own;

/// The program answers front-ends so soon, whatever sensors do.
const ANSWERS: Duration = Duration::from_secs(1);

#[test]
fn a_sensor_that_restarts_is_told_and_nothing_counts_as_lost() {
    let (cage, knob, service) = streaming("restart");
    let mark = service.mark();
    knob.restart(&cage);
    let anew = service.expect(mark, "anew", |it| it.kind == "anew");
    assert_eq!(anew.data["told"]["run"], 1, "{}", anew.text);
    let state = service.more_packets(20);
    assert_eq!((count(&state, "restarts"), count(&state, "lost_samples")), (1, knob.truly_lost()), "{state}");
    assert_eq!(knob.truly_lost(), 0);
}

#[test]
fn information_of_another_version_is_told_and_packets_are_kept_until_it_is_right() {
    let (cage, _knob, mut service) = streaming("information");
    let right = Motion::still().information(1).encode();
    let mut wrong = right.clone();
    wrong[0] = 9;
    cage.fake().set_value(KNOB, uuid(own::INFORMATION), &wrong);
    let mark = service.mark();
    cage.fake().lose(KNOB);
    let back = service.cleared(mark, "connection");
    let fault = service.fault(mark, "device");
    assert!(fault.at < back.at + TOLD, "{:?} after the connection", fault.at - back.at);
    assert!(fault.data["cause"].as_str().unwrap().contains("version 9"), "{}", fault.text);
    assert!(!fault.data["remedy"].as_str().unwrap().contains("file"), "{}", fault.text);
    cage.fake().set_value(KNOB, uuid(own::INFORMATION), &right);
    let mark = service.mark();
    cage.fake().lose(KNOB);
    service.cleared(mark, "device");
    service.more_packets(20);
    println!("printed: {:#?}", service.printed());
    service.stop();
    assert!(service.recorded().0.iter().filter_map(data_packet).count() > 40);
}

#[test]
fn packets_of_a_sensor_that_was_never_understood_are_kept() {
    let cage = Cage::start();
    let knob = Knob::still(&cage, KNOB, "Knob");
    let right = Motion::still().information(1).encode();
    cage.fake().set_value(KNOB, uuid(own::INFORMATION), &right[..20]);
    let mut service = Service::start(&cage, "never-understood", "", &[]);
    let fault = service.fault(0, "device");
    assert!(fault.data["cause"].as_str().unwrap().contains("20 bytes"), "{}", fault.text);
    let state = service.state("", "packets that cannot be read", |it| count(it, "unreadable") >= 50);
    assert_eq!(packets(&state), 0, "{state}");
    cage.fake().set_value(KNOB, uuid(own::INFORMATION), &right);
    cage.fake().lose(KNOB);
    service.more_packets(20);
    service.cleared(0, "device");
    println!("printed: {:#?}", service.printed());
    service.stop();
    let kept: Vec<u16> = service.recorded().0.iter().filter_map(data_packet).map(|it| sequence(&it.bytes)).collect();
    assert_eq!(kept, knob.arrived()[..kept.len()], "all that arrived is kept, read or not");
    assert!(kept.len() >= 70);
}

/// Sends bytes in place of packets; they are told, counted and kept, and it goes on when they are right again.
#[track_caller]
fn survives(name: &str, garbage: &'static [u8]) {
    let (_cage, knob, mut service) = streaming(name);
    let (mark, spoilt_at) = (service.mark(), Instant::now());
    knob.behave(Manner::Garbage(garbage));
    let fault = service.fault(mark, "unreadable");
    assert!(fault.at - spoilt_at < TOLD, "told after {:?}", fault.at - spoilt_at);
    let state = service.state("", "thirty of them", |it| count(it, "unreadable") >= 30);
    assert_eq!(state["link"], "connected", "it does send: {state}");
    knob.behave(Manner::Well);
    service.more_packets(20);
    service.cleared(mark, "unreadable");
    println!("{name}: printed: {:#?}", service.printed());
    service.stop();
    let (entries, _) = service.recorded();
    let kept = entries.iter().filter_map(data_packet).filter(|it| it.bytes == garbage).count();
    assert!(kept >= 30, "{kept} kept");
}

#[test]
fn bytes_that_are_no_packet_are_told_and_kept() {
    static LONG: [u8; 600] = [1; 600];
    let another_layout: &[u8] = &[7, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14];
    let all: [(&str, &[u8]); 4] = [("layout", another_layout), ("short", &[1, 0, 3]), ("long", &LONG), ("empty", &[])];
    std::thread::scope(|scope| {
        for (name, bytes) in all {
            scope.spawn(move || survives(name, bytes));
        }
    });
}

#[test]
fn one_packet_five_thousand_times_is_used_once() {
    let (cage, knob, service) = streaming("same");
    // A number of its own, so that it is clear what became of it.
    let before = service.state("", "any", |_| true);
    let bytes = Motion::still().packet(knob.made());
    let mark = service.mark();
    for k in 0..5000 {
        assert!(cage.fake().notify(KNOB, uuid(own::DATA), &bytes), "packet {k} has no way to the program");
        if k % 1000 == 0 {
            let took = service.sensors().0;
            assert!(took < ANSWERS, "{took:?} for an answer");
        }
    }
    // One that is older than any delay is a time that fits nothing.
    let left_out = |it: &Value| ["duplicates", "late", "absurd"].map(|key| count(it, key)).iter().sum::<u64>() >= 4990;
    let state = service.state("", "all of them counted", left_out);
    assert_eq!((count(&state, "restarts"), count(&state, "lost_samples")), (0, 0), "{state}");
    assert!(count(&state, "duplicates") > 0, "{state}");
    service.fault(mark, "flood");
    assert!(packets(&state) > packets(&before));
    service.more_packets(20);
    let faults: Vec<String> =
        service.since(mark).iter().filter(|it| it.kind == "fault").map(|it| it.text.clone()).collect();
    println!("{state}\n{faults:#?}");
}

#[test]
fn a_flood_is_told_front_ends_are_answered_and_it_goes_on() {
    let (_cage, knob, service) = streaming("flood");
    let (mark, flood_at) = (service.mark(), Instant::now());
    knob.behave(Manner::Flooding);
    let fault = service.fault(mark, "flood");
    assert!(fault.at - flood_at < TOLD, "told after {:?}", fault.at - flood_at);
    let mut slowest = Duration::ZERO;
    while flood_at.elapsed() < Duration::from_secs(3) {
        slowest = slowest.max(service.sensors().0);
        sleep(PERIOD);
    }
    assert!(slowest < ANSWERS, "{slowest:?} for an answer");
    knob.behave(Manner::Well);
    service.cleared(mark, "flood");
    let state = service.more_packets(20);
    println!("told after {:?}, slowest answer {slowest:?}\n{state}\n{:#?}", fault.at - flood_at, service.printed());
}
