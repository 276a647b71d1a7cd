//! Setting up: the first run; who swings and with what; which sensors are used; each of them by itself.

mod athlete;
mod bat;
mod overview;
mod sensor;
mod start;

pub use athlete::page as athlete;
pub use bat::page as bat;
pub use overview::page as overview;
pub use sensor::{check, page as sensor};
pub use start::page as start;
