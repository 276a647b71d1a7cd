use std::io::{Cursor, Read, Seek, SeekFrom, Write};

use nalgebra::Vector3;
use proptest::prelude::*;

use super::*;
use crate::engine::profile::{Profile, Side};
use crate::engine::sample::{IssueKind, IssueLog, Sample, SensorTime};
use crate::engine::wire::csv::CsvReader;
use crate::engine::wire::test_support::{any_samples, bits_of};
use crate::engine::wire::{SampleBatches, WireError};

const TOML: &str = "# mine\n[swing]\nside = \"left\"\n";

fn plate() -> AtThePlate {
    AtThePlate { nickname: Some("Wren".into()), side: Some(AtThePlateSide::Left), ..AtThePlate::default() }
}

fn packet(bytes: &[u8]) -> Packet {
    let characteristic = "7b1e0001-5a4d-4c3b-9f2e-0d1c2b3a4958".into();
    Packet { received_utc_ns: 1_700_000_000_000_000_123, sensor: "knob".into(), characteristic, bytes: bytes.into() }
}

fn written(samples: &[Sample], flush_every: usize) -> Vec<u8> {
    let mut writer = McapWriter::new(Cursor::new(Vec::new()), "knob").unwrap();
    writer.write_profile(0, TOML).unwrap();
    writer.write_at_the_plate(5, &plate()).unwrap();
    writer.write_packet(&packet(&[1, 2, 3])).unwrap();
    for part in samples.chunks(flush_every) {
        writer.write_samples(part, sensor_time_ns).unwrap();
        writer.flush().unwrap();
    }
    writer.finish().unwrap().into_inner()
}

fn read(file: &[u8]) -> Result<(Vec<Sample>, IssueLog), WireError> {
    let (mut entries, mut all) = (McapEntries::new(file), Vec::new());
    while let Some(entry) = entries.next_entry()? {
        if let Entry::Samples { samples, .. } = entry {
            all.extend(samples);
        }
    }
    let found = entries.issues().kept().first().map_or(String::new(), |issue| issue.kind.to_string());
    match all.is_empty() {
        true => Err(WireError::NotMcap { record: entries.message(), found }),
        false => Ok((all, entries.issues().clone())),
    }
}

fn some_samples(count: u32) -> Vec<Sample> {
    let sample = |k: u32| Sample {
        time: SensorTime(f64::from(k) * 1e-3),
        gyro_s_radps: Vector3::new(0.1, 0.2, f64::from(k)),
        accel_s_mps2: Vector3::new(1.0, 9.8, 0.3),
        accel_hi_s_mps2: None,
    };
    (0..count).map(sample).collect()
}

#[test]
fn everything_written_is_read_in_its_order() {
    let samples = some_samples(7);
    let mut entries = McapEntries::new(Cursor::new(written(&samples, 7)));
    let mut found = Vec::new();
    while let Some(entry) = entries.next_entry().unwrap() {
        found.push(entry);
    }
    let expected = [
        Entry::Profile { log_time_ns: 0, toml: TOML.into() },
        Entry::AtThePlate { log_time_ns: 5, context: Box::new(plate()) },
        Entry::Packet(packet(&[1, 2, 3])),
        Entry::Samples { log_time_ns: 6_000_000, samples },
    ];
    assert_eq!(found, expected);
    assert_eq!(entries.issues().count(), 0);
    assert_eq!(entries.sensor(), Some("knob"));
}

#[test]
fn a_profile_of_keys_alone_is_read_too() {
    let mut out = mcap::Writer::new(Cursor::new(Vec::new())).unwrap();
    let schema = out.add_schema(PROFILE_SCHEMA, "jsonschema", b"{}").unwrap();
    let channel_id = out.add_channel(schema, "/any", "json", &Default::default()).unwrap();
    let header = mcap::records::MessageHeader { channel_id, sequence: 0, log_time: 0, publish_time: 0 };
    out.write_to_known_channel(&header, br#"{"swing": {"side": "left", "pitch_speed_mps": 0}}"#).unwrap();
    out.finish().unwrap();
    let file = out.into_inner().into_inner();
    let Some(Entry::Profile { toml, .. }) = McapEntries::new(&file[..]).next_entry().unwrap() else {
        panic!("no profile")
    };
    let (profile, warnings) = Profile::parse(&toml).unwrap();
    assert_eq!((profile.swing.side, profile.swing.pitch_speed_mps), (Side::Left, 0.0));
    assert!(warnings.is_empty());
}

#[test]
fn what_is_no_mcap_is_one_clear_error() {
    for file in [&b""[..], b"\x89", b"t_s,gyro_x_radps\n0,1\n", &[0; 4096], MAGIC] {
        let error = read(file).unwrap_err().to_string();
        assert!(error.starts_with("record 1: the file ") && error.contains("expected an MCAP file"), "{error}");
    }
}

#[test]
fn bad_samples_are_left_out_and_told_of() {
    let mut samples = some_samples(5);
    samples[1].time.0 = -1.0;
    samples[2].time.0 = f64::NAN;
    samples[3].accel_s_mps2.x = f64::INFINITY;
    let (found, issues) = read(&written(&samples, 5)).unwrap();
    assert_eq!(found, [samples[0], samples[4]]);
    let kinds: Vec<_> = issues.kept().iter().map(|issue| issue.kind.to_string()).collect();
    assert_eq!(kinds, ["the time does not increase: -1 s after 0 s", "`t_s` is not finite", "`accel` is not finite"]);
}

const PAGE: &str = include_str!("../../../../proto-docs/recordings.md");

/// The text of the page's examples in a language, in their order.
fn examples(language: &str) -> Vec<&'static str> {
    let parts = PAGE.split("\n```").skip(1).step_by(2);
    parts.filter_map(|part| part.strip_prefix(language)?.strip_prefix('\n')).collect()
}

#[test]
fn every_example_of_the_page_on_recordings_is_true() {
    let (profile, warnings) = Profile::parse(examples("toml")[0]).unwrap();
    assert_eq!((&profile, warnings), (&Profile::default(), Vec::new()));

    let (found, issues) = read_csv(examples("csv")[0]);
    assert_eq!((found.len(), issues), (3, 0));
    assert!(found[1].gyro_s_radps.y.is_nan());

    let hex = examples("hex")[0].split_whitespace().map(|byte| u8::from_str_radix(byte, 16).unwrap());
    let sample = Sample {
        time: SensorTime(0.5),
        gyro_s_radps: Vector3::new(1.0, 2.0, 3.0),
        accel_s_mps2: Vector3::new(0.0, f64::NAN, 9.5),
        accel_hi_s_mps2: None,
    };
    assert_eq!(hex.collect::<Vec<u8>>(), message::samples_to_bytes(&[sample]));

    let profile: serde_json::Value = serde_json::from_str(examples("json")[0]).unwrap();
    let (profile, _) = Profile::parse(profile["toml"].as_str().unwrap()).unwrap();
    assert_eq!((profile.swing.side, profile.swing.pitch_speed_mps), (Side::Left, 0.0));
    let plate: AtThePlate = serde_json::from_str(examples("json")[1]).unwrap();
    assert_eq!((plate.nickname.as_deref(), plate.side), (Some("Wren"), Some(AtThePlateSide::Left)));
    let device: DeviceRecord = serde_json::from_str(examples("json")[2]).unwrap();
    assert_eq!((device.name.as_deref(), device.information()), (Some("knob"), Some(vec![1, 0, 0xe8, 3])));
    let link: LinkRecord = serde_json::from_str(examples("json")[3]).unwrap();
    assert_eq!(link.state, LinkState::Lost);
    // Nothing in them that no reader knows.
    assert_eq!(
        serde_json::to_value(&device).unwrap(),
        serde_json::from_str::<serde_json::Value>(examples("json")[2]).unwrap()
    );
    assert_eq!(
        serde_json::to_value(&link).unwrap(),
        serde_json::from_str::<serde_json::Value>(examples("json")[3]).unwrap()
    );
}

fn read_csv(text: &str) -> (Vec<Sample>, u64) {
    let mut reader = CsvReader::new(text.as_bytes()).unwrap();
    let mut samples = Vec::new();
    reader.read_batch(&mut samples, 100).unwrap();
    (samples, reader.issues().count())
}

/// The ends of the records at the top of a file: opcode, length (u64, little-endian), body (MCAP specification,
/// "Records").
fn record_ends(file: &[u8]) -> Vec<(u8, usize)> {
    let mut at = MAGIC.len();
    let mut ends = Vec::new();
    while let Some(&[opcode, a, b, c, d, e, f, g, h]) = file.get(at..).and_then(|rest| rest.first_chunk::<9>()) {
        at += 9 + u64::from_le_bytes([a, b, c, d, e, f, g, h]) as usize;
        if at > file.len() {
            break;
        }
        ends.push((opcode, at));
    }
    ends
}

const CHUNK: u8 = 0x06;

#[test]
fn a_file_cut_anywhere_gives_every_sample_of_its_whole_records() {
    let samples = some_samples(60);
    let file = written(&samples, 10);
    let chunk_ends: Vec<_> = record_ends(&file).into_iter().filter(|end| end.0 == CHUNK).map(|end| end.1).collect();
    assert_eq!(chunk_ends.len(), 6);
    let near_ends = record_ends(&file).into_iter().flat_map(|(_, end)| end.saturating_sub(6)..end + 2);
    for length in near_ends.chain((0..file.len()).step_by(29)).filter(|&length| length < file.len()) {
        let whole = 10 * chunk_ends.iter().filter(|&&end| end <= length).count();
        match read(&file[..length]) {
            Ok((found, issues)) => {
                // A chunk that lacks only its compressor's closing bytes is whole as far as its sum can tell.
                let more = if whole < samples.len() { 10 } else { 0 };
                assert!(found.len() == whole || found.len() == whole + more, "{} of {whole} at {length}", found.len());
                assert_eq!(found, samples[..found.len()], "cut at {length}");
                assert_eq!(issues.kept().last().map(|issue| &issue.kind), Some(&IssueKind::Truncated));
            }
            Err(error) => assert!(whole == 0 && matches!(error, WireError::NotMcap { .. }), "{error} at {length}"),
        }
    }
    assert_eq!(read(&file).unwrap().1.count(), 0);
}

/// Takes what is written, and counts the calls.
#[derive(Debug, Default)]
struct Calls {
    file: Cursor<Vec<u8>>,
    writes: usize,
}

impl Write for Calls {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.writes += 1;
        self.file.write(bytes)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

impl Seek for Calls {
    fn seek(&mut self, to: SeekFrom) -> std::io::Result<u64> {
        self.file.seek(to)
    }
}

/// One of each kind, and samples of which a reader uses none, as their times go back.
fn one_of_each() -> Vec<Entry> {
    let link = LinkRecord { state: LinkState::Lost, cause: Some("out of range".into()) };
    vec![
        Entry::Device { log_time_ns: 1, device: DeviceRecord::default().with_information(&[1, 254]) },
        Entry::Profile { log_time_ns: 2, toml: TOML.into() },
        Entry::AtThePlate { log_time_ns: 3, context: Box::new(plate()) },
        Entry::Packet(packet(&[9; 60])),
        Entry::Samples { log_time_ns: 4, samples: some_samples(3) },
        Entry::Link { log_time_ns: 5, link },
        Entry::Samples { log_time_ns: 6, samples: some_samples(2) },
        Entry::Packet(packet(&[8; 3])),
    ]
}

/// A live file that nobody finished, and how long it was after its head and after each entry.
fn written_live(entries: &[Entry]) -> (Vec<u8>, Vec<usize>) {
    let calls = std::io::BufWriter::with_capacity(1 << 20, Calls::default());
    let mut writer = McapWriter::live(calls, "knob").unwrap();
    writer.flush().unwrap();
    for entry in entries {
        writer.write_entry(entry).unwrap();
        writer.flush().unwrap();
    }
    let calls = writer.into_unfinished().into_inner().unwrap();
    assert_eq!(calls.writes, 1 + entries.len(), "each flush is one write");
    let file = calls.file.into_inner();
    let ends = record_ends(&file);
    let first = ends.iter().position(|end| end.0 == MESSAGE).unwrap();
    let lengths = ends[first - 1..].iter().map(|end| end.1).collect();
    (file, lengths)
}

const MESSAGE: u8 = 0x05;

fn entries_of(file: &[u8]) -> (Vec<Entry>, IssueLog) {
    let mut entries = McapEntries::new(file);
    let next = || entries.next_entry().unwrap();
    (std::iter::from_fn(next).collect(), entries.issues().clone())
}

#[test]
fn a_live_file_cut_anywhere_gives_every_whole_entry() {
    let written = one_of_each();
    let (file, lengths) = written_live(&written);
    assert_eq!((lengths.len(), lengths[8]), (9, file.len()));
    // Two samples that a reader leaves out are in the last but one.
    let readable: Vec<_> = written.iter().filter(|entry| entry != &&written[6]).cloned().collect();
    for length in MAGIC.len()..=file.len() {
        let (found, issues) = entries_of(&file[..length]);
        let whole = lengths.iter().filter(|&&end| end <= length).count().saturating_sub(1);
        assert_eq!(found, readable[..whole - usize::from(whole >= 7)], "cut at {length}");
        assert_eq!(issues.kept().last().map(|issue| &issue.kind), Some(&IssueKind::Truncated));
    }
}

#[test]
fn a_live_file_is_copied_into_a_whole_one_message_by_message() {
    let (file, lengths) = written_live(&one_of_each());
    for length in 0..=file.len() {
        let mut copy = McapCopy::new(&file[..length], Cursor::new(Vec::new())).unwrap();
        while copy.copy_some(3).unwrap() {}
        let whole = lengths.iter().filter(|&&end| end <= length).count().saturating_sub(1);
        let end = if whole > 0 { lengths[whole] } else { 0 };
        assert_eq!((copy.copied(), copy.copied_bytes()), (whole as u64, end as u64), "cut at {length}");
        assert_eq!(copy.source_end(), Some(&SourceEnd::Cut));
        let copied = copy.finish().unwrap().into_inner();
        assert!(same_messages(&file[..length], &copied[..]).unwrap());
        assert!(whole == 8 || !same_messages(&file[..], &copied[..]).unwrap());
        assert_eq!(mcap::Summary::read(&copied).unwrap().unwrap().stats.unwrap().message_count, whole as u64);
    }
}

#[test]
fn a_copy_ends_where_its_source_is_damaged_and_fails_where_it_cannot_be_read() {
    let (mut file, lengths) = written_live(&one_of_each());
    file[lengths[3] + 1..lengths[3] + 9].fill(0xff);
    let mut copy = McapCopy::new(&file[..], Cursor::new(Vec::new())).unwrap();
    assert!(!copy.copy_some(100).unwrap());
    assert_eq!((copy.copied(), copy.copied_bytes()), (3, lengths[3] as u64));
    assert!(matches!(copy.source_end(), Some(SourceEnd::Damaged(_))));

    struct Unreadable;
    impl Read for Unreadable {
        fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
            Err(std::io::ErrorKind::PermissionDenied.into())
        }
    }
    let mut copy = McapCopy::new(file[..lengths[2]].chain(Unreadable), Cursor::new(Vec::new())).unwrap();
    assert_eq!(copy.copy_some(100).unwrap_err().kind(), std::io::ErrorKind::PermissionDenied);
}

#[test]
fn a_chunk_that_is_no_longer_seen_is_missed() {
    let samples = some_samples(40);
    let mut file = written(&samples, 10);
    let ends = record_ends(&file);
    let second = ends.windows(2).filter(|pair| pair[1].0 == CHUNK).nth(1).unwrap();
    // An opcode that no record has (MCAP specification, "Records"): readers pass it over.
    file[second[0].1] = 0x7f;
    let (found, issues) = read(&file).unwrap();
    assert_eq!(found, [&samples[..10], &samples[20..]].concat());
    let told: Vec<_> = issues.kept().iter().map(|issue| issue.kind.to_string()).collect();
    assert!(told.len() == 1 && told[0].contains("Data section CRC failed"), "{told:?}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    #[test]
    fn what_is_written_reads_back_bit_for_bit(
        samples in any_samples(1..200),
        more in any_samples(0..3),
        flush_every in 1..100_usize,
    ) {
        // Further samples, perhaps with another set of channels, behind them in time.
        let last_s = samples.last().map_or(0.0, |sample| sample.time.0);
        let first_s = more.first().map_or(0.0, |sample| sample.time.0);
        let later = more.into_iter().map(|mut sample| {
            sample.time.0 += last_s - first_s + 1.0;
            sample
        });
        let samples: Vec<_> = samples.into_iter().chain(later).collect();
        let (found, issues) = read(&written(&samples, flush_every)).unwrap();
        prop_assert_eq!(issues.count(), 0);
        prop_assert_eq!(bits_of(&found), bits_of(&samples));
    }

    #[test]
    fn flipped_bits_never_panic_nor_pass_unnoticed(
        flips in proptest::collection::vec((any::<prop::sample::Index>(), 0..8_u8), 1..4),
    ) {
        let samples = some_samples(200);
        let mut file = written(&samples, 40);
        let end_of_data = record_ends(&file).iter().filter(|end| end.0 == CHUNK).map(|end| end.1).max().unwrap();
        flips.iter().for_each(|(at, bit)| file[at.index(end_of_data)] ^= 1 << bit);
        // Neither the flip nor a sample that it changed may pass.
        let told = match read(&file) {
            Ok((found, issues)) => {
                let unchanged = found.iter().all(|sample| samples.contains(sample));
                unchanged && (issues.count() > 0 || found == samples)
            }
            Err(_) => true,
        };
        prop_assert!(told);
    }

    #[test]
    fn garbage_behind_the_magic_never_panics(garbage in proptest::collection::vec(any::<u8>(), 0..300), opcode in 0..20_u8) {
        let mut file = MAGIC.to_vec();
        file.push(opcode);
        file.extend(garbage);
        prop_assert!(read(&file).is_err());
    }

    #[test]
    fn packets_come_back_whole(bytes in proptest::collection::vec(any::<u8>(), 0..260), sensor in "\\PC{0,20}", received_utc_ns: i64) {
        let packet = Packet { received_utc_ns, sensor, ..packet(&bytes) };
        prop_assert_eq!(Packet::from_bytes(&packet.to_bytes()), Ok(packet));
    }

    #[test]
    fn hostile_messages_never_panic(bytes in proptest::collection::vec(any::<u8>(), 0..120)) {
        let _ = Packet::from_bytes(&bytes);
        let mut samples = Vec::new();
        let _ = message::samples_from_bytes(&[&[0, 1, 0, 0], &bytes[..]].concat(), &mut samples);
    }
}
