//! A comparison as pages and the report show it: answers first, then numbers, in the reader's units. The sentences are those of
//! [`change`](super::change).
//!
//! [`Told`] is one metric; [`groups`] says what is compared; [`alike`](alike_words) and
//! [`trend_words`] how alike swings are and how a metric went; [`Balls`] what was measured
//! of balls. The pages and the report say the same words.

use crate::engine::metrics::Metric;

mod alike;
mod answer;
mod balls;
mod groups;
#[cfg(test)]
pub(super) mod tests;

pub use alike::{AlikeTold, VARIED, alike_words, trend_words};
pub use answer::{GroupTold, Told, p_words};
pub use balls::Balls;
pub use groups::{Heard, LookedAt, groups, left_out};

/// "3 of 14 numbers are asked about", and what that means.
pub fn asked_about(numbers: usize) -> String {
    let all = Metric::COUNT;
    let asked = match numbers {
        1 => format!("One of {all} numbers is asked about; of the others nothing is said."),
        some if some < all => format!("{some} of {all} numbers are asked about; of the others nothing is said."),
        _ => format!("All {all} numbers are asked about."),
    };
    format!(
        "{asked} The fewer are asked about, the less each has to show before it counts as an answer: they are to be chosen before \
         one looks, not after."
    )
}

/// "1 swing", "2 swings".
pub fn count(count: usize, one: &str) -> String {
    format!("{count} {one}{}", if count == 1 { "" } else { "s" })
}
