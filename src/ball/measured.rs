//! What other devices measured of balls, counted: best, middle and spread.

use crate::quantile::median;

/// Numbers of one kind, each as good as the other, in their own unit.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Tally {
    /// How many there are; of none nothing else is said.
    pub count: usize,
    /// The greatest.
    pub best: Option<f64>,
    /// The middle one, or the mean of the two in the middle.
    pub median: Option<f64>,
    /// Standard deviation (divided by count − 1), from two on.
    pub spread: Option<f64>,
}

impl Tally {
    /// Of these numbers, in any order; what is not finite is no number.
    pub fn of(numbers: impl IntoIterator<Item = f64>) -> Self {
        let mut numbers: Vec<f64> = numbers.into_iter().filter(|number| number.is_finite()).collect();
        numbers.sort_by(f64::total_cmp);
        Self { count: numbers.len(), best: numbers.last().copied(), median: median(&numbers), spread: spread(&numbers) }
    }
}

fn spread(numbers: &[f64]) -> Option<f64> {
    let count = numbers.len() as f64;
    let mean = numbers.iter().map(|number| number / count).sum::<f64>();
    let squares: f64 = numbers.iter().map(|number| (number - mean).powi(2)).sum();
    (numbers.len() > 1).then(|| (squares / (count - 1.0)).sqrt()).filter(|spread| spread.is_finite())
}

/// One ball as a device saw it; a `None` it did not say.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Ball {
    /// Exit speed, m/s.
    pub exit_speed_mps: Option<f64>,
    /// Carry, m.
    pub carry_m: Option<f64>,
    /// Above the horizontal, degrees.
    pub launch_angle_deg: Option<f64>,
}

/// Balls counted.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Tallies {
    /// Exit speed, m/s.
    pub exit_speed_mps: Tally,
    /// Carry, m.
    pub carry_m: Tally,
    /// Launch angle, degrees; its greatest is not its best, and not said.
    pub launch_angle_deg: Tally,
}

impl Tallies {
    /// Of these.
    pub fn of(balls: &[Ball]) -> Self {
        let tally = |of: fn(&Ball) -> Option<f64>| Tally::of(balls.iter().filter_map(of));
        Self {
            exit_speed_mps: tally(|ball| ball.exit_speed_mps),
            carry_m: tally(|ball| ball.carry_m),
            launch_angle_deg: Tally { best: None, ..tally(|ball| ball.launch_angle_deg) },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn best_median_and_spread_are_those_of_the_textbook() {
        // 2, 4, 4, 4, 5, 5, 7, 9: mean 5, sum of squares about it 32.
        let known = Tally::of([9.0, 2.0, 4.0, 5.0, 4.0, 7.0, 5.0, 4.0]);
        assert_eq!((known.count, known.best, known.median), (8, Some(9.0), Some(4.5)));
        assert!((known.spread.unwrap() - (32.0f64 / 7.0).sqrt()).abs() < 1e-12);
        assert_eq!(Tally::of([1.0, 8.0, 2.0]).median, Some(2.0));
        assert_eq!(Tally::of([3.0]), Tally { count: 1, best: Some(3.0), median: Some(3.0), spread: None });
        assert_eq!(Tally::of([]), Tally::default());
    }

    #[test]
    fn what_is_no_number_is_not_counted() {
        assert_eq!(Tally::of([f64::NAN, 3.0, f64::INFINITY, f64::NEG_INFINITY]), Tally::of([3.0]));
        assert_eq!(Tally::of([f64::MAX, -f64::MAX]).spread, None, "no number holds it");
    }

    #[test]
    fn each_number_is_counted_where_it_was_said() {
        let ball = |exit, carry, launch| Ball { exit_speed_mps: exit, carry_m: carry, launch_angle_deg: launch };
        let balls = [ball(Some(30.0), None, Some(50.0)), ball(Some(34.0), Some(80.0), Some(10.0)), Ball::default()];
        let tallies = Tallies::of(&balls);
        assert_eq!((tallies.exit_speed_mps.count, tallies.carry_m.count, tallies.launch_angle_deg.count), (2, 1, 2));
        assert_eq!((tallies.exit_speed_mps.best, tallies.carry_m.best), (Some(34.0), Some(80.0)));
        assert_eq!((tallies.launch_angle_deg.best, tallies.launch_angle_deg.median), (None, Some(30.0)));
    }
}
