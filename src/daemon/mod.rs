//! The background service: radio, files, tasks and HTTP around the pure engine.

pub mod clock;
pub mod radio;
pub mod recorder;
