//! The difference of two groups' curves with a band that holds as a whole.
//!
//! The unit is the day: what is compared are the days' mean curves, each weighed by what it tells ([`days`]). Days on which
//! only one group swung are two samples; a day on which both did is a pair, and its difference is one row. The t field
//! of the weighted rows has df = rows − groups; its threshold is that of [`random_field`](super::random_field).

use super::line::OfDay;
use super::random_field::{TField, fwhm};
use super::{DifferenceBand, Stretch};
use crate::compare::days;
use std::collections::BTreeMap;

/// How often a band misses the true difference somewhere.
const PROBABILITY: f64 = 0.05;
/// With fewer degrees of freedom there is no band: with one, what is expected by chance does not fall with the height.
const FEWEST_DEGREES: usize = 2;

/// Of two groups, each swing's values on the same places; `None` with too few days, or of curves that do not vary.
pub fn band(then: &[OfDay], now: &[OfDay], step: f64) -> Option<DifferenceBand> {
    let rows = Rows::of(then, now)?;
    let fit = rows.fit();
    let degrees_of_freedom = rows.degrees() as f64;
    let field = TField { degrees_of_freedom, places: fit.mean.len(), fwhm: fwhm(&fit.residuals)? };
    let height = field.threshold(PROBABILITY)?;
    let t: Vec<f64> = fit.mean.iter().zip(&fit.standard_error).map(|(mean, error)| mean / error).collect();
    Some(DifferenceBand {
        half_width: fit.standard_error.iter().map(|error| height * error).collect(),
        differs: stretches(&t, height, &field, step),
        degrees_of_freedom,
        smoothness: field.fwhm,
        mean: fit.mean,
    })
}

/// Mean curves to compare.
struct Rows {
    /// Two samples, or one of differences.
    groups: usize,
    rows: Vec<Row>,
    /// Variance from swing to swing of a day, summed over the places; `None` where no day has two.
    swing_variance: Option<f64>,
}

struct Row {
    group: usize,
    /// Swings that vary as much; of a pair 1/(1/n + 1/m).
    count: f64,
    curve: Vec<f64>,
}

/// Rows' weighted difference.
struct Fit {
    mean: Vec<f64>,
    standard_error: Vec<f64>,
    /// Of each row, multiplied by the root of its weight: all of equal variance.
    residuals: Vec<Vec<f64>>,
}

/// A group's swings of a day.
struct Day {
    count: f64,
    mean: Vec<f64>,
    /// Squared deviations from the mean, summed over swings and places.
    squares: f64,
}

impl Rows {
    /// Pairs of the days of both groups, or the days of one group only, whichever leaves more degrees of freedom.
    fn of(then: &[OfDay], now: &[OfDay]) -> Option<Self> {
        let [then, now] = [then, now].map(by_day);
        let rows = if then.keys().any(|day| now.contains_key(day)) {
            let [pairs, apart] = [pairs(&then, &now), apart(&then, &now)];
            let (pairs, apart) = ((1, pairs), (2, apart));
            if degrees(&apart) > degrees(&pairs) { apart } else { pairs }
        } else {
            (2, apart(&then, &now))
        };
        let (groups, rows) = rows;
        let days = then.values().chain(now.values());
        let (left, squares) = days.fold((0.0, 0.0), |(left, sum), day| (left + day.count - 1.0, sum + day.squares));
        let rows = Self { groups, rows, swing_variance: (left > 0.0).then(|| squares / left) };
        let all_there = (0..groups).all(|group| rows.of_group(group).next().is_some());
        (all_there && rows.degrees() >= FEWEST_DEGREES).then_some(rows)
    }

    fn degrees(&self) -> usize {
        self.rows.len().saturating_sub(self.groups)
    }

    fn of_group(&self, group: usize) -> impl Iterator<Item = &Row> {
        self.rows.iter().filter(move |row| row.group == group)
    }

    fn fit(&self) -> Fit {
        let weights = self.weights();
        let means = self.means(&weights);
        let residuals: Vec<Vec<f64>> = self.residuals(&means, &weights);
        // The variance of a mean of weights that sum to W is the whitened rows' by W.
        let shares = (0..self.groups).map(|group| 1.0 / self.sum_of_weights(group, &weights)).sum::<f64>();
        let places = residuals.first().map_or(0, Vec::len);
        let at = |values: &[f64], place: usize| values.get(place).copied().unwrap_or(0.0);
        let error = |place: usize| {
            let squares: f64 = residuals.iter().map(|values| at(values, place).powi(2)).sum();
            (squares / self.degrees() as f64 * shares).sqrt()
        };
        let mean = |place: usize| match means.as_slice() {
            [then, now] => at(now, place) - at(then, place),
            [difference] => at(difference, place),
            _ => 0.0,
        };
        Fit { mean: (0..places).map(mean).collect(), standard_error: (0..places).map(error).collect(), residuals }
    }

    /// What each row tells: one ratio of day to swing variance for the whole of the curves.
    fn weights(&self) -> Vec<f64> {
        let counts: Vec<f64> = self.rows.iter().map(|row| row.count).collect();
        let Some(swing_variance) = self.swing_variance else { return days::weights(&counts, None, 0.0) };
        let residuals = self.residuals(&self.means(&counts), &counts);
        let squares: f64 = residuals.iter().flatten().map(|value| value * value).sum();
        let of_group = |group: usize| self.rows.iter().map(|row| f64::from(u8::from(row.group == group))).collect();
        let columns: Vec<Vec<f64>> = (0..self.groups).map(of_group).collect();
        let day_variance = days::day_variance(&counts, &columns, squares, swing_variance);
        days::weights(&counts, day_variance, swing_variance)
    }

    fn sum_of_weights(&self, group: usize, weights: &[f64]) -> f64 {
        self.rows.iter().zip(weights).filter(|(row, _)| row.group == group).map(|(_, weight)| weight).sum()
    }

    /// Of each group.
    fn means(&self, weights: &[f64]) -> Vec<Vec<f64>> {
        let places = self.rows.first().map_or(0, |row| row.curve.len());
        let of_group = |group: usize| {
            let mut sum = vec![0.0; places];
            for (row, weight) in self.rows.iter().zip(weights).filter(|(row, _)| row.group == group) {
                sum.iter_mut().zip(&row.curve).for_each(|(sum, value)| *sum += weight * value);
            }
            let weight = self.sum_of_weights(group, weights);
            sum.into_iter().map(|sum| sum / weight).collect()
        };
        (0..self.groups).map(of_group).collect()
    }

    fn residuals(&self, means: &[Vec<f64>], weights: &[f64]) -> Vec<Vec<f64>> {
        let of = |(row, weight): (&Row, &f64)| {
            let mean = means.get(row.group).map_or(&[][..], Vec::as_slice);
            row.curve.iter().zip(mean).map(|(value, mean)| (value - mean) * weight.sqrt()).collect()
        };
        self.rows.iter().zip(weights).map(of).collect()
    }
}

fn degrees((groups, rows): &(usize, Vec<Row>)) -> usize {
    let all_there = (0..*groups).all(|group| rows.iter().any(|row| row.group == group));
    if all_there { rows.len().saturating_sub(*groups) } else { 0 }
}

fn by_day(swings: &[OfDay]) -> BTreeMap<i64, Day> {
    let mut days: BTreeMap<i64, Vec<&[f64]>> = BTreeMap::new();
    for (day, values) in swings {
        days.entry(*day).or_default().push(values);
    }
    days.into_iter().map(|(day, swings)| (day, Day::of(&swings))).collect()
}

impl Day {
    fn of(swings: &[&[f64]]) -> Self {
        let count = swings.len() as f64;
        let mut mean = vec![0.0; swings.first().map_or(0, |values| values.len())];
        for values in swings {
            mean.iter_mut().zip(*values).for_each(|(mean, value)| *mean += value / count);
        }
        let deviations = swings.iter().flat_map(|values| values.iter().zip(&mean));
        let squares = deviations.map(|(value, mean)| (value - mean).powi(2)).sum();
        Self { count, mean, squares }
    }
}

fn pairs(then: &BTreeMap<i64, Day>, now: &BTreeMap<i64, Day>) -> Vec<Row> {
    let pair = |(day, then): (&i64, &Day)| {
        let now = now.get(day)?;
        let curve = now.mean.iter().zip(&then.mean).map(|(now, then)| now - then).collect();
        Some(Row { group: 0, count: 1.0 / (1.0 / then.count + 1.0 / now.count), curve })
    };
    then.iter().filter_map(pair).collect()
}

fn apart(then: &BTreeMap<i64, Day>, now: &BTreeMap<i64, Day>) -> Vec<Row> {
    let of = |group: usize, of: &BTreeMap<i64, Day>, other: &BTreeMap<i64, Day>| {
        let alone = of.iter().filter(|(day, _)| !other.contains_key(day));
        alone.map(|(_, day)| Row { group, count: day.count, curve: day.mean.clone() }).collect::<Vec<_>>()
    };
    let mut rows = of(0, then, now);
    rows.extend(of(1, now, then));
    rows
}

/// Where |t| is above the height, with ends between two places where the line through them crosses it.
fn stretches(t: &[f64], height: f64, field: &TField, step: f64) -> Vec<Stretch> {
    let mut found = Vec::new();
    for sign in [1.0, -1.0] {
        let t: Vec<f64> = t.iter().map(|t| sign * t).collect();
        let mut place = 0;
        while place < t.len() {
            let above = t[place..].iter().take_while(|t| **t >= height).count();
            if above > 0 {
                found.push(stretch(&t, place, place + above - 1, (height, field, step)));
            }
            place += above.max(1);
        }
    }
    found.sort_by(|a, b| a.from.total_cmp(&b.from));
    found
}

/// Of the places from `first` to `last`.
fn stretch(t: &[f64], first: usize, last: usize, (height, field, step): (f64, &TField, f64)) -> Stretch {
    let crossing = |inside: usize, outside: Option<usize>| {
        let (inside, outside) = (*t.get(inside)?, *t.get(outside?)?);
        Some((inside - height) / (inside - outside))
    };
    let (before, after) = (crossing(first, first.checked_sub(1)), crossing(last, Some(last + 1)));
    let (from, to) = (first as f64 - before.unwrap_or(0.0), last as f64 + after.unwrap_or(0.0));
    let within = || t.iter().take(last + 1).skip(first).copied();
    // Only a stretch over all places is nowhere as low as the height.
    let lowest = if before.is_none() && after.is_none() { within().fold(f64::INFINITY, f64::min) } else { height };
    let place = |index: f64| (index - (t.len() - 1) as f64) * step;
    // Any stretch at all is as rare as the band says, whatever is expected of its width.
    let p = field.p_stretch(to - from, lowest).min(PROBABILITY);
    Stretch { from: place(from), to: place(to).min(0.0), p }
}
