//! From samples to attitude and velocity, with uncertainties.
//!
//! What enters: [`Sample`](crate::engine::sample::Sample)s as sent and what the profile knows of the sensor. What
//! leaves: rests ([`rest`]), rolls about the bat's axis ([`roll`]), the strapdown integral of a span of samples with its sensitivities ([`span`]), and the
//! state at chosen instants ("nodes") by a Kalman filter forward and a smoother backward ([`filter`]). [`routine`] recognises the calibration routine. [`track`] is the
//! motion of a whole recording by the same means.

pub mod conditioning;
pub mod filter;
pub mod level;
pub mod navigator;
pub mod rest;
pub mod roll;
pub mod routine;
pub mod span;
pub mod state;
pub mod strapdown;
pub mod track;
