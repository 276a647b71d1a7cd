//! The live service from notification to event, on virtual time and as a process.

mod access;
mod checks;
mod cli;
#[cfg(target_os = "linux")]
mod disk;
mod example;
mod faults;
mod http;
mod kill;
mod sessions;
mod store;
mod stream;
mod support;
