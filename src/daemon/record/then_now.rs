//! Two selections of stored swings set side by side: read here, compared by [`compare`](crate::compare).

use super::super::store::StoreError;
use super::super::store::queries::swings_read::{self, FoundSwing, Order, SwingFilter};
use super::super::store::queries::{Slice, amounts as stored_amounts};
use super::super::store::rows::{Mark, UtcMicros, Word};
use crate::compare::Observed;
use crate::compare::conditions::{Conditions, Mismatch, mismatches};
use crate::compare::curves::{ComparedCurves, Drawn, compare as compare_curves};
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
                    day: day(found.swing.contact_utc),
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
