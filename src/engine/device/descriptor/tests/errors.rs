//! Every mistake has its line, its key, what was found and what was expected.

use super::*;

fn error_of(text: &str) -> String {
    Descriptor::parse(text).unwrap_err().to_string()
}

/// The first six lines are those of `text`.
fn error_of_stream(keys: &str) -> String {
    error_of(&text(&plain(keys)))
}

#[test]
fn a_misspelt_key_is_told_with_the_nearest_known_one() {
    let found = error_of(&text("nmae = 3\n"));
    assert_eq!(found, "line 7: `nmae` is not known; did you mean `name`?");
    let found = error_of_stream("lenght = 12");
    assert_eq!(found, "line 10: `stream.lenght` is not known; did you mean `length`?");
    let found = error_of_stream("counter = { at = 12, type = \"u8\", wrap = 3 }");
    let expected = "line 10: `stream.counter.wrap` is not known; expected one of at, type, endian, modulus, counts";
    assert_eq!(found, expected);
}

#[test]
fn what_is_missing_is_told_with_the_line_of_its_table() {
    assert_eq!(error_of(""), "line 1: `descriptor` is missing; expected 1, the version of this language");
    assert_eq!(error_of("descriptor = 2"), "line 1: `descriptor` is 2; expected 1, the version of this language");
    let found = error_of(&text("[[stream]]\nsample_rate_hz = 3\n"));
    assert_eq!(found, "line 7: `stream.characteristic` is missing; expected a UUID");
    let found = error_of(&text(""));
    assert!(found.starts_with("line 1: `stream` is missing; expected [[stream]] with"), "{found}");
    let bare = text(&plain("")).replace("limits = [\"invented\"]\n", "");
    let expected = "line 1: `limits` is missing; expected a list of texts that say that a stream has neither counter nor \
                    time, that the gyro's range ends below the 2900 °/s of real swings, that the accelerometer's range \
                    ends below the 77 g of real swings";
    assert_eq!(error_of(&bare), expected);
}

#[test]
fn text_that_is_no_toml_has_its_line() {
    let found = error_of("descriptor = 1\nname = \n");
    assert!(found.starts_with("line 2: this is no descriptor: "), "{found}");
    assert!(error_of(&"#".repeat(70_000)).contains("70000 bytes"));
}

#[test]
fn overlapping_fields_and_fields_out_of_length_are_refused() {
    let found = error_of_stream(
        "samples_at = 4\ncounter = { at = 0, type = \"u16\" }\ntime = { at = 1, type = \"u16\", tick_hz = 1 }",
    );
    assert_eq!(
        found,
        "line 12: `stream.time` is at bytes 1 to 2; expected bytes of its own: `counter` has at bytes 0 to 1"
    );
    let found = error_of_stream("samples_at = 1\ncounter = { at = 0, type = \"u16\" }");
    assert_eq!(
        found,
        "line 11: `stream.counter` is at bytes 0 to 1; expected none of the readings' bytes, which begin at 1"
    );
    let found = error_of_stream("samples_at = 0\ncounter = { at = 12, type = \"u16\" }");
    assert_eq!(found, "line 11: `stream.counter` is at bytes 12 to 13; expected within the packet's 12 bytes");
    let found = error_of_stream("length = 11");
    assert_eq!(
        found,
        "line 10: `stream.length` is 11; expected bytes of a packet, or a list of least and most, from 12 as the fields need"
    );
    let overlapping = text(&plain("")).replace("at = 6", "at = 5");
    let found = error_of(&overlapping);
    assert_eq!(
        found,
        "line 12: `stream.accel` is at bytes 5 to 6; expected bytes of its own: `gyro` has at bytes 4 to 5"
    );
    let found = error_of_stream("sample_length = 11");
    assert_eq!(found, "line 10: `stream.sample_length` is 11; expected bytes from one reading to the next, 12 to 512");
    let found = error_of_stream("samples = 50");
    assert_eq!(
        found,
        "line 10: `stream.samples` is such that packets have 600 to 600 bytes; expected at most 512 bytes"
    );
}

#[test]
fn a_scale_that_does_not_go_with_the_range_is_refused() {
    let with_scale = |scale: &str| error_of(&text(&plain("")).replace("scale = 0.1", scale));
    let found = with_scale("counts_per_unit = 131");
    assert_eq!(
        found,
        "line 11: `stream.gyro.counts_per_unit` is such that counts go from -250.137405 to 250.129771; expected at least ±2000.000000, the range"
    );
    let found = with_scale("scale = 100");
    assert_eq!(
        found,
        "line 11: `stream.gyro.scale` is such that the range, 2000.000000, has 20.0 counts; expected at least 50 counts"
    );
    for absurd in ["scale = 0", "scale = -0.1", "scale = inf", "scale = nan", "scale = 1e300", "scale = \"0.1\""] {
        assert!(with_scale(absurd).contains("`stream.gyro.scale`"), "{absurd}");
    }
    assert!(with_scale("scale = 0.1, counts_per_unit = 10").contains("beside `scale`"));
    let range = error_of(&text(&plain("")).replace("range = 2000", "range = 1e9"));
    assert!(
        range.starts_with("line 11: `stream.gyro.range` is 1e9; expected the end of the sensor's range"),
        "{range}"
    );
}

#[test]
fn impossible_values_are_refused_where_they_stand() {
    let cases = [
        ("sample = [\"gyro\", \"accel\"]", "`stream.gyro.at` is beside the running order `sample`"),
        ("sample = [\"gyro\"]", "`stream.sample` is a list of 1; expected a list that names \"gyro\", \"accel\""),
        ("header = [\"counter\"]", "`stream.header` is a list of 1; expected a list that names no field"),
        ("samples = 0", "`stream.samples` is 0"),
        ("samples = \"some\"", "`stream.samples` is \"some\""),
        ("counter = { at = 12, type = \"i16\" }", "`stream.counter.type` is no unsigned number"),
        ("counter = { at = 12, type = \"u8\", modulus = 257 }", "`stream.counter.modulus` is 257; expected 2 to 256"),
        ("counter = { at = 12, type = \"u9\" }", "`stream.counter.type` is \"u9\"; expected one of \"i8\", \"u8\""),
        ("time = { at = 12, type = \"u8\" }", "`stream.time.tick_hz` is missing"),
        ("match = [{ at = 0, hex = \"0\" }]", "`stream.match.hex` is \"0\""),
        ("endian = \"middle\"", "`stream.endian` is \"middle\"; expected one of \"little\", \"big\""),
        ("length = [20, 15]", "`stream.length` is a list of 2"),
        (
            "samples = 3\nsamples_at = 1\ncounter = { at = 0, type = \"u8\", counts = \"samples\" }",
            "expected a modulus that the 3 readings of a packet divide",
        ),
    ];
    for (keys, expected) in cases {
        let found = error_of_stream(keys);
        assert!(found.contains(expected), "{keys}: {found}");
    }
    let axes = text(&plain("")).replace("scale = 0.1,", "scale = 0.1, axes = [\"x\", \"x\", \"z\"],");
    assert!(error_of(&axes).contains("line 11: `stream.gyro.axes` is a list of 3"), "{}", error_of(&axes));
    let uuid = text(&plain("")).replace("abcd", "abcde");
    assert_eq!(error_of(&uuid), "line 8: `stream.characteristic` is \"abcde\"; expected a UUID");
}

#[test]
fn streams_that_cannot_be_paired_are_refused() {
    let channel = "at = 0, type = \"i16\", unit = \"g\", scale = 0.001, range = 16";
    let stream = |uuid: &str, rate: u32, name: &str| {
        format!("[[stream]]\ncharacteristic = \"{uuid}\"\nsample_rate_hz = {rate}\n{name} = {{ {channel} }}\n")
    };
    let gyro = stream("abcd", 100, "gyro").replace("unit = \"g\", scale = 0.001", "unit = \"dps\", scale = 0.1");
    let gyro = gyro.replace("range = 16", "range = 2000");
    let error = |second: String| error_of(&text(&format!("{gyro}{second}")));
    assert!(Descriptor::parse(&text(&format!("{gyro}{}", stream("abce", 100, "accel")))).is_ok());
    assert!(error(stream("abce", 50, "accel")).contains("line 13: `stream.sample_rate_hz` is 50.0; expected 100.0"));
    assert!(error(stream("abcd", 100, "accel")).contains("is that of the first stream"));
    assert!(error(String::new()).contains("`stream` is without one gyro and one accel"));
    assert!(error(stream("abce", 100, "accel_hi")).contains("`stream` is without one gyro and one accel"));
}

#[test]
fn a_test_packet_that_decodes_to_something_else_is_refused_with_what_it_decodes_to() {
    let test = |rest: &str| {
        let streams = plain("header = [\"counter\"]\ncounter = { type = \"u8\" }");
        let head = "[[test]]\nfrom = \"hand\"\ncharacteristic = \"abcd\"\nhex = \"07 6400 0000 0000 e803 0000 0000\"\n";
        Descriptor::parse(&text(&format!("{streams}{head}{rest}"))).map_err(|error| error.to_string())
    };
    let right = "counter = 7\ngyro_dps = [[10, 0, 0]]\naccel_g = [[1, 0, 0]]\n";
    assert!(test(right).is_ok());
    let error = |from: &str, to: &str| test(&right.replace(from, to)).unwrap_err();
    let found = error("[[10, 0, 0]]", "[[10, 0, 1]]");
    assert!(found.starts_with("line 19: `test.gyro_dps` is [[10.0, 0.0, 1.0]]; expected [["), "{found}");
    assert_eq!(
        error("counter = 7", "counter = 8"),
        "line 18: `test.counter` is 8; expected 7, as this descriptor decodes"
    );
    assert!(error("counter = 7", "tick = 8").contains("expected nothing, as this descriptor decodes"));
    assert!(error("accel_g = [[1, 0, 0]]", "").contains("`test.accel_g` is missing"));
    assert!(error("accel_g", "accel_hi_g").contains("`test.accel_g` is missing"));
    assert!(error("counter = 7", "outcome = \"refused\"").contains("`test.outcome` is 1 readings; expected refused"));
    assert!(error("[[1, 0, 0]]", "[[1, 0, 0], [1, 0, 0]]").contains("`test.accel_g`"));
}

#[test]
fn a_range_that_clipped_counts_do_not_reach_is_refused_and_one_they_just_reach_is_not() {
    let with = |channel: &str| Descriptor::parse(&text(&plain("")).replace("scale = 0.1, range = 2000", channel));
    // 32767 counts are one step of 16 bits from ±2000 °/s; a hundredth more is out of reach.
    assert!(with("counts_per_unit = 16.384, range = 2000").is_ok());
    assert!(with("counts_per_unit = 16.384, range = 2000.1").is_err());
    let unsigned = text(&plain("")).replace("type = \"i16\", unit = \"dps\"", "type = \"u16\", unit = \"dps\"");
    assert!(
        error_of(&unsigned).contains("such that counts go from 0.000000 to 6553.500000"),
        "{}",
        error_of(&unsigned)
    );
    assert!(Descriptor::parse(&unsigned.replace("range = 2000", "offset = -3276.8, range = 2000")).is_ok());
}

#[test]
fn deep_nesting_is_refused_and_not_followed() {
    for open in ["a = [", "a = {b = ", "[a.", "a."] {
        assert!(Descriptor::parse(&open.repeat(60_000 / open.len())).is_err());
    }
}
