//! The language, by what it accepts, refuses and decodes.

mod errors;
mod page;
mod properties;

use super::*;
use crate::engine::device::{RawReading, Readings};
use crate::engine::geometry::G_MPS2;
use nalgebra::Vector3;

/// A descriptor of an invented sensor with this text as its streams.
fn text(streams: &str) -> String {
    format!(
        "descriptor = 1\nname = \"Bench\"\nmaker = \"Nobody\"\nlimits = [\"invented\"]\n\
         source = {{ url = \"none\", date = \"none\", licence = \"none\" }}\n\
         recognise = {{ services = [\"1234\"] }}\n{streams}"
    )
}

fn descriptor(streams: &str) -> Descriptor {
    Descriptor::parse(&text(streams)).unwrap()
}

fn readings(descriptor: &Descriptor, characteristic: &str, bytes: &[u8]) -> Readings {
    match descriptor.decode(characteristic, bytes) {
        Ok(Decoded::Readings(readings)) => readings,
        other => panic!("{other:?}"),
    }
}

const DATA: &str = "0000abcd-0000-1000-8000-00805f9b34fb";

/// A stream of one gyro and one accelerometer of 16 bits, with more keys before its channels.
fn plain(keys: &str) -> String {
    format!(
        "[[stream]]\ncharacteristic = \"abcd\"\nsample_rate_hz = 100\n{keys}\n\
         gyro = {{ at = 0, type = \"i16\", unit = \"dps\", scale = 0.1, range = 2000 }}\n\
         accel = {{ at = 6, type = \"i16\", unit = \"mg\", scale = 1, range = 16000 }}\n"
    )
}

#[test]
fn shipped_descriptors_decode_their_own_test_packets() {
    for (name, text) in shipped() {
        // Reading one checks its test packets.
        let descriptor = Descriptor::parse(text).unwrap_or_else(|error| panic!("{name}: {error}"));
        let characteristics: Vec<&str> = descriptor.streams.iter().map(|it| it.characteristic.as_str()).collect();
        for characteristic in characteristics {
            let tests = text.split("[[test]]").skip(1).filter(|test| test.contains(characteristic));
            assert!(tests.count() >= 1, "{name}: no test packet of {characteristic}");
        }
        assert!(descriptor.source.url.starts_with("http"), "{name}");
        let all = descriptor.limits.join(" ");
        assert!(all.contains("°/s") && all.contains("77 g"), "{name} does not say where it clips");
        assert!(!descriptor.is_untimed() || all.contains("Neither a counter nor a time"), "{name}");
        assert_eq!(descriptor.streams().iter().filter(|it| it.has_gyro).count(), 1, "{name}");
    }
}

#[test]
fn shipped_descriptors_recognise_no_sensor_of_another() {
    let all: Vec<Descriptor> = shipped().iter().map(|(_, text)| Descriptor::parse(text).unwrap()).collect();
    for (k, one) in all.iter().enumerate() {
        for service in &one.services {
            let kinds: Vec<usize> = (0..all.len()).filter(|&j| all[j].matches(None, &[service])).collect();
            assert_eq!(kinds, [k]);
        }
    }
    let upper = "EF680400-9B35-4933-9B10-52FFA9740042";
    assert!(all[1].matches(None, &["180f", upper]) && all[1].matches(Some("Thingy"), &[]));
    assert!(!all[1].matches(Some("A Thingy"), &["180f"]) && !all[1].matches(None, &[]));
}

#[test]
fn what_a_shipped_descriptor_says_of_its_sensor_stands_in_the_profile() {
    let (_, text) = shipped()[3];
    let descriptor = Descriptor::parse(text).unwrap();
    let before = SensorProfile { gyro_noise_radps_rthz: 0.5, ..SensorProfile::default() };
    let after = descriptor.described_in(&before);
    assert_eq!(after.sample_rate_hz, Some(10.0));
    assert!((after.gyro_range_radps - 250_f64.to_radians()).abs() < 1e-12);
    assert!((after.accel_range_mps2 - 16.0 * G_MPS2).abs() < 1e-12);
    assert_eq!((after.gyro_noise_radps_rthz, after.gyro_bandwidth_hz), (0.5, before.gyro_bandwidth_hz));
    let commands: Vec<(&str, &[u8])> =
        descriptor.start().iter().map(|it| (&it.characteristic[4..8], it.bytes.as_slice())).collect();
    assert_eq!(commands, [("aa83", &[0x0a][..]), ("aa82", &[0x3f, 0x03][..])]);
    assert_eq!(descriptor.stop()[0].bytes, [0, 0]);
    assert!(descriptor.start().iter().all(|it| it.with_response));
}

#[test]
fn two_streams_are_two_characteristics_with_a_layout_each() {
    let (_, text) = shipped()[0];
    let descriptor = Descriptor::parse(text).unwrap();
    let layouts = descriptor.streams();
    assert_eq!(layouts.iter().map(|it| it.has_gyro).collect::<Vec<_>>(), [true, false]);
    let [gyro, accel] = descriptor.notify()[..] else { panic!() };
    assert_eq!(readings(&descriptor, gyro, &[0; 12]).stream, 0);
    let found = readings(&descriptor, accel, &[0; 12]);
    assert_eq!((found.stream, found.readings[0].gyro_s_radps), (1, None));
    assert_eq!(found.readings[0].accel_s_mps2, Some(Vector3::zeros()));
}

#[test]
fn every_type_is_read_in_both_orders_of_bytes() {
    // The bytes 0x81 0x02 0x03 0x04, as many as the type has, by hand.
    let cases: [(&str, f64, f64); 9] = [
        ("i8", -127.0, -127.0),
        ("u8", 129.0, 129.0),
        ("i16", 641.0, -32510.0),
        ("u16", 641.0, 33026.0),
        ("i24", 197249.0, -8322557.0),
        ("u24", 197249.0, 8454659.0),
        ("i32", 67306113.0, -2130574588.0),
        ("u32", 67306113.0, 2164392708.0),
        ("f32", f64::from(f32::from_bits(0x0403_0281)), f64::from(f32::from_bits(0x8102_0304))),
    ];
    for (kind, little, big) in cases {
        let size = if kind == "f32" { 4 } else { kind[1..].parse::<usize>().unwrap() / 8 };
        let bytes: Vec<u8> = (0..3).flat_map(|_| &[0x81, 0x02, 0x03, 0x04][..size]).copied().collect();
        for (endian, expected) in [("little", little), ("big", big)] {
            let scale = if kind == "f32" { 1.0 } else { 100.0 / 2_f64.powi(8 * size as i32 - 1) };
            let offset = if kind.starts_with('u') { -100.0 } else { 0.0 };
            let channel = format!(
                "at = 0, type = \"{kind}\", endian = \"{endian}\", scale = {scale:?}, range = 80, offset = {offset}"
            );
            let streams = format!(
                "[[stream]]\ncharacteristic = \"abcd\"\nsample_rate_hz = 9\ngyro = {{ unit = \"radps\", {channel} }}\n\
                 [[stream]]\ncharacteristic = \"abce\"\nsample_rate_hz = 9\naccel = {{ unit = \"mps2\", {channel} }}\n"
            );
            let found = readings(&descriptor(&streams), DATA, &bytes).readings[0].gyro_s_radps.unwrap();
            let expected = Vector3::repeat(expected * scale + offset);
            assert!((found - expected).norm() <= 1e-12 * expected.norm(), "{kind} {endian}: {found} {expected}");
        }
    }
}

#[test]
fn axes_are_turned_and_offsets_added_in_the_channels_unit() {
    let streams = "[[stream]]\ncharacteristic = \"abcd\"\nsample_rate_hz = 100\n\
         gyro = { at = [4, 0, 2], type = \"i16\", unit = \"mdps\", scale = 100, offset = 1000, range = 2e6, \
         axes = [\"-y\", \"x\", \"z\"] }\n\
         accel = { at = 6, type = \"u16\", unit = \"g\", scale = 0.001, offset = -32, range = 30 }\n";
    // Sent at 4, 0 and 2: 30, 10 and 20 counts, 4,000, 2,000 and 3,000 mdps; S has x = −y, y = x, z = z of these.
    let bytes = [10, 0, 20, 0, 30, 0, 0, 125, 232, 128, 24, 121];
    let found = readings(&descriptor(streams), DATA, &bytes).readings[0];
    let dps = found.gyro_s_radps.unwrap().map(f64::to_degrees);
    assert!((dps - Vector3::new(-2.0, 4.0, 3.0)).norm() < 1e-12, "{dps}");
    let g = found.accel_s_mps2.unwrap() / G_MPS2;
    assert!((g - Vector3::new(0.0, 1.0, -1.0)).norm() < 1e-12, "{g}");
}

#[test]
fn a_float_that_is_no_number_is_a_missing_component() {
    let (_, text) = shipped()[0];
    let descriptor = Descriptor::parse(text).unwrap();
    let bytes: Vec<u8> = [1.0, f32::NAN, f32::INFINITY].iter().flat_map(|it: &f32| it.to_le_bytes()).collect();
    let found = readings(&descriptor, descriptor.notify()[0], &bytes).readings[0].gyro_s_radps.unwrap();
    assert!(found.x == 1.0 && found.y.is_nan() && found.z.is_nan(), "{found}");
}

#[test]
fn readings_are_counted_by_the_length_or_by_a_field() {
    let by_length = descriptor(&plain("samples = \"from_length\"\ntrailer = 2"));
    let count = |descriptor: &Descriptor, length: usize| match descriptor.decode(DATA, &vec![3; length]) {
        Ok(Decoded::Readings(it)) => Ok(it.readings.len()),
        other => other.map(|_| 0),
    };
    assert_eq!((count(&by_length, 14), count(&by_length, 38)), (Ok(1), Ok(3)));
    assert_eq!(count(&by_length, 13), Err(PacketError::TooShort { found: 13, expected: 14 }));
    assert_eq!(count(&by_length, 39), Err(PacketError::TooLong { found: 39, expected: 38 }));

    let by_field = descriptor(&plain("samples = { at = 0, type = \"u8\", most = 4 }"));
    assert_eq!(count(&by_field, 37), Ok(3));
    assert_eq!(count(&by_field, 25), Err(PacketError::TooShort { found: 25, expected: 37 }));
    assert_eq!(count(&by_field, 49), Err(PacketError::TooLong { found: 49, expected: 37 }));
    let none = by_field.decode(DATA, &[0; 13]).unwrap_err();
    assert_eq!((none.key(), by_field.decode(DATA, &[5; 49]).unwrap_err().key()), ("field", "field"));
}

#[test]
fn packets_of_another_kind_are_ignored_and_wrong_ones_refused() {
    let keys = "length = [13, 20]\nnotify_check = 1";
    assert!(Descriptor::parse(&text(&plain(keys))).is_err());
    let streams =
        plain("length = [13, 20]\nsamples_at = 1\nmatch = [{ at = 0, hex = \"02\", otherwise = \"ignored\" }]");
    let one = Descriptor::parse(&text(&format!("notify = [\"abcf\"]\n{streams}"))).unwrap();
    assert_eq!(one.decode(DATA, &[1, 9]), Ok(Decoded::Other));
    assert_eq!(one.decode(DATA, &[2, 9]), Err(PacketError::TooShort { found: 2, expected: 13 }));
    assert_eq!(one.decode(DATA, &[2; 21]), Err(PacketError::TooLong { found: 21, expected: 20 }));
    assert_eq!(readings(&one, DATA, &[2; 20]).readings.len(), 1);
    assert_eq!(one.decode(&DATA.replace("abcd", "abcf"), &[]), Ok(Decoded::Other));
    assert_eq!(one.decode(&DATA.replace("abcd", "abce"), &[]), Err(PacketError::UnknownCharacteristic));
    assert_eq!(one.notify(), [DATA.replace("abcd", "abcf"), DATA.to_owned()]);

    let magic = descriptor(&plain("samples_at = 2\nmatch = [{ at = 0, hex = \"a55a\" }]"));
    let mut bytes = [0; 14];
    bytes[..2].copy_from_slice(&[0xa5, 0x5a]);
    assert_eq!(readings(&magic, DATA, &bytes).readings.len(), 1);
    bytes[1] = 0x5b;
    assert!(matches!(magic.decode(DATA, &bytes), Err(PacketError::Field { found: 0x5b, .. })));
}

#[test]
fn counters_and_times_come_with_their_wrap() {
    let keys = "header = [\"counter\", 1, \"time\"]\ncounter = { type = \"u8\", modulus = 200 }\n\
                time = { type = \"u24\", endian = \"big\", tick_hz = 32768, modulus = 16000000 }";
    let one = descriptor(&plain(keys));
    let layout = one.streams()[0];
    assert_eq!((layout.sequence_modulus, layout.tick_modulus), (Some(200), Some(16_000_000)));
    assert_eq!((layout.tick_hz, one.is_untimed()), (32768.0, false));
    let mut bytes = [0; 17];
    bytes[..5].copy_from_slice(&[199, 0xff, 1, 2, 3]);
    let found = readings(&one, DATA, &bytes);
    assert_eq!((found.sequence, found.tick), (Some(199), Some(0x01_02_03)));
    bytes[0] = 200;
    assert_eq!(
        one.decode(DATA, &bytes).unwrap_err().to_string(),
        "packet with counter 200; expected below the descriptor's `modulus`"
    );
    bytes[..5].copy_from_slice(&[0, 0, 0xff, 0xff, 0xff]);
    assert!(matches!(one.decode(DATA, &bytes), Err(PacketError::Field { field: "time", .. })));
}

#[test]
fn a_time_of_the_last_reading_is_taken_back_to_the_first_across_its_wrap() {
    let keys = "header = [\"time\"]\nsamples = 4\ntime = { type = \"u8\", tick_hz = 1000, of = \"last\" }";
    let one = descriptor(&plain(keys));
    let tick = |sent: u8| readings(&one, DATA, &[&[sent][..], &[0; 48]].concat()).tick;
    // Three intervals of 10 ms.
    assert_eq!((tick(100), tick(5)), (Some(70), Some(231)));
}

#[test]
fn a_counter_of_readings_is_a_clock_and_numbers_packets_of_equal_size() {
    let keys = |samples: &str| {
        plain(&format!(
            "header = [\"counter\"]\nsamples = {samples}\ncounter = {{ type = \"u16\", counts = \"samples\" }}"
        ))
    };
    let equal = descriptor(&keys("2"));
    let layout = equal.streams()[0];
    assert_eq!((layout.sequence_modulus, layout.tick_modulus, layout.tick_hz), (Some(32768), Some(65536), 100.0));
    let found = readings(&equal, DATA, &[&[7, 1][..], &[0; 24]].concat());
    assert_eq!((found.sequence, found.tick), (Some(131), Some(263)));

    let unequal = descriptor(&keys("\"from_length\""));
    let layout = unequal.streams()[0];
    assert_eq!((layout.sequence_modulus, layout.tick_modulus), (None, Some(65536)));
    assert!(!unequal.is_untimed());
    let found = readings(&unequal, DATA, &[&[7, 1][..], &[0; 36]].concat());
    assert_eq!((found.sequence, found.tick, found.readings.len()), (None, Some(263), 3));
}

#[test]
fn a_second_accelerometer_is_read_beside_the_first() {
    let streams =
        plain("accel_hi = { at = 12, type = \"i8\", unit = \"g\", scale = 2, range = 200, bandwidth_hz = 400 }");
    let one = descriptor(&streams);
    let found = readings(&one, DATA, &[&[0; 12][..], &[1, 2, 0xff]].concat()).readings[0];
    let expected = RawReading {
        gyro_s_radps: Some(Vector3::zeros()),
        accel_s_mps2: Some(Vector3::zeros()),
        accel_hi_s_mps2: Some(Vector3::new(2.0, 4.0, -2.0) * G_MPS2),
    };
    let near = (found.accel_hi_s_mps2.unwrap() - expected.accel_hi_s_mps2.unwrap()).norm() < 1e-12;
    assert!(near && found.gyro_s_radps == expected.gyro_s_radps && found.accel_s_mps2 == expected.accel_s_mps2);
    assert!((one.described_in(&SensorProfile::default()).accel_hi_range_mps2 - 200.0 * G_MPS2).abs() < 1e-9);
}

#[test]
fn a_counter_may_stand_after_the_readings() {
    let one = descriptor(&plain("samples_at = 0\ntrailer = 3\ncounter = { at = 13, type = \"u16\" }"));
    let found = readings(&one, DATA, &[&[0; 6][..], &[232, 3, 0, 0, 24, 252, 9, 5, 1]].concat());
    assert_eq!(found.sequence, Some(0x0105));
    let g = found.readings[0].accel_s_mps2.unwrap() / G_MPS2;
    assert!((g - Vector3::new(1.0, 0.0, -1.0)).norm() < 1e-12, "{g}");
}
