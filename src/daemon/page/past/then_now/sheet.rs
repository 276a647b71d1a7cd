//! The comparison to take home: for whom, with which words.

use super::super::ball_and_air::BallAndAir;
use crate::daemon::api::then_now::query::pairs;
use crate::report::words::Units;
use maud::{Markup, html};
use uuid::Uuid;

/// A form that asks for the report of the same swings: what was completed, with the fields that say something by being empty. It works without the script.
pub fn section(athlete: Uuid, query: &str, ball_and_air: &BallAndAir, units: Units) -> Markup {
    let units = match units {
        Units::Us => "us",
        Units::Metric => "metric",
    };
    html! {
        section.no-print {
            h2 { "To take home" }
            p { "The same on a sheet that prints on A4 and Letter, with your words and the homework. It names nobody but the athlete, and nothing is sent." }
            form.telling method="get" action=(format!("/v1/athletes/{athlete}/report")) {
                @for (key, value) in pairs(query).into_iter().filter(|(key, _)| key != "units") { input type="hidden" name=(key) value=(value); }
                input type="hidden" name="units" value=(units);
                (ball_and_air.hidden())
                label { "Your words " textarea name="words" rows="3" maxlength="4000" dir="auto" {} }
                .row {
                    button.primary type="submit" name="for" value="athlete" { "For athlete and parent" }
                    button type="submit" name="for" value="instructor" { "For the instructor, in full" }
                }
                label.tick { input type="checkbox" name="file" value="true"; "As a file to keep" }
            }
        }
    }
}
