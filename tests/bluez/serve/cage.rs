//! `swingd serve` as a child process on a fake's bus, and what a front-end sees of it.

use crate::fake::{FakeBluez, PATIENCE};
use serde_json::Value;
use std::fs::File;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Condvar, Mutex, RwLock, RwLockReadGuard, RwLockWriteGuard};
use std::time::{Duration, Instant};
use swingd::engine::wire::mcap::{Entry, McapEntries};

/// Between two looks at a state.
const LOOK: Duration = Duration::from_millis(20);

/// The fake, shared by a test and its sensors.
#[derive(Clone)]
pub struct Cage(Arc<RwLock<FakeBluez>>);

impl Cage {
    pub fn start() -> Self {
        Self(Arc::new(RwLock::new(FakeBluez::start())))
    }

    pub fn fake(&self) -> RwLockReadGuard<'_, FakeBluez> {
        self.0.read().expect("no panic while it is held")
    }

    pub fn fake_mut(&self) -> RwLockWriteGuard<'_, FakeBluez> {
        self.0.write().expect("no panic while it is held")
    }
}

/// One event of the stream.
#[derive(Clone, Debug)]
pub struct News {
    pub at: Instant,
    pub kind: String,
    pub data: Value,
    /// As it came.
    pub text: String,
}

#[derive(Default)]
struct Stream {
    news: Mutex<Vec<News>>,
    came: Condvar,
}

/// The program. It is killed when dropped; of a test that failed, what it said is printed.
pub struct Service {
    child: Child,
    folder: PathBuf,
    address: String,
    printed: Arc<Mutex<Vec<String>>>,
    stream: Arc<Stream>,
}

impl Service {
    /// `name` is the test's: no two may share it. `profile_toml` is that of all sensors; "": none.
    pub fn start(cage: &Cage, name: &str, profile_toml: &str, arguments: &[&str]) -> Self {
        let folder = std::env::temp_dir().join(format!("swingd-serve-{}-{name}", std::process::id()));
        std::fs::create_dir_all(&folder).expect("a folder");
        let config = folder.join("swingd.toml");
        std::fs::write(&config, "").expect("a file");
        let mut command = Command::new(env!("CARGO_BIN_EXE_swingd"));
        command.args(["serve", "--http-listen", "127.0.0.1:0", "--recording-near-full-mb", "1", "--data-folder"]);
        command.arg(&folder).args(arguments);
        if !profile_toml.is_empty() {
            let profile = folder.join("profile.toml");
            std::fs::write(&profile, profile_toml).expect("a file");
            command.arg("--sensors-profile").arg(profile);
        }
        command.env("DBUS_SYSTEM_BUS_ADDRESS", cage.fake().address()).env("SWINGD_CONFIG", config);
        let words = File::create(folder.join("stderr")).expect("a file");
        let mut child = command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(words).spawn().expect("the program");
        let mut lines = BufReader::new(child.stdout.take().expect("it is piped")).lines();
        let first = lines.next().and_then(Result::ok).unwrap_or_else(|| panic!("{name}: nothing is served"));
        let address = first.split(['/', ' ']).find(|part| part.starts_with("127.0.0.1:")).expect(&first).to_owned();
        let printed = Arc::new(Mutex::new(vec![first]));
        let keeps = Arc::clone(&printed);
        std::thread::spawn(move || lines.map_while(Result::ok).for_each(|line| keeps.lock().unwrap().push(line)));
        let stream = Arc::new(Stream::default());
        let (follows, from) = (Arc::clone(&stream), address.clone());
        let mut events = get(&from, "/v1/events");
        std::thread::spawn(move || follow(&mut events, &follows));
        Self { child, folder, address, printed, stream }
    }

    // The event stream

    /// The place after the last event that has come.
    pub fn mark(&self) -> usize {
        self.stream.news.lock().unwrap().len()
    }

    /// All events from a mark on.
    pub fn since(&self, mark: usize) -> Vec<News> {
        self.stream.news.lock().unwrap()[mark..].to_vec()
    }

    /// The first event from a mark on that is so.
    ///
    /// # Panics
    /// If none has come within [`PATIENCE`].
    #[track_caller]
    pub fn expect(&self, mark: usize, what: &str, is_so: impl Fn(&News) -> bool) -> News {
        let until = Instant::now() + PATIENCE;
        let mut news = self.stream.news.lock().unwrap();
        let mut from = mark;
        loop {
            if let Some(found) = news[from..].iter().find(|it| is_so(it)) {
                return found.clone();
            }
            from = news.len();
            let left = until.saturating_duration_since(Instant::now());
            assert!(!left.is_zero(), "{what} has not come; state {}", self.get("/v1/sensors"));
            news = self.stream.came.wait_timeout(news, left).unwrap().0;
        }
    }

    /// A fault of this key, told from a mark on.
    #[track_caller]
    pub fn fault(&self, mark: usize, key: &str) -> News {
        let fault = self.expect(mark, &format!("fault {key}"), |it| it.kind == "fault" && it.data["key"] == key);
        for words in ["cause", "remedy"] {
            assert!(fault.data[words].as_str().is_some_and(|words| !words.is_empty()), "{}", fault.text);
        }
        fault
    }

    #[track_caller]
    pub fn cleared(&self, mark: usize, key: &str) -> News {
        self.expect(mark, &format!("end of fault {key}"), |it| it.kind == "fault_cleared" && it.data["key"] == key)
    }

    /// A swing of this stage.
    #[track_caller]
    pub fn swing(&self, mark: usize, stage: &str) -> News {
        self.expect(mark, &format!("{stage} swing"), |it| it.kind == "swing" && it.data["told"]["stage"] == stage)
    }

    // The present state

    pub fn get(&self, path: &str) -> Value {
        json(path, get(&self.address, path))
    }

    pub fn put(&self, path: &str, body: &Value) -> Value {
        let text = body.to_string();
        let head = format!("Content-Type: application/json\r\nContent-Length: {}\r\n", text.len());
        json(path, ask(&self.address, &format!("PUT {path}"), &head, &text))
    }

    /// How long an answer takes, and the states of all sensors that were connected since the start.
    pub fn sensors(&self) -> (Duration, Vec<Value>) {
        let asked = Instant::now();
        let sensors = self.get("/v1/sensors?limit=500");
        let took = asked.elapsed();
        let items = sensors["items"].as_array().expect("a page").iter();
        (took, items.map(|item| item["live"].clone()).filter(|live| !live.is_null()).collect())
    }

    pub fn faults(&self) -> Vec<Value> {
        self.get("/v1/faults").as_array().expect("a list").clone()
    }

    /// A sensor's state once it is so, by the beginning of its name; "": of the only one.
    #[track_caller]
    pub fn state(&self, name: &str, what: &str, is_so: impl Fn(&Value) -> bool) -> Value {
        let until = Instant::now() + PATIENCE;
        loop {
            let all = self.sensors().1;
            let named = |it: &&Value| it["sensor"].as_str().is_some_and(|it| it.starts_with(name));
            if let Some(state) = all.iter().find(named).filter(|it| is_so(it)) {
                return state.clone();
            }
            assert!(Instant::now() < until, "{what}: {all:?}; faults {:?}", self.faults());
            std::thread::sleep(LOOK);
        }
    }

    /// The only sensor's state once so many more packets than now have been used.
    #[track_caller]
    pub fn more_packets(&self, more: u64) -> Value {
        let before = self.sensors().1.first().map_or(0, packets);
        self.state("", "more packets", |it| packets(it) >= before + more)
    }

    /// Lines that it has printed.
    pub fn printed(&self) -> Vec<String> {
        self.printed.lock().unwrap().clone()
    }

    // The end, and what is kept

    /// Tells it to end as a service manager does; how long that took. It must end well.
    #[track_caller]
    pub fn stop(&mut self) -> Duration {
        let told = Instant::now();
        let kill = Command::new("kill").args(["-TERM", &self.child.id().to_string()]).status().expect("kill");
        assert!(kill.success());
        while told.elapsed() < PATIENCE {
            if let Some(status) = self.child.try_wait().expect("its status") {
                assert!(status.success(), "{status}");
                assert!(!self.log().contains("panicked"), "{}", self.log());
                return told.elapsed();
            }
            std::thread::sleep(LOOK);
        }
        panic!("it has not ended");
    }

    /// Ends it, and starts it anew with what it has kept.
    pub fn restart(&mut self, cage: &Cage, name: &str) {
        self.stop();
        // The folder goes with the one that is dropped last.
        self.folder = PathBuf::new();
        *self = Self::start(cage, name, "", &[]);
    }

    /// Everything in its recordings, in order, and the files.
    pub fn recorded(&self) -> (Vec<Entry>, Vec<PathBuf>) {
        let mut files: Vec<PathBuf> = Vec::new();
        walk(&self.folder.join("recordings"), &mut files);
        files.sort();
        let mut all = Vec::new();
        for file in &files {
            let mut entries = McapEntries::new(File::open(file).expect("a recording"));
            while let Some(entry) = entries.next_entry().expect("a recording that can be read") {
                all.push(entry);
            }
        }
        (all, files)
    }

    /// What the program has logged.
    pub fn log(&self) -> String {
        std::fs::read_to_string(self.folder.join("stderr")).unwrap_or_default()
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        if std::thread::panicking() {
            println!("printed:\n{}\nlogged:\n{}", self.printed().join("\n"), self.log());
        }
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

pub fn packets(state: &Value) -> u64 {
    count(state, "packets")
}

pub fn count(state: &Value, of: &str) -> u64 {
    state["counts"][of].as_u64().unwrap_or_else(|| panic!("no count {of} in {state}"))
}

fn walk(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        if path.is_dir() {
            walk(&path, files);
        } else {
            files.push(path);
        }
    }
}

fn json(path: &str, mut answer: BufReader<TcpStream>) -> Value {
    let mut text = String::new();
    answer.read_to_string(&mut text).expect("an answer");
    serde_json::from_str(&text).unwrap_or_else(|error| panic!("{path}: {error}: {text}"))
}

fn get(address: &str, path: &str) -> BufReader<TcpStream> {
    ask(address, &format!("GET {path}"), "", "")
}

/// What comes after the head of the answer; without HTTP/1.1 nothing is cut into chunks.
fn ask(address: &str, what: &str, head: &str, body: &str) -> BufReader<TcpStream> {
    let mut stream = TcpStream::connect(address).expect("a connection");
    stream.set_read_timeout(Some(PATIENCE)).expect("a time-out");
    write!(stream, "{what} HTTP/1.0\r\nHost: 127.0.0.1\r\n{head}\r\n{body}").expect("a request");
    let mut reader = BufReader::new(stream);
    let mut line = String::new();
    while reader.read_line(&mut line).expect("a head") > 0 && line != "\r\n" {
        line.clear();
    }
    reader
}

fn follow(events: &mut BufReader<TcpStream>, stream: &Stream) {
    let (mut kind, mut text) = (String::new(), String::new());
    for line in events.lines().map_while(Result::ok) {
        if let Some(word) = line.strip_prefix("event: ") {
            kind = word.to_owned();
        } else if let Some(words) = line.strip_prefix("data: ") {
            text = words.to_owned();
        } else if line.is_empty() && !kind.is_empty() {
            let data = serde_json::from_str(&text).expect("JSON on one line");
            let (kind, text) = (std::mem::take(&mut kind), std::mem::take(&mut text));
            stream.news.lock().unwrap().push(News { at: Instant::now(), kind, data, text });
            stream.came.notify_all();
        }
    }
}
