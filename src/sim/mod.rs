//! Simulated recordings with exact truth: a batter, a sensor and a seed give samples and what truly happened.
//!
//! ```text
//!   random ─► batter ─► swing, event ─► builder ─► motion ─► sensor ─► samples
//!                          blow │                     │        ▲
//!                               ▼                     ▼        │
//!                             hit                   truth    preset (one specimen's errors)
//! ```
//!
//! [`Scenario::run`] is the one door for batters; [`textbook`] holds motions with closed-form solutions, [`bench`] those of a
//! person who checks a sensor, [`sound`] the sound tracks of films. All motions are
//! put together from the curves of `curve` and are known exactly at every instant; nothing is integrated but a pendulum that loses.

mod batter;
pub mod bench;
mod blow;
mod builder;
mod curve;
mod elliptic;
mod event;
mod lesson;
mod motion;
mod pose;
mod preset;
mod random;
mod sensor;
pub mod sound;
mod swing;
pub mod textbook;
mod truth;
mod wander;

pub use batter::Batter;
pub use event::EventKind;
pub use lesson::{Kind, Scenario, Simulated, Span, Truth, Visit};
pub use motion::{Motion, Mounted};
pub use pose::{ImuState, Trajectory};
pub use preset::{Drawn, HighRange, Preset};
pub use random::Random;
pub use sensor::{Mishaps, Stream, record};
pub use swing::{Hit, SwingKind};
pub use truth::SwingTruth;
