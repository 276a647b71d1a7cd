//! Which days are compared with which.

use super::cells::Cells;
use super::inference::Student;
use super::needed::ASSUMED_DAY_SHARE;
use super::reml::Design;
use std::collections::BTreeMap;

/// Swings of a day, then and now.
type Counts = BTreeMap<i64, [usize; 2]>;

/// By the numbers of swings and days alone, never by the values, so that it cannot favour an answer.
///
/// Where all days are of both groups, and there are two: within the days. Where only some are: what promises the
/// shorter interval, if a day adds half the spread from swing to swing, half of that variance to both groups alike and
/// half to each on its own. Days taken as apart that are not are more alike than is reckoned with, so the interval is
/// too long, never too short.
pub fn design(cells: &Cells) -> Design {
    let mut days = Counts::new();
    for cell in &cells.cells {
        days.entry(cell.day).or_default()[usize::from(cell.now)] += cell.swings.len();
    }
    let shared = days.values().filter(|counts| is_shared(counts)).count();
    if shared < 2 {
        Design::Apart
    } else if shared == days.len() || promised_shared(&days) < promised_apart(&days) {
        Design::Shared
    } else {
        Design::Apart
    }
}

fn is_shared(counts: &[usize; 2]) -> bool {
    counts.iter().all(|count| *count > 0)
}

/// Half the promised interval, in spreads from swing to swing.
fn promised(variance: f64, freedom: usize) -> f64 {
    Student::new(freedom as f64).map_or(f64::INFINITY, |student| student.quantile(0.975) * variance.sqrt())
}

fn promised_shared(days: &Counts) -> f64 {
    let of_days = ASSUMED_DAY_SHARE.powi(2);
    let weights = days
        .values()
        .filter(|counts| is_shared(counts))
        .map(|[then, now]| 1.0 / (1.0 / *then as f64 + 1.0 / *now as f64 + of_days));
    let (items, sum) = weights.fold((0_usize, 0.0), |(items, sum), weight| (items + 1, sum + weight));
    promised(1.0 / sum, items.saturating_sub(1))
}

fn promised_apart(days: &Counts) -> f64 {
    let of_days = ASSUMED_DAY_SHARE.powi(2);
    let (mut items, mut sums) = (0_usize, [0.0; 2]);
    for counts in days.values() {
        for (sum, count) in sums.iter_mut().zip(counts).filter(|(_, count)| **count > 0) {
            *sum += 1.0 / (1.0 / *count as f64 + of_days);
            items += 1;
        }
    }
    promised(sums.iter().map(|sum| 1.0 / sum).sum(), items.saturating_sub(2))
}
