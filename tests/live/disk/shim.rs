//! `disk.c` from outside.

use crate::support::folder::Folder;
use std::ffi::OsStr;
use std::fs::File;
use std::os::unix::fs::FileExt;
use std::path::PathBuf;
use std::process::Command;

/// Words of the shared table, as `disk.c` numbers them.
const COUNT: u64 = 0;
const FAIL_FROM: u64 = 1;
const FAIL_TO: u64 = 2;
const ERROR: u64 = 3;
const FAILED: u64 = 4;
const LOGGED: u64 = 5;

/// The library, the table it shares, and its log.
pub struct Shim {
    library: PathBuf,
    table_path: PathBuf,
    table: File,
    pub log: PathBuf,
}

impl Shim {
    /// Compiled in the test's folder.
    pub fn new(folder: &Folder) -> Self {
        let (library, table_path) = (folder.path("disk.so"), folder.path("table"));
        let source = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/live/disk/disk.c");
        let compiler = std::env::var("CC").unwrap_or_else(|_| "cc".into());
        let compiled = Command::new(compiler)
            .args(["-shared", "-fPIC", "-O1", "-o"])
            .arg(&library)
            .args([source, "-ldl", "-lpthread"])
            .status();
        assert!(compiled.unwrap().success(), "the C compiler");
        std::fs::write(&table_path, [0; 64]).unwrap();
        let table = File::options().read(true).write(true).open(&table_path).unwrap();
        let shim = Self { library, table_path, table, log: folder.path("disk.log") };
        shim.heal();
        shim
    }

    /// What the program has to be started with; everything it does to the store is logged.
    pub fn variables(&self) -> [(&'static str, &OsStr); 4] {
        [
            ("LD_PRELOAD", self.library.as_os_str()),
            ("DISK_SHIM_PATH", OsStr::new("store.sqlite")),
            ("DISK_SHIM_TABLE", self.table_path.as_os_str()),
            ("DISK_SHIM_LOG", self.log.as_os_str()),
        ]
    }

    /// The call after `after` more ones fails with this error number, and `calls` in all.
    pub fn fail(&self, after: u64, calls: u64, error: i32) {
        let from = self.get(COUNT) + after;
        self.set(ERROR, u64::from(error.unsigned_abs()));
        self.set(FAILED, 0);
        self.set(FAIL_TO, from.saturating_add(calls));
        self.set(FAIL_FROM, from);
    }

    /// Nothing fails any more.
    pub fn heal(&self) {
        self.set(FAIL_FROM, u64::MAX);
        self.set(FAIL_TO, u64::MAX);
    }

    /// Calls that failed since [`Self::fail`].
    pub fn failed(&self) -> u64 {
        self.get(FAILED)
    }

    /// Bytes in the log so far.
    pub fn logged(&self) -> u64 {
        self.get(LOGGED)
    }

    fn get(&self, word: u64) -> u64 {
        let mut bytes = [0; 8];
        self.table.read_exact_at(&mut bytes, word * 8).unwrap();
        u64::from_ne_bytes(bytes)
    }

    fn set(&self, word: u64, value: u64) {
        self.table.write_all_at(&value.to_ne_bytes(), word * 8).unwrap();
    }
}
