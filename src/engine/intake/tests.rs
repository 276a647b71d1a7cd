use super::*;
use crate::engine::device::RawReading;
use crate::engine::device::own::{self, Answer, Information, PacketHeader, encode_packet};
use nalgebra::Vector3;

const BEGIN_NS: i64 = 1_780_000_000_000_000_000;

fn information(boot_number: u32) -> Information {
    let of_default = Information::of(&SensorProfile::default(), 1000.0);
    Information { gyro_range_radps: 70.0, accel_range_mps2: 320.0, boot_number, ..of_default }
}

fn record(boot_number: u32) -> DeviceRecord {
    DeviceRecord::default().with_information(&information(boot_number).encode())
}

/// Packet `k` of ten readings, the first of which reads `k` counts about x.
fn packet(k: u32, header: PacketHeader) -> Packet {
    let reading = RawReading {
        gyro_s_radps: Some(Vector3::new(f64::from(k) * 70.0 / 32768.0, 0.0, 0.0)),
        accel_s_mps2: Some(Vector3::zeros()),
        accel_hi_s_mps2: None,
    };
    let header = PacketHeader { sequence: k as u16, tick: 7_000_000 + 10_000 * k, span_ticks: 9000, ..header };
    let bytes = encode_packet(&information(1), &header, &[reading; 10]).unwrap();
    from(own::DATA, bytes, BEGIN_NS + 10_000_000 * i64::from(k))
}

fn from(characteristic: &str, bytes: Vec<u8>, received_utc_ns: i64) -> Packet {
    Packet { received_utc_ns, sensor: "knob".into(), characteristic: characteristic.into(), bytes }
}

fn samples(out: &[Arrival]) -> Vec<Sample> {
    let samples = |arrival: &Arrival| match arrival {
        Arrival::Samples { samples, .. } => Some(samples.clone()),
        _ => None,
    };
    out.iter().filter_map(samples).flatten().collect()
}

#[test]
fn packets_become_samples_on_the_sensors_own_clock() {
    let (mut intake, mut out) = (Intake::new(), Vec::new());
    intake.packet(&packet(0, PacketHeader::default()), &mut out);
    assert_eq!((out.len(), intake.counts().bad["unknown_device"]), (0, 1));
    intake.read_as(&record(1), &mut out).unwrap();
    for k in 0..5 {
        intake.packet(&packet(k, PacketHeader { is_faulty: k == 3, ..PacketHeader::default() }), &mut out);
    }
    intake.packet(&from(own::DATA, vec![1, 2], BEGIN_NS), &mut out);
    let samples = samples(&out);
    assert_eq!((samples.len(), intake.counts().faulty_samples, intake.counts().bad["too_short"]), (40, 10, 1));
    for (i, sample) in samples.iter().enumerate() {
        let k = if i < 30 { i / 10 } else { 4 };
        let expected_s = 7.0 + 0.01 * k as f64 + 0.001 * (i % 10) as f64;
        assert!((sample.time.0 - expected_s).abs() < 1e-9, "{i}");
        // The range is told in whole m°/s.
        assert!((sample.gyro_s_radps.x - k as f64 * 70.0 / 32768.0).abs() < 1e-9, "{i}");
    }
}

/// A board that says nothing of clipping shows it by its readings: 32767 counts are the end of the range.
#[test]
fn clipping_is_seen_without_being_said() {
    let (mut intake, mut out) = (Intake::new(), Vec::new());
    intake.read_as(&record(1), &mut out).unwrap();
    for (k, counts) in [(0_u32, 32766.0), (1, 32767.0), (2, -32768.0)] {
        let mut sent = packet(k, PacketHeader::default());
        let at = 12 + 6 * 4;
        sent.bytes[at..at + 2].copy_from_slice(&(counts as i16).to_le_bytes());
        assert_eq!(sent.bytes[1], 0, "no flag says so");
        intake.packet(&sent, &mut out);
        assert_eq!(intake.counts().clipped_packets, u64::from(k), "{counts}");
    }
}

#[test]
fn after_a_restart_the_clock_goes_on_by_what_passed_on_the_host() {
    let (mut intake, mut out) = (Intake::new(), Vec::new());
    intake.read_as(&record(1), &mut out).unwrap();
    (0..3).for_each(|k| intake.packet(&packet(k, PacketHeader::default()), &mut out));
    let before_s = samples(&out).last().unwrap().time.0;
    // The same again is a reconnection; another boot is a restart.
    intake.read_as(&record(1), &mut out).unwrap();
    assert!(!out.contains(&Arrival::Anew));
    intake.read_as(&record(2), &mut out).unwrap();
    assert_eq!(out.last(), Some(&Arrival::Anew));
    let mut later = packet(0, PacketHeader::default());
    later.received_utc_ns = BEGIN_NS + 20_000_000 + 5_000_000_000;
    intake.packet(&later, &mut out);
    let after_s = samples(&out).last().unwrap().time.0;
    assert!((after_s - before_s - 5.0).abs() < 1e-9, "{before_s} {after_s}");
    assert_eq!((intake.counts().restarts, intake.counts().lost_samples), (1, 0));
}

#[test]
fn a_record_that_cannot_be_used_leaves_things_as_they_are() {
    let (mut intake, mut out) = (Intake::new(), Vec::new());
    intake.read_as(&record(1), &mut out).unwrap();
    let odd = DeviceRecord { information_hex: Some("0x1".into()), ..DeviceRecord::default() };
    assert!(intake.read_as(&odd, &mut out).is_err());
    assert!(intake.read_as(&DeviceRecord::default(), &mut out).is_err());
    intake.packet(&packet(0, PacketHeader::default()), &mut out);
    assert_eq!(samples(&out).len(), 10);
}

#[test]
fn an_exchange_is_told_on_the_clock_of_the_samples() {
    let (mut intake, mut out) = (Intake::new(), Vec::new());
    intake.read_as(&record(1), &mut out).unwrap();
    (0..3).for_each(|k| intake.packet(&packet(k, PacketHeader::default()), &mut out));
    let exchange = crate::engine::device::Exchange { sent_utc_ns: BEGIN_NS + 3, tick: 7_025_000 };
    let answer = Answer::Exchanged(exchange).encode();
    intake.packet(&from(own::CONTROL, answer, BEGIN_NS + 9), &mut out);
    let Some(Arrival::Exchange { sent_utc_ns, time, received_utc_ns }) = out.last() else { panic!("{:?}", out.last()) };
    assert_eq!((*sent_utc_ns, *received_utc_ns), (BEGIN_NS + 3, BEGIN_NS + 9));
    assert!((time.0 - 7.025).abs() < 1e-9);
}

#[test]
fn streams_that_come_apart_are_put_together() {
    let shipped = crate::engine::device::descriptor::shipped();
    let (_, toml) = shipped.iter().find(|(name, _)| name.starts_with("adafruit")).unwrap();
    let device = Device::new(None, Some(toml)).unwrap();
    let Device::Described(descriptor) = &device else { panic!("a descriptor") };
    let characteristics: Vec<String> = descriptor.notify().into_iter().map(str::to_owned).collect();
    let (mut intake, mut out) = (Intake::new(), Vec::new());
    let record = DeviceRecord { descriptor_toml: Some((*toml).to_owned()), ..DeviceRecord::default() };
    intake.read_as(&record, &mut out).unwrap();
    assert!(intake.is_untimed() && !intake.has_ticks());
    for k in 0..100_i64 {
        for (i, characteristic) in characteristics.iter().enumerate() {
            let bytes: Vec<u8> = [0.5_f32, 1.0, k as f32 * 0.01].iter().flat_map(|value| value.to_le_bytes()).collect();
            intake.packet(&from(characteristic, bytes, BEGIN_NS + 100_000_000 * k + 1_000_000 * i as i64), &mut out);
        }
    }
    let samples = samples(&out);
    assert!(samples.len() >= 99, "{} {:?}", samples.len(), intake.counts());
    assert!(samples.iter().all(Sample::is_whole));
    for pair in samples.windows(2) {
        assert!((pair[1].time.0 - pair[0].time.0 - 0.1).abs() < 1e-9);
    }
}
