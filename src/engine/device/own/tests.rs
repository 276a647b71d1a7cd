use super::*;
use crate::engine::device::{ClippedChannels, Device, Exchange, RawReading, Readings};
use crate::engine::geometry::G_MPS2;
use crate::engine::profile::SensorProfile;
use nalgebra::Vector3;
use proptest::prelude::*;

const PAGE: &str = include_str!("../../../../proto-docs/gatt-profile.md");

/// Where the first three examples stand on the page.
const TWO_READINGS: usize = 0;
const ONE_READING: usize = 1;
const INFORMATION_VALUE: usize = 2;

/// The bytes of the page's examples, in their order.
fn examples() -> Vec<Vec<u8>> {
    let parts = PAGE.split("\n```").skip(1).step_by(2);
    let byte = |text| u8::from_str_radix(text, 16).unwrap();
    parts.filter_map(|part| Some(part.strip_prefix("hex\n")?.split_whitespace().map(byte).collect())).collect()
}

/// The sensor of the page's examples.
fn sensor() -> Information {
    Information {
        capabilities: Capabilities { exchanges_times: true, sets_rate: true, sets_range: false },
        sample_rate_hz: 1000.0,
        tick_hz: 1e6,
        gyro_range_radps: 4000_f64.to_radians(),
        accel_range_mps2: 32.0 * G_MPS2,
        accel_hi_range_mps2: Some(200.0 * G_MPS2),
        gyro_bandwidth_hz: Some(400.0),
        accel_bandwidth_hz: Some(350.0),
        gyro_noise_radps_rthz: Some(0.005_f64.to_radians()),
        accel_noise_mps2_rthz: Some(70e-6 * G_MPS2),
        boot_number: 0x2a51_c0de,
        firmware: "knob 1.2.0".into(),
    }
}

fn close(found: Option<Vector3<f64>>, expected: [f64; 3]) {
    let difference = found.unwrap() - Vector3::from(expected);
    assert!(difference.amax() < 1e-9, "{found:?}, expected {expected:?}");
}

/// What one count is at a range.
fn count(range: f64) -> f64 {
    range / 32768.0
}

#[test]
fn the_pages_example_of_the_information_is_true() {
    let bytes = &examples()[INFORMATION_VALUE];
    let found = Information::parse(bytes).unwrap();
    let expected = sensor();
    assert_eq!(
        (found.capabilities, found.boot_number, &found.firmware),
        (expected.capabilities, 0x2a51_c0de, &expected.firmware)
    );
    let numbers = |of: &Information| {
        [
            of.sample_rate_hz,
            of.tick_hz,
            of.gyro_range_radps,
            of.accel_range_mps2,
            of.accel_hi_range_mps2.unwrap(),
            of.gyro_bandwidth_hz.unwrap(),
            of.accel_bandwidth_hz.unwrap(),
            of.gyro_noise_radps_rthz.unwrap(),
            of.accel_noise_mps2_rthz.unwrap(),
        ]
    };
    for (found, expected) in numbers(&found).into_iter().zip(numbers(&expected)) {
        assert!((found / expected - 1.0).abs() < 1e-12, "{found} {expected}");
    }
    assert_eq!(&expected.encode(), bytes);
}

#[test]
fn the_pages_examples_of_packets_are_true() {
    let (sensor, examples) = (sensor(), examples());
    let Ok(Decoded::Readings(two)) = decode(&sensor, DATA, &examples[TWO_READINGS]) else { panic!("no readings") };
    assert_eq!((two.sequence, two.tick, two.step_ticks), (Some(258), Some(16_909_060), Some(1000.0)));
    assert_eq!((two.lost_before, two.is_faulty, two.clipped), (false, false, ClippedChannels::default()));
    assert_eq!(two.readings.len(), 2);
    close(two.readings[0].gyro_s_radps, [2000_f64.to_radians(), (-1000_f64).to_radians(), 0.0]);
    close(two.readings[0].accel_s_mps2, [G_MPS2, 0.0, -0.5 * G_MPS2]);
    let scale = count(4000_f64.to_radians());
    close(two.readings[1].gyro_s_radps, [16392.0 * scale, -8190.0 * scale, 3.0 * scale]);
    assert_eq!(two.readings[1].accel_hi_s_mps2, None);
    let header = PacketHeader { sequence: 258, tick: 16_909_060, span_ticks: 1000, ..PacketHeader::default() };
    assert_eq!(encode_packet(&sensor, &header, &two.readings).unwrap(), examples[TWO_READINGS]);

    let Ok(Decoded::Readings(one)) = decode(&sensor, DATA, &examples[ONE_READING]) else { panic!("no readings") };
    assert_eq!((one.sequence, one.tick, one.step_ticks), (Some(65535), Some(4_294_967_280), None));
    assert_eq!((one.lost_before, one.is_faulty), (true, false));
    assert_eq!(one.clipped, ClippedChannels { gyro: false, accel: true, accel_hi: false });
    let full_mps2 = 32.0 * G_MPS2;
    close(one.readings[0].accel_s_mps2, [full_mps2 - count(full_mps2), -full_mps2, 5000.0 * count(full_mps2)]);
    let hi_mps2 = count(200.0 * G_MPS2);
    close(one.readings[0].accel_hi_s_mps2, [50.0 * G_MPS2, -9000.0 * hi_mps2, 800.0 * hi_mps2]);
    let header = PacketHeader { sequence: 65535, tick: 4_294_967_280, lost_before: true, ..PacketHeader::default() };
    assert_eq!(encode_packet(&sensor, &header, &one.readings).unwrap(), examples[ONE_READING]);
}

#[test]
fn the_pages_examples_of_requests_and_answers_are_true() {
    let examples = examples();
    let sent_utc_ns = 1_764_087_600_123_456_789;
    let requests = [
        Request::Start,
        Request::Stop,
        Request::set_rate(500.0),
        Request::set_range(Some(2000_f64.to_radians()), Some(16.0 * G_MPS2), None),
        Request::ExchangeTimes { sent_utc_ns },
    ];
    for (request, bytes) in requests.into_iter().zip(&examples[3..8]) {
        assert_eq!((&request.encode(), Request::parse(bytes)), (bytes, Ok(request)));
    }
    let answers = [
        Answer::Told { opcode: 1, status: Status::Done },
        Answer::Exchanged(Exchange { sent_utc_ns, tick: 16_912_000 }),
        Answer::Told { opcode: 0x7f, status: Status::UnknownOpcode },
        Answer::Told { opcode: 4, status: Status::NotNow },
    ];
    for (answer, bytes) in answers.into_iter().zip(&examples[8..12]) {
        assert_eq!((&answer.encode(), Answer::parse(bytes)), (bytes, Ok(answer)));
    }
    let exchange = Decoded::Exchange(Exchange { sent_utc_ns, tick: 16_912_000 });
    assert_eq!(decode(&sensor(), CONTROL, &examples[9]), Ok(exchange));
    assert_eq!(decode(&sensor(), CONTROL, &examples[8]), Ok(Decoded::Other));
    assert_eq!(examples.len(), 12);
}

#[test]
fn the_page_names_every_uuid() {
    for uuid in [SERVICE, DATA, INFORMATION, CONTROL] {
        assert!(PAGE.contains(uuid), "{uuid}");
    }
    let standard = [
        BATTERY_SERVICE,
        BATTERY_LEVEL,
        DEVICE_INFORMATION_SERVICE,
        MANUFACTURER_NAME,
        MODEL_NUMBER,
        FIRMWARE_REVISION,
    ];
    for uuid in standard {
        let (short, base) = (&uuid[4..8], &uuid[8..]);
        assert!(uuid.starts_with("0000") && base == "-0000-1000-8000-00805f9b34fb", "{uuid}");
        assert!(PAGE.contains(&format!("0x{}", short.to_uppercase())), "{short}");
    }
}

#[test]
fn a_notification_holds_as_many_readings_as_the_page_says() {
    let fits = |mtu, hi| readings_that_fit(mtu, hi);
    assert_eq!([fits(247, false), fits(247, true), fits(185, false), fits(185, true)], [19, 12, 14, 9]);
    assert_eq!([fits(23, false), fits(23, true), fits(0, false), fits(65_535, true)], [0, 0, 0, 19]);
    let one = RawReading {
        gyro_s_radps: Some(Vector3::zeros()),
        accel_s_mps2: Some(Vector3::zeros()),
        accel_hi_s_mps2: Some(Vector3::zeros()),
    };
    let bytes = |readings: usize, hi: bool| {
        let one = RawReading { accel_hi_s_mps2: one.accel_hi_s_mps2.filter(|_| hi), ..one };
        let header = PacketHeader { span_ticks: readings as u32 - 1, ..PacketHeader::default() };
        encode_packet(&sensor(), &header, &vec![one; readings]).unwrap().len()
    };
    assert_eq!([bytes(19, false), bytes(12, true), bytes(14, false), bytes(9, true)], [240, 228, 180, 174]);
    for (mtu, hi) in [(247, false), (247, true), (185, false), (185, true)] {
        let most = fits(mtu, hi);
        assert!(bytes(most, hi) <= mtu - 3 && (most == 19 || bytes(most + 1, hi) > mtu - 3), "{mtu}");
    }
}

/// Time on air of one notification with the poll before it and two pauses.
fn airtime_us(value_bytes: u32, phy_mbps: u32) -> u32 {
    let preamble_bytes = phy_mbps;
    let pdu_us = |payload_bytes: u32| (preamble_bytes + 4 + 2 + payload_bytes + 3) * 8 / phy_mbps;
    pdu_us(0) + 150 + pdu_us(value_bytes + 7) + 150
}

#[test]
fn the_pages_table_of_throughput_is_true() {
    for (mtu, hi) in [(247, false), (247, true), (185, false), (185, true)] {
        let readings = readings_that_fit(mtu, hi);
        let value_bytes = (12 + readings * if hi { 18 } else { 12 }) as u32;
        let packets_per_s = 1000.0 / readings as f64;
        let share = |phy_mbps| f64::from(airtime_us(value_bytes, phy_mbps)) * packets_per_s / 1e4;
        let (one, two) = (airtime_us(value_bytes, 1), airtime_us(value_bytes, 2));
        let row = format!(
            "| {mtu} | {} | {readings} | {value_bytes} | {packets_per_s:.1} | {one} | {:.1} % | {two} | {:.1} % | {:.0} % |",
            if hi { "yes" } else { "no" },
            share(1),
            share(2),
            8.0 * share(2),
        );
        assert!(PAGE.contains(&row), "{row}");
    }
}

#[test]
fn every_wrong_packet_has_its_error() {
    let sensor = sensor();
    let example = examples()[TWO_READINGS].clone();
    let with = |at: usize, byte: u8| {
        let mut bytes = example.clone();
        bytes[at] = byte;
        decode(&sensor, DATA, &bytes).unwrap_err()
    };
    assert_eq!(with(0, 2), PacketError::Version { found: 2, expected: 1 });
    assert_eq!(with(1, 0x40).to_string(), "packet with flags 64; expected bits 6 and 7 zero");
    assert_eq!(with(1, 0x80).key(), "field");
    assert_eq!(with(1, 0x01), PacketError::TooShort { found: 36, expected: 48 });
    assert_eq!(with(8, 0).to_string(), "packet with number of readings 0; expected 1 to 19");
    assert_eq!(with(8, 20).key(), "field");
    assert_eq!(with(8, 1), PacketError::TooLong { found: 36, expected: 24 });
    assert_eq!(with(8, 3), PacketError::TooShort { found: 36, expected: 48 });
    let mut none = example.clone();
    none[9..12].fill(0);
    let error = decode(&sensor, DATA, &none).unwrap_err();
    assert_eq!(error.to_string(), "packet with span 0; expected at least one tick a step");
    let mut one = example[..24].to_vec();
    one[8] = 1;
    assert_eq!(
        decode(&sensor, DATA, &one).unwrap_err().to_string(),
        "packet with span 1000; expected 0 ticks for one reading"
    );
    let long = [&example[..], &[0]].concat();
    assert_eq!(decode(&sensor, DATA, &long), Err(PacketError::TooLong { found: 37, expected: 36 }));
    let without = Information { accel_hi_range_mps2: None, ..sensor.clone() };
    assert_eq!(decode(&without, DATA, &examples()[ONE_READING]).unwrap_err().key(), "field");
    for other in [INFORMATION, SERVICE, MANUFACTURER_NAME, "", "4AB30002-4D29-4926-B899-39D03C1AEFFC"] {
        assert_eq!(decode(&sensor, other, &example), Err(PacketError::UnknownCharacteristic));
    }
}

#[test]
fn wrong_information_is_told_by_field() {
    let example = examples()[INFORMATION_VALUE].clone();
    let told = |at: usize, bytes: &[u8]| {
        let mut changed = example.clone();
        changed[at..at + bytes.len()].copy_from_slice(bytes);
        Information::parse(&changed).unwrap_err().to_string()
    };
    assert_eq!(told(0, &[9]), "version 9 of the profile; expected version 1");
    assert_eq!(
        told(1, &[6]),
        "high-range accelerometer's range, mg 200000; expected 0, as the capability is not there"
    );
    assert_eq!(told(6, &[0; 4]), "gyro's range, m°/s 0; expected 1 to 100000000");
    assert_eq!(told(10, &[0xff; 4]), "accelerometer's range, mg 4294967295; expected 1 to 100000000");
    assert_eq!(told(14, &[0; 4]), "high-range accelerometer's range, mg 0; expected 1 to 100000000");
    assert_eq!(told(18, &[0; 4]), "rate, mHz 0; expected 1000 to 10000000");
    assert_eq!(told(22, &[0; 4]), "tick frequency, Hz 0; expected 1000 to 100000000");
    assert_eq!(told(34, &[65]), "firmware text's length 65; expected 0 to 64 bytes");
    for length in 0..example.len() {
        let error = Information::parse(&example[..length]).unwrap_err();
        assert!(matches!(error, InformationError::TooShort { found, .. } if found == length), "{error}");
    }
    let later = [&example[..], b"more"].concat();
    assert_eq!(Information::parse(&later), Information::parse(&example));
    let mut hostile = example.clone();
    hostile[35..38].copy_from_slice(&[0x1b, 0xff, b'[']);
    assert_eq!(Information::parse(&hostile).unwrap().firmware, "\u{fffd}\u{fffd}[b 1.2.0");
}

#[test]
fn what_the_sensor_does_not_know_of_itself_stays_as_it_was() {
    let assumed = SensorProfile { gyro_bandwidth_hz: 123.0, accel_noise_mps2_rthz: 4e-3, ..SensorProfile::default() };
    let told = sensor().described_in(&assumed);
    assert_eq!((told.sample_rate_hz, told.gyro_bandwidth_hz, told.accel_bandwidth_hz), (Some(1000.0), 400.0, 350.0));
    assert_eq!((told.accel_range_mps2, told.accel_hi_range_mps2), (32.0 * G_MPS2, 200.0 * G_MPS2));
    assert_eq!((told.gyro_range_radps, told.gyro_scale_error), (4000_f64.to_radians(), assumed.gyro_scale_error));
    let silent = Information {
        accel_hi_range_mps2: None,
        gyro_bandwidth_hz: None,
        accel_bandwidth_hz: None,
        gyro_noise_radps_rthz: None,
        accel_noise_mps2_rthz: None,
        ..sensor()
    };
    let read = Device::new(Some(&silent.encode()), None).unwrap();
    let kept = read.described_in(&assumed);
    assert_eq!((kept.gyro_bandwidth_hz, kept.accel_noise_mps2_rthz), (123.0, 4e-3));
    assert_eq!(
        (kept.accel_bandwidth_hz, kept.accel_hi_range_mps2),
        (assumed.accel_bandwidth_hz, assumed.accel_hi_range_mps2)
    );
    let stream = read.streams()[0];
    assert_eq!((stream.sequence_modulus, stream.tick_modulus, stream.tick_hz), (Some(65_536), Some(1 << 32), 1e6));
}

#[test]
fn battery_levels() {
    assert_eq!([&[0][..], &[100], &[101], &[], &[5, 5]].map(battery_percent), [Some(0), Some(100), None, None, None]);
    assert_eq!(decode(&sensor(), BATTERY_LEVEL, &[57]), Ok(Decoded::Other));
    assert_eq!(
        decode(&sensor(), BATTERY_LEVEL, &[101]).unwrap_err().to_string(),
        "packet with battery level 101; expected 0 to 100"
    );
    assert_eq!(decode(&sensor(), BATTERY_LEVEL, &[]), Err(PacketError::TooShort { found: 0, expected: 1 }));
}

#[test]
fn what_cannot_be_sent_is_refused_and_what_is_beyond_the_range_is_marked() {
    let zero = RawReading {
        gyro_s_radps: Some(Vector3::zeros()),
        accel_s_mps2: Some(Vector3::zeros()),
        accel_hi_s_mps2: None,
    };
    let header = |span_ticks| PacketHeader { span_ticks, ..PacketHeader::default() };
    let sent = |span_ticks, readings: &[RawReading]| encode_packet(&sensor(), &header(span_ticks), readings);
    assert_eq!(sent(0, &[]), Err(EncodeError::Count(0)));
    assert_eq!(sent(100, &[zero; 20]), Err(EncodeError::Count(20)));
    for (span_ticks, readings) in [(1, 1), (1, 3), (1 << 24, 3)] {
        assert_eq!(sent(span_ticks, &vec![zero; readings]), Err(EncodeError::Span { span_ticks, readings }));
    }
    let hi = RawReading { accel_hi_s_mps2: Some(Vector3::zeros()), ..zero };
    let error = sent(5, &[hi, zero]).unwrap_err();
    assert_eq!(error.to_string(), "reading 1 has no high-range specific force that can be sent");
    let not_a_number = RawReading { gyro_s_radps: Some(Vector3::new(0.0, f64::NAN, 0.0)), ..zero };
    assert_eq!(sent(0, &[not_a_number]), Err(EncodeError::Channel { reading: 0, channel: "angular rate" }));
    let wild = RawReading { gyro_s_radps: Some(Vector3::new(1e9, -1e9, f64::INFINITY)), ..zero };
    let Ok(Decoded::Readings(found)) = decode(&sensor(), DATA, &sent(0, &[wild]).unwrap()) else {
        panic!("no readings")
    };
    let full_radps = sensor().gyro_range_radps;
    let end_radps = full_radps - count(full_radps);
    close(found.readings[0].gyro_s_radps, [end_radps, -full_radps, end_radps]);
    assert_eq!(found.clipped, ClippedChannels { gyro: true, accel: false, accel_hi: false });
}

type Counts = [[i16; 3]; 3];

fn scaled(sensor: &Information, counts: Counts, has_hi: bool) -> RawReading {
    let axes = |at: usize, range: f64| Vector3::from(counts[at]).map(|count| f64::from(count) * (range / 32768.0));
    RawReading {
        gyro_s_radps: Some(axes(0, sensor.gyro_range_radps)),
        accel_s_mps2: Some(axes(1, sensor.accel_range_mps2)),
        accel_hi_s_mps2: has_hi.then(|| axes(2, sensor.accel_hi_range_mps2.unwrap())),
    }
}

/// A packet as its maker meant it, with its bytes.
fn any_packet() -> impl Strategy<Value = (Vec<u8>, PacketHeader, Vec<RawReading>)> {
    let counts = prop::collection::vec(any::<Counts>(), 1..=MOST_READINGS);
    (counts, any::<(bool, u16, u32, u32, bool, bool)>()).prop_map(
        |(counts, (hi, sequence, tick, span, lost, faulty))| {
            let steps = counts.len() as u32 - 1;
            let span_ticks = if steps == 0 { 0 } else { steps + span % ((1 << 24) - steps) };
            let at_end = |channel: usize| {
                counts.iter().any(|axes| axes[channel].iter().any(|&count| count == i16::MIN || count == i16::MAX))
            };
            let clipped = ClippedChannels { gyro: at_end(0), accel: at_end(1), accel_hi: hi && at_end(2) };
            let header = PacketHeader { sequence, tick, span_ticks, clipped, lost_before: lost, is_faulty: faulty };
            let readings: Vec<_> = counts.iter().map(|&axes| scaled(&sensor(), axes, hi)).collect();
            (encode_packet(&sensor(), &header, &readings).unwrap(), header, readings)
        },
    )
}

fn any_information() -> impl Strategy<Value = Information> {
    let ranges = (1..=100_000_000_u32, 1..=100_000_000_u32, 0..=100_000_000_u32);
    let rates = (1_000..=10_000_000_u32, 1_000..=100_000_000_u32);
    (ranges, rates, any::<[u16; 4]>(), any::<[bool; 3]>(), any::<u32>(), "[a-zé ]{0,32}").prop_map(
        |(ranges, rates, words, can, boot_number, firmware)| {
            let known = |word: u16| (word != 0).then(|| f64::from(word));
            let mps2 = |mg: u32| f64::from(mg) / 1e3 * G_MPS2;
            Information {
                capabilities: Capabilities { exchanges_times: can[0], sets_rate: can[1], sets_range: can[2] },
                sample_rate_hz: f64::from(rates.0) / 1e3,
                tick_hz: f64::from(rates.1),
                gyro_range_radps: (f64::from(ranges.0) / 1e3).to_radians(),
                accel_range_mps2: mps2(ranges.1),
                accel_hi_range_mps2: (ranges.2 != 0).then(|| mps2(ranges.2)),
                gyro_bandwidth_hz: known(words[0]),
                accel_bandwidth_hz: known(words[1]),
                gyro_noise_radps_rthz: known(words[2]).map(|udps| (udps / 1e6).to_radians()),
                accel_noise_mps2_rthz: known(words[3]).map(|tenths_ug| tenths_ug / 1e7 * G_MPS2),
                boot_number,
                firmware,
            }
        },
    )
}

proptest! {
    #[test]
    fn a_packet_reads_back_to_the_bit((bytes, header, readings) in any_packet()) {
        let steps = readings.len() - 1;
        let expected = Readings {
            stream: 0,
            sequence: Some(u64::from(header.sequence)),
            tick: Some(u64::from(header.tick)),
            step_ticks: (steps > 0).then(|| f64::from(header.span_ticks) / steps as f64),
            readings,
            is_faulty: header.is_faulty,
            lost_before: header.lost_before,
            clipped: header.clipped,
        };
        prop_assert_eq!(decode(&sensor(), DATA, &bytes), Ok(Decoded::Readings(expected)));
        for length in 0..bytes.len() {
            let error = decode(&sensor(), DATA, &bytes[..length]).unwrap_err();
            prop_assert!(matches!(error, PacketError::TooShort { found, .. } if found == length), "{}", error);
        }
    }

    #[test]
    fn information_reads_back_to_the_bit(information in any_information()) {
        prop_assert_eq!(Information::parse(&information.encode()), Ok(information));
    }

    #[test]
    fn requests_and_answers_read_back(numbers in any::<(u32, u32, u32, u32, i64)>(), opcode in 0..=255_u8, code in 0..=255_u8) {
        let (rate_mhz, gyro_mdps, accel_mg, accel_hi_mg, sent_utc_ns) = numbers;
        let requests = [
            Request::SetRate { rate_mhz },
            Request::SetRange { gyro_mdps, accel_mg, accel_hi_mg },
            Request::ExchangeTimes { sent_utc_ns },
        ];
        for request in requests {
            let bytes = request.encode();
            prop_assert_eq!(Request::parse(&bytes), Ok(request));
            prop_assert_eq!(Request::parse(&bytes[..bytes.len() - 1]), Err(Status::WrongLength));
        }
        let exchanged = Answer::Exchanged(Exchange { sent_utc_ns, tick: u64::from(rate_mhz) });
        prop_assert_eq!(Answer::parse(&exchanged.encode()), Ok(exchanged));
        for length in 0..exchanged.encode().len() {
            let error = Answer::parse(&exchanged.encode()[..length]).unwrap_err();
            prop_assert_eq!(error.key(), "too_short");
        }
        prop_assume!((opcode, code) != (5, 0));
        let bytes = [1, opcode, code];
        let told = Answer::parse(&bytes).unwrap();
        prop_assert_eq!(told.encode(), bytes);
        prop_assert_eq!(Answer::parse(&[1, opcode, code, 0]), Err(PacketError::TooLong { found: 4, expected: 3 }));
    }

    #[test]
    fn no_bytes_panic(mut bytes in prop::collection::vec(any::<u8>(), 0..300), is_right_version in any::<bool>()) {
        if is_right_version && let Some(first) = bytes.first_mut() {
            *first = VERSION;
        }
        for characteristic in [DATA, CONTROL, BATTERY_LEVEL, INFORMATION] {
            if let Ok(Decoded::Readings(found)) = decode(&sensor(), characteristic, &bytes) {
                prop_assert!((1..=MOST_READINGS).contains(&found.readings.len()));
            }
        }
        if let Ok(found) = Information::parse(&bytes) {
            prop_assert!(found.sample_rate_hz >= 1.0 && found.tick_hz >= 1e3 && found.gyro_range_radps > 0.0);
        }
        if let Ok(found) = Request::parse(&bytes) {
            prop_assert_eq!(found.encode(), bytes);
        }
    }
}
