use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use super::*;
use crate::daemon::clock::Clock;

/// Long enough for any machine; no test waits for it.
const LONG: Duration = Duration::from_secs(60);

/// A clock that is set.
#[derive(Default)]
struct SetClock(AtomicU64);

impl SetClock {
    fn set_ms(&self, ms: u64) {
        self.0.store(ms, Ordering::SeqCst);
    }
}

impl Clock for SetClock {
    fn now(&self) -> Now {
        now(self.0.load(Ordering::SeqCst))
    }
}

fn recorder() -> (MemoryDisk, Arc<SetClock>, RecorderHandle) {
    let (disk, clock) = (MemoryDisk::new(), Arc::new(SetClock::default()));
    let handle = spawn(RecorderCore::new(disk.clone(), settings()), clock.clone()).unwrap();
    (disk, clock, handle)
}

#[test]
fn a_stall_of_two_seconds_is_seen_and_loses_nothing() {
    let (disk, clock, handle) = recorder();
    let progress = handle.progress();
    disk.make_stuck(true);
    handle.record(0, packet(0)).unwrap();
    disk.wait_until_stuck();
    // 8 kHz at 30 samples a packet.
    for index in 1..534 {
        clock.set_ms(index * 2000 / 533);
        handle.record(index, packet(index)).unwrap();
    }
    assert_eq!(progress.behind(clock.now().elapsed), Duration::from_secs(2));
    assert_eq!(progress.trouble(clock.now().elapsed), Some(Trouble::Slow { behind_s: 2.0 }));
    assert_eq!((progress.kept(0..=533), progress.written_through()), (Kept::Waiting, None));
    disk.make_stuck(false);
    handle.close(LONG).unwrap();
    assert_eq!((progress.lost(), progress.kept(0..=533), progress.behind(LONG)), (0, Kept::Written, Duration::ZERO));
    assert_eq!(progress.trouble(LONG), None);
    assert_eq!(packets(&disk, "-knob.mcap"), (0..534).map(|index| (index, 1)).collect());
}

#[test]
fn a_disk_that_is_stuck_while_nothing_came_is_seen_once_something_comes() {
    let (disk, clock, handle) = recorder();
    let progress = handle.progress();
    handle.record(0, packet(0)).unwrap();
    while progress.written_through().is_none() {
        std::thread::yield_now();
    }
    // The sync that is due now does not return.
    disk.make_stuck(true);
    clock.set_ms(1000);
    disk.wait_until_stuck();
    assert_eq!(progress.behind(LONG), Duration::ZERO);
    handle.record(1, packet(1)).unwrap();
    clock.set_ms(2500);
    assert_eq!(progress.trouble(clock.now().elapsed), Some(Trouble::Slow { behind_s: 1.5 }));
    disk.make_stuck(false);
    handle.close(LONG).unwrap();
    assert_eq!(progress.kept(0..=1), Kept::Written);
}

#[test]
fn what_finds_the_queue_full_is_counted_and_told() {
    let (disk, clock, handle) = recorder();
    let progress = handle.progress();
    disk.make_stuck(true);
    handle.record(0, packet(0)).unwrap();
    disk.wait_until_stuck();
    let depth = QUEUE_DEPTH as u64;
    for index in 1..=depth {
        assert_eq!(handle.record(index, packet(index)), Ok(()));
    }
    clock.set_ms(500);
    for index in depth + 1..depth + 4 {
        assert_eq!(handle.record(index, packet(index)), Err(QueueFull));
    }
    assert_eq!(handle.sync(), Err(QueueFull));
    assert_eq!(progress.trouble(clock.now().elapsed), Some(Trouble::Slow { behind_s: 0.5 }));
    assert_eq!((progress.lost(), progress.kept(depth + 1..=depth + 3)), (3, Kept::Lost));
    disk.make_stuck(false);
    handle.close(LONG).unwrap();
    assert_eq!((progress.messages(), progress.kept(0..=depth)), (depth + 1, Kept::Written));
    assert_eq!(progress.trouble(LONG), None);
}

#[test]
fn a_stuck_disk_does_not_hold_up_the_end() {
    let (disk, _, handle) = recorder();
    disk.make_stuck(true);
    handle.record(0, packet(0)).unwrap();
    let progress = handle.progress();
    let error = handle.close(Duration::from_millis(20)).unwrap_err();
    assert!(error.to_string().contains("0.02 s") && !progress.is_closed());
    disk.make_stuck(false);
}

#[test]
fn what_is_written_is_there_while_it_records() {
    let (disk, _, handle) = recorder();
    let progress = handle.progress();
    for index in 0..2000 {
        handle.record(index, packet(index)).unwrap();
        // The end of the program now would leave this.
        if index % 100 == 0 {
            let written = progress.written_through();
            let found = packets(&disk, ".mcap");
            assert!(written.is_none_or(|last| (0..=last).all(|index| found.contains_key(&index))));
        }
    }
    handle.sync().unwrap();
    handle.close(LONG).unwrap();
    assert_eq!((progress.synced_through(), progress.lost()), (Some(1999), 0));
    assert_eq!(packets(&disk, ".mcap").len(), 2000);
}
