//! The live service from notification to event, on virtual time and as a process.

mod access;
mod cli;
mod faults;
mod http;
mod kill;
mod sessions;
mod stream;
mod support;
