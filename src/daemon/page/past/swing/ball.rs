//! The ball: what another device measured of it, and what it would do if it were squared up, told apart.

use super::super::super::words::name;
use super::super::lesson::ball;
use super::Whole;
use crate::ball::Bounds;
use crate::ball::flight::USUAL_BACKSPIN_RPM;
use crate::ball::squared_up::Field;
use crate::daemon::record::squared_up::{Asked, IfSquaredUp, Missing, PitchFrom, With, if_squared_up};
use crate::report::words::{Unit, Units, rounded};
use maud::{Markup, html};

/// Both.
pub fn section(whole: &Whole, units: Units) -> Markup {
    html! {
        section.ball {
            h2 { "Ball" }
            (measured(whole, units))
            (computed(whole, units))
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

fn computed(whole: &Whole, units: Units) -> Markup {
    let with = With { bat: whole.bat.as_ref(), round: whole.round.as_ref(), profile: whole.profile.as_ref() };
    let asked = Asked::default();
    html! {
        h3 { "If squared up" }
        @match if_squared_up(&whole.found, with, &asked) {
            Ok(said) => {
                p {
                    "A ball met squarely at the sweet spot would leave at "
                    strong { (range(said.ball.exit_speed_mps, units.speed())) } " and carry "
                    strong { (range(said.ball.carry_m, units.length())) } "."
                }
                p.faint { (taken(&said, &asked.field, units)) }
            },
            Err(missing) => p.faint { (why_not(missing)) },
        }
    }
}

/// What the ranges are made of.
fn taken(said: &IfSquaredUp, field: &Field, units: Units) -> String {
    let bat = match said.ball.is_bats_own {
        true => "the bat's mass, balance and moment of inertia",
        false => "bats from light to heavy, as too little is known of this one",
    };
    let degrees = Unit { sign: "°", factor: 1.0 };
    let rpm = Unit { sign: "revolutions a minute", factor: 1.0 };
    format!(
        "Computed from bat speed, not measured. Taken: a baseball; {}; {bat}; launch {} up; backspin {}; air of {} at sea \
         level; no wind. A ball met off the sweet spot or off its middle leaves slower.",
        pitch(said, units),
        range(field.launch_angle_deg, degrees),
        range(USUAL_BACKSPIN_RPM, rpm),
        temperature(field.temperature_c, units),
    )
}

fn pitch(said: &IfSquaredUp, units: Units) -> String {
    let unit = units.speed();
    let speed = format!("{} {}", rounded(said.pitch_speed_mps * unit.factor, 0), unit.sign);
    match said.pitch_from {
        PitchFrom::Asked => format!("a pitch of {speed}"),
        PitchFrom::Round => format!("the round's pitch of {speed}"),
        PitchFrom::Profile if said.pitch_speed_mps > 0.0 => {
            format!("a pitch of {speed}, as the swing was analysed with")
        }
        PitchFrom::Still | PitchFrom::Profile => "a ball at rest".to_owned(),
    }
}

fn temperature(celsius: Bounds, units: Units) -> String {
    match units {
        Units::Metric => range(celsius, Unit { sign: "°C", factor: 1.0 }),
        Units::Us => {
            let fahrenheit = |celsius: f64| 32.0 + 1.8 * celsius;
            let shown = Bounds { low: fahrenheit(celsius.low), high: fahrenheit(celsius.high) };
            range(shown, Unit { sign: "°F", factor: 1.0 })
        }
    }
}

/// "62 to 71 mph", or one number where both ends are shown alike.
fn range(range: Bounds, unit: Unit) -> String {
    let [low, high] = [range.low, range.high].map(|end| rounded(end * unit.factor, 0));
    let space = if unit.sign == "°" { "" } else { " " };
    if low == high { format!("{low}{space}{}", unit.sign) } else { format!("{low} to {high}{space}{}", unit.sign) }
}

fn why_not(missing: Missing) -> &'static str {
    match missing {
        Missing::BatSpeed => "Not known: this swing has no bat speed.",
        Missing::Bat => "Not said of a training implement: nobody knows how a ball would leave it.",
        Missing::Pitch => "Not known: nothing is said of the pitch.",
        Missing::Ball => "Not known: these are no numbers of a ball.",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_are_told_in_the_readers_units() {
        let exit = Bounds::new(31.3, 35.76);
        assert_eq!(range(exit, Units::Us.speed()), "70 to 80 mph");
        assert_eq!(range(exit, Units::Metric.speed()), "31 to 36 m/s");
        assert_eq!(range(Bounds::exactly(27.0), Unit { sign: "°", factor: 1.0 }), "27°");
        assert_eq!(temperature(Bounds::new(10.0, 30.0), Units::Us), "50 to 86 °F");
        assert_eq!(temperature(Bounds::new(10.0, 30.0), Units::Metric), "10 to 30 °C");
    }
}
