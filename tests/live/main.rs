//! The live service from notification to event, on virtual time and as a process.

mod faults;
mod sessions;
mod support;
