//! What was measured of the balls of a group, and apart from that what a typical swing of it would do if squared up.

use super::super::squared_up::{Taken, range, taken};
use super::super::svg::groups::Measured;
use super::super::words::{Unit, Units, rounded, with_unit};
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
    /// What a ball would do that the group's typical swing met squarely, and what is taken for that; never measured.
    pub if_squared_up: Option<(SquaredUp, Taken)>,
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
            range: self.if_squared_up.map(|(ball, _)| (ball.exit_speed_mps.low, ball.exit_speed_mps.high)),
        }
    }

    /// A sentence of what was measured, and one of what was not.
    pub fn words(&self, units: Units) -> Vec<String> {
        let (speed, length) = (units.speed(), units.length());
        let measured = [
            tally("exit speed (how fast the ball left the bat)", &self.exit_speeds_mps, speed, 1),
            tally("carry (how far it flew)", &self.carries_m, length, 0),
        ];
        let measured: Vec<String> = measured.into_iter().flatten().collect();
        let first = if measured.is_empty() {
            format!("{}: no ball was measured.", self.name)
        } else {
            format!("{}, measured by another device: {}.", self.name, measured.join("; "))
        };
        let second = self.if_squared_up.map(|(ball, given)| {
            format!(
                "{}, if squared up (met with the middle of the ball at the sweet spot, the place on the barrel that sends it off \
                 best), not measured: its typical swing, a single one, would send the ball off at {} and carry it {}. Taken for that: {}.",
                self.name,
                range(ball.exit_speed_mps, speed),
                range(ball.carry_m, length),
                taken(&ball, &given, units)
            )
        });
        [Some(first), second].into_iter().flatten().collect()
    }
}

fn tally(what: &str, values: &[f64], unit: Unit, decimals: usize) -> Option<String> {
    let Tally { count: balls, best, median, spread } = Tally::of(values.iter().copied());
    let text = |value: f64| rounded(value * unit.factor, decimals);
    let (best, median) = (text(best?), text(median?));
    let [best, median] = [best, median].map(|number| with_unit(&number, unit));
    let spread = spread.map_or_else(String::new, |spread| {
        format!(", from ball to ball about {} either way (one standard deviation)", with_unit(&text(spread), unit))
    });
    Some(format!("{what} of {}: best {best}, the middle one (median) {median}{spread}", count(balls, "ball")))
}
