//! Files to run the program on, and running it.

pub mod planar;
pub mod serving;

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use swingd::engine::sample::Sample;

pub const HEADER: &str = "t_s,gyro_x_radps,gyro_y_radps,gyro_z_radps,accel_x_mps2,accel_y_mps2,accel_z_mps2";

/// A folder of a test's own, removed when it is dropped.
pub struct Folder(PathBuf);

impl Folder {
    /// `name` is the test's: no two may share it.
    pub fn new(name: &str) -> Self {
        Self::under(std::env::temp_dir(), name)
    }

    /// The same beside what is built, for programs that may not read in `/dev/shm`.
    pub fn on_disk(name: &str) -> Self {
        Self::under(env!("CARGO_TARGET_TMPDIR").into(), name)
    }

    fn under(folder: PathBuf, name: &str) -> Self {
        let path = folder.join(format!("swingd-it-{}-{name}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    pub fn path(&self, file: &str) -> PathBuf {
        self.0.join(file)
    }

    pub fn write(&self, file: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        std::fs::write(self.path(file), bytes).unwrap();
        self.path(file)
    }

    pub fn read(&self, file: &str) -> String {
        std::fs::read_to_string(self.path(file)).unwrap()
    }

    /// Names in the folder, sorted.
    pub fn files(&self) -> Vec<String> {
        let entries = std::fs::read_dir(&self.0).unwrap();
        let name = |entry: std::io::Result<std::fs::DirEntry>| entry.unwrap().file_name();
        let mut names: Vec<String> = entries.map(|e| name(e).into_string().unwrap()).collect();
        names.sort();
        names
    }

    /// Runs the program in the folder.
    pub fn run(&self, words: &[&str]) -> Ran {
        self.run_with(words, &[])
    }

    /// Runs the program in the folder, with further variables.
    pub fn run_with(&self, words: &[&str], environment: &[(&str, &str)]) -> Ran {
        let mut command = Command::new(env!("CARGO_BIN_EXE_swingd"));
        command.envs(environment.iter().copied());
        Ran::new(command.args(words).current_dir(&self.0).output().unwrap())
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

impl AsRef<Path> for Folder {
    fn as_ref(&self) -> &Path {
        &self.0
    }
}

/// How the program ended and what it printed.
#[derive(Debug)]
pub struct Ran {
    pub status: i32,
    pub out: String,
    pub err: String,
}

impl Ran {
    fn new(output: Output) -> Self {
        Self {
            // A signal, as by a panic that aborts, has no status.
            status: output.status.code().unwrap_or(-1),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }

    /// The documents printed, one a line.
    pub fn documents(&self) -> Vec<Value> {
        let document = |line| serde_json::from_str(line).unwrap();
        self.out.lines().map(document).collect()
    }
}

/// Samples as the text of a CSV file.
pub fn csv(samples: &[Sample]) -> String {
    let row = |sample: &Sample| {
        let (g, a) = (sample.gyro_s_radps, sample.accel_s_mps2);
        format!("{},{},{},{},{},{},{}\n", sample.time.0, g.x, g.y, g.z, a.x, a.y, a.z)
    };
    format!("{HEADER}\n{}", samples.iter().map(row).collect::<String>())
}
