//! How earlier swings went.

use crate::engine::swing::Curves;
use crate::quantile::quantile;

/// Between two times, s.
const STEP_S: f64 = 0.004;
/// First and last time, in steps from contact.
const STEPS: (i32, i32) = (-100, 25);
/// Of fewer swings there is no band.
const FEWEST: usize = 3;
/// Nearer than this to an end of the curves a time is that end, s.
const NEAR_S: f64 = 1e-9;

/// Which swings a band is of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Called {
    /// Earlier ones.
    #[default]
    Then,
    /// Others of the same lesson, later ones too.
    Others,
}

impl Called {
    /// In a sentence, and beside a line.
    pub fn word(self) -> &'static str {
        match self {
            Self::Then => "then",
            Self::Others => "others",
        }
    }

    /// The same at the beginning of a sentence.
    pub fn at_beginning(self) -> &'static str {
        match self {
            Self::Then => "Then",
            Self::Others => "Others",
        }
    }
}

/// How earlier swings, or others, went: at each time the middle of them and the range that holds the middle 80 % of them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Band {
    /// Of which swings.
    pub called: Called,
    /// Of how many swings.
    pub swings: usize,
    /// Seconds from contact.
    pub times_s: Vec<f64>,
    /// Of the sweet spot's speed, m/s.
    pub bat_speed_mps: Ranges,
    /// Of the hands', m/s.
    pub hand_speed_mps: Ranges,
}

/// A tenth, the half and nine tenths of the swings are below these, one a time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Ranges {
    /// The 10th percentile.
    pub low: Vec<f64>,
    /// The median.
    pub middle: Vec<f64>,
    /// The 90th percentile.
    pub high: Vec<f64>,
}

impl Band {
    /// Of these swings, on even times; `None` of fewer than three. Swings without speeds at contact do not count. A time is
    /// there if three quarters of the swings, and three of them, reach it.
    pub fn of(curves: &[&Curves]) -> Option<Self> {
        let at = |curves: &Curves, time_s: f64| {
            let bat_mps = value_at(&curves.times_s, &curves.bat_speed_mps, time_s)?;
            Some((bat_mps, value_at(&curves.times_s, &curves.hand_speed_mps, time_s)?))
        };
        let usable: Vec<&Curves> = curves.iter().copied().filter(|curves| at(curves, 0.0).is_some()).collect();
        let mut band = Self { swings: usable.len(), ..Self::default() };
        let needed = FEWEST.max((3 * usable.len()).div_ceil(4));
        for k in STEPS.0..=STEPS.1 {
            let time_s = f64::from(k) * STEP_S;
            let (bat_mps, hands_mps): (Vec<_>, Vec<_>) = usable.iter().filter_map(|curves| at(curves, time_s)).unzip();
            if bat_mps.len() >= needed {
                band.times_s.push(time_s);
                band.bat_speed_mps.push(bat_mps);
                band.hand_speed_mps.push(hands_mps);
            }
        }
        (band.swings >= FEWEST).then_some(band)
    }
}

impl Ranges {
    /// Low, middle, high.
    pub(super) fn each(&self) -> [&[f64]; 3] {
        [&self.low, &self.middle, &self.high]
    }

    fn push(&mut self, mut values: Vec<f64>) {
        values.sort_by(f64::total_cmp);
        for (to, share) in [(&mut self.low, 0.1), (&mut self.middle, 0.5), (&mut self.high, 0.9)] {
            to.extend(quantile(&values, share));
        }
    }
}

/// The value at a time, linear between two; `None` beyond the times or where a number is missing.
pub(super) fn value_at(times_s: &[f64], values: &[f64], time_s: f64) -> Option<f64> {
    let between = Between::of(times_s, time_s)?;
    let (before, after) = (*values.get(between.before)?, *values.get(between.after)?);
    Some(between.mix(before, after)).filter(|value| value.is_finite())
}

/// Between which two of some times a time is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Between {
    pub(super) before: usize,
    pub(super) after: usize,
    /// How much of the way it is; `None`: it is the later one.
    share: Option<f64>,
}

impl Between {
    /// `None` beyond the times.
    pub(super) fn of(times_s: &[f64], time_s: f64) -> Option<Self> {
        let after = times_s.partition_point(|t| *t < time_s - NEAR_S);
        let t1 = *times_s.get(after)?;
        if (t1 - time_s).abs() <= NEAR_S {
            return Some(Self { before: after, after, share: None });
        }
        let before = after.checked_sub(1)?;
        let t0 = times_s[before];
        Some(Self { before, after, share: Some((time_s - t0) / (t1 - t0)) })
    }

    /// Linear between the values there.
    pub(super) fn mix(self, before: f64, after: f64) -> f64 {
        self.share.map_or(after, |share| before + (after - before) * share)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(times_s: &[f64], bat_speed_mps: &[f64]) -> Curves {
        Curves {
            times_s: times_s.to_vec(),
            bat_speed_mps: bat_speed_mps.to_vec(),
            hand_speed_mps: bat_speed_mps.iter().map(|v| v / 4.0).collect(),
            ..Curves::default()
        }
    }

    /// Speeds at −10, −5 and 0 ms; the times of the band between them are −8 and −4.
    fn swing(contact_mps: f64) -> Curves {
        of(&[-0.010, -0.005, 0.0], &[contact_mps - 10.0, contact_mps - 5.0, contact_mps])
    }

    #[test]
    fn three_swings_by_hand() {
        let swings = [swing(30.0), swing(20.0), swing(28.0)];
        let band = Band::of(&swings.each_ref()).unwrap();
        assert_eq!(band.swings, 3);
        assert_eq!(band.times_s, [-0.008, -0.004, 0.0]);
        // At contact 20, 28, 30: ranks 0.2, 1, 1.8. A m/s less each millisecond before.
        let expected = [[21.6, 28.0, 29.6], [5.4, 7.0, 7.4]];
        for (ranges, [low, middle, high]) in [&band.bat_speed_mps, &band.hand_speed_mps].into_iter().zip(expected) {
            let scale = high / 29.6;
            for (i, less) in [8.0, 4.0, 0.0].into_iter().enumerate() {
                let less = less * scale;
                assert!((ranges.low[i] - low + less).abs() < 1e-12);
                assert!((ranges.middle[i] - middle + less).abs() < 1e-12);
                assert!((ranges.high[i] - high + less).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn times_that_few_swings_reach_are_left_out() {
        let mut swings = vec![swing(30.0), swing(20.0), swing(28.0)];
        swings.push(of(&[-0.003, 0.0], &[1.0, 2.0]));
        let times_s = |swings: &[Curves]| Band::of(&swings.iter().collect::<Vec<_>>()).unwrap().times_s;
        assert_eq!(times_s(&swings).len(), 3);
        swings.push(of(&[-0.003, 0.0], &[1.0, 2.0]));
        assert_eq!(times_s(&swings), [0.0]);
    }

    #[test]
    fn swings_without_speeds_do_not_count() {
        let unusable = [Curves::default(), of(&[-0.01, 0.0], &[1.0, f64::NAN]), of(&[f64::NAN; 2], &[1.0; 2])];
        let mut swings: Vec<&Curves> = unusable.iter().collect();
        let (a, b, c) = (swing(20.0), swing(21.0), swing(22.0));
        swings.extend([&a, &b]);
        assert_eq!(Band::of(&swings), None);
        swings.push(&c);
        assert_eq!(Band::of(&swings).unwrap().swings, 3);
    }
}
