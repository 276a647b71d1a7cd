//! Which entries were lost, in bounded memory.

use std::ops::RangeInclusive;

/// How many separate ranges are told apart. Beyond that the two oldest are taken together with what lies between them:
/// then more is said to be lost than was, never less.
const MOST_RANGES: usize = 64;

/// Ranges of indices, ascending, none touching the next.
#[derive(Clone, Debug, Default)]
pub(super) struct LostRanges(Vec<RangeInclusive<u64>>);

impl LostRanges {
    /// Adds one; they come nearly in order, from the writing thread and from the full queue.
    pub(super) fn add(&mut self, index: u64) {
        let at = self.0.partition_point(|range| range.end().saturating_add(1) < index);
        match self.0.get_mut(at) {
            Some(range) if range.start().saturating_sub(1) <= index => {
                *range = index.min(*range.start())..=index.max(*range.end());
            }
            _ => self.0.insert(at, index..=index),
        }
        self.join(at);
        if self.0.len() > MOST_RANGES {
            let oldest = self.0.remove(0);
            if let Some(next) = self.0.first_mut() {
                *next = *oldest.start()..=*next.end();
            }
        }
    }

    /// Joins a range with the next if they touch now.
    fn join(&mut self, at: usize) {
        if let (Some(range), Some(next)) = (self.0.get(at), self.0.get(at + 1))
            && range.end().saturating_add(1) >= *next.start()
        {
            let joined = *range.start()..=*next.end();
            self.0.remove(at);
            if let Some(place) = self.0.get_mut(at) {
                *place = joined;
            }
        }
    }

    /// Whether any of these was lost.
    pub(super) fn touches(&self, indices: &RangeInclusive<u64>) -> bool {
        self.0.iter().any(|range| range.start() <= indices.end() && indices.start() <= range.end())
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use proptest::test_runner::RngSeed;

    use super::*;

    proptest! {
        #![proptest_config(ProptestConfig {
            rng_seed: RngSeed::Fixed(2),
            failure_persistence: None,
            ..ProptestConfig::default()
        })]

        #[test]
        fn what_was_lost_is_never_forgotten(indices in proptest::collection::vec(0..100_u64, 0..60)) {
            let mut ranges = LostRanges::default();
            indices.iter().for_each(|&index| ranges.add(index));
            for index in 0..100 {
                let was_lost = indices.contains(&index);
                prop_assert_eq!(ranges.touches(&(index..=index)), was_lost, "{} of {:?}", index, ranges);
            }
            prop_assert!(ranges.0.windows(2).all(|pair| pair[0].end() + 1 < *pair[1].start()));
        }
    }

    #[test]
    fn beyond_the_bound_the_oldest_are_taken_together() {
        let mut ranges = LostRanges::default();
        (0..1000).for_each(|k| ranges.add(10 * k));
        assert_eq!(ranges.0.len(), MOST_RANGES);
        assert!((0..1000).all(|k| ranges.touches(&(10 * k..=10 * k))));
        assert!(!ranges.touches(&(9981..=9989)));
    }
}
