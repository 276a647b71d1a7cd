//! What a ball would do if it were squared up, in words, and what is taken for that: for pages and reports alike.

use super::words::{Unit, Units, rounded, with_unit};
use crate::ball::Bounds;
use crate::ball::flight::USUAL_BACKSPIN_RPM;
use crate::ball::kind::Kind;
use crate::ball::squared_up::{Field, SquaredUp};

/// Who said how fast the pitch was.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PitchFrom {
    /// Whoever asked.
    Asked,
    /// The round.
    Round,
    /// Nobody: the ball lay still, or there was none.
    Still,
    /// The profile by which the swing was analysed.
    Profile,
}

/// What is taken as given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Taken {
    /// Speed of the ball at the plate, m/s.
    pub pitch_speed_mps: f64,
    /// Who said so.
    pub pitch_from: PitchFrom,
    /// The ball.
    pub kind: Kind,
    /// Launch and air.
    pub field: Field,
}

/// Which ball and air are taken where nobody says, in words: "a baseball, air of 50 to 86 °F, at sea level".
pub fn usual(units: Units) -> String {
    let Field { temperature_c, elevation_m, .. } = Field::default();
    format!("{}, air of {}, {}", a_ball(Kind::default()), temperature(temperature_c, units), height(elevation_m, units))
}

fn a_ball(kind: Kind) -> &'static str {
    match kind {
        Kind::Baseball => "a baseball",
        Kind::Softball => "a softball",
    }
}

/// What the ranges are made of, in a sentence: "a baseball; the round's pitch of 60 mph; …; no wind".
pub fn taken(ball: &SquaredUp, taken: &Taken, units: Units) -> String {
    let bat = match ball.is_bats_own {
        true => "the bat's mass, balance and moment of inertia",
        false => "bats from light to heavy, as too little is known of this one",
    };
    let Field { launch_angle_deg, temperature_c, elevation_m } = taken.field;
    format!(
        "{}; {}; {bat}; launch {} up; backspin {}; air of {} {}; no wind",
        a_ball(taken.kind),
        pitch(taken, units),
        range(launch_angle_deg, Unit { sign: "°", factor: 1.0 }),
        range(USUAL_BACKSPIN_RPM, Unit { sign: "revolutions a minute", factor: 1.0 }),
        temperature(temperature_c, units),
        height(elevation_m, units),
    )
}

fn pitch(taken: &Taken, units: Units) -> String {
    let unit = units.speed();
    let speed = with_unit(&rounded(taken.pitch_speed_mps * unit.factor, 0), unit);
    match taken.pitch_from {
        PitchFrom::Asked => format!("a pitch of {speed}"),
        PitchFrom::Round => format!("the round's pitch of {speed}"),
        PitchFrom::Profile if taken.pitch_speed_mps > 0.0 => {
            format!("a pitch of {speed}, assumed and not measured")
        }
        PitchFrom::Still | PitchFrom::Profile => "a ball at rest".to_owned(),
    }
}

fn height(elevation_m: f64, units: Units) -> String {
    let unit = units.length();
    match rounded(elevation_m * unit.factor, 0).as_str() {
        "0" => "at sea level".to_owned(),
        height => format!("{} above the sea", with_unit(height, unit)),
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
pub fn range(range: Bounds, unit: Unit) -> String {
    let [low, high] = [range.low, range.high].map(|end| rounded(end * unit.factor, 0));
    if low == high { with_unit(&low, unit) } else { format!("{low} to {}", with_unit(&high, unit)) }
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

    #[test]
    fn what_is_usual_is_told() {
        assert_eq!(usual(Units::Us), "a baseball, air of 50 to 86 °F, at sea level");
        assert_eq!(usual(Units::Metric), "a baseball, air of 10 to 30 °C, at sea level");
    }

    #[test]
    fn pitch_and_place_say_where_they_are_from() {
        let of = |pitch_from, pitch_speed_mps, elevation_m| {
            let field = Field { elevation_m, ..Field::default() };
            let given = Taken { pitch_speed_mps, pitch_from, kind: Kind::Softball, field };
            (pitch(&given, Units::Metric), height(given.field.elevation_m, Units::Metric))
        };
        assert_eq!(of(PitchFrom::Round, 27.0, 0.0), ("the round's pitch of 27 m/s".into(), "at sea level".into()));
        assert_eq!(of(PitchFrom::Still, 0.0, 1609.0), ("a ball at rest".into(), "1609 m above the sea".into()));
        assert_eq!(of(PitchFrom::Profile, 30.0, 0.0).0, "a pitch of 30 m/s, assumed and not measured");
        assert_eq!(of(PitchFrom::Profile, 0.0, 0.0).0, "a ball at rest");
    }
}
