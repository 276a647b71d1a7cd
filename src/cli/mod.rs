//! The commands: files and flags around the engine.

pub mod convert;
pub mod recording;

#[cfg(test)]
mod test_folder;
