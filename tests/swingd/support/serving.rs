//! `swingd serve` on the folder `kept` of a test.

use super::Folder;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};

/// Killed when it is dropped.
pub struct Serving(Child);

impl Serving {
    /// Starts it, playing a recording so that no radio is used, and waits until it listens.
    pub fn start(folder: &Folder, recording: &Path) -> Self {
        let config = folder
            .write("serve.toml", "[data]\nfolder = \"kept\"\n[log]\nto_file = false\n[recording]\nnear_full_mb = 1\n");
        let mut command = Command::new(env!("CARGO_BIN_EXE_swingd"));
        command.args(["serve", "--http-listen", "127.0.0.1:0", "--speed", "0.01", "--play"]).arg(recording);
        command.env("SWINGD_CONFIG", config).stdout(Stdio::piped()).stderr(Stdio::null());
        let mut child = command.spawn().unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let serving = Self(child);
        assert!(line.starts_with("swingd serves http://127.0.0.1:"), "{line}");
        serving
    }
}

impl Drop for Serving {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}
