//! Bat-swing measurement from a 6-axis inertial sensor on the knob of a bat.
//!
//! ```text
//!   cli ──► daemon ──► report ──► engine ◄── sim
//!   files    live:      JSON       pure:      truth →
//!   and      radio,     tables     bytes →    samples
//!   flags    disk, HTTP pictures   metrics
//! ```
//!
//! Arrows point to what a module may name. `engine` names none of the others; `engine`, `sim` and `report` hold no
//! file, clock, thread, randomness from outside or global state (held by `tests/tidy.rs`).
//!
//! In reading order: [`engine`] (its parts are listed there), [`sim`], [`report`], [`daemon`], [`cli`].

pub mod cli;
pub mod daemon;
pub mod engine;
pub mod report;
pub mod sim;
