//! Swings as they are read: with their latest analysis and the words of what they refer to.
//!
//! [`list`] goes through them by time of contact; [`filter`] says which. A page costs two queries, one for the swings and
//! one for their tags, however many filters there are.

#[cfg(test)]
pub(in crate::daemon) mod example;
pub mod filter;
pub mod summary;
#[cfg(test)]
mod tests;

pub use filter::{SwingFilter, Whose};

use super::super::StoreError;
use super::super::rows::{Analysis, BallSource, Mark, Occasion, Side, Swing, UtcMicros, Word};
use super::analyses::analysis;
use super::{Slice, TimeKey, list_of, maybe_uuid, truth, uuid};
use crate::engine::metrics::Metric;
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, AssertSqlSafe, Row};
use std::collections::BTreeMap;
use std::sync::LazyLock;
use uuid::Uuid;

/// A swing with its latest analysis and what else a reader wants to know of it.
#[derive(Clone, Debug, PartialEq)]
pub struct FoundSwing {
    /// It.
    pub swing: Swing,
    /// Its latest analysis.
    pub analysis: Analysis,
    /// What the athlete is called.
    pub nickname: Option<String>,
    /// Lesson or practice.
    pub occasion: Option<Occasion>,
    /// What was practised.
    pub drill: Option<String>,
    /// Where the ball came from.
    pub ball_source: Option<BallSource>,
    /// What the bat is called.
    pub bat: Option<String>,
    /// The recording's file.
    pub file_name: String,
}

/// Ids in one query: SQLite takes 32,766 parameters, older ones 999.
const IN_ONE_QUERY: usize = 500;

/// In which direction a list goes through time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Order {
    /// Back.
    #[default]
    Newest,
    /// Forth.
    Oldest,
}

impl FoundSwing {
    /// Its place in the list.
    pub fn key(&self) -> TimeKey {
        TimeKey { at: self.swing.contact_utc, id: self.swing.id }
    }
}

/// The columns of an analysis that a swing does not have under the same name and meaning.
static ANALYSIS: LazyLock<String> = LazyLock::new(|| {
    let metrics = Metric::ALL.map(|metric| format!(", a.{0}, a.{0}_sigma", metric.key()));
    "a.swing_id, a.analysed_utc_us, a.engine_version, a.profile_sha256, a.stage, a.start_s, a.contact_sigma_s, \
     a.contact, a.flags"
        .to_owned()
        + &metrics.concat()
});

/// Everything of [`FoundSwing`] but the tags. LEFT JOINs keep the planner from beginning elsewhere than with the swings.
static FOUND: LazyLock<String> = LazyLock::new(|| {
    format!(
        "SELECT s.id, s.recording_id, s.run, s.contact_s, s.contact_utc_us, s.contact_utc_sigma_us, s.athlete_id, \
         s.lesson_id, s.round_id, s.side, s.bat_id, s.mark, s.note, s.is_moved, s.revision, s.version, {}, h.nickname, \
         l.occasion, r.drill, r.ball_source, b.name AS bat, f.file_name \
         FROM swings s JOIN analyses a ON a.swing_id = s.id AND a.revision = s.revision \
         JOIN recordings f ON f.id = s.recording_id \
         LEFT JOIN lessons l ON l.id = s.lesson_id LEFT JOIN rounds r ON r.id = s.round_id \
         LEFT JOIN bats b ON b.id = s.bat_id LEFT JOIN athletes h ON h.id = s.athlete_id",
        *ANALYSIS
    )
});

/// A page of swings by time of contact.
///
/// # Errors
/// If they cannot be read.
pub async fn list(
    connection: &mut AnyConnection,
    filter: &SwingFilter,
    order: Order,
    slice: Slice<TimeKey>,
) -> Result<Vec<FoundSwing>, StoreError> {
    let mut conditions = filter.conditions();
    conditions.past("s.contact_utc_us, s.id", order == Order::Newest, slice.after);
    let tail = match order {
        Order::Newest => "ORDER BY s.contact_utc_us DESC, s.id DESC",
        Order::Oldest => "ORDER BY s.contact_utc_us, s.id",
    };
    let rows = conditions.query(&FOUND, tail, slice.limit).fetch_all(&mut *connection).await?;
    let mut found = rows.iter().map(found_swing).collect::<Result<Vec<_>, _>>()?;
    add_tags(connection, &mut found).await?;
    Ok(found)
}

/// The one with this id.
///
/// # Errors
/// If there is none, or it cannot be read.
pub async fn get(connection: &mut AnyConnection, id: Uuid) -> Result<FoundSwing, StoreError> {
    let text = format!("{} WHERE s.id = $1", *FOUND);
    let row = sqlx::query(AssertSqlSafe(text)).bind(id.to_string()).fetch_optional(&mut *connection).await?;
    let row = row.ok_or_else(|| StoreError::NoSuch { kind: "swing", id: id.to_string() })?;
    let mut found = [found_swing(&row)?];
    add_tags(connection, &mut found).await?;
    let [found] = found;
    Ok(found)
}

/// All analyses of a swing, the first one first.
///
/// # Errors
/// If there is no such swing, or they cannot be read.
pub async fn revisions(connection: &mut AnyConnection, id: Uuid) -> Result<Vec<Analysis>, StoreError> {
    let text = format!(
        "SELECT {}, a.revision, a.recording_id, a.contact_s FROM analyses a WHERE a.swing_id = $1 ORDER BY a.revision",
        *ANALYSIS
    );
    let rows = sqlx::query(AssertSqlSafe(text)).bind(id.to_string()).fetch_all(connection).await?;
    if rows.is_empty() {
        return Err(StoreError::NoSuch { kind: "swing", id: id.to_string() });
    }
    rows.iter().map(analysis).collect()
}

/// A swing's curves by an analysis, the latest if none is named, as [`report::curves`](crate::report::curves) packs them;
/// and of which revision they are.
///
/// # Errors
/// If there are none, or they cannot be read.
pub async fn curves(
    connection: &mut AnyConnection,
    id: Uuid,
    revision: Option<i64>,
) -> Result<(i64, Vec<u8>), StoreError> {
    let row = sqlx::query(
        "SELECT c.revision, c.compact FROM swings s
         JOIN curves c ON c.swing_id = s.id AND c.revision = COALESCE($2, s.revision) WHERE s.id = $1",
    )
    .bind(id.to_string())
    .bind(revision)
    .fetch_optional(connection)
    .await?;
    let row = row.ok_or_else(|| StoreError::NoSuch {
        kind: "curves",
        id: revision
            .map_or_else(|| format!("of swing {id}"), |revision| format!("of revision {revision} of swing {id}")),
    })?;
    Ok((row.try_get("revision")?, row.try_get("compact")?))
}

/// Curves of these swings by the latest analysis of each, packed; in the order of their ids. Swings without curves are left
/// out.
///
/// # Errors
/// If they cannot be read.
pub async fn curves_of(connection: &mut AnyConnection, ids: &[Uuid]) -> Result<Vec<Vec<u8>>, StoreError> {
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    let text = format!(
        "SELECT c.compact FROM swings s JOIN curves c ON c.swing_id = s.id AND c.revision = s.revision
         WHERE s.id IN ({}) ORDER BY s.id",
        list_of(ids.len())
    );
    let query = sqlx::query(AssertSqlSafe(text));
    let query = ids.iter().fold(query, |query, id| query.bind(id.to_string()));
    query.fetch_all(connection).await?.iter().map(|row| Ok(row.try_get("compact")?)).collect()
}

/// The same, however many, each with its swing.
///
/// # Errors
/// If they cannot be read.
pub async fn curves_by_swing(
    connection: &mut AnyConnection,
    ids: &[Uuid],
) -> Result<BTreeMap<Uuid, Vec<u8>>, StoreError> {
    let mut found = BTreeMap::new();
    for ids in ids.chunks(IN_ONE_QUERY) {
        let text = format!(
            "SELECT c.swing_id, c.compact FROM swings s
             JOIN curves c ON c.swing_id = s.id AND c.revision = s.revision WHERE s.id IN ({})",
            list_of(ids.len())
        );
        let query = sqlx::query(AssertSqlSafe(text));
        let query = ids.iter().fold(query, |query, id| query.bind(id.to_string()));
        for row in query.fetch_all(&mut *connection).await? {
            found.insert(uuid(&row, "swing_id")?, row.try_get("compact")?);
        }
    }
    Ok(found)
}

/// The tags of all of them by one query.
async fn add_tags(connection: &mut AnyConnection, found: &mut [FoundSwing]) -> Result<(), StoreError> {
    if found.is_empty() {
        return Ok(());
    }
    let text = format!("SELECT swing_id, tag FROM swing_tags WHERE swing_id IN ({})", list_of(found.len()));
    let query = sqlx::query(AssertSqlSafe(text));
    let query = found.iter().fold(query, |query, found| query.bind(found.swing.id.to_string()));
    let mut tags: BTreeMap<Uuid, Vec<String>> = BTreeMap::new();
    for row in query.fetch_all(connection).await? {
        tags.entry(uuid(&row, "swing_id")?).or_default().push(row.try_get("tag")?);
    }
    for found in found {
        found.swing.tags = tags.remove(&found.swing.id).unwrap_or_default();
        // By code points: databases sort text by their own rules.
        found.swing.tags.sort();
    }
    Ok(())
}

fn found_swing(row: &AnyRow) -> Result<FoundSwing, StoreError> {
    Ok(FoundSwing {
        swing: swing(row)?,
        analysis: analysis(row)?,
        nickname: row.try_get("nickname")?,
        occasion: maybe_word(row, "occasion")?,
        drill: row.try_get("drill")?,
        ball_source: maybe_word(row, "ball_source")?,
        bat: row.try_get("bat")?,
        file_name: row.try_get("file_name")?,
    })
}

fn swing(row: &AnyRow) -> Result<Swing, StoreError> {
    Ok(Swing {
        id: uuid(row, "id")?,
        recording_id: uuid(row, "recording_id")?,
        run: row.try_get("run")?,
        contact_s: row.try_get("contact_s")?,
        contact_utc: UtcMicros(row.try_get("contact_utc_us")?),
        contact_utc_sigma_us: row.try_get("contact_utc_sigma_us")?,
        athlete_id: maybe_uuid(row, "athlete_id")?,
        lesson_id: maybe_uuid(row, "lesson_id")?,
        round_id: maybe_uuid(row, "round_id")?,
        side: maybe_word::<Side>(row, "side")?,
        bat_id: maybe_uuid(row, "bat_id")?,
        mark: Mark::from_word(row.try_get("mark")?)?,
        note: row.try_get("note")?,
        tags: Vec::new(),
        is_moved: truth(row, "is_moved")?,
        revision: row.try_get("revision")?,
        version: row.try_get("version")?,
    })
}

/// A word in a column that may be NULL.
pub(super) fn maybe_word<W: Word>(row: &AnyRow, column: &str) -> Result<Option<W>, StoreError> {
    row.try_get::<Option<&str>, _>(column)?.map(W::from_word).transpose()
}
