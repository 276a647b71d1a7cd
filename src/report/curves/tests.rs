use super::*;
use crate::report::example::swing;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;

const PAGE: &str = include_str!("../../../proto-docs/curves.md");

/// The text of the page's examples in a language, in their order.
fn examples(language: &str) -> Vec<&'static str> {
    let parts = PAGE.split("\n```").skip(1).step_by(2);
    parts.filter_map(|part| part.strip_prefix(language)?.strip_prefix('\n')).collect()
}

/// Curves of which `value(channel, point)` is each value, with contact at a point.
fn made(points: usize, contact: usize, step_s: f64, value: impl Fn(usize, usize) -> f64) -> Curves {
    let curve = |channel| (0..points).map(|point| value(channel, point)).collect::<Vec<f64>>();
    let path = |first| {
        let place = |point| Vector3::new(value(first, point), value(first + 1, point), value(first + 2, point));
        (0..points).map(place).collect()
    };
    Curves {
        times_s: (0..points).map(|point| (point as f64 - contact as f64) * step_s).collect(),
        bat_speed_mps: curve(0),
        hand_speed_mps: curve(1),
        turn_rate_radps: curve(2),
        sweet_spot_w_m: path(3),
        hands_w_m: path(6),
    }
}

/// The curves of the page's example.
fn example() -> StoredCurves {
    let speeds = [[29.731, 30.0, 30.25, 30.48], [8.0, 7.9, 7.75, 7.5], [36.0, 36.5, 37.0, 37.4]];
    let places = [[-0.06, -0.0301, 0.0, 0.0303], [0.0, 0.0, 0.0, 0.0], [-0.0085, -0.0042, 0.0, 0.0043]];
    let value = |channel: usize, point: usize| match channel {
        0..3 => speeds[channel][point],
        3..6 => places[channel - 3][point],
        _ => places[channel - 6][point] - 0.5,
    };
    StoredCurves::new(&made(4, 2, 1e-3, value)).unwrap()
}

fn hex(text: &str) -> Vec<u8> {
    text.split_whitespace().map(|byte| u8::from_str_radix(byte, 16).unwrap()).collect()
}

fn to_hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect::<Vec<_>>().join(" ")
}

#[test]
fn the_pages_bytes_are_those_of_its_curves() {
    let bytes = hex(examples("hex")[0]);
    assert_eq!(to_hex(&encode(&example())), to_hex(&bytes));
    assert_eq!(decode(&bytes).unwrap(), example());

    let cubes = |channel: usize, point: usize| if channel == 0 { (point.pow(3) % 1009) as f64 / 1e3 } else { 0.0 };
    let cubes = StoredCurves::new(&made(40, 39, 5e-4, cubes)).unwrap();
    let bytes = hex(examples("hex")[1]);
    assert_eq!(to_hex(&encode(&cubes)), to_hex(&bytes));
    assert_eq!(decode(&bytes).unwrap(), cubes);
}

#[test]
fn the_pages_texts_are_those_of_its_curves() {
    let json: serde_json::Value = serde_json::from_str(examples("json")[0]).unwrap();
    assert_eq!(serde_json::to_value(CurvesJson::from(&example())).unwrap(), json);
    assert_eq!(to_csv(&example()).replace("\r\n", "\n").trim_end(), examples("csv")[0]);
}

/// Each value is within half a step of what it was, each time within what is documented.
fn assert_near(stored: &StoredCurves, curves: &Curves) {
    assert_eq!(stored.points(), curves.times_s.len());
    for channel in Channel::ALL {
        let kept: Vec<f64> = stored.values(channel).collect();
        let path = if channel as usize >= 6 { &curves.hands_w_m } else { &curves.sweet_spot_w_m };
        for (point, kept) in kept.into_iter().enumerate() {
            let was = match channel {
                Channel::BatSpeed => curves.bat_speed_mps[point],
                Channel::HandSpeed => curves.hand_speed_mps[point],
                Channel::TurnRate => curves.turn_rate_radps[point],
                _ => path[point][channel as usize % 3],
            };
            let most = 0.5 / channel.steps_a_unit() + 1e-12 * was.abs();
            assert!((kept - was).abs() <= most, "{}: {kept}, was {was}", channel.key());
        }
    }
    for (point, (kept_s, was_s)) in stored.times_s().zip(&curves.times_s).enumerate() {
        let far = point.abs_diff(stored.contact()) as f64;
        let most_s = 1e-3 * stored.step_s() + 0.5e-9 * far + 1e-12;
        assert!((kept_s - was_s).abs() <= most_s, "{kept_s} s, was {was_s} s");
    }
}

#[test]
fn a_swing_is_kept_whole() {
    for n in [1, 3] {
        let curves = swing(n).curves;
        let stored = StoredCurves::new(&curves).unwrap();
        assert_near(&stored, &curves);
        assert_eq!((stored.contact(), stored.first_s(), stored.step_s()), (350, -0.35, 1e-3));
        assert_eq!(decode(&encode(&stored)).unwrap(), stored);
    }
}

#[test]
fn text_is_short_and_has_a_row_a_point() {
    let stored = StoredCurves::new(&swing(3).curves).unwrap();
    let text = to_csv(&stored);
    assert_eq!(text.matches("\r\n").count(), 1 + stored.points());
    let mut reader = ::csv::Reader::from_reader(text.as_bytes());
    for (record, (point, time_s)) in reader.records().zip(stored.times_s().enumerate()) {
        let found: Vec<f64> = record.unwrap().iter().map(|cell| cell.parse().unwrap()).collect();
        let values = Channel::ALL.map(|channel| stored.values(channel).nth(point).unwrap());
        assert_eq!((found[0], &found[1..]), (time_s, &values[..]));
    }
    let json = serde_json::to_string(&CurvesJson::from(&stored)).unwrap();
    assert!(json.len() < 9 * 9 * stored.points(), "{} bytes", json.len());
    assert!(!json.contains("00000") && !json.contains("99999"), "rounded to what is kept");
}

#[test]
fn curves_that_cannot_be_kept_are_refused() {
    let sound = || made(5, 3, 1e-3, |_, _| 1.0);
    let refused = |change: fn(&mut Curves)| {
        let mut curves = sound();
        change(&mut curves);
        StoredCurves::new(&curves).unwrap_err().to_string()
    };
    assert!(StoredCurves::new(&sound()).is_ok());
    let none = StoredCurves::new(&Curves::default()).unwrap_err();
    assert_eq!(none.to_string(), "the curves have 0 points; expected 2 to 65535");
    assert_eq!(refused(|curves| curves.hands_w_m.truncate(4)), "`hands_w_x_m` has 4 values; expected 5, one a time");
    assert_eq!(
        refused(|curves| curves.turn_rate_radps[2] = f64::NAN),
        "`turn_rate_radps` is NaN at point 2; expected a finite value within ±2147483.647"
    );
    assert!(refused(|curves| curves.sweet_spot_w_m[1].z = 3e5).starts_with("`sweet_spot_w_z_m` is 300000 at point 1"));
    assert!(refused(|curves| curves.times_s[1] += 1e-5).starts_with("time 1 of the curves is"));
    assert!(refused(|curves| curves.times_s[4] = f64::INFINITY).starts_with("time 0 of the curves is"));
    assert!(refused(|curves| curves.times_s.reverse()).starts_with("time 0 of the curves is"));
    for shift_s in [1e-4, 0.1, -0.1] {
        let mut curves = sound();
        curves.times_s.iter_mut().for_each(|time_s| *time_s += shift_s);
        assert!(matches!(StoredCurves::new(&curves), Err(CurvesError::NoContact { .. })), "{shift_s}");
    }
}

#[test]
fn other_bytes_are_refused_with_what_is_wrong() {
    let sound = encode(&example());
    let changed = |at: usize, byte: u8| {
        let mut bytes = sound.clone();
        bytes[at] = byte;
        decode(&bytes)
    };
    assert_eq!(decode(&[]), Err(CurvesError::Short { found: 0 }));
    assert_eq!(changed(0, 2), Err(CurvesError::Version { found: 2 }));
    assert_eq!(changed(7, 4), Err(CurvesError::Head { step_ns: 1_000_000, points: 4, contact: 4 }));
    assert_eq!(changed(6, 0xff), Err(CurvesError::Short { found: sound.len() }));
    for length in 1..sound.len() {
        assert_eq!(decode(&sound[..length]), Err(CurvesError::Short { found: length }), "{length}");
    }
    let longer = [sound.as_slice(), &[0]].concat();
    assert!(matches!(decode(&longer), Err(CurvesError::Trailing { found: 8.. })));
}

/// The bytes of two points of which all values are 0 but one, whose difference stands written out in 40 bits.
fn written_out(folded: u64) -> Vec<u8> {
    let mut bits = bits::BitWriter::behind(vec![VERSION, 1, 0, 0, 0, 2, 0, 0, 0]);
    for channel in Channel::ALL {
        bits.put(0, 32);
        if channel == Channel::HandSpeed {
            bits.put((1 << 24) - 1, 24);
            bits.put(folded, 40);
        } else {
            bits.put(0, 3);
        }
    }
    bits.into_bytes()
}

#[test]
fn a_difference_is_written_out_only_where_it_has_to_be_and_never_leaves_32_bits() {
    let damaged = Err(CurvesError::Damaged { channel: Channel::HandSpeed, point: 1 });
    let last = |folded| decode(&written_out(folded)).map(|curves| curves.values(Channel::HandSpeed).last());
    // With the first width, two low bits, 24 · 2² is the least that cannot be written shorter.
    assert_eq!(decode(&written_out(95)), damaged);
    assert_eq!(last(96), Ok(Some(0.048)));
    assert_eq!(last(2 * 2_147_483_647), Ok(Some(2_147_483.647)));
    assert_eq!(decode(&written_out(2 * 2_147_483_648)), damaged);
    assert_eq!(decode(&written_out((1 << 40) - 1)), damaged);
}

proptest! {
    #![proptest_config(ProptestConfig {
        rng_seed: RngSeed::Fixed(4),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn whatever_is_kept_comes_back(
        (points, contact) in (2_usize..40).prop_flat_map(|points| (Just(points), 0..points)),
        step_ns in 1_u32..,
        exponent in -4_i32..6,
        pool in prop::collection::vec(-1.0_f64..1.0, 64),
    ) {
        let value = |channel: usize, point: usize| {
            let large = if channel < 3 { 2e6 } else { 2e5 };
            (pool[(channel * 7 + point) % 64] * 10_f64.powi(exponent)).clamp(-large, large)
        };
        let curves = made(points, contact, f64::from(step_ns) * 1e-9, value);
        let stored = StoredCurves::new(&curves).unwrap();
        prop_assert_eq!(stored.contact(), contact);
        assert_near(&stored, &curves);
        prop_assert_eq!(decode(&encode(&stored)).unwrap(), stored);
    }

    #[test]
    fn hostile_bytes_are_refused_or_are_exactly_what_is_written(
        points in 0_u16..60,
        contact in 0_u16..60,
        noise in prop::collection::vec(any::<u8>(), 0..400),
    ) {
        let mut bytes = vec![VERSION, 1, 0, 0, 0];
        bytes.extend(points.to_le_bytes());
        bytes.extend(contact.to_le_bytes());
        bytes.extend(noise);
        if let Ok(curves) = decode(&bytes) {
            prop_assert_eq!(encode(&curves), bytes);
        }
    }

    #[test]
    fn damaged_bytes_are_refused_or_are_exactly_what_is_written(
        at in any::<prop::sample::Index>(),
        byte in any::<u8>(),
        length in any::<prop::sample::Index>(),
    ) {
        let mut bytes = encode(&StoredCurves::new(&swing(3).curves).unwrap());
        let place = at.index(bytes.len());
        bytes[place] = byte;
        if let Ok(curves) = decode(&bytes) {
            prop_assert_eq!(encode(&curves), &bytes[..]);
        }
        bytes.truncate(length.index(bytes.len()));
        prop_assert!(decode(&bytes).is_err());
    }
}
