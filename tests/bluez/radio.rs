//! Radio and link through btleplug, and every trouble on the way.

use crate::child::{LIMITS, RadioChild};
use crate::fake::{Answer, FakeBluez, FakeSensor};
use std::time::Duration;
use uuid::Uuid;

const KNOB: &str = "C0:00:00:00:00:01";
const OTHER: &str = "C0:00:00:00:00:02";
const SERVICE: Uuid = Uuid::from_u128(0x6b1f0001_5d0c_4a3e_9c51_2f3b8d7a9e10);
const FAST: Uuid = Uuid::from_u128(0x6b1f0002_5d0c_4a3e_9c51_2f3b8d7a9e10);
const FIXED: Uuid = Uuid::from_u128(0x6b1f0003_5d0c_4a3e_9c51_2f3b8d7a9e10);
const QUICK: Uuid = Uuid::from_u128(0x6b1f0005_5d0c_4a3e_9c51_2f3b8d7a9e10);
const QUICKLY: &str = "write-without-response";
const ORDERS: Uuid = Uuid::from_u128(0x6b1f0004_5d0c_4a3e_9c51_2f3b8d7a9e10);

/// An error must be there so soon, whatever has happened.
const SOON: Duration = Duration::from_secs(5);

/// And a connection to a sensor that is in reach again.
const RECONNECTED: Duration = Duration::from_secs(3);

fn sensor(address: &str) -> FakeSensor {
    let characteristics = [(FAST, "notify"), (FIXED, "read"), (ORDERS, "write indicate"), (QUICK, QUICKLY)];
    FakeSensor::new(address, "Knob").service(SERVICE, &characteristics).value(FIXED, &[1, 2, 0xff])
}

/// A fake with one sensor, and a radio.
fn start() -> (FakeBluez, RadioChild) {
    let fake = FakeBluez::start();
    fake.add_sensor(sensor(KNOB));
    let radio = RadioChild::start(&fake);
    (fake, radio)
}

/// The same, connected with sink 1, notifications on.
fn streaming() -> (FakeBluez, RadioChild) {
    let (fake, mut radio) = start();
    stream(&mut radio, "1");
    (fake, radio)
}

#[track_caller]
fn stream(radio: &mut RadioChild, sink: &str) {
    assert_eq!(radio.ask(&format!("connect {KNOB} {sink}")), "ok");
    assert_eq!(radio.ask(&format!("subscribe {KNOB} {FAST}")), "ok");
}

/// Sends so many notifications, and sees each arrive once, in order, at this sink.
#[track_caller]
fn arrive_once_each(fake: &FakeBluez, radio: &mut RadioChild, count: u32, sink: &str) {
    let packet = |k: u32| k.to_le_bytes().repeat(60);
    for k in 0..count {
        assert!(fake.notify(KNOB, FAST, &packet(k)), "notification {k} has no way to the program");
    }
    for (k, one) in (0..count).zip(radio.notified(count as usize)) {
        assert_eq!((one.sink.as_str(), one.characteristic), (sink, FAST));
        assert_eq!(one.bytes, packet(k), "notification {k}");
    }
}

#[test]
fn two_thousand_notifications_arrive_once_each_in_order() {
    let (fake, mut radio) = streaming();
    arrive_once_each(&fake, &mut radio, 2000, "1");
}

#[test]
fn what_the_air_doubles_or_reorders_arrives_as_it_came() {
    let (fake, mut radio) = streaming();
    for byte in [1, 1, 3, 2] {
        fake.notify(KNOB, FAST, &[byte]);
    }
    let bytes: Vec<Vec<u8>> = radio.notified(4).into_iter().map(|it| it.bytes).collect();
    assert_eq!(bytes, [[1], [1], [3], [2]]);
}

#[test]
fn reads_writes_and_indications() {
    let (fake, mut radio) = streaming();
    assert_eq!(radio.ask(&format!("characteristics {KNOB}")), "ok 4");
    assert_eq!(radio.ask(&format!("read {KNOB} {FIXED}")), "ok 0102ff");
    fake.set_value(KNOB, FIXED, &[7]);
    assert_eq!(radio.ask(&format!("read {KNOB} {FIXED}")), "ok 07");
    fake.on_write(KNOB, ORDERS, |order| vec![(ORDERS, [order, &[0xac]].concat())]);
    assert_eq!(radio.ask(&format!("subscribe {KNOB} {ORDERS}")), "ok");
    assert_eq!(radio.ask(&format!("write {KNOB} {ORDERS} 0508")), "ok");
    assert_eq!((fake.writes(KNOB, ORDERS), fake.write_kinds(KNOB, ORDERS)), (vec![vec![5, 8]], vec!["request".into()]));
    let answers = radio.notified(1);
    assert_eq!((answers[0].characteristic, answers[0].bytes.as_slice()), (ORDERS, [5, 8, 0xac].as_slice()));
    assert_eq!(radio.ask(&format!("write {KNOB} {QUICK} 09")), "ok");
    assert_eq!((fake.writes(KNOB, QUICK), fake.write_kinds(KNOB, QUICK)), (vec![vec![9]], vec!["command".into()]));
    let missing = Uuid::from_u128(7);
    assert_eq!(radio.ask(&format!("read {KNOB} {missing}")), format!("err NoCharacteristic({missing})"));
}

#[test]
fn after_a_loss_the_same_sink_gets_everything_once() {
    let (fake, mut radio) = streaming();
    arrive_once_each(&fake, &mut radio, 20, "1");
    for _ in 0..3 {
        fake.lose(KNOB);
        assert_eq!(radio.ask(&format!("connected {KNOB}")), "ok false");
        assert_eq!(radio.ask(&format!("read {KNOB} {FIXED}")), "err Lost");
        let (answer, time) = radio.ask_timed(&format!("connect {KNOB} 1"));
        assert!(answer == "ok" && time < RECONNECTED, "{answer} after {time:?}");
        assert_eq!(radio.ask(&format!("subscribe {KNOB} {FAST}")), "ok");
        arrive_once_each(&fake, &mut radio, 20, "1");
    }
}

#[test]
fn turning_notifications_on_twice_doubles_nothing() {
    let (fake, mut radio) = streaming();
    assert_eq!(radio.ask(&format!("subscribe {KNOB} {FAST}")), "ok");
    arrive_once_each(&fake, &mut radio, 20, "1");
}

#[test]
fn a_loss_that_nobody_tells_is_seen_when_asked() {
    let (fake, mut radio) = streaming();
    assert_eq!(radio.ask(&format!("connected {KNOB}")), "ok true");
    fake.lose_silently(KNOB);
    assert_eq!(radio.ask(&format!("connected {KNOB}")), "ok false");
    stream(&mut radio, "1");
    arrive_once_each(&fake, &mut radio, 20, "1");
}

#[test]
fn a_new_sink_takes_the_place_of_the_old_one() {
    let (fake, mut radio) = streaming();
    fake.lose(KNOB);
    stream(&mut radio, "2");
    arrive_once_each(&fake, &mut radio, 20, "2");
}

#[test]
fn after_the_link_is_dropped_its_sink_gets_nothing() {
    let (fake, mut radio) = streaming();
    assert_eq!(radio.ask(&format!("drop {KNOB}")), "ok");
    assert!(fake.notify(KNOB, FAST, &[1]));
    radio.notified(0);
    stream(&mut radio, "2");
    arrive_once_each(&fake, &mut radio, 20, "2");
}

#[test]
fn disconnecting_ends_the_connection() {
    let (fake, mut radio) = streaming();
    assert_eq!(radio.ask(&format!("disconnect {KNOB}")), "ok");
    assert!(!fake.is_connected(KNOB));
}

#[test]
fn switched_off_is_told_soon_and_works_after_switched_on() {
    let (fake, mut radio) = streaming();
    fake.power("hci0", false);
    let (answer, time) = radio.ask_timed(&format!("read {KNOB} {FIXED}"));
    assert!(answer == "err Lost" && time < SOON, "{answer} after {time:?}");
    let (answer, time) = radio.ask_timed(&format!("connect {KNOB} 1"));
    assert!(answer == "err SwitchedOff" && time < SOON, "{answer} after {time:?}");
    assert_eq!(radio.ask("health"), "err SwitchedOff");
    assert!(!fake.is_powered("hci0"));
    fake.power("hci0", true);
    stream(&mut radio, "1");
    arrive_once_each(&fake, &mut radio, 20, "1");
}

#[test]
fn switched_off_while_connecting() {
    let (fake, mut radio) = start();
    fake.on_connect(KNOB, Answer::Hang);
    radio.tell(&format!("connect {KNOB} 1"));
    fake.wait_for_calls("Connect", 1);
    fake.power("hci0", false);
    assert_eq!(radio.answer(), "err SwitchedOff");
}

#[test]
fn a_restart_of_the_service_is_lived_through() {
    let (fake, mut radio) = streaming();
    fake.stop_service();
    let (answer, time) = radio.ask_timed(&format!("connected {KNOB}"));
    assert!(answer == "ok false" && time < SOON, "{answer} after {time:?}");
    let answer = radio.ask(&format!("connect {KNOB} 1"));
    assert!(answer.starts_with("err ServiceGone"), "{answer}");
    fake.start_service();
    assert_eq!(radio.ask(&format!("read {KNOB} {FIXED}")), "err Lost");
    stream(&mut radio, "1");
    arrive_once_each(&fake, &mut radio, 20, "1");
}

#[test]
fn a_bus_that_goes_and_comes_back_is_lived_through() {
    let (mut fake, mut radio) = streaming();
    for _ in 0..2 {
        fake.stop_bus();
        let (answer, time) = radio.ask_timed(&format!("connected {KNOB}"));
        assert!(answer == "ok false" && time < SOON, "{answer} after {time:?}");
        let answer = radio.ask(&format!("connect {KNOB} 1"));
        assert!(answer.starts_with("err ServiceGone"), "{answer}");
        fake.start_bus();
        stream(&mut radio, "1");
        arrive_once_each(&fake, &mut radio, 20, "1");
    }
    fake.wait_for_connections(1);
}

#[test]
fn a_service_that_hangs_costs_no_connections() {
    let (fake, mut radio) = streaming();
    for _ in 0..2 {
        fake.slow(Duration::from_secs(3600));
        let (answer, time) = radio.ask_timed("health");
        assert!(answer.starts_with("err ServiceGone") && time < SOON, "{answer} after {time:?}");
        fake.slow(Duration::ZERO);
        stream(&mut radio, "1");
        arrive_once_each(&fake, &mut radio, 20, "1");
        fake.wait_for_connections(1);
    }
}

#[test]
fn a_sensor_that_hangs_is_timed_out_and_can_be_tried_again() {
    let (fake, mut radio) = start();
    fake.on_connect(KNOB, Answer::Hang);
    let limit_s = LIMITS.connect.as_secs();
    let late = |what| format!("err TimedOut {{ what: \"{what}\", limit_s: {limit_s} }}");
    assert_eq!(radio.ask(&format!("connect {KNOB} 1")), late("connecting"));
    // The service would try on otherwise.
    assert_eq!(fake.calls("Disconnect"), 1);
    fake.on_connect(KNOB, Answer::Accept);
    stream(&mut radio, "1");
    fake.on_read(KNOB, Answer::Hang);
    let (limit_s, asked) = (LIMITS.sensor.as_secs(), format!("read {KNOB} {FIXED}"));
    assert_eq!(radio.ask(&asked), format!("err TimedOut {{ what: \"reading\", limit_s: {limit_s} }}"));
    assert_eq!(radio.ask(&format!("connected {KNOB}")), "ok true");
    arrive_once_each(&fake, &mut radio, 20, "1");
}

#[test]
fn a_sensor_that_answers_late_or_with_errors() {
    let (fake, mut radio) = start();
    fake.on_connect(KNOB, Answer::Late(Duration::from_millis(300)));
    stream(&mut radio, "1");
    fake.on_read(KNOB, Answer::Refuse("org.bluez.Error.Failed", "Operation failed with ATT error: 0x0e"));
    let answer = radio.ask(&format!("read {KNOB} {FIXED}"));
    assert_eq!(answer, "err Other(\"Operation failed with ATT error: 0x0e\")");
}

#[test]
fn a_sensor_that_comes_late_is_waited_for() {
    let fake = FakeBluez::start();
    let mut radio = RadioChild::start(&fake);
    radio.tell(&format!("connect {KNOB} 1"));
    fake.wait_for_calls("StartDiscovery", 1);
    fake.add_sensor(sensor(KNOB));
    assert_eq!(radio.answer(), "ok");
    // Listening ends when nobody wants it any longer.
    fake.wait_for_calls("StopDiscovery", 1);
}

#[test]
fn a_sensor_that_does_not_come_is_not_found() {
    let (_fake, mut radio) = start();
    let (answer, time) = radio.ask_timed(&format!("connect {OTHER} 1"));
    assert_eq!(answer, "err NotFound");
    assert!(time < LIMITS.find + SOON, "{time:?}");
}

#[test]
fn two_adapters_share_the_work() {
    let fake = FakeBluez::start();
    fake.add_adapter("hci1");
    fake.add_sensor(sensor(KNOB));
    fake.heard_by(KNOB, "hci1", Some(-48));
    let mut radio = RadioChild::start(&fake);
    assert_eq!(radio.ask("scan 300"), format!("ok {KNOB}@hci1:-48"));
    stream(&mut radio, "1");
    arrive_once_each(&fake, &mut radio, 20, "1");
    let first = fake.connected_by(KNOB).unwrap();
    let second = if first == "hci0" { "hci1" } else { "hci0" };
    fake.power(&first, false);
    stream(&mut radio, "1");
    assert_eq!(fake.connected_by(KNOB).as_deref(), Some(second));
    arrive_once_each(&fake, &mut radio, 20, "1");
    // The first one again, whose old stream is still there.
    fake.remove_adapter(second);
    fake.power(&first, true);
    stream(&mut radio, "1");
    arrive_once_each(&fake, &mut radio, 20, "1");
}

#[test]
fn two_sensors_at_once_are_kept_apart() {
    let (fake, mut radio) = streaming();
    fake.add_sensor(sensor(OTHER));
    assert_eq!(radio.ask(&format!("connect {OTHER} 2")), "ok");
    assert_eq!(radio.ask(&format!("subscribe {OTHER} {FAST}")), "ok");
    for k in 0..100 {
        assert!(fake.notify(KNOB, FAST, &[k]) && fake.notify(OTHER, FAST, &[100 + k]));
    }
    let all = radio.notified(200);
    let at = |sink: &str| all.iter().filter(|it| it.sink == sink).map(|it| it.bytes[0]).collect::<Vec<_>>();
    assert_eq!(at("1"), (0..100).collect::<Vec<_>>());
    assert_eq!(at("2"), (100..200).collect::<Vec<_>>());
}

#[test]
fn a_scan_and_a_search_do_not_end_each_others_listening() {
    let fake = FakeBluez::start();
    fake.add_sensor(sensor(OTHER));
    let mut radio = RadioChild::start(&fake);
    radio.tell(&format!("scan_and_connect 300 {KNOB} 1"));
    // Asked for again after 1 s: the scan is over, and the search goes on listening.
    fake.wait_for_calls("StartDiscovery", 2);
    assert_eq!(fake.calls("StopDiscovery"), 0);
    fake.add_sensor(sensor(KNOB));
    assert_eq!(radio.answer(), "ok 1");
    fake.wait_for_calls("StopDiscovery", 1);
}
