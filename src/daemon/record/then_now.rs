//! Two selections of stored swings set side by side: read here, compared by [`compare`](crate::compare).

use super::super::store::StoreError;
use super::super::store::queries::swings_read::{self, FoundSwing, Order, SwingFilter};
use super::super::store::queries::{Slice, amounts as stored_amounts};
use super::super::store::rows::{Mark, UtcMicros, Word};
use crate::compare::Observed;
use crate::compare::conditions::{Conditions, Mismatch, mismatches};
use crate::compare::curves::{self, ComparedCurves, Drawn};
use crate::compare::numbers::{Amounts, Compared, Question, compare};
use crate::engine::metrics::Metric;
use crate::report::curves::decode;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use sqlx::AnyConnection;
use std::collections::BTreeSet;
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
    /// The earlier group's swing nearest the middle of all, and the later one's, where curves were asked for and there are
    /// some.
    pub typical: [Option<Uuid>; 2],
}

/// One group.
#[derive(Clone, Debug, Default)]
pub struct Chosen {
    /// Those that count, in order of time.
    pub swings: Vec<FoundSwing>,
    /// How many are left out because they have a flag and the instructor did not say to keep them.
    pub flagged: usize,
    /// How many the instructor left out.
    pub excluded: usize,
    /// Days that count.
    pub days: usize,
    /// Whether there were more than [`MOST_SWINGS`], of which the oldest were not read.
    pub is_cut: bool,
}

impl ThenNow {
    /// How many swings that count are in both groups. Nothing that is said of such groups holds.
    pub fn in_both(&self) -> usize {
        let ids = |chosen: &Chosen| chosen.swings.iter().map(|found| found.swing.id).collect::<BTreeSet<Uuid>>();
        ids(&self.then).intersection(&ids(&self.now)).count()
    }

    /// Whose swings are in either group.
    pub fn athletes(&self) -> BTreeSet<Uuid> {
        let all = self.then.swings.iter().chain(&self.now.swings);
        all.filter_map(|found| found.swing.athlete_id).collect()
    }
}

impl Chosen {
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

/// Reads both groups and compares them, off the threads that answer.
///
/// # Errors
/// If they cannot be read.
pub async fn then_now(
    connection: &mut AnyConnection,
    [then, now]: [&SwingFilter; 2],
    question: &Question,
    with_curves: bool,
) -> Result<ThenNow, StoreError> {
    let then = choose(connection, then).await?;
    let now = choose(connection, now).await?;
    let conditions = |chosen: &Chosen| chosen.swings.iter().map(conditions).collect::<Vec<_>>();
    let mismatches = mismatches(&conditions(&then), &conditions(&now));
    let (of_then, of_now, asked) = (then.observed(), now.observed(), question.clone());
    let comparing = tokio::task::spawn_blocking(move || compare(&of_then, &of_now, &asked));
    let numbers = comparing.await.map_err(|error| StoreError::Strange(format!("comparing swings: {error}")))?;
    let (curves, typical) =
        if with_curves { compared_curves(connection, [&then, &now]).await? } else { (None, [None; 2]) };
    Ok(ThenNow { then, now, mismatches, numbers, curves, typical })
}

/// A swing's curves as they are stored.
struct Packed {
    id: Uuid,
    day: i64,
    time_to_contact_s: Option<f64>,
    compact: Vec<u8>,
}

/// Speeds and paths of both groups, and the typical swing of each. They are computed off the threads that answer.
async fn compared_curves(
    connection: &mut AnyConnection,
    [then, now]: [&Chosen; 2],
) -> Result<(Option<ComparedCurves>, [Option<Uuid>; 2]), StoreError> {
    let packed = [packed(connection, then).await?, packed(connection, now).await?];
    let compared = tokio::task::spawn_blocking(move || {
        let [(then_ids, then), (now_ids, now)] =
            packed.map(|group| group.iter().filter_map(drawn).unzip::<_, _, Vec<_>, Vec<_>>());
        let curves = curves::compare(&then, &now);
        let id = |ids: &[Uuid], place: Option<usize>| ids.get(place?).copied();
        let typical = [id(&then_ids, curves.then_typical), id(&now_ids, curves.now_typical)];
        (Some(curves), typical)
    });
    Ok(compared.await.unwrap_or_else(|error| {
        tracing::error!(%error, "the curves of two groups could not be compared");
        (None, [None; 2])
    }))
}

/// The curves of a group's swings, in their order; swings without curves are left out.
async fn packed(connection: &mut AnyConnection, chosen: &Chosen) -> Result<Vec<Packed>, StoreError> {
    let drawn = chosen.swings.get(chosen.swings.len().saturating_sub(MOST_DRAWN)..).unwrap_or_default();
    let ids: Vec<Uuid> = drawn.iter().map(|found| found.swing.id).collect();
    let mut compact = swings_read::curves_by_swing(connection, &ids).await?;
    let of = |found: &FoundSwing| {
        let time_to_contact = found.analysis.metrics[Metric::TimeToContact.index()];
        Some(Packed {
            id: found.swing.id,
            day: day(found.swing.contact_utc),
            time_to_contact_s: time_to_contact.map(|ms| ms.value * 1e-3),
            compact: compact.remove(&found.swing.id)?,
        })
    };
    Ok(drawn.iter().filter_map(of).collect())
}

/// A swing's curves; `None` where they are of another form.
fn drawn(packed: &Packed) -> Option<(Uuid, Drawn)> {
    let curves = match decode(&packed.compact) {
        Ok(curves) => curves.to_curves(),
        Err(error) => {
            tracing::warn!(swing = %packed.id, %error, "the curves of a swing cannot be read");
            return None;
        }
    };
    Some((packed.id, Drawn { day: packed.day, time_to_contact_s: packed.time_to_contact_s, curves }))
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
            Mark::None if !found.analysis.flags.is_empty() => chosen.flagged += 1,
            Mark::None | Mark::Keep => chosen.swings.push(found),
        }
    }
    chosen.swings.reverse();
    let mut days: Vec<i64> = chosen.swings.iter().map(|found| day(found.swing.contact_utc)).collect();
    days.dedup();
    chosen.days = days.len();
    Ok(chosen)
}

/// A swing as the comparison sees it.
pub fn observed(found: &FoundSwing) -> Observed {
    let round = found.swing.round_id.map(|id| id.as_u64_pair().1);
    Observed { day: day(found.swing.contact_utc), round, metrics: found.analysis.metrics }
}

fn conditions(found: &FoundSwing) -> Conditions {
    Conditions {
        athlete: found.nickname.clone(),
        bat: found.bat.clone(),
        drill: found.drill.clone(),
        ball_source: found.ball_source.map(|source| source.word().to_owned()),
        side: found.swing.side.map(|side| side.word().to_owned()),
    }
}

/// Days since 1970 as they are counted at this machine.
fn day(at: UtcMicros) -> i64 {
    Timestamp::from_microsecond(at.0).map_or(0, |at| {
        let offset_s = i64::from(TimeZone::system().to_offset(at).seconds());
        (at.as_second() + offset_s).div_euclid(86_400)
    })
}

#[cfg(test)]
mod tests {
    use super::super::super::store::queries::swings_read::example::{BEGUN_US, HOUR_US, fill, one_curve, put_curves};
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
            let curves = found.curves.unwrap();
            assert_eq!((found.then.swings.len(), curves.speed_by_time.then.swings), (4, 3));
            // At contact 24, 4 and 4 m/s.
            assert!((curves.speed_by_time.then.mean.last().unwrap() - 32.0 / 3.0).abs() < 1e-9);
            assert_eq!(found.typical, [Some(ids[2]), Some(ids[4])]);
            let without = then_now(&mut changes, [&then, &now], &question, false).await.unwrap();
            assert_eq!((without.curves, without.typical), (None, [None; 2]));
        });
    }
}
