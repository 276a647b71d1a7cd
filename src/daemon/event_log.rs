//! The events of earlier runs: lines of JSON in two files of the data folder, the older of which is dropped whole.
//!
//! A thread of its own writes, so that a slow disk makes nobody wait; what it cannot take or write is counted. Losing
//! lines loses no swing, as those are in the recordings: only what a front-end may ask to be told again.

use super::hub::{Forget, ForgetKept, News};
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;
use std::fs::{File, OpenOptions};
use std::io::{self, BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// Events on their way to the disk: hours of swings.
const DEPTH: usize = 4096;
/// The longest line that is read back, bytes: many times that of any event.
const LONGEST_LINE: u64 = 1 << 20;

/// The kind of the line that a log begins anew with, and of that at its end: nothing before is missing. Their ids are the
/// last that was given.
const OPENED: &str = "opened";
const CLOSED: &str = "closed";
/// A log that cannot be written to is tried again so often.
const TRY_EVERY: Duration = Duration::from_secs(2);

#[derive(Serialize, Deserialize)]
struct Line<'a> {
    id: u64,
    kind: String,
    #[serde(borrow)]
    data: &'a RawValue,
}

/// What the log's thread is told.
enum Order {
    Keep(Arc<News>),
    /// And how many events were forgotten, to be answered.
    Forget(Forget, SyncSender<io::Result<u64>>),
    End,
}

/// The log, open for more.
pub struct EventLog {
    sender: SyncSender<Order>,
    lost: Arc<AtomicU64>,
    failing: Arc<AtomicBool>,
    thread: JoinHandle<()>,
}

/// Writes until it is told to end.
struct Writer {
    file: File,
    lines: u64,
    most: u64,
    path: PathBuf,
    last_id: u64,
    /// The last write may have left part of a line.
    is_cut: bool,
    lost: Arc<AtomicU64>,
    failing: Arc<AtomicBool>,
}

impl EventLog {
    /// Reads what earlier runs told, oldest first, with the last id they gave, and opens the log for more. Each of the two
    /// files has up to `most` events.
    ///
    /// After a run that did not close the log, or could not write all of it, something may be missing at its end that a
    /// front-end was told: then nothing of before is given, and the log begins anew.
    ///
    /// # Errors
    /// If the log cannot be opened for writing.
    pub fn open(folder: &Path, most: usize) -> io::Result<(Vec<News>, u64, Self)> {
        let path = folder.join("events.jsonl");
        let (older_path, present) = (older(&path), read(&path));
        let mut lines = present.len() as u64;
        let mut earlier = read(&older_path);
        earlier.extend(present);
        let last_id = earlier.iter().filter_map(|news| news.id).max().unwrap_or(0);
        let is_whole = earlier.last().is_none_or(|last| last.kind == CLOSED);
        let mut options = OpenOptions::new();
        if !is_whole {
            earlier.clear();
            lines = 0;
            std::fs::write(&path, marker(OPENED, last_id)?)?;
            match std::fs::remove_file(&older_path) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
                _ => {}
            }
        }
        earlier.retain(|news| ![OPENED, CLOSED].contains(&news.kind.as_str()));
        let file = options.create(true).append(true).open(&path)?;
        let lost = Arc::new(AtomicU64::new(0));
        let (sender, receiver) = sync_channel(DEPTH);
        let failing = Arc::new(AtomicBool::new(false));
        let writer = Writer {
            file,
            lines,
            most: most as u64,
            path,
            last_id,
            is_cut: false,
            lost: Arc::clone(&lost),
            failing: Arc::clone(&failing),
        };
        let thread = std::thread::Builder::new().name("event-log".into()).spawn(move || writer.run(&receiver))?;
        Ok((earlier, last_id, Self { sender, lost, failing, thread }))
    }

    /// Takes an event, or counts it as lost.
    pub fn keeper(&self) -> super::hub::Keep {
        let (sender, lost) = (self.sender.clone(), Arc::clone(&self.lost));
        Box::new(move |news| {
            if sender.try_send(Order::Keep(Arc::clone(news))).is_err() {
                lost.fetch_add(1, Ordering::Relaxed);
            }
        })
    }

    /// Writes the log anew without some events, and waits for that.
    pub fn forgetter(&self) -> ForgetKept {
        let sender = self.sender.clone();
        Box::new(move |is_theirs| {
            let (answer, answered) = sync_channel(1);
            let ended = || io::Error::other("the event log has ended");
            sender.send(Order::Forget(Arc::clone(is_theirs), answer)).map_err(|_| ended())?;
            answered.recv().map_err(|_| ended())?
        })
    }

    /// Events that are not in the log.
    pub fn lost(&self) -> Arc<AtomicU64> {
        Arc::clone(&self.lost)
    }

    /// Whether the last event could not be written.
    pub fn failing(&self) -> Arc<AtomicBool> {
        Arc::clone(&self.failing)
    }

    /// Waits until all that was taken is written. What keepers take afterwards is lost, and counted.
    pub fn close(self) {
        // Its thread has ended only if it panicked.
        let _ = self.sender.send(Order::End);
        if self.thread.join().is_err() {
            tracing::error!("the event log's thread ended by a panic");
        }
    }
}

impl Writer {
    fn run(mut self, receiver: &Receiver<Order>) {
        loop {
            let news = match receiver.recv_timeout(TRY_EVERY) {
                Ok(Order::Keep(news)) => news,
                Ok(Order::Forget(is_theirs, answer)) => {
                    // Whoever asked may be gone.
                    let _ = answer.send(self.forget(&is_theirs));
                    continue;
                }
                Ok(Order::End) | Err(RecvTimeoutError::Disconnected) => break,
                Err(RecvTimeoutError::Timeout) => {
                    if self.failing.load(Ordering::Relaxed) {
                        self.failing.store(self.file.write_all(b"\n").is_err(), Ordering::Relaxed);
                    }
                    continue;
                }
            };
            let written = self.write(&news);
            self.failing.store(written.is_err(), Ordering::Relaxed);
            self.is_cut = written.is_err();
            if let Err(error) = written {
                let lost = self.lost.fetch_add(1, Ordering::Relaxed);
                if lost.is_multiple_of(100) {
                    tracing::warn!(%error, lost, "an event could not be written to the event log");
                }
            }
        }
        // Only a log that lacks nothing is said to be whole.
        let whole = (self.lost.load(Ordering::Relaxed) == 0).then(|| marker(CLOSED, self.last_id));
        let closed = whole.transpose().map_err(io::Error::from).and_then(|line| match line {
            Some(line) => self.file.write_all(line.as_bytes()),
            None => Ok(()),
        });
        if let Err(error) = closed.and_then(|()| self.file.sync_data()) {
            tracing::warn!(%error, "the event log could not be synced");
        }
    }

    /// Each of the two files anew: into another file, synced, renamed.
    fn forget(&mut self, is_theirs: &Forget) -> io::Result<u64> {
        let present = self.path.clone();
        let forgotten = forget_in(&older(&present), is_theirs)?.1;
        let (left, also) = forget_in(&present, is_theirs)?;
        self.file = OpenOptions::new().create(true).append(true).open(&self.path)?;
        (self.lines, self.is_cut) = (left, false);
        Ok(forgotten + also)
    }

    fn write(&mut self, news: &News) -> io::Result<()> {
        let Some(id) = news.id else { return Ok(()) };
        if self.lines >= self.most {
            match std::fs::rename(&self.path, older(&self.path)) {
                // As after an attempt that failed half-way.
                Err(error) if error.kind() == io::ErrorKind::NotFound => {}
                renamed => renamed?,
            }
            self.file = OpenOptions::new().create(true).append(true).open(&self.path)?;
            self.lines = 0;
        }
        let data = RawValue::from_string(news.data.clone())?;
        let mut line = serde_json::to_string(&Line { id, kind: news.kind.clone(), data: &data })?;
        line.push('\n');
        if self.is_cut {
            line.insert(0, '\n');
        }
        self.file.write_all(line.as_bytes())?;
        self.lines += 1;
        self.last_id = id;
        Ok(())
    }
}

/// A line that is no event.
fn marker(kind: &str, id: u64) -> Result<String, serde_json::Error> {
    Ok(serde_json::to_string(&Line { id, kind: kind.into(), data: RawValue::NULL })? + "\n")
}

/// A file without some of its events; how many are left and how many are gone. What cannot be read goes too.
fn forget_in(path: &Path, is_theirs: &Forget) -> io::Result<(u64, u64)> {
    if !path.try_exists()? {
        return Ok((0, 0));
    }
    let all = read(path);
    let left: Vec<&News> = all.iter().filter(|news| !is_theirs(news)).collect();
    let part = path.with_extension("part");
    let mut out = io::BufWriter::new(File::create(&part)?);
    for news in &left {
        let data = RawValue::from_string(news.data.clone())?;
        serde_json::to_writer(&mut out, &Line { id: news.id.unwrap_or(0), kind: news.kind.clone(), data: &data })?;
        out.write_all(b"\n")?;
    }
    out.into_inner().map_err(|error| error.into_error())?.sync_all()?;
    std::fs::rename(&part, path)?;
    Ok((left.len() as u64, (all.len() - left.len()) as u64))
}

fn older(path: &Path) -> PathBuf {
    path.with_extension("older.jsonl")
}

/// The events in a file as far as they can be read; a line that cannot is passed over.
fn read(path: &Path) -> Vec<News> {
    let Ok(file) = File::open(path) else { return Vec::new() };
    let mut reader = BufReader::new(file);
    let (mut all, mut line) = (Vec::new(), Vec::new());
    loop {
        line.clear();
        match io::Read::take(&mut reader, LONGEST_LINE).read_until(b'\n', &mut line) {
            Ok(0) | Err(_) => return all,
            Ok(_) => {}
        }
        if let Ok(Line { id, kind, data }) = serde_json::from_slice(&line) {
            all.push(News { id: Some(id), kind, data: data.get().to_owned() });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folder(name: &str) -> PathBuf {
        let folder = std::env::temp_dir().join(format!("swingd-events-{}-{name}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        folder
    }

    fn news(id: u64) -> Arc<News> {
        Arc::new(News { id: Some(id), kind: "swing".into(), data: format!("{{\"number\":{id}}}") })
    }

    #[test]
    fn events_outlive_the_process_and_the_oldest_go() {
        let folder = folder("outlive");
        let mut told = 0;
        for run in 0..3 {
            let (earlier, last_id, log) = EventLog::open(&folder, 10).unwrap();
            assert_eq!(last_id, told);
            let ids: Vec<_> = earlier.iter().map(|news| news.id.unwrap()).collect();
            assert!(ids.is_sorted() && ids.len() <= 20 && ids.last().copied().unwrap_or(0) == told, "{run}: {ids:?}");
            if run > 0 {
                assert!(ids.len() >= 10);
                assert_eq!(earlier.last().unwrap().data, format!("{{\"number\":{told}}}"));
            }
            let keep = log.keeper();
            for _ in 0..17 {
                told += 1;
                keep(&news(told));
            }
            let lost = log.lost();
            log.close();
            // One that is still held changes nothing.
            keep(&news(told + 1));
            assert_eq!(lost.load(Ordering::Relaxed), 1);
        }
        std::fs::remove_dir_all(folder).unwrap();
    }

    #[test]
    fn what_is_forgotten_is_in_neither_file_and_the_log_goes_on() {
        let folder = folder("forget");
        let (_, _, log) = EventLog::open(&folder, 10).unwrap();
        let (keep, forget) = (log.keeper(), log.forgetter());
        (1..=14).for_each(|id| keep(&news(id)));
        let is_theirs: Forget = Arc::new(|news| [Some(3), Some(12)].contains(&news.id));
        assert_eq!(forget(&is_theirs).unwrap(), 2);
        keep(&news(15));
        drop(keep);
        log.close();
        assert!(forget(&is_theirs).is_err(), "it has ended");
        for name in ["events.jsonl", "events.older.jsonl"] {
            let text = std::fs::read_to_string(folder.join(name)).unwrap();
            assert!(!text.contains("\"number\":3}") && !text.contains("\"number\":12}"), "{text}");
        }
        let (earlier, _, log) = EventLog::open(&folder, 10).unwrap();
        let ids: Vec<_> = earlier.iter().map(|news| news.id.unwrap()).collect();
        assert_eq!(ids, [1, 2, 4, 5, 6, 7, 8, 9, 10, 11, 13, 14, 15]);
        log.close();
        std::fs::remove_dir_all(folder).unwrap();
    }

    #[test]
    fn after_a_crash_nothing_of_before_is_given_as_something_may_be_missing() {
        let folder = folder("cut");
        let (_, _, log) = EventLog::open(&folder, 10).unwrap();
        let keep = log.keeper();
        (1..=3).for_each(|id| keep(&news(id)));
        drop(keep);
        log.close();
        let path = folder.join("events.jsonl");
        let text = std::fs::read_to_string(&path).unwrap();
        // Into the last line, that which says that nothing is missing.
        std::fs::write(&path, &text[..text.len() - 5]).unwrap();
        let (earlier, last_id, log) = EventLog::open(&folder, 10).unwrap();
        assert_eq!((earlier.len(), last_id), (0, 3), "ids go on all the same");
        log.keeper()(&news(4));
        log.close();
        let (earlier, last_id, log) = EventLog::open(&folder, 10).unwrap();
        assert_eq!(earlier.iter().map(|news| news.id.unwrap()).collect::<Vec<_>>(), [4]);
        assert_eq!(last_id, 4);
        log.close();
        std::fs::remove_dir_all(folder).unwrap();
    }

    #[test]
    fn a_log_that_lacks_an_event_is_not_said_to_be_whole() {
        let folder = folder("lacks");
        let (_, _, log) = EventLog::open(&folder, 10).unwrap();
        log.keeper()(&news(1));
        log.lost().fetch_add(1, Ordering::Relaxed);
        log.close();
        let (earlier, last_id, log) = EventLog::open(&folder, 10).unwrap();
        assert_eq!((earlier.len(), last_id), (0, 1));
        log.close();
        std::fs::remove_dir_all(folder).unwrap();
    }
}
