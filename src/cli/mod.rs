//! The commands: arguments and files in, one call into the engine or the simulator, files and words out.

pub mod synth;
