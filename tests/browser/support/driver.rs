//! chromedriver, one a test: `CHROMEDRIVER` names it, or it stands in the path.

use super::missing;
use super::patience::WAIT;
use super::scratch::Folder;
use serde_json::{Map, Value, json};
use std::ffi::OsString;
use std::io::{BufRead, BufReader, ErrorKind, Read, Write};
use std::net::{IpAddr, TcpStream};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

/// What keeps the browser from asking for anything that no page asked for, and lets it run as root and without a screen. No
/// name is looked up: pages need no network.
const FLAGS: [&str; 12] = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--disable-dev-shm-usage",
    "--no-first-run",
    "--no-default-browser-check",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--force-prefers-reduced-motion",
    "--no-proxy-server",
];

/// Ended, with its browser, when it is dropped; then the folder of both goes.
pub struct Driver {
    child: Child,
    port: u16,
    folder: Folder,
}

impl Driver {
    /// Starts it on a free port; none where it is not installed, which is said, unless it is required.
    pub fn start(name: &str) -> Option<Self> {
        let program = std::env::var_os("CHROMEDRIVER").unwrap_or_else(|| OsString::from("chromedriver"));
        let folder = Folder::new(&format!("browser-{name}"));
        let mut command = Command::new(program);
        // What the browser leaves lying about is removed with the folder.
        command.arg("--port=0").env("TMPDIR", folder.path("")).stdin(Stdio::null());
        let mut child = match command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn() {
            Ok(child) => child,
            Err(error) if error.kind() == ErrorKind::NotFound => {
                missing::is_missing(&format!("{name}: no chromedriver in the path, and CHROMEDRIVER names none"));
                return None;
            }
            Err(error) => panic!("chromedriver: {error}"),
        };
        let mut lines = BufReader::new(child.stdout.take().expect("piped")).lines().map_while(Result::ok);
        let port = lines.find_map(|line| {
            line.strip_prefix("ChromeDriver was started successfully on port ")?.trim_end_matches('.').parse().ok()
        });
        // Read to its end, or it would wait for a reader.
        std::thread::spawn(move || lines.for_each(drop));
        Some(Self { child, port: port.expect("chromedriver says its port"), folder })
    }

    pub fn url(&self) -> String {
        format!("http://127.0.0.1:{}", self.port)
    }

    /// What a session with it is to be like: a browser without a past, that tells all that it logs.
    /// `beyond` is this machine's address in its network.
    pub fn capabilities(&self, beyond: Option<IpAddr>) -> Map<String, Value> {
        let profile = format!("--user-data-dir={}", self.folder.path("profile").display());
        let beyond = beyond.map(|ip| format!(", EXCLUDE {ip}")).unwrap_or_default();
        let names = format!("--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1{beyond}");
        let flags: Vec<&str> = FLAGS.into_iter().chain([profile.as_str(), names.as_str()]).collect();
        let wanted = json!({
            "goog:chromeOptions": {"args": flags, "perfLoggingPrefs": {"enableNetwork": true, "enablePage": false}},
            "goog:loggingPrefs": {"browser": "ALL", "performance": "ALL"},
        });
        wanted.as_object().cloned().unwrap_or_default()
    }

    /// Asks it to end its browsers and itself.
    fn shut_down(&self) -> std::io::Result<()> {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port))?;
        stream.set_read_timeout(Some(Duration::from_secs(5)))?;
        let host = format!("127.0.0.1:{}", self.port);
        stream.write_all(format!("GET /shutdown HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n").as_bytes())?;
        stream.read_to_end(&mut Vec::new()).map(|_| ())
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        let asked = self.shut_down().is_ok();
        let deadline = Instant::now() + WAIT;
        while asked && Instant::now() < deadline && matches!(self.child.try_wait(), Ok(None)) {
            sleep(Duration::from_millis(10));
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
