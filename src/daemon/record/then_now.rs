//! Two selections of stored swings set side by side: read here, compared by [`compare`](crate::compare).

use super::super::store::StoreError;
use super::super::store::queries::Slice;
use super::super::store::queries::swings_read::{self, FoundSwing, Order, SwingFilter};
use super::super::store::rows::{Mark, UtcMicros, Word};
use crate::compare::Observed;
use crate::compare::conditions::{Conditions, Mismatch, mismatches};
use crate::compare::curves::ComparedCurves;
use crate::compare::numbers::{Compared, Question, compare};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use sqlx::AnyConnection;

/// More swings of one group are not read: the newest ones are.
pub const MOST_SWINGS: i64 = 5_000;

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
    /// How many the instructor left out.
    pub excluded: usize,
    /// Days that count.
    pub days: usize,
}

/// Reads both groups and compares them.
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
    let observed = |chosen: &Chosen| chosen.swings.iter().map(observed).collect::<Vec<_>>();
    let mismatches = mismatches(&conditions(&then), &conditions(&now));
    let numbers = compare(&observed(&then), &observed(&now), question);
    let curves = with_curves.then(ComparedCurves::default);
    Ok(ThenNow { then, now, mismatches, numbers, curves })
}

/// The swings of a group that count.
///
/// # Errors
/// If they cannot be read.
pub async fn choose(connection: &mut AnyConnection, filter: &SwingFilter) -> Result<Chosen, StoreError> {
    let slice = Slice { after: None, limit: MOST_SWINGS };
    let mut chosen = Chosen::default();
    for found in swings_read::list(connection, filter, Order::Newest, slice).await? {
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
