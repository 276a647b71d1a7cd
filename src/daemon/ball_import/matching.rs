//! Which result belongs to which swing.

use crate::daemon::store::queries::ball_results::Candidate;
use crate::daemon::store::rows::UtcMicros;
use std::collections::BTreeSet;
use uuid::Uuid;

/// A swing that a result may belong to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Match {
    /// Which.
    pub swing_id: Uuid,
    /// Whose.
    pub athlete_id: Option<Uuid>,
    /// The result's instant minus the contact, µs.
    pub offset_us: i64,
}

impl Match {
    /// Of a swing, for a result of an instant.
    pub fn of(candidate: Candidate, at: UtcMicros) -> Self {
        let Candidate { swing_id, athlete_id, contact } = candidate;
        Self { swing_id, athlete_id, offset_us: at.0.saturating_sub(contact.0) }
    }

    /// The result's instant minus the contact, ms.
    pub fn offset_ms(&self) -> f64 {
        self.offset_us as f64 / 1e3
    }
}

/// For each list of swings that a result may belong to, the one that it is held to belong to.
///
/// No swing is given twice. Pairs are made in the order of how far they lie apart, so that the sum of these is not always
/// the least there is, but no result loses its nearest swing to one that is farther from it. Of equal ones the swing and
/// the result that come first win.
pub fn assign(near: &[Vec<Match>]) -> Vec<Option<Match>> {
    let mut pairs: Vec<(u64, Uuid, usize, Match)> = Vec::new();
    for (result, near) in near.iter().enumerate() {
        pairs.extend(near.iter().map(|found| (found.offset_us.unsigned_abs(), found.swing_id, result, *found)));
    }
    pairs.sort_by_key(|(apart, swing_id, result, _)| (*apart, *swing_id, *result));
    let mut given = BTreeSet::new();
    let mut assigned = vec![None; near.len()];
    for (_, swing_id, result, found) in pairs {
        if let Some(place @ None) = assigned.get_mut(result)
            && given.insert(swing_id)
        {
            *place = Some(found);
        }
    }
    assigned
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(swing: u128, offset_us: i64) -> Match {
        Match { swing_id: Uuid::from_u128(swing), athlete_id: None, offset_us }
    }

    fn swings(near: &[Vec<Match>]) -> Vec<Option<u128>> {
        assign(near).iter().map(|found| found.map(|found| found.swing_id.as_u128())).collect()
    }

    #[test]
    fn the_nearest_pair_goes_first_and_no_swing_is_given_twice() {
        // Two results about one swing: the nearer one has it, the other one its next, or none.
        assert_eq!(swings(&[vec![found(1, 900)], vec![found(1, -300)]]), [None, Some(1)]);
        let near = [vec![found(1, 900), found(2, 1500)], vec![found(1, -300), found(2, 400)]];
        assert_eq!(swings(&near), [Some(2), Some(1)]);
    }

    #[test]
    fn of_equal_ones_the_first_wins_whatever_the_order() {
        assert_eq!(swings(&[vec![found(2, 500), found(1, -500)]]), [Some(1)]);
        assert_eq!(swings(&[vec![found(1, 500)], vec![found(1, -500)]]), [Some(1), None]);
        assert_eq!(swings(&[vec![], vec![found(1, i64::MIN)]]), [None, Some(1)]);
    }
}
