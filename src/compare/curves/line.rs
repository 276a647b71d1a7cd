//! A line of each group on the same places.

use super::sampled::Sampled;
use super::{ComparedLine, MeanBand, difference};
use crate::quantile::quantile;
use std::collections::BTreeSet;

/// Makes the lines comparable: which list of a swing, and how far its items are apart.
pub fn compared([then, now]: [&[Sampled]; 2], of: impl Fn(&Sampled) -> &[f64], step: f64) -> ComparedLine {
    let groups = [then, now].map(|group| group.iter().map(|swing| (swing.day, of(swing))).collect::<Vec<_>>());
    let reaches = [&groups[0], &groups[1]].map(|group| reach(group.iter().map(|(_, values)| values.len())));
    let steps = reaches.into_iter().flatten().min().unwrap_or(0);
    let [then, now] = groups.map(|group| whole(&group, steps));
    ComparedLine {
        places: places(steps, step),
        difference: difference::band(&then, &now, step),
        then: band(&then, steps),
        now: band(&now, steps),
    }
}

/// Where `steps` items are: the last at contact.
pub fn places(steps: usize, step: f64) -> Vec<f64> {
    (0..steps).rev().map(|k| if k == 0 { 0.0 } else { -(k as f64) * step }).collect()
}

/// How many items three quarters of a group's swings have at least; swings that have none do not count. `None`: none has any.
pub fn reach(lengths: impl Iterator<Item = usize>) -> Option<usize> {
    let mut lengths: Vec<usize> = lengths.filter(|length| *length > 0).collect();
    lengths.sort_unstable();
    // Those from here on are three quarters or more.
    lengths.get(lengths.len() / 4).copied()
}

/// A swing's day and its values, in order of time.
pub type OfDay = (i64, Vec<f64>);

/// The swings that have all of the places: every place is then of the same swings.
fn whole(group: &[(i64, &[f64])], steps: usize) -> Vec<OfDay> {
    let of = |(day, values): &(i64, &[f64])| {
        let values = values.get(..steps).filter(|values| !values.is_empty())?;
        Some((*day, values.iter().rev().copied().collect()))
    };
    group.iter().filter_map(of).collect()
}

fn band(swings: &[OfDay], steps: usize) -> MeanBand {
    let days: BTreeSet<i64> = swings.iter().map(|(day, _)| *day).collect();
    let mut band = MeanBand { swings: swings.len(), days: days.len(), ..MeanBand::default() };
    for place in 0..steps {
        let mut values: Vec<f64> = swings.iter().filter_map(|(_, values)| values.get(place).copied()).collect();
        values.sort_unstable_by(f64::total_cmp);
        band.mean.extend(mean(&values));
        band.low.extend(quantile(&values, 0.1));
        band.high.extend(quantile(&values, 0.9));
    }
    band
}

fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}
