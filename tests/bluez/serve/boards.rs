//! A board that a descriptor of the program's own describes.

use super::cage::{Cage, Service, count};
use super::knob::uuid;
use crate::fake::FakeSensor;
use std::thread::sleep;
use std::time::Duration;
use swingd::engine::wire::mcap::Entry;

const BOARD: &str = "C0:00:00:00:00:09";
const DESCRIPTOR: &str = include_str!("../../../descriptors/nordic-thingy52.toml");
// As the descriptor has them.
const SERVICE: &str = "ef680400-9b35-4933-9b10-52ffa9740042";
const CONFIGURATION: &str = "ef680401-9b35-4933-9b10-52ffa9740042";
const RAW: &str = "ef680406-9b35-4933-9b10-52ffa9740042";
const START: [u8; 9] = [0xe8, 3, 0xf4, 1, 0xf4, 1, 200, 0, 1];
const STOP: [u8; 9] = [0xe8, 3, 0xf4, 1, 0xf4, 1, 10, 0, 1];
/// The descriptor's test packet.
const PACKET: [u8; 18] = [0, 0, 0, 0, 0, 0xfc, 0x40, 1, 0xe0, 0xff, 0xe0, 0x7f, 0, 0, 0, 0, 0, 0];

#[test]
fn a_described_board_is_started_counted_and_recorded_with_its_descriptor() {
    let cage = Cage::start();
    let there = [(uuid(CONFIGURATION), "read write"), (uuid(RAW), "notify")];
    cage.fake().add_sensor(FakeSensor::new(BOARD, "Thingy").service(uuid(SERVICE), &there));
    let mut service = Service::start(&cage, "board", "", &[]);
    service.state("Thingy", "connected", |it| it["link"] == "connected");
    assert_eq!(cage.fake().writes(BOARD, uuid(CONFIGURATION)), [START]);
    let mut sent = 0;
    while sent < 400 {
        assert!(cage.fake().notify(BOARD, uuid(RAW), &PACKET), "packet {sent} has no way to the program");
        sent += 1;
        sleep(Duration::from_millis(5));
    }
    let state = service.state("Thingy", "all samples", |it| count(it, "samples") == sent);
    assert_eq!((&state["link"], count(&state, "unreadable"), count(&state, "packets")), (&"connected".into(), 0, sent));
    assert!(state["battery_percent"].is_null(), "{state}");
    service.stop();
    assert_eq!(cage.fake().writes(BOARD, uuid(CONFIGURATION)).last(), Some(&STOP.to_vec()));
    let (entries, _) = service.recorded();
    let texts = entries.iter().filter_map(|it| match it {
        Entry::Device { device, .. } => device.descriptor_toml.clone(),
        _ => None,
    });
    assert_eq!(texts.collect::<Vec<_>>(), [DESCRIPTOR]);
    let recorded = entries.iter().filter(|it| matches!(it, Entry::Packet(packet) if packet.bytes == PACKET)).count();
    assert_eq!(recorded as u64, sent);
    println!("{state}\n{:#?}", service.printed());
}
