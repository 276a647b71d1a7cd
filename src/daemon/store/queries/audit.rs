//! Who saw or changed what over the network. Entries are added and read, never changed.

use super::super::StoreError;
use super::super::rows::{AuditEntry, AuditKey, Role, UtcMicros, Word};
use super::{Slice, maybe_uuid, uuid};
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};
use std::collections::BTreeSet;
use uuid::Uuid;

/// Of what kind a thing is whose athlete is looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Of {
    /// A consent.
    Consent,
    /// A lesson.
    Lesson,
    /// A round.
    Round,
    /// A recording: of everybody who swings in it, and whom it was imported for.
    Recording,
    /// A swing.
    Swing,
    /// A ball result.
    BallResult,
    /// Homework.
    Homework,
    /// An aim, where it was taken in somebody's lesson.
    Aim,
}

/// Adds an entry.
///
/// # Errors
/// If it cannot be written.
pub async fn insert(connection: &mut AnyConnection, entry: &AuditEntry) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO audit (id, at_utc_us, cage, token_id, token_label, role, address, method, path, athlete_id, status)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)",
    )
    .bind(entry.id.to_string())
    .bind(entry.at.0)
    .bind(&entry.cage)
    .bind(entry.token_id.to_string())
    .bind(&entry.token_label)
    .bind(entry.role.word())
    .bind(&entry.address)
    .bind(&entry.method)
    .bind(&entry.path)
    .bind(entry.athlete_id.map(|id| id.to_string()))
    .bind(i64::from(entry.status))
    .execute(connection)
    .await?;
    Ok(())
}

/// A page of them, newest first; of one athlete if it is named.
///
/// # Errors
/// If they cannot be read.
pub async fn list(
    connection: &mut AnyConnection,
    athlete: Option<Uuid>,
    slice: Slice<AuditKey>,
) -> Result<Vec<AuditEntry>, StoreError> {
    let (at, id) = slice.after.map_or((i64::MAX, String::new()), |key| (key.at.0, key.id.to_string()));
    let query = match athlete {
        None => sqlx::query(
            "SELECT * FROM audit WHERE at_utc_us <= $1 AND (at_utc_us < $1 OR id < $2)
             ORDER BY at_utc_us DESC, id DESC LIMIT $3",
        ),
        Some(_) => sqlx::query(
            "SELECT * FROM audit WHERE athlete_id = $4 AND at_utc_us <= $1 AND (at_utc_us < $1 OR id < $2)
             ORDER BY at_utc_us DESC, id DESC LIMIT $3",
        ),
    };
    let query = query.bind(at).bind(id).bind(slice.limit);
    let query = if let Some(athlete) = athlete { query.bind(athlete.to_string()) } else { query };
    query.fetch_all(connection).await?.iter().map(entry).collect()
}

/// Whose it is; nobody's also where there is no such thing.
///
/// # Errors
/// If it cannot be read.
pub async fn athletes_of(connection: &mut AnyConnection, of: Of, id: Uuid) -> Result<BTreeSet<Uuid>, StoreError> {
    let query = match of {
        Of::Consent => "SELECT athlete_id FROM consents WHERE id = $1",
        Of::Lesson => "SELECT athlete_id FROM lessons WHERE id = $1",
        Of::Round => {
            "SELECT lessons.athlete_id AS athlete_id FROM rounds JOIN lessons ON lessons.id = rounds.lesson_id
             WHERE rounds.id = $1"
        }
        Of::Recording => {
            "SELECT athlete_id FROM recordings WHERE id = $1
             UNION SELECT athlete_id FROM swings WHERE recording_id = $1"
        }
        Of::Homework => "SELECT athlete_id FROM homework WHERE id = $1",
        Of::Swing => "SELECT athlete_id FROM swings WHERE id = $1",
        Of::BallResult => "SELECT athlete_id FROM ball_results WHERE id = $1",
        Of::Aim => {
            "SELECT lessons.athlete_id AS athlete_id FROM aims JOIN lessons ON lessons.id = aims.lesson_id
             WHERE aims.id = $1"
        }
    };
    let rows = sqlx::query(query).bind(id.to_string()).fetch_all(connection).await?;
    rows.iter().filter_map(|row| maybe_uuid(row, "athlete_id").transpose()).collect()
}

fn entry(row: &AnyRow) -> Result<AuditEntry, StoreError> {
    let role: String = row.try_get("role")?;
    Ok(AuditEntry {
        id: uuid(row, "id")?,
        at: UtcMicros(row.try_get("at_utc_us")?),
        cage: row.try_get("cage")?,
        token_id: uuid(row, "token_id")?,
        token_label: row.try_get("token_label")?,
        role: Role::from_word(&role)?,
        address: row.try_get("address")?,
        method: row.try_get("method")?,
        path: row.try_get("path")?,
        athlete_id: maybe_uuid(row, "athlete_id")?,
        status: u16::try_from(row.try_get::<i64, _>("status")?).unwrap_or(0),
    })
}

#[cfg(test)]
pub mod test_support {
    //! How it goes wrong.

    use super::*;

    /// No entry can be written from now on.
    pub async fn lose_the_table(connection: &mut AnyConnection) {
        sqlx::query("DROP TABLE audit").execute(connection).await.unwrap();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::daemon::store::test_store::on_each;

    #[test]
    fn whose_a_thing_is_follows_from_its_row_or_its_lesson() {
        on_each(async |test| {
            let mut changes = test.store.write().await.unwrap();
            let id = |k: u128| Uuid::from_u128(k);
            let rows = [
                format!("INSERT INTO athletes VALUES ('{}', 'Wren', NULL, 'left', NULL, '', 0, 1)", id(1)),
                format!(
                    "INSERT INTO consents VALUES ('{}', '{}', 'Robin', 'parent', 'keeping', 0, NULL, NULL, '', 1)",
                    id(2),
                    id(1)
                ),
                format!("INSERT INTO lessons VALUES ('{}', '{}', 'lesson', 'cage', 0, NULL, '', '', 1)", id(3), id(1)),
                format!(
                    "INSERT INTO rounds VALUES ('{}', '{}', 0, NULL, NULL, NULL, NULL, NULL, NULL, '', 1)",
                    id(4),
                    id(3)
                ),
                format!(
                    "INSERT INTO recordings (id, cage, file_name, origin, begun_utc_us, state, version) VALUES ('{}', 'cage', 'a.mcap', 'import', 0, 'stored', 1)",
                    id(5)
                ),
                format!(
                    "INSERT INTO homework VALUES ('{}', '{}', NULL, 0, 'tee', NULL, '', '', NULL, 1)",
                    id(9),
                    id(1)
                ),
                format!("INSERT INTO sensors VALUES ('{}', 'knob', '', '', 0, 0, 1)", id(8)),
                format!(
                    "INSERT INTO aims (id, sensor_id, lesson_id, taken_utc_us, note, version) VALUES ('{}', '{}', '{}', 0, '', 1)",
                    id(7),
                    id(8),
                    id(3)
                ),
            ];
            for row in rows {
                sqlx::query(sqlx::AssertSqlSafe(row)).execute(&mut *changes).await.unwrap();
            }
            for (of, k, whose) in [
                (Of::Consent, 2, Some(id(1))),
                (Of::Lesson, 3, Some(id(1))),
                (Of::Round, 4, Some(id(1))),
                (Of::Recording, 5, None),
                (Of::Swing, 6, None),
                (Of::BallResult, 6, None),
                (Of::Aim, 7, Some(id(1))),
                (Of::Homework, 9, Some(id(1))),
            ] {
                let found = athletes_of(&mut changes, of, id(k)).await.unwrap();
                assert_eq!(found, whose.into_iter().collect(), "{of:?}");
            }
        });
    }
}
