//! The balls of both groups: what was measured, and apart from that what a typical swing would do if squared up.

use super::super::super::figure::figure;
use super::super::ball_and_air::BallAndAir;
use crate::daemon::api::then_now::query::pairs;
use crate::report::svg::groups;
use crate::report::then_now::Balls;
use crate::report::words::Units;
use maud::{Markup, html};

/// Words and the chart, and the form of what is taken for them, which keeps the rest of the page's query; nothing where there is
/// nothing to say.
pub fn section(both: &[Balls; 2], ball_and_air: &BallAndAir, query: &str, units: Units) -> Markup {
    let drawn: Vec<_> = both.iter().filter(|balls| !balls.is_empty()).map(Balls::drawn).collect();
    html! {
        @if !drawn.is_empty() {
            section {
                h2 { "The ball" }
                ul { @for words in both.iter().flat_map(|balls| balls.words(units)) { li { (words) } } }
                (figure(&groups::ball(&drawn, units), "ball", &html! {
                    "Points were measured by another device. Hatched is what the typical swing would do if squared up: it was not \
                     measured. It is of a single swing of each group, and no answer to whether anything has changed."
                }))
                (ball_and_air.form(units, &pairs(query)))
            }
        }
    }
}
