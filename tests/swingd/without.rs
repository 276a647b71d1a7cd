//! A lesson of two athletes at one sensor, and the same without one of them: what a session tells of the other's swings.
//!
//! The bundled lesson, as samples and as the packets of a sensor of the project's own profile. Wren is at the plate to 60 s,
//! Tern to 97 s, then Wren again, counted from the first sample: three swings, three and two. The routine that calibrates
//! the mount is within the first 25 s.

use std::collections::BTreeMap;
use std::io::Cursor;
use std::path::Path;
use std::sync::OnceLock;
use swingd::engine::device::RawReading;
use swingd::engine::device::own::{self, Information, PacketHeader, encode_packet};
use swingd::engine::metrics::{Flag, Metric};
use swingd::engine::profile::Profile;
use swingd::engine::sample::{ClockSummary, Sample};
use swingd::engine::session::{Session, Told};
use swingd::engine::swing::Swing;
use swingd::engine::wire::mcap::{
    AtThePlate, Cut, DeviceRecord, Entry, McapEntries, McapWriter, Packet, SourceEnd, copy_without,
};

/// Who is at the plate from when on, s.
const PLATES: [(f64, &str); 3] = [(0.0, "Wren"), (60.0, "Tern"), (97.0, "Wren")];
const BEGIN_UTC_NS: i64 = 1_764_087_018_000_000_000;
const PER_PACKET: usize = 16;
/// A swing is the same if its contact is this near, s.
const SAME_S: f64 = 0.02;

fn lesson() -> (String, Vec<Sample>) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("replay-data/lesson.mcap");
    let mut entries = McapEntries::new(std::fs::File::open(path).unwrap());
    let (mut toml, mut all) = (None, Vec::new());
    while let Some(entry) = entries.next_entry().unwrap() {
        match entry {
            Entry::Profile { toml: text, .. } => toml = Some(text),
            Entry::Samples { samples, .. } => all.extend(samples),
            _ => {}
        }
    }
    (toml.unwrap(), all)
}

/// The lesson with its plates, each piece of samples as one entry or as a packet.
fn recorded(plates: &[(f64, &str)], in_packets: bool) -> Vec<Entry> {
    let (toml, samples) = lesson();
    let information = Information::of(&Profile::parse(&toml).unwrap().0.sensor, 1000.0);
    let mut entries = vec![Entry::Profile { log_time_ns: 0, toml }];
    if in_packets {
        let device = DeviceRecord::default().with_information(&information.encode());
        entries.push(Entry::Device { log_time_ns: 0, device });
    }
    let mut plates = plates.iter().peekable();
    for (k, piece) in samples.chunks(PER_PACKET).enumerate() {
        while let Some((_, name)) = plates.next_if(|(from_s, _)| piece[0].time.0 - samples[0].time.0 >= *from_s) {
            let context = AtThePlate { nickname: Some((*name).into()), ..AtThePlate::default() };
            entries.push(Entry::AtThePlate { log_time_ns: 0, context: Box::new(context) });
        }
        entries.push(match in_packets {
            true => Entry::Packet(packet(&information, k, piece)),
            false => Entry::Samples { log_time_ns: 0, samples: piece.to_vec() },
        });
    }
    entries
}

/// The `k`-th packet, received as its last reading is taken.
fn packet(information: &Information, k: usize, piece: &[Sample]) -> Packet {
    let first_ms = k * PER_PACKET;
    let tick = (first_ms as u64 * 1000) as u32;
    let received_utc_ns = BEGIN_UTC_NS + (first_ms + piece.len() - 1) as i64 * 1_000_000;
    let header = PacketHeader {
        sequence: k as u16,
        tick,
        span_ticks: 1000 * (piece.len() as u32 - 1),
        ..PacketHeader::default()
    };
    let reading = |sample: &Sample| RawReading {
        gyro_s_radps: Some(sample.gyro_s_radps),
        accel_s_mps2: Some(sample.accel_s_mps2),
        accel_hi_s_mps2: None,
    };
    let readings: Vec<_> = piece.iter().map(reading).collect();
    let bytes = encode_packet(information, &header, &readings).unwrap();
    Packet { received_utc_ns, sensor: "knob".into(), characteristic: own::DATA.into(), bytes }
}

fn written(entries: &[Entry]) -> Vec<u8> {
    let mut writer = McapWriter::new(Cursor::new(Vec::new()), "knob").unwrap();
    entries.iter().for_each(|entry| writer.write_entry(entry).unwrap());
    writer.finish().unwrap().into_inner()
}

fn without(file: &[u8], name: &str) -> (Vec<u8>, Cut) {
    let is_theirs = |context: &AtThePlate| context.nickname.as_deref() == Some(name);
    let (out, cut) = copy_without(file, Cursor::new(Vec::new()), &is_theirs, false).unwrap();
    (out.into_inner(), cut)
}

/// What a session says of a file: the last word on each swing with who was at the plate, the clock, the stretches.
struct Replayed {
    swings: Vec<(String, Swing)>,
    clock: ClockSummary,
    lost_samples: u64,
    runs: usize,
}

fn replayed(file: &[u8]) -> Replayed {
    let (mut entries, mut session, mut told) = (McapEntries::new(file), Session::new(), Vec::new());
    while let Some(entry) = entries.next_entry().unwrap() {
        told.extend(session.take(&entry));
    }
    told.extend(session.finish());
    assert_eq!(entries.issues().count(), 0);
    let runs = told.iter().filter(|told| matches!(told, Told::Anew { .. })).count();
    let mut swings = BTreeMap::new();
    for told in told {
        match told {
            Told::Swing(told) => drop(swings.insert(told.number, (told.at_the_plate.nickname.unwrap(), told.swing))),
            Told::Problem(problem) => panic!("{problem}"),
            _ => {}
        }
    }
    let lost_samples = session.counts().lost_samples;
    Replayed { swings: swings.into_values().collect(), clock: session.clock(), lost_samples, runs }
}

/// The lesson in packets, all of it one athlete's.
fn wrens_alone() -> &'static Replayed {
    static WHOLE: OnceLock<Replayed> = OnceLock::new();
    WHOLE.get_or_init(|| replayed(&written(&recorded(&[(0.0, "Wren")], true))))
}

/// The greatest change of a contact, ms, and of a metric, in σ of both estimates together.
fn changes(before: &[(String, Swing)], after: &[(String, Swing)]) -> (f64, f64) {
    assert_eq!(before.len(), after.len());
    let (mut contact_ms, mut sigmas) = (0.0_f64, 0.0_f64);
    for ((name, was), (other, is)) in before.iter().zip(after) {
        let moved_s = (was.contact.0 - is.contact.0).abs();
        assert!(name == other && moved_s < SAME_S && was.contact_kind == is.contact_kind, "{was:?}");
        contact_ms = contact_ms.max(moved_s * 1e3);
        for metric in Metric::ALL {
            let (Some(was), Some(is)) = (was.metrics[metric.index()], is.metrics[metric.index()]) else { continue };
            let off = (was.value - is.value).abs() / was.sigma.hypot(is.sigma);
            sigmas = sigmas.max(off);
        }
    }
    (contact_ms, sigmas)
}

fn of(replayed: &Replayed, name: &str) -> Vec<(String, Swing)> {
    replayed.swings.iter().filter(|(owner, _)| owner == name).cloned().collect()
}

/// The entries of a file without those of one athlete, by another way than the copy's.
fn others(entries: &[Entry], name: &str) -> Vec<Entry> {
    let mut theirs = false;
    let mut kept = Vec::new();
    for entry in entries {
        if let Entry::AtThePlate { context, .. } = entry {
            theirs = context.nickname.as_deref() == Some(name);
        }
        let is_sent = matches!(entry, Entry::Packet(_) | Entry::Samples { .. } | Entry::AtThePlate { .. });
        kept.extend((!(theirs && is_sent)).then(|| entry.clone()));
    }
    kept
}

/// With the routine and a swing before and after, contacts stay to the bit and metrics move by 0.19 σ, as later rests are
/// gone. Without the routine and with other rests around them, Tern's contacts move by 0.028 ms (of a σ of 0.1 ms) and
/// their metrics by 1.15 σ. No swing in them gets a flag, as a rest lies between the cut and the first.
#[test]
fn without_one_athlete_the_others_swings_are_still_told_and_hardly_otherwise() {
    for in_packets in [false, true] {
        let entries = recorded(&PLATES, in_packets);
        let file = written(&entries);
        let whole = replayed(&file);
        assert_eq!((of(&whole, "Wren").len(), of(&whole, "Tern").len(), whole.clock.gaps), (5, 3, 0));
        for (gone, other, most_ms, most_sigmas) in [("Tern", "Wren", 1e-6, 0.3), ("Wren", "Tern", 0.05, 1.5)] {
            let (cut_file, cut) = without(&file, gone);
            assert!(cut.has_sent() && cut.source_end == SourceEnd::Whole);
            let (mut found, mut left) = (McapEntries::new(&cut_file[..]), Vec::new());
            while let Some(entry) = found.next_entry().unwrap() {
                left.push(entry);
            }
            assert!(left == others(&entries, gone), "packets: {in_packets}, without {gone}");
            let after = replayed(&cut_file);
            let (contact_ms, sigmas) = changes(&of(&whole, other), &after.swings);
            println!("packets: {in_packets}, without {gone}: contacts {contact_ms:.4} ms, metrics {sigmas:.2} σ");
            assert!(contact_ms < most_ms && sigmas < most_sigmas);
            assert!(after.swings.iter().all(|(_, swing)| swing.flags.is_empty()));
            // What is missing in the middle is a gap, and in packets it was lost; nothing begins anew.
            let missing = if gone == "Tern" { whole.clock.samples - after.clock.samples } else { 0 };
            assert_eq!((after.clock.gaps, after.clock.missing_samples), (u64::from(missing > 0), missing));
            assert_eq!((after.lost_samples, after.runs), (if in_packets { missing } else { 0 }, 0));
        }
    }
}

/// Where the other's turn begins 0.3 s before contact, with no rest of theirs before it, the swing says that something is
/// missing; those after a rest of theirs do not.
#[test]
fn a_swing_right_behind_a_cut_is_flagged() {
    // In packets the clock begins with the first of them, as the plates do.
    let whole = wrens_alone();
    let behind = &whole.swings[4].1;
    assert!(behind.flags.is_empty());
    let back_s = behind.contact.0 - 0.3;
    let file = written(&recorded(&[(0.0, "Wren"), (60.0, "Tern"), (back_s, "Wren")], true));
    let after = replayed(&without(&file, "Tern").0);
    let found = |swing: &Swing| after.swings.iter().find(|(_, is)| (is.contact.0 - swing.contact.0).abs() < SAME_S);
    let is = &found(behind).expect("the swing behind the cut").1;
    println!("{:?}, contact {:.3} ms off", is.flags, (is.contact.0 - behind.contact.0) * 1e3);
    assert!(is.flags.contains(&Flag::Gap), "{:?}", is.flags);
    let others = [0, 1, 2, 5, 6, 7].map(|k| &whole.swings[k].1);
    assert!(others.iter().all(|swing| found(swing).is_some_and(|(_, is)| is.flags.is_empty())));
    assert!(found(&whole.swings[3].1).is_none());
}

/// A turn of 80 minutes is longer than packet numbers (17 minutes) and ticks (71 minutes) count: receive times tell how long
/// it was, so that what follows keeps its place.
#[test]
fn a_cut_longer_than_the_sensor_counts_keeps_what_follows_in_its_place() {
    const PACKETS: usize = 80 * 60 * 1000 / PER_PACKET;
    let (toml, samples) = lesson();
    let information = Information::of(&Profile::parse(&toml).unwrap().0.sensor, 1000.0);
    let device = DeviceRecord::default().with_information(&information.encode());
    let mut entries = vec![Entry::Profile { log_time_ns: 0, toml }, Entry::Device { log_time_ns: 0, device }];
    for (k, piece) in samples.chunks_exact(PER_PACKET).enumerate() {
        let k = if k * PER_PACKET >= 60_000 { k + PACKETS } else { k };
        entries.push(Entry::Packet(packet(&information, k, piece)));
    }
    let far = replayed(&written(&[&plate("Wren")[..], &entries].concat()));
    let near = wrens_alone();
    assert_eq!((far.runs, far.clock.gaps, far.clock.missing_samples), (0, 1, (PACKETS * PER_PACKET) as u64));
    assert_eq!(far.swings.len(), near.swings.len());
    for ((_, is), (_, was)) in far.swings.iter().zip(&near.swings) {
        let shift_s = if was.contact.0 > 60.0 { 4800.0 } else { 0.0 };
        assert!((is.contact.0 - was.contact.0 - shift_s).abs() < 1e-4, "{:?} {:?}", is.contact, was.contact);
    }
}

fn plate(name: &str) -> Vec<Entry> {
    let context = AtThePlate { nickname: Some(name.into()), ..AtThePlate::default() };
    vec![Entry::AtThePlate { log_time_ns: 0, context: Box::new(context) }]
}
