//! The library's radio in a child process, since the address of the bus is read from the environment once.
//!
//! The child is this test binary again, running one test that is ignored otherwise. It reads a command a line and
//! answers each with a line `= …`; notifications are lines `! SINK CHARACTERISTIC HEX`. Commands are those of
//! [`Links::answer`].

use crate::fake::{FakeBluez, PATIENCE};
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use swingd::daemon::radio::ble::{BleLink, BleRadio, Limits, hide_harmless_panics};
use swingd::daemon::radio::{Link, Radio, RadioError, Sink};
use uuid::Uuid;

const IS_CHILD: &str = "SWINGD_TEST_RADIO_CHILD";

/// Short, so that what hangs is known soon.
pub const LIMITS: Limits = Limits {
    service: Duration::from_secs(2),
    find: Duration::from_secs(3),
    connect: Duration::from_secs(3),
    sensor: Duration::from_secs(2),
};

/// A notification as the child received it.
#[derive(Clone, Debug, PartialEq)]
pub struct Notified {
    /// The number that was given with `connect`.
    pub sink: String,
    pub characteristic: Uuid,
    pub bytes: Vec<u8>,
}

/// The child; it ends when dropped.
pub struct RadioChild {
    child: Child,
    commands: ChildStdin,
    answers: Receiver<String>,
    notified: Receiver<Notified>,
}

impl RadioChild {
    pub fn start(fake: &FakeBluez) -> Self {
        let mut command = Command::new(std::env::current_exe().unwrap());
        command.args(["child::the_radio_in_a_child_process", "--exact", "--ignored", "--nocapture"]);
        command.env(IS_CHILD, "1").env("DBUS_SYSTEM_BUS_ADDRESS", fake.address());
        let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
        let lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let commands = child.stdin.take().unwrap();
        let ((answer, answers), (notify, notified)) = (channel(), channel());
        std::thread::spawn(move || {
            lines.map_while(Result::ok).try_for_each(|line| sort(&line, &answer, &notify));
        });
        Self { child, commands, answers, notified }
    }

    /// Sends a command without waiting for the answer.
    pub fn tell(&mut self, command: &str) {
        writeln!(self.commands, "{command}").unwrap();
    }

    /// The answer to the oldest command that was sent: `ok …` or `err …`.
    #[track_caller]
    pub fn answer(&mut self) -> String {
        self.answers.recv_timeout(PATIENCE).expect("an answer of the child")
    }

    #[track_caller]
    pub fn ask(&mut self, command: &str) -> String {
        self.tell(command);
        self.answer()
    }

    /// The answer, and how long it took.
    #[track_caller]
    pub fn ask_timed(&mut self, command: &str) -> (String, Duration) {
        let start = Instant::now();
        (self.ask(command), start.elapsed())
    }

    /// The next notifications, so many; then sees to it that the child has no more.
    #[track_caller]
    pub fn notified(&mut self, count: usize) -> Vec<Notified> {
        let next = |_| self.notified.recv_timeout(PATIENCE).expect("a notification");
        let some: Vec<Notified> = (0..count).map(next).collect();
        // A round trip through child and bus, so that what comes twice has come.
        self.ask("health");
        let more: Vec<Notified> = self.notified.try_iter().collect();
        assert_eq!(more, [], "after {count} notifications");
        some
    }
}

impl Drop for RadioChild {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// `None` when the parent listens no more.
fn sort(line: &str, answer: &Sender<String>, notify: &Sender<Notified>) -> Option<()> {
    if let Some(text) = line.strip_prefix("= ") {
        return answer.send(text.to_owned()).ok();
    }
    let Some(text) = line.strip_prefix("! ") else { return Some(()) };
    let mut words = text.split(' ');
    let mut next = || words.next().expect("three words").to_owned();
    let (sink, uuid, hex) = (next(), next(), next());
    notify.send(Notified { sink, characteristic: uuid.parse().expect("a UUID"), bytes: from_hex(&hex) }).ok()
}

#[test]
#[ignore = "the other process of `cargo test --test bluez`"]
fn the_radio_in_a_child_process() {
    if std::env::var_os(IS_CHILD).is_none() {
        return;
    }
    hide_harmless_panics();
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
    let mut links = Links { radio: BleRadio::new(LIMITS), links: BTreeMap::new(), sinks: BTreeMap::new() };
    // The harness leaves its own line unfinished.
    say("");
    for line in std::io::stdin().lines().map_while(Result::ok) {
        let words: Vec<&str> = line.split(' ').collect();
        match runtime.block_on(links.answer(&words)) {
            Ok(text) => say(format!("= ok {text}").trim_end()),
            Err(error) => say(&format!("= err {error:?}")),
        }
    }
}

fn say(line: &str) {
    // `println!` would be captured by the harness in part.
    let mut out = std::io::stdout().lock();
    writeln!(out, "{line}").and_then(|()| out.flush()).expect("the parent reads");
}

struct Links {
    radio: BleRadio,
    links: BTreeMap<String, BleLink>,
    sinks: BTreeMap<String, Sink>,
}

impl Links {
    async fn answer(&mut self, words: &[&str]) -> Result<String, RadioError> {
        match words {
            ["health"] => self.radio.health().await.map(|()| String::new()),
            ["scan", ms] => {
                let duration = Duration::from_millis(ms.parse().unwrap());
                let heard = self.radio.scan(duration).await?;
                let told = heard.iter().map(|it| format!("{}@{}:{}", it.id, it.adapter, it.rssi_dbm.unwrap()));
                Ok(told.collect::<Vec<_>>().join(" "))
            }
            // Two at once from one program.
            ["scan_and_connect", ms, id, sink] => {
                let sink = self.sink(sink);
                let scan = self.radio.scan(Duration::from_millis(ms.parse().unwrap()));
                let (heard, link) = tokio::join!(scan, self.radio.connect(id, sink));
                self.links.insert((*id).to_owned(), link?);
                heard.map(|it| it.len().to_string())
            }
            ["connect", id, sink] => {
                let sink = self.sink(sink);
                let link = self.radio.connect(id, sink).await?;
                self.links.insert((*id).to_owned(), link);
                Ok(String::new())
            }
            ["drop", id] => {
                self.links.remove(*id);
                Ok(String::new())
            }
            [verb, id, rest @ ..] => of_link(&self.links[*id], verb, rest).await,
            _ => panic!("an unknown command: {words:?}"),
        }
    }

    /// The sink of this number, always the same.
    fn sink(&mut self, number: &str) -> Sink {
        let name = number.to_owned();
        let lock = Mutex::new(());
        let new = || -> Sink {
            Arc::new(move |uuid, bytes| {
                let _one_at_a_time = lock.lock();
                say(&format!("! {name} {uuid} {}", to_hex(&bytes)));
            })
        };
        self.sinks.entry(number.to_owned()).or_insert_with(new).clone()
    }
}

async fn of_link(link: &BleLink, verb: &str, rest: &[&str]) -> Result<String, RadioError> {
    let uuid = || rest[0].parse::<Uuid>().unwrap();
    match verb {
        "characteristics" => Ok(link.characteristics().len().to_string()),
        "read" => link.read(uuid()).await.map(|bytes| to_hex(&bytes)),
        "write" => link.write(uuid(), &from_hex(rest[1]), true).await.map(|()| String::new()),
        "subscribe" => link.subscribe(uuid()).await.map(|()| String::new()),
        "connected" => Ok(link.is_connected().await.to_string()),
        "disconnect" => {
            link.disconnect().await;
            Ok(String::new())
        }
        _ => panic!("an unknown command: {verb}"),
    }
}

fn to_hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn from_hex(text: &str) -> Vec<u8> {
    (0..text.len() / 2).map(|k| u8::from_str_radix(&text[2 * k..2 * k + 2], 16).expect("hex")).collect()
}
