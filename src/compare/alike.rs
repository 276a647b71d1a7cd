//! How alike swings are, and how a metric went over months.
//!
//! The spread of a day's swings is the athlete's and the sensor's: σ_a² + σ². A swing's σ holds errors that are the same
//! for all swings of a day too, which do not spread them; so the sensor's part is that or less, and the athlete's that or
//! more. Sources and what was measured: proto-docs/comparison-curves.md.

use super::Observed;
use super::days::{self, Scatter};
use super::numbers::holm;
use super::student::Student;
use crate::engine::metrics::Metric;
use statrs::distribution::{ChiSquared, ContinuousCDF};
use std::collections::BTreeMap;

/// Spreads of a metric, in its unit, over rounds and days.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Alike {
    /// Which.
    pub metric: Metric,
    /// Swings that have it.
    pub swings: usize,
    /// Standard deviation of swings of the same round, pooled; `None` where no round has two.
    pub within_round: Option<f64>,
    /// Standard deviation of swings of the same day, pooled.
    pub within_day: Option<f64>,
    /// Standard deviation from day to day beyond that (variance component, not below 0); `None` of fewer than two days.
    pub between_days: Option<f64>,
    /// Root mean square of the swings' σ.
    pub sigma: Option<f64>,
    /// Standard deviation of the athlete alone: √(within_day² − sigma²), 0 where the sensor explains all of it.
    pub athlete: Option<f64>,
    /// Whose spread it is; `None` where there are too few swings to tell.
    pub cause: Option<Cause>,
}

/// Is it the athlete or the sensor? Told where the whole 95 % interval of the variance within a day says so.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// More than three quarters of the variance within a day are not the sensor's.
    Athlete,
    /// Something of both.
    Both,
    /// More than three quarters may be the sensor's: a steadier swing might not show.
    Sensor,
}

/// How a metric goes over months, the day as the unit; `None` of fewer than three days.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Days with a value.
    pub days: usize,
    /// Change a month of 30 days, in the metric's unit,
    pub a_month: f64,
    /// its 95 % interval, from
    pub low: f64,
    /// to,
    pub high: f64,
    /// two-sided p of none,
    pub p: f64,
    /// and after Holm over the metrics that are looked at together.
    pub p_holm: f64,
}

/// For each metric, in the order of [`Metric::ALL`].
pub fn alike(swings: &[Observed]) -> Vec<Alike> {
    Metric::ALL.map(|metric| of(swings, metric)).to_vec()
}

fn of(swings: &[Observed], metric: Metric) -> Alike {
    let found = || swings.iter().filter_map(|swing| Some((swing, swing.usable(metric)?)));
    let sigmas: Vec<f64> = found().map(|(_, estimate)| estimate.sigma).collect();
    let rounds = Groups::of(found().filter_map(|(swing, estimate)| Some((swing.round?, estimate.value))));
    let days = Groups::of(found().map(|(swing, estimate)| (swing.day, estimate.value)));
    let within_day = days.within();
    let sigma = (!sigmas.is_empty()).then(|| {
        let squares: f64 = sigmas.iter().map(|sigma| sigma * sigma).sum();
        (squares / sigmas.len() as f64).sqrt()
    });
    Alike {
        metric,
        swings: found().count(),
        within_round: rounds.within(),
        within_day,
        between_days: days.between(),
        sigma,
        athlete: within_day.zip(sigma).map(|(all, sensor)| (all * all - sensor * sensor).max(0.0).sqrt()),
        cause: within_day.zip(sigma).and_then(|(all, sensor)| cause(all, sensor, days.scatter().freedom)),
    }
}

/// Whose spread: the standard deviation of all with its degrees of freedom, and that of the sensor alone. The share of the
/// sensor has the interval of 1/all², χ² of the degrees of freedom. `None` where that leaves it open, or there is no spread.
fn cause(all: f64, sensor: f64, degrees: f64) -> Option<Cause> {
    let chi_squared = ChiSquared::new(degrees).ok()?;
    let share = |p: f64| sensor * sensor / (all * all) * chi_squared.inverse_cdf(p) / degrees;
    let (low, high) = (share(0.025), share(0.975));
    match high.is_finite() {
        true if low > 0.75 => Some(Cause::Sensor),
        true if high < 0.25 => Some(Cause::Athlete),
        true if low >= 0.25 && high <= 0.75 => Some(Cause::Both),
        _ => None,
    }
}

/// Values of swings that belong together.
struct Groups<K>(BTreeMap<K, Vec<f64>>);

impl<K: Ord> Groups<K> {
    fn of(values: impl Iterator<Item = (K, f64)>) -> Self {
        let mut groups: BTreeMap<K, Vec<f64>> = BTreeMap::new();
        for (key, value) in values {
            groups.entry(key).or_default().push(value);
        }
        Self(groups)
    }

    /// Number and mean of each.
    fn means(&self) -> (Vec<f64>, Vec<f64>) {
        self.0.values().map(|values| (values.len() as f64, mean(values))).unzip()
    }

    /// About the groups' own means, pooled.
    fn scatter(&self) -> Scatter {
        self.0.values().map(|values| Scatter::of(values.iter().copied())).sum()
    }

    fn within(&self) -> Option<f64> {
        self.scatter().variance().map(f64::sqrt)
    }

    fn between(&self) -> Option<f64> {
        let (counts, means) = self.means();
        let mean = weighted_mean(&means, &counts);
        let squares = counts.iter().zip(&means).map(|(count, value)| count * (value - mean).powi(2)).sum();
        let columns = [vec![1.0; counts.len()]];
        days::day_variance(&counts, &columns, squares, self.scatter().variance()?).map(f64::sqrt)
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn weighted_mean(values: &[f64], weights: &[f64]) -> f64 {
    values.iter().zip(weights).map(|(value, weight)| value * weight).sum::<f64>() / weights.iter().sum::<f64>()
}

/// Days of a trend's unit of time.
const MONTH_DAYS: f64 = 30.0;
/// Fewer days have no trend.
const FEWEST_DAYS: usize = 3;

/// Of one metric; `day` counts days here.
///
/// A straight line through the days' means, each weighed by what it tells ([`days`]). Its standard error is the greatest of
/// three: of the weighted line's residuals, of those of the line with all days alike, and what the variances from swing to
/// swing and from day to day imply. Each of the three by itself says too little for some numbers of swings a day; together
/// they hold 5 % for all that were simulated (proto-docs/comparison-curves.md).
pub fn trend(swings: &[Observed], metric: Metric) -> Option<Trend> {
    let by_day = Groups::of(swings.iter().filter_map(|swing| Some((swing.day, swing.usable(metric)?.value))));
    let first = *by_day.0.keys().next()?;
    let times: Vec<f64> = by_day.0.keys().map(|day| *day as f64 - first as f64).collect();
    let (counts, means) = by_day.means();
    if counts.len() < FEWEST_DAYS {
        return None;
    }
    let swing_variance = by_day.scatter().variance();
    let weights = match swing_variance {
        Some(variance) => {
            let line = Line::through(&times, &means, &counts);
            let columns = [vec![1.0; counts.len()], times.iter().map(|time| time - line.middle).collect()];
            let day_variance = days::day_variance(&counts, &columns, line.squares, variance);
            days::weights(&counts, day_variance, variance)
        }
        None => vec![1.0; counts.len()],
    };
    let degrees = counts.len() as f64 - 2.0;
    let (line, alike) =
        (Line::through(&times, &means, &weights), Line::through(&times, &means, &vec![1.0; counts.len()]));
    let implied = (swing_variance.unwrap_or(0.0) / line.across).sqrt();
    let error = line.standard_error(degrees).max(alike.standard_error(degrees)).max(implied);
    let student = Student::new(degrees)?;
    let (half_width, t) = (student.quantile(0.975) * error, line.slope / error);
    let p = student.two_sided(t);
    let trend = Trend {
        days: counts.len(),
        a_month: MONTH_DAYS * line.slope,
        low: MONTH_DAYS * (line.slope - half_width),
        high: MONTH_DAYS * (line.slope + half_width),
        p,
        p_holm: p,
    };
    (t.is_finite() && trend.low.is_finite() && trend.high.is_finite()).then_some(trend)
}

/// Of metrics that are looked at together. One without a trend counts among them, with p = 1.
pub fn trends(swings: &[Observed], family: &[Metric]) -> Vec<Option<Trend>> {
    let mut found: Vec<Option<Trend>> = family.iter().map(|metric| trend(swings, *metric)).collect();
    let p: Vec<f64> = found.iter().map(|trend| trend.map_or(1.0, |trend| trend.p)).collect();
    for (trend, p_holm) in found.iter_mut().zip(holm(&p)) {
        if let Some(trend) = trend {
            trend.p_holm = p_holm;
        }
    }
    found
}

/// A weighted straight line.
struct Line {
    slope: f64,
    /// Weighted mean of the times.
    middle: f64,
    /// Weighted sum of squares of the times about it.
    across: f64,
    /// Of the residuals.
    squares: f64,
}

impl Line {
    fn through(times: &[f64], values: &[f64], weights: &[f64]) -> Self {
        let (middle, mean) = (weighted_mean(times, weights), weighted_mean(values, weights));
        let sum = |of: &dyn Fn(f64, f64) -> f64| {
            let each = times.iter().zip(values).zip(weights);
            each.map(|((time, value), weight)| weight * of(time - middle, value - mean)).sum::<f64>()
        };
        let across = sum(&|time, _| time * time);
        let slope = sum(&|time, value| time * value) / across;
        Self { slope, middle, across, squares: sum(&|time, value| (value - slope * time).powi(2)) }
    }

    fn standard_error(&self, degrees: f64) -> f64 {
        (self.squares / degrees / self.across).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::metrics::Estimate;

    fn observed(day: i64, round: Option<u64>, value: f64, sigma: f64) -> Observed {
        let mut metrics = [None; Metric::COUNT];
        metrics[Metric::BatSpeed.index()] = Some(Estimate { value, sigma });
        Observed { day, round, metrics }
    }

    fn bat_speed(swings: &[Observed]) -> Alike {
        alike(swings)[Metric::BatSpeed.index()]
    }

    fn near(found: Option<f64>, expected: f64) {
        let found = found.unwrap();
        assert!((found - expected).abs() <= 1e-9 * expected.abs(), "{found}, expected {expected}");
    }

    /// Days 28, 30, 32 | 31, 33: means 30 and 32, within 8 + 2 over 3 degrees. Rounds 28, 30 | 32 | 31, 33: 2 + 2 over 2.
    /// Between: 3·0.64 + 2·1.44 = 4.8 about 30.8; n₀ = 5 − 13/5 = 2.4; (4.8 − 10/3)/2.4.
    #[test]
    fn five_swings_by_hand() {
        let rows = [(1, 1, 28.0), (1, 1, 30.0), (1, 2, 32.0), (2, 3, 31.0), (2, 3, 33.0)];
        let found = bat_speed(&rows.map(|(day, round, value)| observed(day, Some(round), value, 1.5)));
        assert_eq!(found.swings, 5);
        near(found.within_round, 2f64.sqrt());
        near(found.within_day, (10.0f64 / 3.0).sqrt());
        near(found.between_days, ((4.8 - 10.0 / 3.0) / 2.4f64).sqrt());
        near(found.sigma, 1.5);
        near(found.athlete, (10.0f64 / 3.0 - 2.25).sqrt());
        assert_eq!(found.cause, None, "three degrees of freedom leave the share of 0.675 open");
    }

    #[test]
    fn whose_spread_it_is() {
        let swings = |sigma: f64| (0..101).map(move |k| observed(1, None, if k % 2 == 0 { 29.0 } else { 31.0 }, sigma));
        let with = |sigma: f64| bat_speed(&swings(sigma).collect::<Vec<_>>());
        // 101 swings, 51 of them low: the variance is 4·51·50/101/100. χ² of 100: 74.222 and 129.561 (2.5 % and 97.5 %;
        // Abramowitz & Stegun, table 26.8).
        let variance = 4.0 * 51.0 * 50.0 / 101.0 / 100.0;
        let share = |share: f64| with((variance * share).sqrt()).cause;
        assert_eq!((share(0.25 / 1.29561 - 1e-5), share(0.25 / 1.29561 + 1e-5)), (Some(Cause::Athlete), None));
        assert_eq!((share(0.75 / 0.74222 - 1e-4), share(0.75 / 0.74222 + 1e-4)), (None, Some(Cause::Sensor)));
        assert_eq!(
            (share(0.25 / 0.74222 + 1e-4), share(0.75 / 1.29561 - 1e-5)),
            (Some(Cause::Both), Some(Cause::Both))
        );
        assert_eq!((with(9.0).athlete, with(9.0).cause), (Some(0.0), Some(Cause::Sensor)));
        assert_eq!((with(1.0).within_round, with(1.0).between_days), (None, None));
        let two = bat_speed(&[observed(1, None, 29.0, 0.1), observed(1, None, 31.0, 0.1)]);
        assert_eq!(two.cause, Some(Cause::Athlete), "even the most that two swings leave open is a share of 0.025");
    }

    #[test]
    fn of_nothing_nothing_is_said() {
        for swings in [vec![], vec![observed(1, None, f64::NAN, 1.0)], vec![observed(1, None, f64::INFINITY, f64::NAN)]]
        {
            let found = alike(&swings);
            assert_eq!(found.len(), Metric::COUNT);
            assert!(found.iter().all(|one| one.swings == 0 && one.within_day.is_none() && one.cause.is_none()));
            assert_eq!(trend(&swings, Metric::BatSpeed), None);
        }
        let same = [
            observed(i64::MIN, Some(0), 3.0, 0.0),
            observed(i64::MAX, Some(0), 3.0, 0.0),
            observed(i64::MAX, None, 3.0, 0.0),
        ];
        let found = bat_speed(&same);
        assert_eq!((found.within_day, found.between_days, found.cause), (Some(0.0), Some(0.0), None));
        let huge = [1e59, -1e59, 1e59, 1e300].map(|value| observed(1, Some(1), value, 1e59));
        assert!(bat_speed(&huge).within_day.is_some_and(f64::is_finite));
        assert_eq!(bat_speed(&huge).swings, 3);
        assert_eq!(bat_speed(&[observed(1, None, 30.0, f64::NAN)]).swings, 0);
    }

    fn reference() -> Vec<serde_json::Value> {
        serde_json::from_str(include_str!("../../tests/reference/alike.json")).unwrap()
    }

    /// scipy's analysis of variance; statsmodels' REML where every day has as many swings (its optimiser stops at 1e-5);
    /// statsmodels' weighted least squares with the greatest of three errors, and scipy's linregress where all are the same.
    #[test]
    fn scipy_and_statsmodels_have_the_same_spreads_and_trends() {
        let cases = reference();
        assert_eq!(cases.len(), 2);
        for case in cases {
            let of = |key: &str| case[key].as_f64().unwrap();
            let rows = case["rows"].as_array().unwrap();
            let swing =
                |row: &serde_json::Value| observed(row[0].as_i64().unwrap(), None, row[1].as_f64().unwrap(), 0.2);
            let swings: Vec<Observed> = rows.iter().map(swing).collect();
            let found = bat_speed(&swings);
            near(found.within_day, of("within"));
            near(found.between_days, of("between"));
            let trend = trend(&swings, Metric::BatSpeed).unwrap();
            near(Some(trend.a_month), 30.0 * of("slope"));
            near(Some(trend.low), 30.0 * of("low"));
            near(Some(trend.high), 30.0 * of("high"));
            near(Some(trend.p), of("p"));
            if case.get("reml_between").is_some() {
                assert!((found.between_days.unwrap() / of("reml_between") - 1.0).abs() < 1e-5);
                near(Some(trend.a_month), 30.0 * of("linregress_slope"));
                near(Some(trend.p), of("linregress_p"));
            }
        }
    }

    /// One swing a day, 0, 1 and 2 days: 1, 2, 6: slope 2.5, residuals ½, −1, ½, error √(1.5/2) with one degree of freedom,
    /// of which t 12.706 is 97.5 % (Student's table).
    #[test]
    fn a_trend_of_three_days_by_hand() {
        let swings = [(5, 1.0), (6, 2.0), (7, 6.0)].map(|(day, value)| observed(day, None, value, 0.1));
        let found = trend(&swings, Metric::BatSpeed).unwrap();
        assert_eq!(found.days, 3);
        near(Some(found.a_month), 75.0);
        let half = 30.0 * 12.706_204_736_432_1 * 0.75f64.sqrt();
        near(Some(found.low), 75.0 - half);
        near(Some(found.high), 75.0 + half);
        assert_eq!(trend(&swings[..2], Metric::BatSpeed), None);
        assert_eq!(trend(&swings, Metric::BatTilt), None);
    }
}
