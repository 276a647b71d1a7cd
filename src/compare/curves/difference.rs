//! The difference of two groups' curves with a band that holds as a whole, for any effect of the days.
//!
//! The unit is the day: what is compared are the days' mean curves, as two samples or as differences within days of both
//! groups ([`Design`]). For a given effect of the days, rows that are weighed by what they tell ([`days`]) make a t field with
//! df = rows − groups; its threshold is that of [`random_field`](super::random_field). The effect is hardly known from a
//! handful of days, so the band is as wide as the widest over all effects from none to without bound, as for numbers.

use super::line::OfDay;
use super::random_field::{TField, fwhm};
use super::{DifferenceBand, Stretch};
use crate::compare::days::{self, Scatter};
use crate::compare::design::Design;
use std::collections::BTreeMap;

/// How often a band misses the true difference somewhere.
const PROBABILITY: f64 = 0.05;
/// With fewer degrees of freedom there is no band: with one, what is expected by chance does not fall with the height.
const FEWEST_DEGREES: usize = 2;

/// Of two groups, each swing's values on the same places; `None` with too few days, or of curves that do not vary.
pub fn band(then: &[OfDay], now: &[OfDay], step: f64) -> Option<DifferenceBand> {
    let rows = Rows::of(then, now)?;
    let seen = rows.seen()?;
    let estimate = seen.first()?;
    let half_width: Vec<f64> = (0..estimate.mean.len()).map(|place| half_width(&seen, place)).collect();
    Some(DifferenceBand {
        differs: stretches(&estimate.mean, &half_width, &seen, step),
        half_width,
        degrees_of_freedom: estimate.field.degrees_of_freedom,
        smoothness: estimate.field.fwhm,
        mean: estimate.mean.clone(),
    })
}

/// From the first one's mean to the farthest end of any band.
fn half_width(seen: &[Seen], place: usize) -> f64 {
    let at = |values: &[f64]| values.get(place).copied().unwrap_or(0.0);
    let middle = seen.first().map_or(0.0, |first| at(&first.mean));
    let reach = |seen: &Seen| (at(&seen.mean) - middle).abs() + seen.height * at(&seen.standard_error);
    seen.iter().map(reach).fold(0.0, f64::max)
}

/// Mean curves to compare.
struct Rows {
    /// Two samples, or one of differences.
    groups: usize,
    rows: Vec<Row>,
    /// Variance from swing to swing of a day, summed over the places; `None` where no day has two.
    swing_variance: Option<f64>,
}

#[derive(Clone)]
struct Row {
    group: usize,
    /// Swings that vary as much; of a pair 1/(1/n + 1/m).
    count: f64,
    curve: Vec<f64>,
}

/// The rows' weighted difference for one effect of the days.
struct Seen {
    mean: Vec<f64>,
    standard_error: Vec<f64>,
    field: TField,
    /// The threshold of |t|.
    height: f64,
}

/// A group's swings of a day.
struct Day {
    count: f64,
    mean: Vec<f64>,
    /// Of its swings, summed over the places; the freedom is that of one place.
    scatter: Scatter,
}

impl Rows {
    fn of(then: &[OfDay], now: &[OfDay]) -> Option<Self> {
        let [then, now] = [then, now].map(by_day);
        let swings = |days: &BTreeMap<i64, Day>, is_now: bool| {
            days.iter().map(|(day, of)| (*day, is_now, of.count as usize)).collect::<Vec<_>>()
        };
        let (groups, rows) = match Design::of(swings(&then, false).into_iter().chain(swings(&now, true))) {
            Design::Shared => (1, pairs(&then, &now)),
            Design::Apart => (2, apart(&then, &now)),
        };
        let swing_variance = then.values().chain(now.values()).map(|day| day.scatter).sum::<Scatter>().variance();
        let rows = Self { groups, rows, swing_variance };
        let all_there = (0..groups).all(|group| rows.of_group(group).next().is_some());
        (all_there && rows.degrees() >= FEWEST_DEGREES).then_some(rows)
    }

    fn degrees(&self) -> usize {
        self.rows.len().saturating_sub(self.groups)
    }

    fn of_group(&self, group: usize) -> impl Iterator<Item = &Row> {
        self.rows.iter().filter(move |row| row.group == group)
    }

    /// For the days' effect that is estimated, which is the first, and for all that may be. Where all rows are of as many
    /// swings, all are the same.
    fn seen(&self) -> Option<Vec<Seen>> {
        let counts: Vec<f64> = self.rows.iter().map(|row| row.count).collect();
        let mut seen = vec![self.with_weights(&self.estimated_weights(&counts))?];
        if counts.windows(2).any(|pair| pair.first() != pair.last()) {
            let of_swings = counts.iter().map(|count| 1.0 / count).sum::<f64>() / counts.len() as f64;
            for ratio in days::variances(of_swings) {
                seen.push(self.with_weights(&days::weights(&counts, Some(ratio), 1.0))?);
            }
        }
        Some(seen)
    }

    fn with_weights(&self, weights: &[f64]) -> Option<Seen> {
        let means = self.means(weights);
        // Multiplied by the roots of the weights: all of equal variance.
        let residuals = self.residuals(&means, weights);
        // The variance of a mean of weights that sum to W is the whitened rows' by W.
        let shares = (0..self.groups).map(|group| 1.0 / self.sum_of_weights(group, weights)).sum::<f64>();
        let mut squares = vec![0.0; residuals.first()?.len()];
        for values in &residuals {
            squares.iter_mut().zip(values).for_each(|(sum, value)| *sum += value * value);
        }
        let degrees = self.degrees() as f64;
        let standard_error = squares.iter().map(|squares| (squares / degrees * shares).sqrt()).collect();
        let mean = match means.as_slice() {
            [then, now] => now.iter().zip(then).map(|(now, then)| now - then).collect(),
            [difference] => difference.clone(),
            _ => return None,
        };
        let field = TField { degrees_of_freedom: degrees, places: squares.len(), fwhm: fwhm(&residuals)? };
        Some(Seen { mean, standard_error, height: field.threshold(PROBABILITY)?, field })
    }

    /// What each row tells: one ratio of day to swing variance for the whole of the curves.
    fn estimated_weights(&self, counts: &[f64]) -> Vec<f64> {
        let Some(swing_variance) = self.swing_variance else { return days::weights(counts, None, 0.0) };
        let residuals = self.residuals(&self.means(counts), counts);
        let squares: f64 = residuals.iter().flatten().map(|value| value * value).sum();
        let of_group = |group: usize| self.rows.iter().map(|row| f64::from(u8::from(row.group == group))).collect();
        let columns: Vec<Vec<f64>> = (0..self.groups).map(of_group).collect();
        let day_variance = days::day_variance(counts, &columns, squares, swing_variance);
        days::weights(counts, day_variance, swing_variance)
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
        Self { count, mean, scatter: Scatter { squares, freedom: count - 1.0 } }
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
    let of = |group: usize, days: &BTreeMap<i64, Day>| {
        days.values().map(|day| Row { group, count: day.count, curve: day.mean.clone() }).collect::<Vec<_>>()
    };
    [of(0, then), of(1, now)].concat()
}

/// Where zero is outside of the band, with ends between two places where the line through both crosses its edge.
fn stretches(mean: &[f64], half_width: &[f64], seen: &[Seen], step: f64) -> Vec<Stretch> {
    let mut found = Vec::new();
    for sign in [1.0, -1.0] {
        // In half widths.
        let reach: Vec<f64> = mean.iter().zip(half_width).map(|(mean, half_width)| sign * mean / half_width).collect();
        let mut place = 0;
        while place < reach.len() {
            let outside = reach[place..].iter().take_while(|reach| **reach >= 1.0).count();
            if outside > 0 {
                found.push(stretch(&reach, place, place + outside - 1, seen, step));
            }
            place += outside.max(1);
        }
    }
    found.sort_by(|a, b| a.from.total_cmp(&b.from));
    found
}

/// Of the places from `first` to `last`.
fn stretch(reach: &[f64], first: usize, last: usize, seen: &[Seen], step: f64) -> Stretch {
    let crossing = |inside: usize, outside: Option<usize>| {
        let (inside, outside) = (*reach.get(inside)?, *reach.get(outside?)?);
        Some((inside - 1.0) / (inside - outside))
    };
    let (before, after) = (crossing(first, first.checked_sub(1)), crossing(last, Some(last + 1)));
    let (from, to) = (first as f64 - before.unwrap_or(0.0), last as f64 + after.unwrap_or(0.0));
    let is_all = before.is_none() && after.is_none();
    let p = |seen: &Seen| seen.field.p_stretch(to - from, if is_all { seen.lowest() } else { seen.height });
    let place = |index: f64| (index - (reach.len() - 1) as f64) * step;
    // Any stretch at all is as rare as the band says, whatever is expected of its width.
    let p = seen.iter().map(p).fold(0.0, f64::max).min(PROBABILITY);
    Stretch { from: place(from), to: place(to).min(0.0), p }
}

impl Seen {
    /// The least |t|.
    fn lowest(&self) -> f64 {
        let t = self.mean.iter().zip(&self.standard_error).map(|(mean, error)| (mean / error).abs());
        t.fold(f64::INFINITY, f64::min)
    }
}
