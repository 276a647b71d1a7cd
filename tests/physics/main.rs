//! Checks against textbook physics, published values and independent ways to the same answer.
//!
//! Each is named after its source; tolerances are derived, and the derivation stands beside them. Run with
//! `cargo test --release --test physics`.

mod checks;
mod closed_forms;
mod comparison;
mod film;
mod filters;
mod honesty;
mod properties;
mod rigid_body;
mod rules;
mod sensitivities;
mod smoother;
mod support;
mod time_on_utc;
mod timing_window;
mod track;
mod vqf;
