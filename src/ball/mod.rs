//! What a ball would do if it were squared up, and what was measured of balls.
//!
//! Bat speed, bat and pitch speed give a range of exit speeds ([`collision`]); those, with [`air`], launch angle and spin, a range
//! of carries ([`flight`]); [`squared_up`] puts both together. None of it is ever a measurement. What other devices did measure
//! is counted in [`measured`]. Formulas, sources and assumptions: proto-docs/ball.md.

pub mod air;
pub mod collision;
pub mod flight;
pub mod kind;
pub mod measured;
pub mod squared_up;

/// Least and greatest of what a number may be; nothing is said of what lies between.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// Least.
    pub low: f64,
    /// Greatest.
    pub high: f64,
}

impl Bounds {
    /// From `low` to `high`.
    pub const fn new(low: f64, high: f64) -> Self {
        Self { low, high }
    }

    /// One number.
    pub const fn exactly(value: f64) -> Self {
        Self { low: value, high: value }
    }

    /// Whether a number lies in it, its ends included.
    pub fn contains(self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }

    /// Halfway.
    pub fn middle(self) -> f64 {
        f64::midpoint(self.low, self.high)
    }

    /// Both ends finite and in order.
    pub fn is_sound(self) -> bool {
        self.low.is_finite() && self.high.is_finite() && self.low <= self.high
    }
}
