//! Looking back: who was here ([`athletes`]), an [`athlete`]'s lessons and trend, a [`lesson`] with its rounds, a
//! [`swing`]; two groups of swings, [then and now](then_now()).
//!
//! [`ball_and_air`] is what is taken for a ball that is squared up; [`spread`] how the swings of a group scatter; [`places`] where swings can be moved to.

mod athlete;
mod athletes;
mod ball_and_air;
mod lesson;
mod places;
mod spread;
mod swing;
#[cfg(test)]
mod tests;
mod then_now;

pub use athlete::athlete;
pub use athletes::athletes;
pub use lesson::lesson;
pub use swing::swing;
pub use then_now::then_now;

use super::super::api::{Kind, Problem};
use crate::daemon::store::queries::TimeKey;
use serde::Deserialize;

/// Whether the way to move swings is asked for: it names other athletes, so it is shown only then.
#[derive(Debug, Default, Deserialize)]
pub struct Moving {
    moving: Option<String>,
}

impl Moving {
    fn is_asked(&self) -> bool {
        self.moving.as_deref() == Some("yes")
    }
}

/// A place in a list of a page's query.
fn after(text: Option<&str>) -> Result<Option<TimeKey>, Problem> {
    let text = text.filter(|text| !text.is_empty());
    let not_ours = |_| Problem::new(Kind::Malformed, "`after` is no place in this list; begin at its first page");
    text.map(|text| text.parse().map_err(not_ours)).transpose()
}
