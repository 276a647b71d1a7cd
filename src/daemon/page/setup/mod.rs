//! Setting up: the first run; who swings and with what; which sensors are used; each of them by
//! itself; how much of a change matters.
//!
//! A file a page; [`fields`], [`people`], [`near`] and [`cautions`] are what several of them have.

mod amounts;
mod athlete;
mod bat;
mod cautions;
mod fields;
mod near;
mod overview;
mod people;
mod sensor;
mod start;
#[cfg(test)]
mod tests;

pub use amounts::page as amounts;
pub use athlete::page as athlete;
pub use bat::page as bat;
pub use near::part as nearby;
pub use overview::page as overview;
pub use sensor::{check, page as sensor};
pub use start::page as start;
