//! `swingd scan`.

use crate::fake::{Answer, FakeBluez, FakeSensor};
use serde_json::{Value, json};
use std::process::{Command, Output};
use std::time::{Duration, Instant};
use swingd::engine::device::own;
use uuid::Uuid;

const KNOB: &str = "C0:00:00:00:00:01";
const HEADPHONES: &str = "C0:00:00:00:00:02";
const BATTERY_SERVICE: Uuid = Uuid::from_u128(0x0000180f_0000_1000_8000_00805f9b34fb);
const BATTERY_LEVEL: Uuid = Uuid::from_u128(0x00002a19_0000_1000_8000_00805f9b34fb);

fn own_service() -> Uuid {
    Uuid::parse_str(own::SERVICE).unwrap()
}

fn knob() -> FakeSensor {
    let sensor = FakeSensor::new(KNOB, "Knob 1").signal_dbm(-63).service(own_service(), &[]);
    sensor.service(BATTERY_SERVICE, &[(BATTERY_LEVEL, "read notify")]).value(BATTERY_LEVEL, &[87])
}

fn headphones() -> FakeSensor {
    FakeSensor::new(HEADPHONES, "").signal_dbm(-40)
}

struct Ran {
    status: i32,
    out: String,
    err: String,
}

fn scan_at(address: &str, words: &[&str]) -> Ran {
    let mut command = Command::new(env!("CARGO_BIN_EXE_swingd"));
    command.args(["scan", "--seconds", "0.3"]).args(words).env("DBUS_SYSTEM_BUS_ADDRESS", address);
    let Output { status, stdout, stderr } = command.output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    Ran { status: status.code().unwrap(), out: text(stdout), err: text(stderr) }
}

fn scan(fake: &FakeBluez, words: &[&str]) -> Ran {
    scan_at(&fake.address(), words)
}

#[track_caller]
fn fails(ran: &Ran, expected: &str) {
    assert_eq!((ran.status, ran.out.as_str(), ran.err.trim_end()), (1, "", expected));
}

#[test]
fn lists_what_is_near_and_whether_it_is_understood() {
    let fake = FakeBluez::start();
    fake.add_sensor(knob());
    fake.add_sensor(headphones());
    let ran = scan(&fake, &[]);
    let expected = "Name    Id                 Signal   Adapter  Understood as\n\
                    Knob 1  C0:00:00:00:00:01  -63 dBm  hci0     swingd sensor\n\
                    -       C0:00:00:00:00:02  -40 dBm  hci0     not understood\n";
    assert_eq!((ran.status, ran.out.as_str(), ran.err.as_str()), (0, expected, ""));
    assert_eq!(fake.calls("Connect"), 0);
}

#[test]
fn as_json() {
    let fake = FakeBluez::start();
    fake.add_sensor(knob());
    let ran = scan(&fake, &["--json"]);
    let document: Value = serde_json::from_str(&ran.out).unwrap();
    let expected = json!({"sensors": [{"name": "Knob 1", "id": KNOB, "signal_dbm": -63, "adapter": "hci0",
        "understood_as": "swingd sensor", "battery_percent": null}]});
    assert_eq!((ran.status, document), (0, expected));
}

#[test]
fn batteries_are_read_from_what_is_understood_and_left_connected_to_nothing() {
    let fake = FakeBluez::start();
    fake.add_sensor(knob());
    fake.add_sensor(headphones());
    let ran = scan(&fake, &["--battery"]);
    assert_eq!((ran.status, ran.err.as_str()), (0, ""), "{}", ran.out);
    assert!(ran.out.contains("swingd sensor   87 %"), "{}", ran.out);
    assert!(ran.out.ends_with("not understood  -\n"), "{}", ran.out);
    assert_eq!((fake.calls("Connect"), fake.is_connected(KNOB)), (1, false));
}

#[test]
fn a_battery_that_cannot_be_read_is_told_beside_the_table() {
    let fake = FakeBluez::start();
    fake.add_sensor(knob());
    fake.on_connect(KNOB, Answer::Refuse("org.bluez.Error.Failed", "le-connection-abort-by-local"));
    let ran = scan(&fake, &["--battery"]);
    assert_eq!(ran.status, 0);
    assert!(ran.err.starts_with("C0:00:00:00:00:01: battery: the connection was lost; to do: wake"), "{}", ran.err);
    assert!(ran.out.contains("Knob 1"), "{}", ran.out);
}

#[test]
fn what_the_service_remembers_but_does_not_hear_is_not_near() {
    let fake = FakeBluez::start();
    fake.add_sensor(knob());
    fake.heard_by(KNOB, "hci0", None);
    fake.remember(KNOB, "hci0");
    let ran = scan(&fake, &[]);
    assert!(ran.status == 0 && ran.out.starts_with("nothing was heard in 0.3 s; wake"), "{}", ran.out);
}

#[test]
fn of_two_adapters_the_one_that_hears_it_better_is_named() {
    let fake = FakeBluez::start();
    fake.add_adapter("hci1");
    fake.add_sensor(knob());
    fake.heard_by(KNOB, "hci1", Some(-48));
    let ran = scan(&fake, &[]);
    assert!(ran.out.ends_with("Knob 1  C0:00:00:00:00:01  -48 dBm  hci1     swingd sensor\n"), "{}", ran.out);
    assert_eq!(ran.out.lines().count(), 2);
}

#[test]
fn without_an_adapter() {
    let fake = FakeBluez::start();
    fake.remove_adapter("hci0");
    let expected = "no Bluetooth adapter was found; to do: plug in a Bluetooth adapter, or switch the built-in one on";
    fails(&scan(&fake, &[]), expected);
}

#[test]
fn an_adapter_that_is_off_is_left_off() {
    let fake = FakeBluez::start();
    fake.power("hci0", false);
    fails(&scan(&fake, &[]), "Bluetooth is switched off; to do: switch Bluetooth on");
    assert!(!fake.is_powered("hci0"));
}

#[test]
fn without_the_service() {
    let fake = FakeBluez::start();
    fake.stop_service();
    let expected = "the Bluetooth service does not answer: The name org.bluez was not provided by any .service files; \
                    to do: start the Bluetooth service (on Linux: systemctl start bluetooth)";
    fails(&scan(&fake, &[]), expected);
}

#[test]
fn without_a_bus() {
    let ran = scan_at("unix:path=/nonexistent/bus", &[]);
    assert!(ran.err.starts_with("the Bluetooth service does not answer: "), "{}", ran.err);
    assert!(ran.err.ends_with("to do: start the Bluetooth service (on Linux: systemctl start bluetooth)\n"));
    assert_eq!((ran.status, ran.out.as_str()), (1, ""));
}

#[test]
fn a_bus_that_says_nothing_is_given_up() {
    let folder = std::env::temp_dir().join(format!("swingd-silent-bus-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let _never_accepts = std::os::unix::net::UnixListener::bind(folder.join("bus")).unwrap();
    let start = Instant::now();
    let ran = scan_at(&format!("unix:path={}", folder.join("bus").display()), &[]);
    std::fs::remove_dir_all(&folder).unwrap();
    assert!(ran.err.starts_with("the Bluetooth service does not answer: no answer within 3 s; to do:"), "{}", ran.err);
    assert!(ran.status == 1 && start.elapsed() < Duration::from_secs(10), "{:?}", start.elapsed());
}

#[test]
fn without_permission() {
    let fake = FakeBluez::start();
    fake.deny();
    let ran = scan(&fake, &[]);
    assert!(ran.err.contains("the user has to be in the group `bluetooth`"), "{}", ran.err);
    assert_eq!(ran.status, 1);
}

#[test]
fn a_service_that_is_slow_is_waited_for() {
    let fake = FakeBluez::start();
    fake.add_sensor(knob());
    fake.slow(Duration::from_millis(100));
    let ran = scan(&fake, &[]);
    assert!(ran.out.contains("Knob 1"), "{}{}", ran.out, ran.err);
}
