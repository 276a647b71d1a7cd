//! The program itself, serving.

use super::patience::WAIT;
use super::scratch::Folder;
use std::ffi::OsStr;
use std::fs::File;
use std::io::{BufRead, BufReader};
use std::net::SocketAddr;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::Instant;

/// `swingd serve` in a folder of a test; killed when it is dropped.
pub struct Serving {
    child: Child,
    lines: Receiver<String>,
    folder: std::path::PathBuf,
}

/// How the program ended and what it printed.
#[derive(Debug)]
pub struct Ended {
    pub status: ExitStatus,
    pub lines: Vec<String>,
    pub errors: String,
}

impl Serving {
    /// Starts it; nothing of this machine's user counts.
    pub fn start(folder: &Folder, words: &[&str]) -> Self {
        Self::start_with(folder, words, &[])
    }

    /// The same, in an environment with these variables too.
    pub fn start_with(folder: &Folder, words: &[&str], variables: &[(&str, &OsStr)]) -> Self {
        let config = folder.path("swingd.toml");
        std::fs::write(&config, "[recording]\nnear_full_mb = 1\n[log]\nto_file = false\n").unwrap();
        let mut command = Command::new(env!("CARGO_BIN_EXE_swingd"));
        command
            .arg("serve")
            .envs(variables.iter().copied())
            .env("SWINGD_CONFIG", &config)
            .arg("--data-folder")
            .arg(folder.kept());
        if !words.contains(&"--http-listen") {
            command.args(["--http-listen", "127.0.0.1:0"]);
        }
        let errors = File::create(folder.path("errors.txt")).unwrap();
        let mut child = command.args(words).stdout(Stdio::piped()).stderr(errors).spawn().unwrap();
        let out = BufReader::new(child.stdout.take().unwrap());
        let (sender, lines) = channel();
        std::thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                if sender.send(line).is_err() {
                    return;
                }
            }
        });
        Self { child, lines, folder: folder.path("") }
    }

    /// Where it serves, as its first line says.
    pub fn address(&self) -> SocketAddr {
        let line =
            self.lines.recv_timeout(WAIT).unwrap_or_else(|why| panic!("no first line: {why}: {}", self.errors()));
        let address = line.strip_prefix("swingd serves http://").and_then(|rest| rest.split('/').next());
        address.and_then(|address| address.parse().ok()).unwrap_or_else(|| panic!("no address: {line}"))
    }

    /// SIGKILL, or what is most like it.
    pub fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// SIGTERM.
    #[cfg(unix)]
    pub fn terminate(&self) {
        let sent = Command::new("sh").args(["-c", &format!("kill -TERM {}", self.child.id())]).status().unwrap();
        assert!(sent.success());
    }

    /// Waits until it has ended.
    pub fn ended(mut self) -> Ended {
        let deadline = Instant::now() + WAIT;
        let mut lines = Vec::new();
        loop {
            match self.lines.recv_timeout(deadline.saturating_duration_since(Instant::now())) {
                Ok(line) => lines.push(line),
                Err(RecvTimeoutError::Disconnected) => break,
                Err(RecvTimeoutError::Timeout) => {
                    panic!("it has not ended after {WAIT:?}: {lines:?} {}", self.errors())
                }
            }
        }
        Ended { status: self.child.wait().unwrap(), lines, errors: self.errors() }
    }

    /// What it said to standard error so far.
    pub fn errors(&self) -> String {
        std::fs::read_to_string(self.folder.join("errors.txt")).unwrap()
    }
}

impl Drop for Serving {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
