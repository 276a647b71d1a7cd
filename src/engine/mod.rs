//! From bytes to swings: the pure core. [`session::Session`] is the door for recordings and live streams, [`Engine`] that for
//! samples.
//!
//! In the order of the data: [`geometry`] and [`profile`]; [`wire`], bytes to samples; [`device`] and [`intake`], packets to
//! samples, with [`utc`]; [`sample`]; [`motion`], samples to attitude and velocity; [`swing`], motion to swings;
//! [`metrics`], swings to numbers; [`check`], samples to whether a sensor is what it is said to be. Mostly a module names those
//! before it; but `wire` makes [`sample`]'s types, `swing` calls [`metrics`] and lends it the type of its curves, and
//! `profile` takes the hands point from [`metrics`]. Beside them, for live sensors: [`device`], notifications to
//! readings; [`utc`], a sensor's clock placed on UTC.

pub mod check;
pub mod device;
pub mod geometry;
pub mod intake;
pub mod metrics;
pub mod motion;
pub mod profile;
pub mod sample;
pub mod session;
pub mod swing;
pub mod utc;
pub mod wire;

mod driver;

pub use driver::Engine;

use nalgebra::Vector3;
use sample::SensorTime;
use swing::Swing;

/// What the engine has to tell.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// A swing, or a better estimate of one told before: the same `number` replaces it.
    Swing {
        /// Counts the swings of a recording from 0.
        number: u64,
        /// How good the estimate is by now.
        stage: Stage,
        /// The swing.
        swing: Box<Swing>,
    },
    /// A rest has ended that was long enough to be used.
    Rest {
        /// Its start.
        from: SensorTime,
        /// Its end.
        to: SensorTime,
        /// Up, unit, in B, by the estimate at its end.
        up_b: Vector3<f64>,
    },
    /// The bat was rolled about its own axis.
    Roll {
        /// When it began.
        from: SensorTime,
        /// When it ended.
        to: SensorTime,
        /// Both ways counted, rad.
        angle_rad: f64,
    },
}

/// By how much of the recording a swing was estimated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// From what came before contact.
    Streaming,
    /// With the rest after the swing.
    Smoothed,
    /// With later rests as well.
    Revised,
}
