//! What proto-docs/descriptors.md says is true.

use super::*;

const PAGE: &str = include_str!("../../../../../proto-docs/descriptors.md");

fn example() -> &'static str {
    PAGE.split("```toml\n").nth(1).and_then(|rest| rest.split("```").next()).unwrap()
}

/// The cells of the rows that follow a line, without the heading's rule.
fn rows(heading: &str) -> Vec<Vec<&'static str>> {
    let rows =
        PAGE.lines().skip_while(|line| !line.starts_with(heading)).skip(2).take_while(|line| line.starts_with('|'));
    rows.map(|row| row.trim_matches('|').split(" | ").map(str::trim).collect()).collect()
}

#[test]
fn the_example_of_the_page_is_a_descriptor_and_its_packets_decode() {
    let one = Descriptor::parse(example()).unwrap();
    assert_eq!(example().matches("[[test]]").count(), 2);
    assert_eq!((one.name.as_str(), one.board.as_deref()), ("Bench IMU", Some("rev. C")));
    assert!(one.matches(Some("Bench-7"), &[]) && !one.is_untimed() && one.limits.is_empty());
    let layout = StreamLayout {
        sequence_modulus: Some(1 << 16),
        tick_modulus: Some(1 << 32),
        tick_hz: 1e6,
        sample_rate_hz: 1000.0,
        has_gyro: true,
    };
    assert_eq!(one.streams(), [layout]);
    assert_eq!(one.start()[0].bytes, [1, 0xe8, 3]);
    assert_eq!((one.stop()[0].bytes.as_slice(), one.stop()[0].with_response), (&[0][..], false));
    assert_eq!(one.described_in(&SensorProfile::default()).gyro_bandwidth_hz, 300.0);
}

#[test]
fn every_error_of_the_page_is_told_so() {
    let errors = rows("| this | become this");
    assert_eq!(errors.len(), 5);
    for row in errors {
        let [from, to, expected] = row[..] else { panic!("{row:?}") };
        let (from, to) = (from.trim_matches('`'), to.trim_matches('`'));
        assert_eq!(example().matches(from).count(), 1, "{from}");
        let error = Descriptor::parse(&example().replace(from, to)).unwrap_err();
        assert_eq!(error.to_string(), expected);
    }
}

#[test]
fn every_key_and_every_name_stands_on_the_page() {
    let keys: [&[&str]; 11] = [
        &parse::KEYS,
        &parse::SOURCE_KEYS,
        &parse::RECOGNISE_KEYS,
        &parse::COMMAND_KEYS,
        &stream::KEYS,
        &stream::SAMPLES_KEYS,
        &stream::COUNTER_KEYS,
        &stream::TIME_KEYS,
        &stream::MATCH_KEYS,
        &channel::KEYS,
        &vectors::KEYS,
    ];
    let text = PAGE.replace(example(), "");
    for key in keys.concat() {
        let is_named = text
            .split('`')
            .skip(1)
            .step_by(2)
            .any(|code| code.split(|c: char| !c.is_ascii_alphanumeric() && c != '_').any(|word| word == key));
        assert!(is_named, "`{key}` is not on the page");
    }
    let units = channel::GYRO_UNITS.iter().chain(&channel::ACCEL_UNITS).map(|it| it.0);
    for name in units.chain(layout::Kind::NAMES.iter().map(|it| it.0)) {
        assert!(text.contains(&format!("\"{name}\"")), "\"{name}\" is not on the page");
    }
}

#[test]
fn the_page_lists_the_shipped_descriptors_with_their_sources() {
    let listed = rows("| file in `descriptors/`");
    assert_eq!(listed.len(), shipped().len());
    for ((name, text), row) in shipped().iter().zip(listed) {
        let one = Descriptor::parse(text).unwrap();
        assert_eq!(row[0].trim_matches('`'), *name);
        assert!(row[2].contains(&one.source.url), "{name}");
        let sensor = one.described_in(&SensorProfile::default());
        let rate_hz = sensor.sample_rate_hz.unwrap();
        let (dps, g) = (sensor.gyro_range_radps.to_degrees().round(), (sensor.accel_range_mps2 / G_MPS2).round());
        assert_eq!(row[3], format!("{rate_hz} Hz, {dps} °/s, {g} g"));
        assert_eq!(row[4].contains("neither"), one.is_untimed(), "{name}");
    }
}
