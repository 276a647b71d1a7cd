//! The events of earlier runs: lines of JSON in two files of the data folder, the older of which is dropped whole.
//!
//! A thread of its own writes, so that a slow disk makes nobody wait; what it cannot take or write is counted. Losing
//! lines loses no swing, as those are in the recordings: only what a front-end may ask to be told again.

use super::hub::News;
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;
use std::fs::{File, OpenOptions};
use std::io::{self, BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread::JoinHandle;

/// Events on their way to the disk: hours of swings.
const DEPTH: usize = 4096;
/// The longest line that is read back, bytes: many times that of any event.
const LONGEST_LINE: u64 = 1 << 20;

#[derive(Serialize, Deserialize)]
struct Line<'a> {
    id: u64,
    kind: String,
    #[serde(borrow)]
    data: &'a RawValue,
}

/// The log, open for more.
pub struct EventLog {
    /// `None` ends the log.
    sender: SyncSender<Option<Arc<News>>>,
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
    lost: Arc<AtomicU64>,
    failing: Arc<AtomicBool>,
}

impl EventLog {
    /// Reads what earlier runs told, oldest first, and opens the log for more. Each of the two files has up to `most`
    /// events.
    ///
    /// # Errors
    /// If the log cannot be opened for writing.
    pub fn open(folder: &Path, most: usize) -> io::Result<(Vec<News>, Self)> {
        let path = folder.join("events.jsonl");
        let mut earlier = read(&older(&path));
        let present = read(&path);
        let lines = present.len() as u64;
        earlier.extend(present);
        let mut file = OpenOptions::new().create(true).append(true).open(&path)?;
        // What was cut short by a crash ends here.
        file.write_all(b"\n")?;
        let lost = Arc::new(AtomicU64::new(0));
        let (sender, receiver) = sync_channel(DEPTH);
        let failing = Arc::new(AtomicBool::new(false));
        let writer =
            Writer { file, lines, most: most as u64, path, lost: Arc::clone(&lost), failing: Arc::clone(&failing) };
        let thread = std::thread::Builder::new().name("event-log".into()).spawn(move || writer.run(&receiver))?;
        Ok((earlier, Self { sender, lost, failing, thread }))
    }

    /// Takes an event, or counts it as lost.
    pub fn keeper(&self) -> super::hub::Keep {
        let (sender, lost) = (self.sender.clone(), Arc::clone(&self.lost));
        Box::new(move |news| {
            if sender.try_send(Some(Arc::clone(news))).is_err() {
                lost.fetch_add(1, Ordering::Relaxed);
            }
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
        let _ = self.sender.send(None);
        if self.thread.join().is_err() {
            tracing::error!("the event log's thread ended by a panic");
        }
    }
}

impl Writer {
    fn run(mut self, receiver: &Receiver<Option<Arc<News>>>) {
        while let Ok(Some(news)) = receiver.recv() {
            let written = self.write(&news);
            self.failing.store(written.is_err(), Ordering::Relaxed);
            if let Err(error) = written {
                let lost = self.lost.fetch_add(1, Ordering::Relaxed);
                if lost.is_multiple_of(100) {
                    tracing::warn!(%error, lost, "an event could not be written to the event log");
                }
            }
        }
        if let Err(error) = self.file.sync_data() {
            tracing::warn!(%error, "the event log could not be synced");
        }
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
        self.file.write_all(line.as_bytes())?;
        self.lines += 1;
        Ok(())
    }
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
            let (earlier, log) = EventLog::open(&folder, 10).unwrap();
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
    fn a_line_cut_short_by_a_crash_loses_itself_and_nothing_else() {
        let folder = folder("cut");
        let (_, log) = EventLog::open(&folder, 10).unwrap();
        let keep = log.keeper();
        (1..=3).for_each(|id| keep(&news(id)));
        drop(keep);
        log.close();
        let path = folder.join("events.jsonl");
        let text = std::fs::read_to_string(&path).unwrap();
        std::fs::write(&path, &text[..text.len() - 5]).unwrap();
        let (_, log) = EventLog::open(&folder, 10).unwrap();
        log.keeper()(&news(4));
        log.close();
        let (earlier, log) = EventLog::open(&folder, 10).unwrap();
        assert_eq!(earlier.iter().map(|news| news.id.unwrap()).collect::<Vec<_>>(), [1, 2, 4]);
        log.close();
        std::fs::remove_dir_all(folder).unwrap();
    }
}
