//! The background service: radio, files, tasks and HTTP around the pure engine.

pub mod clock;
pub mod event_log;
pub mod hub;
pub mod inlet;
pub mod link;
pub mod radio;
pub mod state;
pub mod station;
