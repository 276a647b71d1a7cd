//! Bat-swing measurement from a 6-axis inertial sensor on the knob of a bat.
//!
//! ```text
//!   cli ──► daemon ──► report ──► compare, ball, film ──► engine ◄── sim
//!   files    live:      JSON       pure: then and now,     pure:      truth →
//!   and      radio,     tables     what a ball would do,   bytes →    samples
//!   flags    disk, HTTP pictures   sound of a film         metrics
//! ```
//!
//! Arrows point to what a module may name. `engine` names none of the others; all but `daemon` and `cli` hold no
//! file, clock, thread, randomness from outside or global state (held by `tests/tidy.rs`).
//!
//! In reading order: [`engine`] (its parts are listed there), [`sim`], [`quantile`] (which all may name), [`compare`], [`ball`], [`film`], [`report`], [`daemon`],
//! [`cli`].

pub mod ball;
pub mod cli;
pub mod compare;
pub mod daemon;
pub mod engine;
pub mod film;
pub mod quantile;
pub mod report;
pub mod sim;
