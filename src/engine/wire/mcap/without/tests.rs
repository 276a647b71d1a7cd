use std::io::{Cursor, Read, Seek, SeekFrom, Write};

use mcap::records::Record;
use nalgebra::Vector3;
use proptest::prelude::*;

use super::*;
use crate::engine::sample::{Sample, SensorTime};
use crate::engine::wire::mcap::{DeviceRecord, Entry, LinkRecord, LinkState, McapEntries, McapWriter, Packet};

fn plate(nickname: Option<&str>) -> Entry {
    let context = AtThePlate { nickname: nickname.map(str::to_owned), ..AtThePlate::default() };
    Entry::AtThePlate { log_time_ns: 1, context: Box::new(context) }
}

/// A packet of forty bytes that no other has.
fn packet(k: u8) -> Entry {
    let (sensor, characteristic) = ("knob".to_owned(), "7b1e0001-5a4d-4c3b-9f2e-0d1c2b3a4958".to_owned());
    let bytes = (0..40_u8).map(|at| at.wrapping_mul(k).wrapping_add(k)).collect();
    Entry::Packet(Packet { received_utc_ns: i64::from(k), sensor, characteristic, bytes })
}

fn samples(k: u8) -> Entry {
    let sample = Sample {
        time: SensorTime(f64::from(k)),
        gyro_s_radps: Vector3::repeat(f64::from(k) + 0.123_456_789),
        accel_s_mps2: Vector3::repeat(9.8),
        accel_hi_s_mps2: None,
    };
    Entry::Samples { log_time_ns: u64::from(k), samples: vec![sample] }
}

fn profile(k: u64) -> Entry {
    Entry::Profile { log_time_ns: k, toml: "[swing]\nside = \"left\"\n".into() }
}

fn lost() -> Entry {
    Entry::Link { log_time_ns: 3, link: LinkRecord { state: LinkState::Lost, cause: Some("out of range".into()) } }
}

/// Nobody, Wren, Tern, Wren, nobody.
fn all() -> Vec<Entry> {
    let device = DeviceRecord::default().with_information(&[1, 254]);
    vec![
        Entry::Device { log_time_ns: 1, device },
        profile(1),
        packet(1),
        plate(Some("Wren")),
        packet(2),
        samples(3),
        profile(2),
        lost(),
        packet(4),
        plate(Some("Tern")),
        packet(5),
        samples(6),
        plate(Some("Wren")),
        packet(7),
        plate(None),
        samples(8),
        packet(9),
    ]
}

fn written(entries: &[Entry]) -> Vec<u8> {
    let mut writer = McapWriter::new(Cursor::new(Vec::new()), "knob").unwrap();
    entries.iter().for_each(|entry| writer.write_entry(entry).unwrap());
    writer.finish().unwrap().into_inner()
}

fn without(file: &[u8], nickname: &str, before: bool) -> (Vec<u8>, Cut) {
    let is_theirs = |context: &AtThePlate| context.nickname.as_deref() == Some(nickname);
    let (out, cut) = copy_without(file, Cursor::new(Vec::new()), &is_theirs, before).unwrap();
    (out.into_inner(), cut)
}

fn entries_of(file: &[u8]) -> Vec<Entry> {
    let mut entries = McapEntries::new(file);
    let found = std::iter::from_fn(|| entries.next_entry().unwrap()).collect();
    assert_eq!(entries.issues().count(), 0);
    found
}

/// Every byte in a file, chunks unpacked.
fn unpacked(file: &[u8]) -> Vec<u8> {
    let mut bytes = file.to_vec();
    for record in mcap::read::LinearReader::new(file).unwrap() {
        if let Record::Chunk { header, data } = record.unwrap() {
            for inner in mcap::read::ChunkReader::new(header, &data).unwrap() {
                match inner.unwrap() {
                    Record::Message { data, .. } => bytes.extend(&data[..]),
                    Record::Schema { data, .. } => bytes.extend(&data[..]),
                    other => bytes.extend(format!("{other:?}").bytes()),
                }
            }
        }
    }
    bytes
}

fn holds(bytes: &[u8], part: &[u8]) -> bool {
    bytes.windows(part.len()).any(|window| window == part)
}

#[test]
fn what_they_did_and_their_name_are_gone_and_all_else_is_there_in_its_order() {
    let (file, cut) = without(&written(&all()), "Wren", false);
    let kept: Vec<Entry> =
        all().into_iter().enumerate().filter(|(k, _)| ![3, 4, 5, 8, 12, 13].contains(k)).map(|it| it.1).collect();
    assert_eq!(entries_of(&file), kept);
    let expected = Cut { kept: 11, removed: 6, kept_sent: 5, removed_sent: 4, source_end: SourceEnd::Whole };
    assert_eq!(cut, expected);
    assert!(cut.has_sent());
    let (whole, bytes) = (unpacked(&written(&all())), unpacked(&file));
    for entry in [packet(2), packet(4), packet(7)] {
        let Entry::Packet(packet) = entry else { unreachable!() };
        assert!(holds(&whole, &packet.bytes) && !holds(&bytes, &packet.bytes), "{packet:?}");
        assert!(!holds(&bytes, &packet.bytes[..12]), "a part of {packet:?}");
    }
    let Entry::Packet(kept) = packet(5) else { unreachable!() };
    assert!(holds(&bytes, &kept.bytes));
    let theirs = (3.0 + 0.123_456_789_f64).to_le_bytes();
    assert!(holds(&whole, &theirs) && !holds(&bytes, &theirs));
    assert!(holds(&whole, b"Wren") && !holds(&bytes, b"Wren") && holds(&bytes, b"Tern"));
    assert_eq!(mcap::Summary::read(&file).unwrap().unwrap().stats.unwrap().message_count, 11);
}

#[test]
fn what_comes_before_anyone_is_whose_one_says() {
    let (file, cut) = without(&written(&all()), "Wren", true);
    assert_eq!((cut.removed, cut.removed_sent, cut.kept_sent), (7, 5, 4));
    assert!(!entries_of(&file).contains(&packet(1)));
    // Device and profile stay: what follows is read with them.
    assert_eq!(entries_of(&file)[..2], all()[..2]);
}

#[test]
fn a_recording_of_one_athlete_has_nothing_to_measure_without_them() {
    let mine = &all()[..9];
    let (file, cut) = without(&written(mine), "Wren", true);
    assert!(!cut.has_sent());
    assert_eq!((cut.kept, cut.removed_sent, entries_of(&file).len()), (4, 4, 4));
    // Of somebody who was never there nothing is removed.
    let (file, cut) = without(&written(&all()), "Finch", false);
    assert_eq!((cut.removed, cut.kept), (0, 17));
    assert!(crate::engine::wire::mcap::same_messages(&file[..], &written(&all())[..]).unwrap());
}

/// A plate that cannot be read may name anyone; whoever was at the plate still is. A message of an unknown kind is theirs
/// while they are there.
#[test]
fn what_nobody_can_read_is_left_out_where_it_may_be_theirs() {
    let mut out = mcap::Writer::new(Cursor::new(Vec::new())).unwrap();
    let mut channel = |schema: &str, encoding: &str| {
        let schema = out.add_schema(schema, "x", b"").unwrap();
        out.add_channel(schema, &format!("/{schema}{encoding}"), encoding, &Default::default()).unwrap()
    };
    let plates = channel(AT_THE_PLATE_SCHEMA, "json");
    let odd_plates = channel(AT_THE_PLATE_SCHEMA, "cbor");
    let other = channel("someone/else", "json");
    let messages: [(u16, &[u8]); 8] = [
        (other, b"0"),
        (plates, br#"{"nickname": "Tern"}"#),
        (plates, b"Wren!"),
        (other, b"1"),
        (plates, br#"{"nickname": "Wren"}"#),
        (other, b"2"),
        (odd_plates, br#"{"nickname": "Tern"}"#),
        (other, b"3"),
    ];
    for (channel_id, text) in messages {
        let header = mcap::records::MessageHeader { channel_id, sequence: 0, log_time: 0, publish_time: 0 };
        out.write_to_known_channel(&header, text).unwrap();
    }
    out.finish().unwrap();
    let (file, cut) = without(&out.into_inner().into_inner(), "Wren", false);
    let kept: Vec<Vec<u8>> =
        mcap::MessageStream::new(&file).unwrap().map(|message| message.unwrap().data.to_vec()).collect();
    assert_eq!(kept, [&messages[0].1, &messages[1].1, &messages[3].1].map(|text| text.to_vec()));
    assert_eq!((cut.kept, cut.removed), (3, 5));
}

/// Reads or writes no more after so many calls.
struct Failing<T> {
    inner: T,
    left: usize,
}

impl<T> Failing<T> {
    fn call(&mut self) -> std::io::Result<&mut T> {
        self.left = self.left.checked_sub(1).ok_or(std::io::ErrorKind::PermissionDenied)?;
        Ok(&mut self.inner)
    }
}

impl<T: Read> Read for Failing<T> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let few = buffer.len().min(100);
        self.call()?.read(&mut buffer[..few])
    }
}

impl<T: Write> Write for Failing<T> {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.call()?.write(bytes)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.inner.flush()
    }
}

impl<T: Seek> Seek for Failing<T> {
    fn seek(&mut self, to: SeekFrom) -> std::io::Result<u64> {
        self.inner.seek(to)
    }
}

#[test]
fn a_disk_that_fails_at_any_call_is_an_error_and_no_end() {
    let file = written(&all());
    let is_theirs = |_: &AtThePlate| false;
    let (mut failed_reads, mut failed_writes) = (0, 0);
    for left in 0..200 {
        let source = Failing { inner: &file[..], left };
        match copy_without(source, Cursor::new(Vec::new()), &is_theirs, false) {
            Ok((_, cut)) => assert_eq!((cut.kept, cut.source_end), (17, SourceEnd::Whole)),
            Err(error) => {
                assert_eq!(error.kind(), std::io::ErrorKind::PermissionDenied);
                failed_reads += 1;
            }
        }
        let out = Failing { inner: Cursor::new(Vec::new()), left };
        // The compressor wraps what its output says.
        failed_writes += i32::from(copy_without(&file[..], out, &is_theirs, false).is_err());
    }
    assert!((10..200).contains(&failed_reads) && (10..200).contains(&failed_writes), "{failed_reads} {failed_writes}");
}

#[test]
fn a_live_file_cut_anywhere_gives_what_is_whole_in_it() {
    let mut writer = McapWriter::live(Cursor::new(Vec::new()), "knob").unwrap();
    all().iter().for_each(|entry| writer.write_entry(entry).unwrap());
    let file = writer.into_unfinished().into_inner();
    let theirs = [2, 4, 7].map(packet);
    let mut most = 0;
    for length in 0..=file.len() {
        let (out, cut) = without(&file[..length], "Wren", false);
        assert_eq!(cut.source_end, SourceEnd::Cut, "cut at {length}");
        assert!(entries_of(&out).iter().all(|entry| !theirs.contains(entry)), "cut at {length}");
        assert_eq!(entries_of(&out).len() as u64, cut.kept);
        most = most.max(cut.kept + cut.removed);
    }
    assert_eq!(most, 17);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn hostile_files_never_panic_and_what_is_written_can_be_read(
        flips in prop::collection::vec((any::<prop::sample::Index>(), 0..8_u8), 0..6),
        length in any::<prop::sample::Index>(),
        is_live: bool,
        before: bool,
    ) {
        let cursor = Cursor::new(Vec::new());
        let mut writer = if is_live { McapWriter::live(cursor, "knob") } else { McapWriter::new(cursor, "knob") }.unwrap();
        all().iter().for_each(|entry| writer.write_entry(entry).unwrap());
        let mut file = writer.finish().unwrap().into_inner();
        flips.iter().for_each(|(at, bit)| { let at = at.index(file.len()); file[at] ^= 1 << bit; });
        let length = length.index(file.len() + 1);
        let is_theirs = |context: &AtThePlate| context.nickname.as_deref() == Some("Wren");
        let (out, cut) = copy_without(&file[..length], Cursor::new(Vec::new()), &is_theirs, before).unwrap();
        let out = out.into_inner();
        let messages = mcap::MessageStream::new(&out).unwrap().filter(Result::is_ok).count();
        prop_assert_eq!(messages as u64, cut.kept);
    }

    #[test]
    fn garbage_never_panics(garbage in prop::collection::vec(any::<u8>(), 0..300), opcode in 0..20_u8, has_magic: bool) {
        let mut file = if has_magic { crate::engine::wire::mcap::MAGIC.to_vec() } else { Vec::new() };
        file.push(opcode);
        file.extend(garbage);
        let (_, cut) = without(&file, "Wren", false);
        prop_assert!(cut.kept == 0 && cut.source_end != SourceEnd::Whole);
    }
}

#[test]
fn without_names_nobody_is_named_and_all_that_was_sent_stays() {
    let file = written(&all());
    let (out, cut) = copy_without_names(&file[..], Cursor::new(Vec::new())).unwrap();
    let out = out.into_inner();
    let expected: Vec<_> = all().into_iter().filter(|entry| !matches!(entry, Entry::AtThePlate { .. })).collect();
    assert_eq!(entries_of(&out), expected);
    assert_eq!((cut.removed, cut.removed_sent, cut.kept_sent), (4, 0, 9));
}
