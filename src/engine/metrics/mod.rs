//! From a bat's motion around one contact to the swing's metrics.
//!
//! [`evaluate`] takes a [`BatMotion`] and gives every [`Metric`] with its start, [`curves`] what is drawn of it, and
//! [`square_stretch`] where on those curves the timing window lies. Both read
//! the motion only up to contact if a ball was met. All is smooth in the motion but for the choice between the start's two
//! rules, so σ can be had from differences of [`evaluate_with`].

mod angles;
mod estimate;
mod evaluate;
#[cfg(test)]
mod known;
mod lowpass;
mod motion;
mod path;
mod series;
mod speed;
mod square;
mod start;
mod timing_window;
mod traces;

pub use estimate::{Estimate, Flag, Metric};
pub use evaluate::{Scratch, Values, curves, evaluate, evaluate_with};
pub use motion::{BatMotion, BatState, HANDS_FROM_KNOB_M};
pub use square::{SquareStretch, carried_on, square_stretch};
pub use start::StartRule;
