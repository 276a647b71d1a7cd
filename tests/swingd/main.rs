//! The program and the library through their public doors.

mod bad_input;
mod bids;
mod commands;
mod curves;
mod engine;
mod film;
mod golden;
mod operation;
mod record;
mod session;
mod shared;
mod stages;
mod support;
mod without;
