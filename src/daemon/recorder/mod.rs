//! What every sensor sends, written down before anything is made of it.
//!
//! A recorder a sensor. In go entries ([`Entry`](crate::engine::wire::mcap::Entry)) by [`RecorderHandle::record`],
//! which never waits; out come files in one folder and [`Progress`]: how far it has come, and what is in the way
//! ([`Trouble`]). A file grows as `….live.mcap`, one call to the operating system an entry, and is then made into a
//! finished `….mcap`; what a crash left, [`recover()`] finishes at the next start. Each file begins with the last
//! device, profile, who is at the plate and link, so that it can be read alone.
//!
//! ```text
//!   RecorderHandle ──► bounded queue ──► thread: RecorderCore ──► Disk
//!         ▲                                        │
//!         └────────────── Progress ◄───────────────┘
//! ```
//!
//! [`RecorderCore`] holds all decisions and is told the time; the thread only feeds it. What a disk can do wrong is
//! tried on [`memory::MemoryDisk`].

mod core;
mod disk;
mod finish;
mod handle;
mod live;
mod lost;
pub mod memory;
mod names;
mod progress;
mod recover;
#[cfg(test)]
mod tests;

pub use core::{Command, RecorderCore, Settings};
pub use disk::{Disk, DiskFile, SystemDisk};
pub use handle::{NotClosed, QUEUE_DEPTH, QueueFull, RecorderHandle, spawn};
pub use names::{begun_utc_us, stem};
pub use progress::{Kept, Progress, Trouble};
pub use recover::{Leftovers, Recovered, recover};
