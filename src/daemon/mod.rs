//! The background service: radio, files, tasks and HTTP around the pure engine.

pub mod clock;
pub mod lock;
pub mod logging;
pub mod radio;
#[cfg(test)]
mod test_child;
