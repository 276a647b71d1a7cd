//! A swing that is streamed is told as the library tells it from the same packets, and recorded so that a replay does too.

use super::KNOB;
use super::cage::{Cage, News, Service, count, packets};
use super::knob::{BATTERY_PERCENT, HARDWARE, Knob, Manner, Motion, PER_PACKET, uuid};
use serde_json::Value;
use std::time::Duration;
use swingd::engine::device::own::{self, Request};
use swingd::engine::session::{Session, Told};
use swingd::engine::wire::mcap::{DeviceRecord, Entry, Packet};
use swingd::report::event;

/// Of its own, used nowhere else.
const SEED: u64 = 810_001;

/// What the library tells from the packets of a motion, each received when it was sampled.
fn by_the_library(motion: &Motion) -> Vec<Value> {
    let mut session = Session::new();
    let device = DeviceRecord::default().with_information(&motion.information(1).encode());
    let mut told = session.take(&Entry::Profile { log_time_ns: 0, toml: motion.profile_toml.clone() });
    told.extend(session.take(&Entry::Device { log_time_ns: 0, device }));
    // Some rest after it, as it is sent.
    for number in 0..motion.packets() + 100 {
        let received_utc_ns = 1_000_000_000_000 + 19_000_000 * number as i64;
        let (sensor, characteristic) = ("knob".to_owned(), own::DATA.to_owned());
        let packet = Packet { received_utc_ns, sensor, characteristic, bytes: motion.packet(number) };
        told.extend(session.take(&Entry::Packet(packet)));
    }
    told.iter().filter(|it| matches!(it, Told::Swing(_))).map(|it| told_value(&event::line(it).unwrap().1)).collect()
}

fn told_value(line: &str) -> Value {
    serde_json::from_str(line).unwrap()
}

/// The JSON of a session's events, as they came.
fn told_lines(news: &[News]) -> Vec<String> {
    let told = news.iter().filter(|news| event::KINDS.contains(&news.kind.as_str()));
    let line = |news: &News| {
        let at = news.text.find("\"told\":").expect("an envelope") + "\"told\":".len();
        news.text[at..news.text.len() - 1].to_owned()
    };
    told.map(line).collect()
}

/// What a replay of what was recorded tells.
fn replayed(entries: &[Entry]) -> Vec<String> {
    let mut session = Session::new();
    let mut told: Vec<Told> = entries.iter().flat_map(|entry| session.take(entry)).collect();
    told.extend(session.finish());
    told.iter().map(|told| event::line(told).unwrap().1).collect()
}

/// Streams a swing in a manner; both of its stages are the library's. The sensor's last state.
fn streams_a_swing(name: &str, manner: Manner) -> (Knob, Service, Value) {
    let motion = Motion::swing(SEED);
    let expected = by_the_library(&motion);
    let cage = Cage::start();
    let knob = Knob::appear(&cage, KNOB, "Knob", motion.clone(), 1.0);
    let service = Service::start(&cage, name, &motion.profile_toml, &[]);
    // What comes before the first packet is not waited for, so it is well until then.
    service.state("", "some packets", |it| packets(it) >= 5);
    assert_eq!(cage.fake().writes(KNOB, uuid(own::CONTROL)).first(), Some(&Request::Start.encode()));
    knob.behave(manner);
    for stage in ["streaming", "final"] {
        let swing = service.swing(0, stage);
        let of_library = expected.iter().find(|it| it["stage"] == stage).expect("a swing of the library");
        for part in ["metrics", "flags", "contact"] {
            assert_eq!(swing.data["told"][part].to_string(), of_library[part].to_string(), "{stage} {part}");
        }
        assert!(swing.data["told"]["metrics"]["bat_speed_mps"]["value"].is_f64(), "{}", swing.text);
        assert_eq!((&swing.data["recorded"], &swing.data["told"]["number"]), (&true.into(), &0.into()));
    }
    let calm = motion.packets() + 20;
    let state = service.state("", "the end of the swing", |_| knob.made() > calm);
    assert_eq!(state["swings"], 1, "{state}");
    (knob, service, state)
}

#[test]
fn a_swing_is_told_as_the_library_tells_it_and_replays_to_the_same_bytes() {
    let (knob, mut service, state) = streams_a_swing("swing", Manner::Well);
    assert_eq!(state["battery_percent"], BATTERY_PERCENT, "{state}");
    assert_eq!(state["hardware"], HARDWARE.join(" "), "{state}");
    assert_eq!((&state["link"], &state["name"]), (&"connected".into(), &"Knob".into()));
    let rate_hz = state["sample_rate_hz"].as_f64().unwrap();
    assert!((rate_hz - 1000.0).abs() < 30.0, "{state}");
    for none in ["lost_samples", "duplicates", "reordered", "late", "absurd", "restarts", "unreadable", "dropped"] {
        assert_eq!(count(&state, none), 0, "{none}: {state}");
    }
    let took = service.stop();
    assert!(took < Duration::from_secs(5), "{took:?}");
    let (entries, files) = service.recorded();
    assert_eq!(files.len(), 1, "{files:?}");
    let sent = knob.arrived();
    let data: Vec<&Packet> = entries.iter().filter_map(data_packet).collect();
    let numbers: Vec<u16> = data.iter().map(|it| sequence(&it.bytes)).collect();
    assert_eq!(numbers, sent[..numbers.len()], "what was recorded is what was sent, in order");
    assert!(sent.len() - numbers.len() <= 2, "of {} packets {} were recorded", sent.len(), numbers.len());
    let (live, replayed) = (told_lines(&service.since(0)), replayed(&entries));
    assert!(live.len() >= 2 && replayed.len() >= live.len(), "{} {}", live.len(), replayed.len());
    for (live, replayed) in live.iter().zip(&replayed) {
        assert_eq!(live, replayed);
    }
    println!("printed:\n{}", service.printed().join("\n"));
}

#[test]
fn packets_that_come_twice_or_out_of_order_change_no_number() {
    super::together(&[packets_that_come_twice_change_no_number, packets_that_come_out_of_order_change_no_number]);
}

fn packets_that_come_twice_change_no_number() {
    let (knob, service, _) = streams_a_swing("doubled", Manner::Doubled);
    knob.behave(Manner::Silent);
    let (arrived, doubled) = (knob.arrived().len() as u64, knob.doubled());
    assert!(doubled > arrived / 2);
    let all = |it: &Value| packets(it) == arrived && count(it, "duplicates") == doubled;
    let state = service.state("", "each packet once used and once counted", all);
    assert_eq!((count(&state, "lost_samples"), count(&state, "samples")), (0, arrived * PER_PACKET as u64));
}

fn packets_that_come_out_of_order_change_no_number() {
    let (knob, service, _) = streams_a_swing("swapped", Manner::Swapped);
    knob.behave(Manner::Silent);
    let swaps = knob.arrived().len() as u64 / 2;
    let state = service.state("", "almost all of them swapped", |it| count(it, "reordered") + 10 >= swaps);
    assert_eq!((count(&state, "lost_samples"), count(&state, "duplicates")), (0, 0), "{state}");
}

#[test]
fn told_to_end_it_stops_the_sensor_and_finishes_the_recording() {
    let (cage, knob, mut service) = super::streaming("stop");
    let took = service.stop();
    assert!(took < Duration::from_secs(5), "{took:?}");
    let control = cage.fake().writes(KNOB, uuid(own::CONTROL));
    assert_eq!(control.last(), Some(&Request::Stop.encode()), "{control:?}");
    assert!(!cage.fake().is_connected(KNOB));
    let (entries, files) = service.recorded();
    assert!(files.len() == 1 && !files[0].to_string_lossy().contains(".live."), "{files:?}");
    let recorded = entries.iter().filter_map(data_packet).count();
    assert!(recorded >= 20 && recorded <= knob.arrived().len(), "{recorded}");
    println!("stopped in {took:?}");
}

pub fn data_packet(entry: &Entry) -> Option<&Packet> {
    match entry {
        Entry::Packet(packet) if packet.characteristic == own::DATA => Some(packet),
        _ => None,
    }
}

/// A packet's number.
pub fn sequence(bytes: &[u8]) -> u16 {
    u16::from_le_bytes([bytes[2], bytes[3]])
}
