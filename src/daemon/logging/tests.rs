use super::*;
use crate::daemon::test_child;
use std::sync::Mutex;

/// What was written, for all to see.
#[derive(Clone, Default)]
struct Shared(Arc<Mutex<Vec<u8>>>);

impl Write for Shared {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.lock().unwrap().write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Shared {
    fn text(&self) -> String {
        String::from_utf8(self.0.lock().unwrap().clone()).unwrap()
    }
}

fn folder(name: &str) -> PathBuf {
    let folder = std::env::temp_dir().join(format!("swingd-log-{}-{name}", std::process::id()));
    let _ = std::fs::remove_dir_all(&folder);
    folder
}

fn settings(level: &str, folder: Option<PathBuf>) -> LogSettings {
    LogSettings { level: level.into(), folder, days: 3 }
}

/// What stands on the terminal after `log` has run.
fn logged(settings: &LogSettings, coloured: bool, log: impl FnOnce()) -> (String, Option<String>) {
    let terminal = Shared::default();
    let (subscriber, logging) = build(settings, terminal.clone(), coloured).unwrap();
    tracing::subscriber::with_default(subscriber, log);
    let fault = logging.file_fault.clone();
    drop(logging);
    (terminal.text(), fault)
}

fn the_only_file(folder: &Path) -> (String, String) {
    let files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    assert_eq!(files.len(), 1, "{files:?}");
    let name = files[0].file_name().unwrap().to_str().unwrap().to_owned();
    (name, std::fs::read_to_string(&files[0]).unwrap())
}

#[test]
fn levels_are_words_and_parts_are_modules() {
    for good in
        ["off", "ERROR", "info", "info,swingd::daemon=debug", "swingd=trace, btleplug=off", "trace,a=warn,b=info"]
    {
        assert!(filter(good).is_some(), "{good}");
    }
    for bad in
        ["", "loud", "3", "info,", "info,debug", "info,a=", "a=3", "=info", "a b=info", "info,a=b=c", "a[x]=info"]
    {
        assert!(filter(bad).is_none(), "{bad}");
    }
}

#[test]
fn a_line_stands_on_the_terminal_and_in_the_file() {
    let folder = folder("both");
    let log = || {
        tracing::info!(gap_ms = 12, "a gap");
        tracing::debug!("not wanted");
        tracing::debug!(target: "swingd::radio", "wanted");
    };
    let (text, fault) = logged(&settings("info,swingd::radio=debug", Some(folder.clone())), false, log);
    assert_eq!(fault, None);
    let (name, file) = the_only_file(&folder);
    let without_times =
        |text: &str| -> Vec<String> { text.lines().map(|line| line.split_once(' ').unwrap().1.to_owned()).collect() };
    assert_eq!(without_times(&text), without_times(&file));
    assert_eq!(text.lines().count(), 2);
    assert!(text.lines().next().unwrap().ends_with("a gap gap_ms=12"), "{text}");
    assert!(text.lines().last().unwrap().ends_with("DEBUG swingd::radio: wanted"), "{text}");
    assert!(name.starts_with("swingd.20") && name.ends_with(".log"), "{name}");
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn only_a_terminal_is_coloured() {
    let folder = folder("colour");
    let log = || tracing::info_span!("sensor", id = "knob 1").in_scope(|| tracing::info!(rate_hz = 1000, "here"));
    let (text, _) = logged(&settings("info", Some(folder.clone())), true, log);
    assert!(text.contains('\u{1b}'));
    let (_, file) = the_only_file(&folder);
    assert!(file.ends_with("here rate_hz=1000\n") && file.contains("sensor{id=\"knob 1\"}: "), "{file}");
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn without_a_folder_the_terminal_still_has_its_lines() {
    let file = folder("no-folder");
    std::fs::write(&file, "").unwrap();
    let (text, fault) = logged(&settings("info", Some(file.join("log"))), false, || tracing::info!("here"));
    assert!(text.ends_with("here\n"));
    assert!(fault.unwrap().starts_with(&file.join("log").display().to_string()));
    std::fs::remove_file(file).unwrap();
}

#[test]
fn old_files_are_removed() {
    let folder = folder("old");
    std::fs::create_dir_all(&folder).unwrap();
    for day in 1..=9 {
        std::fs::write(folder.join(format!("swingd.2020-01-0{day}.log")), "old\n").unwrap();
    }
    logged(&settings("info", Some(folder.clone())), false, || tracing::info!("new"));
    assert_eq!(std::fs::read_dir(&folder).unwrap().count(), 3);
    std::fs::remove_dir_all(folder).unwrap();
}

/// Does not write before it is let go.
struct Stuck(std::sync::mpsc::Receiver<()>);

impl Write for Stuck {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let _ = self.0.recv();
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[test]
fn a_stuck_terminal_holds_nobody_up_and_what_is_dropped_is_counted() {
    let (let_go, stuck) = std::sync::mpsc::channel();
    let (subscriber, logging) = build(&settings("info", None), Stuck(stuck), false).unwrap();
    let lines = QUEUED_LINES as u64 + 500;
    tracing::subscriber::with_default(subscriber, || (0..lines).for_each(|k| tracing::info!(k, "flood")));
    // One line may be in the writer's hands, the others wait.
    assert!((499..=500).contains(&logging.dropped_lines()), "{}", logging.dropped_lines());
    drop(let_go);
}

#[test]
fn a_day_has_an_end_and_the_next_one_begins_anew() {
    let (file, dropped) = (Shared::default(), Arc::new(AtomicU64::new(0)));
    let mut log = ADayAtMost::new(file.clone(), 8, dropped.clone());
    for (day, line) in [(1, "one\n"), (1, "two\n"), (1, "three\n"), (1, "four\n"), (2, "five\n")] {
        log.write_on(day, line.as_bytes()).unwrap();
    }
    let end = "The log of this day is full; nothing more is written to this file today.\n";
    assert_eq!(file.text(), format!("one\ntwo\n{end}five\n"));
    assert_eq!(dropped.load(Ordering::Relaxed), 2);
}

/// A full disk.
struct Full;

impl Write for Full {
    fn write(&mut self, _: &[u8]) -> io::Result<usize> {
        Err(io::ErrorKind::StorageFull.into())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[test]
fn a_line_that_cannot_be_written_is_counted() {
    let dropped = Arc::new(AtomicU64::new(0));
    let mut log = ADayAtMost::new(Full, 100, dropped.clone());
    assert!(log.write_all(b"one\n").is_err() && log.write_all(b"two\n").is_err());
    assert_eq!(dropped.load(Ordering::Relaxed), 2);
}

#[test]
fn a_panic_is_logged_and_the_process_goes_on() {
    let folder = folder("panic");
    let child = test_child::run("daemon::logging::tests::child_panics", folder.to_str().unwrap());
    let err = String::from_utf8_lossy(&child.stderr).into_owned();
    assert!(child.status.success(), "{err}");
    let (_, file) = the_only_file(&folder);
    let line = file.lines().find(|line| line.contains("a thread panicked")).unwrap();
    for part in ["ERROR", "thread=\"radio 3\"", "logging/tests.rs:", "panic=\"dropped while a signal came\""] {
        assert!(line.replace('\\', "/").contains(part), "{part}: {line}");
        assert!(err.replace('\\', "/").contains(part), "{part}: {err}");
    }
    assert!(file.lines().last().unwrap().ends_with("still here"), "{file}");
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
#[ignore = "the other process of `cargo test --lib a_panic_is_logged_and_the_process_goes_on`"]
fn child_panics() {
    let Some(folder) = test_child::given() else { return };
    let logging = start(&settings("info", Some(folder.into()))).unwrap();
    assert!(matches!(start(&settings("info", None)), Err(LogError::Started)));
    let thread = std::thread::Builder::new().name("radio 3".into());
    let panicking = thread.spawn(|| panic!("dropped while a {} came", "signal")).unwrap();
    assert!(panicking.join().is_err());
    tracing::info!("still here");
    drop(logging);
}
