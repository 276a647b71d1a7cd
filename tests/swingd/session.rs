//! Sessions: what stands in a recording in, what is told out.

use swingd::engine::metrics::Metric;
use swingd::engine::profile::Profile;
use swingd::engine::sample::{Sample, SensorTime};
use swingd::engine::session::{Session, Told, ToldSwing};
use swingd::engine::swing::Swing;
use swingd::engine::wire::mcap::{AtThePlate, AtThePlateSide, DeviceRecord, Entry, Packet};
use swingd::engine::{Engine, Event, Stage};
use swingd::sim::{Kind, Preset, Scenario, Simulated, SwingKind};

fn simulated(seed: u64) -> Simulated {
    Scenario::new(Kind::Swing(SwingKind::Ball), Preset::Good, seed).run()
}

fn profile(simulated: &Simulated) -> Entry {
    Entry::Profile { log_time_ns: 0, toml: simulated.profile.to_toml() }
}

fn plate(nickname: &str, side: AtThePlateSide) -> Entry {
    let context = AtThePlate { nickname: Some(nickname.into()), side: Some(side), ..AtThePlate::default() };
    Entry::AtThePlate { log_time_ns: 0, context: Box::new(context) }
}

/// The samples, shifted in time, in pieces of 50.
fn samples(simulated: &Simulated, shift_s: f64) -> Vec<Entry> {
    let shifted = |sample: &Sample| Sample { time: SensorTime(sample.time.0 + shift_s), ..*sample };
    let all: Vec<Sample> = simulated.samples.iter().map(shifted).collect();
    all.chunks(50).map(|piece| Entry::Samples { log_time_ns: 0, samples: piece.to_vec() }).collect()
}

fn told(session: &mut Session, entries: &[Entry]) -> Vec<Told> {
    entries.iter().flat_map(|entry| session.take(entry)).collect()
}

fn swings(told: &[Told]) -> Vec<&ToldSwing> {
    let swing = |told: &'_ Told| matches!(told, Told::Swing(_));
    told.iter()
        .filter(|told| swing(told))
        .filter_map(|told| if let Told::Swing(s) = told { Some(&**s) } else { None })
        .collect()
}

/// A session of samples is the engine with a number and an owner.
#[test]
fn a_session_tells_what_its_engine_tells() {
    let simulated = simulated(61_001);
    let mut session = Session::new();
    session.take(&profile(&simulated));
    let mut all = told(&mut session, &samples(&simulated, 0.0));
    all.extend(session.finish());
    let mut engine = Engine::new(Profile::parse(&simulated.profile.to_toml()).unwrap().0);
    let mut events = engine.push(&simulated.samples);
    events.extend(engine.finish());
    assert_eq!(all.len(), events.len());
    let expected: Vec<&Swing> = events
        .iter()
        .filter_map(|event| if let Event::Swing { swing, .. } = event { Some(&**swing) } else { None })
        .collect();
    assert_eq!(swings(&all).iter().map(|told| &told.swing).collect::<Vec<_>>(), expected);
    assert_eq!(swings(&all)[0].contact_utc, None, "nothing was received");
}

#[test]
fn a_swing_belongs_to_who_was_at_the_plate_when_it_was_told_first() {
    let simulated = simulated(61_002);
    let mut session = Session::new();
    session.take(&profile(&simulated));
    session.take(&plate("Wren", AtThePlateSide::Left));
    let entries = samples(&simulated, 0.0);
    let first = entries.iter().position(|entry| !swings(&session.take(entry)).is_empty()).unwrap();
    session.take(&plate("Finch", AtThePlateSide::Right));
    let mut rest = told(&mut session, &entries[first + 1..]);
    rest.extend(session.finish());
    let last = *swings(&rest).last().unwrap();
    assert_eq!((last.stage, last.at_the_plate.nickname.as_deref()), (Stage::Revised, Some("Wren")));
}

/// The pitch belongs to the swing it came to: a later one changes no number of an earlier swing.
#[test]
fn another_pitch_changes_the_swings_after_it_only() {
    let simulated = simulated(61_003);
    let mut tee = simulated.profile.clone();
    tee.swing.pitch_speed_mps = 0.0;
    let window = |swing: &ToldSwing| swing.swing.metrics[Metric::TimingWindow.index()];
    let mut session = Session::new();
    session.take(&profile(&simulated));
    let mut all = told(&mut session, &samples(&simulated, 0.0));
    session.take(&Entry::Profile { log_time_ns: 0, toml: tee.to_toml() });
    all.extend(told(&mut session, &samples(&simulated, simulated.samples.len() as f64 * 1e-3)));
    all.extend(session.finish());
    let by_number =
        |number: u64| swings(&all).into_iter().filter(move |told| told.number == number).collect::<Vec<_>>();
    assert!(!by_number(0).is_empty() && !by_number(1).is_empty());
    assert!(by_number(0).iter().all(|told| window(told).is_some()));
    assert!(by_number(1).iter().all(|told| window(told).is_none()));
}

#[test]
fn what_cannot_be_used_is_told_and_changes_nothing() {
    let mut session = Session::new();
    let told = session.take(&Entry::Profile { log_time_ns: 0, toml: "[bat]\nlength_m = 9\n".into() });
    let Told::Problem(cause) = &told[0] else { panic!("{told:?}") };
    assert!(cause.contains("line 2") && cause.contains("bat.length_m"), "{cause}");
    let told = session.take(&Entry::Device { log_time_ns: 0, device: DeviceRecord::default() });
    assert!(matches!(told.as_slice(), [Told::Problem(_)]));
    let packet = Packet { received_utc_ns: 0, sensor: String::new(), characteristic: String::new(), bytes: Vec::new() };
    assert_eq!(session.take(&Entry::Packet(packet)), []);
    assert_eq!((session.counts().bad_packets(), session.finish()), (1, Vec::new()));
}

mod hostile {
    use super::*;
    use proptest::prelude::*;
    use swingd::engine::device::descriptor::{Descriptor, shipped};
    use swingd::engine::device::own::{self, Information, PacketHeader, encode_packet};
    use swingd::engine::device::{Device, RawReading};
    use swingd::engine::profile::SensorProfile;
    use swingd::engine::wire::mcap::{LinkRecord, LinkState};

    fn information(boot_number: u32) -> Information {
        Information { boot_number, ..Information::of(&SensorProfile::default(), 1000.0) }
    }

    /// A packet that fits the profile, whatever its readings and counters.
    fn valid(sequence: u16, tick: u32, value: f64) -> Vec<u8> {
        let vector = Some(nalgebra::Vector3::repeat(value));
        let reading = RawReading { gyro_s_radps: vector, accel_s_mps2: vector, accel_hi_s_mps2: None };
        let header = PacketHeader { sequence, tick, span_ticks: 18_000, ..PacketHeader::default() };
        encode_packet(&information(1), &header, &[reading; 19]).unwrap()
    }

    fn characteristics() -> Vec<String> {
        let described = shipped().map(|(_, toml)| Descriptor::parse(toml).unwrap());
        let notify = described.iter().flat_map(|it| it.notify().into_iter().map(str::to_owned)).collect::<Vec<_>>();
        [own::DATA, own::CONTROL, own::BATTERY_LEVEL, "nonsense"].map(str::to_owned).into_iter().chain(notify).collect()
    }

    fn entries() -> impl Strategy<Value = Entry> {
        let packet = |characteristic: String, bytes: Vec<u8>, received_utc_ns: i64| {
            Entry::Packet(Packet { received_utc_ns, sensor: "knob".into(), characteristic, bytes })
        };
        let any_bytes = prop::collection::vec(any::<u8>(), 0..260);
        let garbage = (prop::sample::select(characteristics()), any_bytes, any::<i64>())
            .prop_map(move |(characteristic, bytes, at)| packet(characteristic, bytes, at));
        let valid = (any::<u16>(), any::<u32>(), -100.0..100.0, 0..40_000_000_000_i64)
            .prop_map(move |(sequence, tick, value, at)| packet(own::DATA.into(), valid(sequence, tick, value), at));
        let described = (0..4_usize)
            .prop_map(|k| DeviceRecord { descriptor_toml: Some(shipped()[k].1.to_owned()), ..DeviceRecord::default() });
        let own = (0..3_u32).prop_map(|boot| DeviceRecord::default().with_information(&information(boot).encode()));
        let odd = ".{0,20}".prop_map(|hex| DeviceRecord { information_hex: Some(hex), ..DeviceRecord::default() });
        let device = prop_oneof![own, described, odd].prop_map(|device| Entry::Device { log_time_ns: 0, device });
        let state = prop::sample::select(vec![LinkState::Connected, LinkState::Lost]);
        let link = state.prop_map(|state| Entry::Link { log_time_ns: 0, link: LinkRecord { state, cause: None } });
        let toml = prop::sample::select(vec!["[bat]\nlength_m = 0.7\n", "[swing]\nside = \"left\"\n", "nonsense", ""]);
        let profile = toml.prop_map(|toml| Entry::Profile { log_time_ns: 0, toml: toml.into() });
        let sample = (any::<f64>(), any::<f64>()).prop_map(|(time_s, value)| Sample {
            time: SensorTime(time_s),
            gyro_s_radps: nalgebra::Vector3::repeat(value),
            accel_s_mps2: nalgebra::Vector3::repeat(value),
            accel_hi_s_mps2: None,
        });
        let samples =
            prop::collection::vec(sample, 0..5).prop_map(|samples| Entry::Samples { log_time_ns: 0, samples });
        prop_oneof![4 => garbage, 8 => valid, 1 => device, 1 => link, 1 => profile, 1 => samples]
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 128, failure_persistence: None, ..ProptestConfig::default() })]

        /// Whatever stands in a recording: no panic, and the same twice.
        #[test]
        fn any_entries_are_taken_and_give_the_same_again(entries in prop::collection::vec(entries(), 0..80)) {
            let tell = || {
                let mut session = Session::new();
                let mut told = told(&mut session, &entries);
                told.extend(session.finish());
                format!("{told:?} {:?} {:?}", session.counts(), session.clock())
            };
            prop_assert_eq!(tell(), tell());
        }
    }

    #[test]
    fn what_is_thrown_at_sessions_can_also_be_right() {
        let device = Device::new(Some(&information(1).encode()), None).unwrap();
        assert!(device.decode(own::DATA, &valid(1, 2, 3.0)).is_ok());
        assert!(characteristics().len() > 6);
    }
}
