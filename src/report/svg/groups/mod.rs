//! Two groups of swings, then and now, as charts.
//!
//! [`then_now_speed`] lays the speed of both over one another and says where they are shown to differ, [`difference`] is the
//! one less the other, [`built_by`] what the speed is made of, [`then_now_path`] where bat and hands went, [`answers`] what
//! has changed and what has not, [`ball`] how fast the ball came off the bat.
//!
//! Now is drawn whole, then dashed and grey: they are told apart without colours. What is no number is left out; of nothing
//! there is a chart that says so.

mod against;
mod answers;
mod ball;
mod built_by;
mod path;
mod speed;

pub use against::Against;
pub use answers::answers;
pub use ball::{Measured, ball};
pub use built_by::built_by;
pub use path::then_now_path;
pub use speed::{difference, then_now_speed};

#[cfg(test)]
pub(in crate::report) mod tests;
