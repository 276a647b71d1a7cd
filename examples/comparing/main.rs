//! What comparing then and now must reach, and how often it is wrong by chance.
//!
//! ```text
//! cargo run --release --example comparing            both
//! cargo run --release --example comparing -- speed   how long two groups of 500 swings with curves take: 1 s at most, and
//!                                                    the sheet of them to take home: 2 s at most
//! cargo run --release --example comparing -- chance  shares of athletes without any change of whom a change is said
//! ```
//!
//! The exit status is 1 if a limit is missed: 1 s, 2 s, and 5 % with three standard errors of a share of so many.

mod chance;
#[path = "../support/direct.rs"]
mod direct;
mod sheet;
mod speed;

use std::process::ExitCode;

fn main() -> anyhow::Result<ExitCode> {
    let wanted = std::env::args().nth(1);
    let is_wanted = |name: &str| wanted.as_deref().is_none_or(|wanted| wanted == name);
    let mut holds = true;
    if is_wanted("speed") {
        holds &= speed::measure()?;
    }
    if is_wanted("chance") {
        holds &= chance::measure();
    }
    Ok(if holds { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}
