//! Erasing: the rows of an athlete, and what has been kept long enough.

use super::super::StoreError;
use super::super::copy::Counts;
use super::super::rows::UtcMicros;
use super::{idempotency, uuid};
use sqlx::{AnyConnection, Row};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Rows of each table that are an athlete's; `$1` is the athlete.
///
/// Results of a ball that belong to one of their swings are theirs whoever's they are said to be. A swing of nobody in their
/// lesson is theirs; one that was moved to somebody else is not.
const THEIRS: [(&str, &str); 11] = [
    ("ball_results", "ball_results WHERE athlete_id = $1 OR swing_id IN (SELECT id FROM swings WHERE athlete_id = $1)"),
    ("curves", "curves WHERE swing_id IN (SELECT id FROM swings WHERE athlete_id = $1)"),
    ("analyses", "analyses WHERE swing_id IN (SELECT id FROM swings WHERE athlete_id = $1)"),
    ("swing_tags", "swing_tags WHERE swing_id IN (SELECT id FROM swings WHERE athlete_id = $1)"),
    ("swings", "swings WHERE athlete_id = $1"),
    ("aims", "aims WHERE lesson_id IN (SELECT id FROM lessons WHERE athlete_id = $1)"),
    ("rounds", "rounds WHERE lesson_id IN (SELECT id FROM lessons WHERE athlete_id = $1)"),
    ("homework", "homework WHERE athlete_id = $1"),
    ("lessons", "lessons WHERE athlete_id = $1"),
    ("consents", "consents WHERE athlete_id = $1"),
    ("athletes", "athletes WHERE id = $1"),
];

/// What was removed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RowsRemoved {
    /// How many rows of each table.
    pub rows: Counts,
    /// Recordings that were imported for them; their files are still to be removed.
    pub imports: Vec<Uuid>,
}

/// Removes the rows of an athlete, and all kept answers, which may repeat what stood in them.
///
/// # Errors
/// If they cannot be removed.
pub async fn athlete(connection: &mut AnyConnection, id: Uuid) -> Result<RowsRemoved, StoreError> {
    let text = id.to_string();
    let found = sqlx::query("SELECT id FROM recordings WHERE athlete_id = $1").bind(&text).fetch_all(&mut *connection);
    let imports = found.await?.iter().map(|row| uuid(row, "id")).collect::<Result<Vec<_>, _>>()?;
    for prepare in [
        // What the file was called may be a name.
        "UPDATE recordings SET imported_name = NULL, version = version + 1 WHERE athlete_id = $1",
        "UPDATE swings SET athlete_id = $1 WHERE athlete_id IS NULL
         AND lesson_id IN (SELECT id FROM lessons WHERE athlete_id = $1)",
        "UPDATE swings SET lesson_id = NULL, round_id = NULL, version = version + 1 WHERE athlete_id <> $1
         AND lesson_id IN (SELECT id FROM lessons WHERE athlete_id = $1)",
    ] {
        sqlx::query(prepare).bind(&text).execute(&mut *connection).await?;
    }
    let mut rows = Counts::new();
    for (table, theirs) in THEIRS {
        let sql = sqlx::AssertSqlSafe(format!("DELETE FROM {theirs}"));
        let done = sqlx::query(sql).bind(&text).execute(&mut *connection).await?;
        rows.insert(table.to_owned(), i64::try_from(done.rows_affected()).unwrap_or(i64::MAX));
    }
    idempotency::forget_all(connection).await?;
    Ok(RowsRemoved { rows, imports })
}

const UNUSED_PROFILES: &str = "profiles WHERE sha256 NOT IN (SELECT profile_sha256 FROM analyses)";

/// Whether there are profiles by which no stored swing was measured.
///
/// # Errors
/// If they cannot be read.
pub async fn has_unused_profiles(connection: &mut AnyConnection) -> Result<bool, StoreError> {
    let sql = sqlx::AssertSqlSafe(format!("SELECT sha256 FROM {UNUSED_PROFILES} LIMIT 1"));
    Ok(sqlx::query(sql).fetch_optional(connection).await?.is_some())
}

/// Removes them; how many. They hold numbers of sensors, bats and pitches, and name nobody: they are not worth a scan of all
/// analyses each time that somebody is erased.
///
/// # Errors
/// If they cannot be removed.
pub async fn unused_profiles(connection: &mut AnyConnection) -> Result<u64, StoreError> {
    let sql = sqlx::AssertSqlSafe(format!("DELETE FROM {UNUSED_PROFILES}"));
    Ok(sqlx::query(sql).execute(connection).await?.rows_affected())
}

/// An athlete's nickname, and whether another has the same; `None` if there is no such athlete.
///
/// # Errors
/// If it cannot be read.
pub async fn nickname(connection: &mut AnyConnection, id: Uuid) -> Result<Option<(String, bool)>, StoreError> {
    let row = sqlx::query(
        "SELECT nickname, (SELECT COUNT(*) FROM athletes AS other WHERE other.nickname = athletes.nickname) AS so_called
         FROM athletes WHERE id = $1",
    )
    .bind(id.to_string())
    .fetch_optional(connection)
    .await?;
    row.map(|row| Ok((row.try_get("nickname")?, row.try_get::<i64, _>("so_called")? > 1))).transpose()
}

/// Installations at whose plate the athlete was said to be last; whether that still holds the rows do not tell.
///
/// # Errors
/// If they cannot be read.
pub async fn at_the_plate(connection: &mut AnyConnection, id: Uuid) -> Result<Vec<String>, StoreError> {
    let rows = sqlx::query("SELECT cage FROM plates WHERE athlete_id = $1 ORDER BY cage")
        .bind(id.to_string())
        .fetch_all(connection)
        .await?;
    rows.iter().map(|row| Ok(row.try_get(0)?)).collect()
}

/// Files, by installation, in which a swing is the athlete's that was changed by hand: it may have been another's.
///
/// # Errors
/// If they cannot be read.
pub async fn moved_to(connection: &mut AnyConnection, id: Uuid) -> Result<BTreeMap<String, Vec<String>>, StoreError> {
    let rows = sqlx::query(
        "SELECT DISTINCT r.cage, r.file_name FROM swings AS s JOIN recordings AS r ON r.id = s.recording_id
         WHERE s.athlete_id = $1 AND s.is_moved = 1 AND (r.athlete_id IS NULL OR r.athlete_id <> $1)
         ORDER BY r.cage, r.file_name",
    )
    .bind(id.to_string())
    .fetch_all(connection)
    .await?;
    let mut files: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for row in rows {
        files.entry(row.try_get("cage")?).or_default().push(row.try_get("file_name")?);
    }
    Ok(files)
}

/// Whether a swing in a file was changed by hand.
///
/// # Errors
/// If it cannot be read.
pub async fn has_moved(connection: &mut AnyConnection, cage: &str, file_name: &str) -> Result<bool, StoreError> {
    let row = sqlx::query(
        "SELECT s.id FROM swings AS s JOIN recordings AS r ON r.id = s.recording_id
         WHERE r.cage = $1 AND r.file_name = $2 AND s.is_moved = 1 LIMIT 1",
    )
    .bind(cage)
    .bind(file_name)
    .fetch_optional(connection)
    .await?;
    Ok(row.is_some())
}

/// Files of those recordings that lie at an installation.
///
/// # Errors
/// If they cannot be read.
pub async fn files(connection: &mut AnyConnection, cage: &str, ids: &[Uuid]) -> Result<Vec<String>, StoreError> {
    let mut names = Vec::new();
    for id in ids {
        let row = sqlx::query("SELECT file_name FROM recordings WHERE id = $1 AND cage = $2")
            .bind(id.to_string())
            .bind(cage)
            .fetch_optional(&mut *connection)
            .await?;
        names.extend(row.map(|row| row.try_get::<String, _>(0)).transpose()?);
    }
    Ok(names)
}

/// A recording's file is no longer there: its row goes too, or stays without a file if swings still refer to it.
///
/// # Errors
/// If it cannot be written.
pub async fn file_removed(connection: &mut AnyConnection, cage: &str, file_name: &str) -> Result<(), StoreError> {
    for sql in [
        "DELETE FROM recordings WHERE cage = $1 AND file_name = $2
         AND NOT EXISTS (SELECT 1 FROM swings WHERE swings.recording_id = recordings.id)
         AND NOT EXISTS (SELECT 1 FROM analyses WHERE analyses.recording_id = recordings.id)",
        "UPDATE recordings SET state = 'removed', imported_name = NULL, version = version + 1
         WHERE cage = $1 AND file_name = $2",
    ] {
        sqlx::query(sql).bind(cage).bind(file_name).execute(&mut *connection).await?;
    }
    Ok(())
}

/// Part of a recording's file is no longer there: what was said of its length no longer holds.
///
/// # Errors
/// If it cannot be written.
pub async fn file_rewritten(connection: &mut AnyConnection, cage: &str, file_name: &str) -> Result<(), StoreError> {
    sqlx::query(
        "UPDATE recordings SET duration_s = NULL, samples = NULL, sample_rate_hz = NULL, gaps = NULL,
             missing_samples = NULL, version = version + 1 WHERE cage = $1 AND file_name = $2",
    )
    .bind(cage)
    .bind(file_name)
    .execute(connection)
    .await?;
    Ok(())
}

/// Athletes who were entered before `oldest` and have no swing and no lesson since.
///
/// # Errors
/// If they cannot be read.
pub async fn expired_athletes(connection: &mut AnyConnection, oldest: UtcMicros) -> Result<Vec<Uuid>, StoreError> {
    let rows = sqlx::query(
        "SELECT id FROM athletes WHERE created_utc_us < $1
         AND NOT EXISTS (SELECT 1 FROM swings WHERE athlete_id = athletes.id AND contact_utc_us >= $1)
         AND NOT EXISTS (SELECT 1 FROM lessons WHERE athlete_id = athletes.id
                         AND COALESCE(ended_utc_us, begun_utc_us) >= $1)
         ORDER BY id",
    )
    .bind(oldest.0)
    .fetch_all(connection)
    .await?;
    rows.iter().map(|row| uuid(row, "id")).collect()
}

/// Recordings of an installation that ended before `oldest` and in which no stored swing is: ids and files.
///
/// # Errors
/// If they cannot be read.
pub async fn expired_recordings(
    connection: &mut AnyConnection,
    cage: &str,
    oldest: UtcMicros,
) -> Result<Vec<(Uuid, String)>, StoreError> {
    let rows = sqlx::query(
        "SELECT id, file_name FROM recordings WHERE cage = $1 AND COALESCE(ended_utc_us, begun_utc_us) < $2
         AND NOT EXISTS (SELECT 1 FROM swings WHERE recording_id = recordings.id)
         AND NOT EXISTS (SELECT 1 FROM analyses WHERE recording_id = recordings.id)
         ORDER BY id",
    )
    .bind(cage)
    .bind(oldest.0)
    .fetch_all(connection)
    .await?;
    rows.iter().map(|row| Ok((uuid(row, "id")?, row.try_get("file_name")?))).collect()
}

/// Removes the row of a recording in which no stored swing is.
///
/// # Errors
/// If it cannot be removed.
pub async fn recording(connection: &mut AnyConnection, id: Uuid) -> Result<(), StoreError> {
    sqlx::query("DELETE FROM recordings WHERE id = $1").bind(id.to_string()).execute(connection).await?;
    Ok(())
}
