//! Who may.

mod settings;

pub use settings::{Patience, Settings};
