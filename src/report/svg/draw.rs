//! The charts once more under the name by which pages call them.

pub use super::{Band, Called, Chart, Drawn, Pitch, Ranges, Square, TrendLine, TrendPoint, path, speed, trend};
