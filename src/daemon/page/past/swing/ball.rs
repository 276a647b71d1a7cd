//! The ball: what another device measured of it, and what it would do if it were squared up, told apart.

use super::super::super::words::name;
use super::super::ball_and_air::BallAndAir;
use super::super::lesson::ball;
use super::Whole;
use crate::daemon::record::squared_up::{Missing, With, if_squared_up};
use crate::report::squared_up::{range, taken};
use crate::report::words::Units;
use maud::{Markup, html};

/// Both.
pub fn section(whole: &Whole, ball_and_air: &BallAndAir, units: Units) -> Markup {
    html! {
        section.ball {
            h2 { "Ball" }
            (measured(whole, units))
            (computed(whole, ball_and_air, units))
        }
    }
}

fn measured(whole: &Whole, units: Units) -> Markup {
    html! {
        h3 { "Measured by another device" }
        @if whole.balls.is_empty() { p.faint { "Nothing was measured of this ball." } } @else {
            ul { @for result in &whole.balls {
                li { (ball(Some(result), units)) @if !result.device.is_empty() { " (" (name(&result.device)) ")" } }
            } }
        }
    }
}

fn computed(whole: &Whole, ball_and_air: &BallAndAir, units: Units) -> Markup {
    let with = With { bat: whole.bat.as_ref(), round: whole.round.as_ref(), profile: whole.profile.as_ref() };
    let asked = &ball_and_air.asked;
    html! {
        h3 { "If squared up" }
        @match if_squared_up(&whole.found, with, asked) {
            Ok(said) => {
                p {
                    "A ball met squarely at the sweet spot would leave at "
                    strong { (range(said.ball.exit_speed_mps, units.speed())) } " and carry "
                    strong { (range(said.ball.carry_m, units.length())) } "."
                }
                p.faint {
                    "Computed from bat speed, not measured. Taken: " (taken(&said.ball, &said.taken(asked), units)) ". A ball met \
                     off the sweet spot or off its middle leaves slower."
                }
                (ball_and_air.form(units, &[]))
            },
            Err(missing) => p.faint { (why_not(missing)) },
        }
    }
}

fn why_not(missing: Missing) -> &'static str {
    match missing {
        Missing::BatSpeed => "Not known: this swing has no bat speed.",
        Missing::Bat => "Not said of a training implement: nobody knows how a ball would leave it.",
        Missing::Pitch => "Not known: nothing is said of the pitch.",
        Missing::Ball => "Not known: these are no numbers of a ball.",
    }
}
