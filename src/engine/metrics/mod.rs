//! From a bat's motion around one contact to the swing's metrics.

mod estimate;
mod motion;

pub use estimate::{Estimate, Flag, Metric};
pub use motion::{BatMotion, BatState, HANDS_FROM_KNOB_M};
