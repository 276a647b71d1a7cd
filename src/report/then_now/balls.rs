//! What was measured of the balls of a group, and apart from that what a typical swing of it would do if squared up.

use super::super::svg::groups::Measured;
use super::super::words::{Unit, Units, rounded};
use super::count;
use crate::ball::measured::Tally;
use crate::ball::squared_up::SquaredUp;

/// The balls of one group.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Balls {
    /// What the group is called.
    pub name: String,
    /// Exit speeds that another device measured, m/s,
    pub exit_speeds_mps: Vec<f64>,
    /// and carries, m.
    pub carries_m: Vec<f64>,
    /// What a ball would do that the group's typical swing met squarely; never measured.
    pub if_squared_up: Option<SquaredUp>,
}

impl Balls {
    /// Whether there is nothing to say.
    pub fn is_empty(&self) -> bool {
        self.exit_speeds_mps.is_empty() && self.carries_m.is_empty() && self.if_squared_up.is_none()
    }

    /// As it is drawn.
    pub fn drawn(&self) -> Measured {
        Measured {
            name: self.name.clone(),
            values_mps: self.exit_speeds_mps.clone(),
            range: self.if_squared_up.map(|ball| (ball.exit_speed_mps.low, ball.exit_speed_mps.high)),
        }
    }

    /// A sentence of what was measured, and one of what was not.
    pub fn words(&self, units: Units) -> Vec<String> {
        let (speed, length) = (units.speed(), units.length());
        let measured =
            [tally("exit speed", &self.exit_speeds_mps, speed, 1), tally("carry", &self.carries_m, length, 0)];
        let measured: Vec<String> = measured.into_iter().flatten().collect();
        let first = if measured.is_empty() {
            format!("{}: no ball was measured.", self.name)
        } else {
            format!("{}, measured by another device: {}.", self.name, measured.join("; "))
        };
        let range = |low: f64, high: f64, unit: Unit| {
            format!("{} to {} {}", rounded(low * unit.factor, 0), rounded(high * unit.factor, 0), unit.sign)
        };
        let second = self.if_squared_up.map(|ball| {
            format!(
                "{}, if squared up, not measured: its typical swing would send the ball off at {} and carry it {}.",
                self.name,
                range(ball.exit_speed_mps.low, ball.exit_speed_mps.high, speed),
                range(ball.carry_m.low, ball.carry_m.high, length)
            )
        });
        [Some(first), second].into_iter().flatten().collect()
    }
}

fn tally(what: &str, values: &[f64], unit: Unit, decimals: usize) -> Option<String> {
    let Tally { count: balls, best, median, spread } = Tally::of(values.iter().copied());
    let text = |value: f64| rounded(value * unit.factor, decimals);
    let (best, median) = (text(best?), text(median?));
    let spread = spread.map_or_else(String::new, |spread| format!(", spread {}", text(spread)));
    Some(format!("{what} of {}: best {best}, median {median}{spread} {}", count(balls, "ball"), unit.sign))
}
