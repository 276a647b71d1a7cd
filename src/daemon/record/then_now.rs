//! Two selections of stored swings set side by side: read here, compared by [`compare`](crate::compare).

use super::super::local_days;
use super::super::store::StoreError;
use super::super::store::queries::swings_read::{self, FoundSwing, Order, SwingFilter};
use super::super::store::queries::{Slice, amounts as stored_amounts};
use super::super::store::rows::{Mark, Word};
use crate::compare::Observed;
use crate::compare::conditions::{Conditions, Mismatch, mismatches};
use crate::compare::curves::{ComparedCurves, Drawn, compare as compare_curves};
use crate::compare::numbers::{Amounts, Compared, Question, compare};
use crate::engine::metrics::{Flag, Metric};
use crate::report::curves::decode;
use sqlx::AnyConnection;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// More swings of one group are not read: the newest ones are.
pub const MOST_SWINGS: i64 = 5_000;
/// Of more swings of one group no curves are compared: the newest are. A swing's curves have about 50 kB in memory.
pub const MOST_DRAWN: usize = 1_000;

/// Two groups and what is to be said of them.
#[derive(Clone, Debug)]
pub struct ThenNow {
    /// The earlier group.
    pub then: Chosen,
    /// The later one.
    pub now: Chosen,
    /// What was not the same.
    pub mismatches: Vec<Mismatch>,
    /// A metric each of the question's family.
    pub numbers: Vec<Compared>,
    /// Speeds and paths, where asked for.
    pub curves: Option<ComparedCurves>,
}

/// One group.
#[derive(Clone, Debug, Default)]
pub struct Chosen {
    /// Those that count, in order of time.
    pub swings: Vec<FoundSwing>,
    /// How many are left out because they have a flag and the instructor did not say to keep them.
    pub flagged: usize,
    /// How many of those have which flag: some have several.
    pub flags: BTreeMap<Flag, usize>,
    /// How many the instructor left out.
    pub excluded: usize,
    /// Days that count.
    pub days: usize,
    /// Whether there were more than [`MOST_SWINGS`], of which the oldest were not read.
    pub is_cut: bool,
    /// Swings whose curves are compared, in order of time, where curves were asked for: those that have any, the newest
    /// [`MOST_DRAWN`]. The places of typical swings count these.
    pub drawn: Vec<Uuid>,
}

impl ThenNow {
    /// How many swings that count are in both groups. Nothing that is said of such groups holds.
    pub fn in_both(&self) -> usize {
        let ids = |chosen: &Chosen| chosen.swings.iter().map(|found| found.swing.id).collect::<BTreeSet<Uuid>>();
        ids(&self.then).intersection(&ids(&self.now)).count()
    }

    /// The swing of each group that is nearest the middle of all, where curves were asked for.
    pub fn typical(&self) -> [Option<Uuid>; 2] {
        let Some(curves) = &self.curves else { return [None, None] };
        let of = |chosen: &Chosen, place: Option<usize>| place.and_then(|place| chosen.drawn.get(place).copied());
        [of(&self.then, curves.then_typical), of(&self.now, curves.now_typical)]
    }

    /// Whose swings are in either group.
    pub fn athletes(&self) -> BTreeSet<Uuid> {
        self.then.athletes().chain(self.now.athletes()).collect()
    }
}

impl Chosen {
    /// Whose they are.
    pub fn athletes(&self) -> impl Iterator<Item = Uuid> + '_ {
        self.swings.iter().filter_map(|found| found.swing.athlete_id)
    }

    /// As a comparison of numbers sees them.
    pub fn observed(&self) -> Vec<Observed> {
        self.swings.iter().map(observed).collect()
    }
}

/// The changes that matter: the instructor's where something is said, else the usual ones.
///
/// # Errors
/// If they cannot be read.
pub async fn amounts(connection: &mut AnyConnection) -> Result<Amounts, StoreError> {
    Ok(stored_amounts::read(connection).await?.amounts())
}

/// What is asked of these metrics, with [`amounts`].
///
/// # Errors
/// If they cannot be read.
pub async fn question(connection: &mut AnyConnection, family: Vec<Metric>) -> Result<Question, StoreError> {
    Ok(Question { family, amounts: amounts(connection).await? })
}

/// Reads both groups and compares them, on a thread of its own.
///
/// # Errors
/// If they cannot be read.
pub async fn then_now(
    connection: &mut AnyConnection,
    [then, now]: [&SwingFilter; 2],
    question: &Question,
    with_curves: bool,
) -> Result<ThenNow, StoreError> {
    let mut then = choose(connection, then).await?;
    let mut now = choose(connection, now).await?;
    let packed =
        if with_curves { Some([packed(connection, &then).await?, packed(connection, &now).await?]) } else { None };
    let question = question.clone();
    let comparing = tokio::task::spawn_blocking(move || {
        let curves = packed.map(|[of_then, of_now]| {
            let of_then = unpacked(of_then, &mut then);
            let of_now = unpacked(of_now, &mut now);
            compare_curves(&of_then, &of_now)
        });
        let conditions = |chosen: &Chosen| chosen.swings.iter().map(conditions).collect::<Vec<_>>();
        let mismatches = mismatches(&conditions(&then), &conditions(&now));
        let numbers = compare(&then.observed(), &now.observed(), &question);
        ThenNow { then, now, mismatches, numbers, curves }
    });
    comparing.await.map_err(|error| StoreError::Strange(format!("comparing stored swings: {error}")))
}

/// The swings of a group that count.
///
/// # Errors
/// If they cannot be read.
pub async fn choose(connection: &mut AnyConnection, filter: &SwingFilter) -> Result<Chosen, StoreError> {
    let slice = Slice { after: None, limit: MOST_SWINGS + 1 };
    let mut found = swings_read::list(connection, filter, Order::Newest, slice).await?;
    let most = usize::try_from(MOST_SWINGS).unwrap_or(usize::MAX);
    let mut chosen = Chosen { is_cut: found.len() > most, ..Chosen::default() };
    found.truncate(most);
    for found in found {
        match found.swing.mark {
            Mark::Exclude => chosen.excluded += 1,
            Mark::None if !found.analysis.flags.is_empty() => {
                chosen.flagged += 1;
                for flag in
                    Flag::ALL.into_iter().filter(|flag| found.analysis.flags.iter().any(|key| key == flag.key()))
                {
                    *chosen.flags.entry(flag).or_default() += 1;
                }
            }
            Mark::None | Mark::Keep => chosen.swings.push(found),
        }
    }
    chosen.swings.reverse();
    let mut days: Vec<i64> = chosen.swings.iter().map(|found| local_days::number(found.swing.contact_utc)).collect();
    days.dedup();
    chosen.days = days.len();
    Ok(chosen)
}

/// Curves of a group as they are stored, each with its swing's place in the group.
async fn packed(connection: &mut AnyConnection, chosen: &Chosen) -> Result<Vec<(usize, Vec<u8>)>, StoreError> {
    let first = chosen.swings.len().saturating_sub(MOST_DRAWN);
    let ids: Vec<Uuid> = chosen.swings.iter().skip(first).map(|found| found.swing.id).collect();
    let mut curves = swings_read::curves_by_swing(connection, &ids).await?;
    let of = |(place, id): (usize, Uuid)| Some((first + place, curves.remove(&id)?));
    Ok(ids.into_iter().enumerate().filter_map(of).collect())
}

/// The same as they are compared. Curves that cannot be read are left out.
fn unpacked(packed: Vec<(usize, Vec<u8>)>, chosen: &mut Chosen) -> Vec<Drawn> {
    let mut drawn = Vec::with_capacity(packed.len());
    for (place, compact) in packed {
        let Some(found) = chosen.swings.get(place) else { continue };
        match decode(&compact) {
            Ok(curves) => {
                let time = found.analysis.metrics.get(Metric::TimeToContact.index()).copied().flatten();
                drawn.push(Drawn {
                    day: local_days::number(found.swing.contact_utc),
                    time_to_contact_s: time.map(|time| time.value / 1000.0),
                    curves: curves.to_curves(),
                });
                chosen.drawn.push(found.swing.id);
            }
            Err(error) => tracing::error!(swing = %found.swing.id, %error, "stored curves cannot be read"),
        }
    }
    drawn
}

/// A swing as the comparison sees it.
pub fn observed(found: &FoundSwing) -> Observed {
    let round = found.swing.round_id.map(|id| id.as_u64_pair().1);
    Observed { day: local_days::number(found.swing.contact_utc), round, metrics: found.analysis.metrics }
}

/// Under what it was made.
pub fn conditions(found: &FoundSwing) -> Conditions {
    Conditions {
        athlete: found.nickname.clone(),
        bat: found.bat.clone(),
        drill: found.drill.clone(),
        ball_source: found.ball_source.map(|source| source.word().to_owned()),
        side: found.swing.side.map(|side| side.word().to_owned()),
        contact: Some(if found.analysis.met_ball { "ball" } else { "none" }.to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::store::queries::swings_read::example::{BEGUN_US, HOUR_US, fill, one_curve, put_curves};
    use super::super::super::store::rows::UtcMicros;
    use super::super::super::store::test_store::{TestStore, on_each};
    use super::*;
    use crate::compare::numbers::Amounts;

    /// Three swings: one that is faster throughout, one without curves, one as all are.
    #[test]
    fn the_typical_swing_is_named_though_others_have_no_curves() {
        on_each(async |store: TestStore| {
            let mut changes = store.store.write().await.unwrap();
            let mut world = fill(&mut changes, 8, 0).await;
            let at = |k: i64| UtcMicros(BEGUN_US + k * HOUR_US);
            let mut ids = Vec::new();
            for k in 0..5 {
                ids.push(world.add_at(&mut changes, at(k)).await);
            }
            put_curves(&mut changes, ids[0], &one_curve()).await;
            for sql in ["UPDATE swings SET mark = 'keep'", "DELETE FROM curves WHERE swing_id = $1"] {
                let query = sqlx::query(sql);
                let query = if sql.contains("$1") { query.bind(ids[1].to_string()) } else { query };
                query.execute(&mut *changes).await.unwrap();
            }
            let filter = |from: usize, to: usize| SwingFilter {
                from: Some(at(from as i64)),
                to: Some(at(to as i64)),
                ..SwingFilter::default()
            };
            let question = Question { family: vec![Metric::BatSpeed], amounts: Amounts::default() };
            let (then, now) = (filter(0, 4), filter(4, 5));
            let found = then_now(&mut changes, [&then, &now], &question, true).await.unwrap();
            let curves = found.curves.as_ref().unwrap();
            assert_eq!((found.then.swings.len(), curves.speed_by_time.then.swings), (4, 3));
            // At contact 24, 4 and 4 m/s.
            assert!((curves.speed_by_time.then.mean.last().unwrap() - 32.0 / 3.0).abs() < 1e-9);
            assert_eq!(found.typical(), [Some(ids[2]), Some(ids[4])]);
            let without = then_now(&mut changes, [&then, &now], &question, false).await.unwrap();
            assert_eq!((without.typical(), without.curves), ([None; 2], None));
        });
    }
}
