//! What athletes were told to do until they come again.

use super::super::StoreError;
use super::super::rows::{Homework, Seen, UtcMicros};
use super::{Slice, changed, instant, maybe_uuid, uuid};
use sqlx::any::{AnyArguments, AnyRow};
use sqlx::query::Query;
use sqlx::{Any, AnyConnection, AssertSqlSafe, Row};
use uuid::Uuid;

const KIND: &str = "homework";
const VERSION: &str = "SELECT version FROM homework WHERE id = $1";

/// Enters some. Its version is taken as 1.
///
/// # Errors
/// If there is no such athlete, lesson or bat, or it cannot be written.
pub async fn insert(connection: &mut AnyConnection, homework: &Homework) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO homework (id, athlete_id, lesson_id, given_utc_us, drill, bat_id, how_much, words, ended_utc_us,
             version)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, 1)",
    )
    .bind(homework.id.to_string())
    .bind(homework.athlete_id.to_string())
    .bind(homework.lesson_id.map(|id| id.to_string()))
    .bind(homework.given.0)
    .bind(&homework.drill)
    .bind(homework.bat_id.map(|id| id.to_string()))
    .bind(&homework.how_much)
    .bind(&homework.words)
    .bind(homework.ended.map(|at| at.0))
    .execute(connection)
    .await?;
    Ok(())
}

/// Puts the row of `homework.id` to these values, if it still has `homework.version`; whose it is stays.
///
/// # Errors
/// If there is none, it was changed since, there is no such lesson or bat, or it cannot be written.
pub async fn update(connection: &mut AnyConnection, homework: &Homework) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE homework SET lesson_id = $3, given_utc_us = $4, drill = $5, bat_id = $6, how_much = $7, words = $8,
             ended_utc_us = $9, version = version + 1
         WHERE id = $1 AND version = $2",
    )
    .bind(homework.id.to_string())
    .bind(homework.version)
    .bind(homework.lesson_id.map(|id| id.to_string()))
    .bind(homework.given.0)
    .bind(&homework.drill)
    .bind(homework.bat_id.map(|id| id.to_string()))
    .bind(&homework.how_much)
    .bind(&homework.words)
    .bind(homework.ended.map(|at| at.0))
    .execute(&mut *connection)
    .await?;
    let seen = Seen { id: homework.id, version: homework.version };
    changed(connection, done.rows_affected(), KIND, seen, VERSION).await
}

/// Removes some that was never given.
///
/// # Errors
/// If there is none, it was changed since, or it cannot be written.
pub async fn delete(connection: &mut AnyConnection, seen: Seen) -> Result<(), StoreError> {
    let done = sqlx::query("DELETE FROM homework WHERE id = $1 AND version = $2")
        .bind(seen.id.to_string())
        .bind(seen.version)
        .execute(&mut *connection)
        .await?;
    changed(connection, done.rows_affected(), KIND, seen, VERSION).await
}

/// That with this id.
///
/// # Errors
/// If there is none, or it cannot be read.
pub async fn get(connection: &mut AnyConnection, id: Uuid) -> Result<Homework, StoreError> {
    let row =
        sqlx::query("SELECT * FROM homework WHERE id = $1").bind(id.to_string()).fetch_optional(connection).await?;
    row.map_or_else(|| Err(StoreError::NoSuch { kind: KIND, id: id.to_string() }), |row| homework(&row))
}

/// A page of an athlete's, in the order in which it was entered.
///
/// # Errors
/// If it cannot be read.
pub async fn list(
    connection: &mut AnyConnection,
    athlete_id: Uuid,
    slice: Slice<Uuid>,
) -> Result<Vec<Homework>, StoreError> {
    let after = slice.after.map_or_else(String::new, |id| id.to_string());
    of_athlete(connection, athlete_id, "id > $2 ORDER BY id LIMIT $3", |query| query.bind(after).bind(slice.limit))
        .await
}

/// All that an athlete has still to do, in the order in which it was entered.
///
/// # Errors
/// If it cannot be read.
pub async fn open(connection: &mut AnyConnection, athlete_id: Uuid) -> Result<Vec<Homework>, StoreError> {
    of_athlete(connection, athlete_id, "ended_utc_us IS NULL ORDER BY id", |query| query).await
}

/// What an athlete did last, the latest first, no more than this many.
///
/// # Errors
/// If it cannot be read.
pub async fn latest_done(
    connection: &mut AnyConnection,
    athlete_id: Uuid,
    most: i64,
) -> Result<Vec<Homework>, StoreError> {
    let done = "ended_utc_us IS NOT NULL ORDER BY ended_utc_us DESC, id DESC LIMIT $2";
    of_athlete(connection, athlete_id, done, |query| query.bind(most)).await
}

type Asked = Query<'static, Any, AnyArguments>;

/// An athlete's, as far as they are so; `bind` fills what stands in it from `$2` on.
async fn of_athlete(
    connection: &mut AnyConnection,
    athlete_id: Uuid,
    are: &'static str,
    bind: impl FnOnce(Asked) -> Asked,
) -> Result<Vec<Homework>, StoreError> {
    let query = sqlx::query(AssertSqlSafe(format!("SELECT * FROM homework WHERE athlete_id = $1 AND {are}")));
    let rows = bind(query.bind(athlete_id.to_string())).fetch_all(connection).await?;
    rows.iter().map(homework).collect()
}

fn homework(row: &AnyRow) -> Result<Homework, StoreError> {
    Ok(Homework {
        id: uuid(row, "id")?,
        athlete_id: uuid(row, "athlete_id")?,
        lesson_id: maybe_uuid(row, "lesson_id")?,
        given: UtcMicros(row.try_get("given_utc_us")?),
        drill: row.try_get("drill")?,
        bat_id: maybe_uuid(row, "bat_id")?,
        how_much: row.try_get("how_much")?,
        words: row.try_get("words")?,
        ended: instant(row, "ended_utc_us")?,
        version: row.try_get("version")?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::daemon::store::queries::swings_read::example::fill;
    use crate::daemon::store::queries::{bats, lessons};
    use crate::daemon::store::test_store::on_each;

    #[test]
    fn homework_comes_back_as_it_was_written_and_outlives_its_lesson_and_its_bat() {
        on_each(async |test| {
            let mut changes = test.store.write().await.unwrap();
            let world = fill(&mut changes, 5, 0).await;
            let given = Homework {
                id: Uuid::now_v7(),
                athlete_id: world.athletes[0].id,
                lesson_id: Some(world.lessons[0].id),
                given: UtcMicros(7),
                drill: "high tee".into(),
                bat_id: Some(world.bats[1].id),
                how_much: "3 × 10 a day".into(),
                words: "slowly".into(),
                ended: None,
                version: 1,
            };
            insert(&mut changes, &given).await.unwrap();
            assert_eq!(get(&mut changes, given.id).await.unwrap(), given);
            let done = Homework { ended: Some(UtcMicros(9)), words: String::new(), ..given.clone() };
            update(&mut changes, &done).await.unwrap();
            assert!(matches!(update(&mut changes, &given).await, Err(StoreError::Stale { now: 2, .. })));
            let all = Slice { after: None, limit: 9 };
            let stored = Homework { version: 2, ..done };
            assert_eq!(list(&mut changes, given.athlete_id, all).await.unwrap(), std::slice::from_ref(&stored));
            assert_eq!(list(&mut changes, world.athletes[1].id, all).await.unwrap(), []);
            let lesson = Seen { id: world.lessons[0].id, version: world.lessons[0].version };
            lessons::delete(&mut changes, lesson).await.unwrap();
            bats::delete(&mut changes, Seen { id: world.bats[1].id, version: world.bats[1].version }).await.unwrap();
            let left = Homework { lesson_id: None, bat_id: None, ..stored };
            assert_eq!(get(&mut changes, given.id).await.unwrap(), left);
            delete(&mut changes, Seen { id: given.id, version: 2 }).await.unwrap();
            assert!(matches!(get(&mut changes, given.id).await, Err(StoreError::NoSuch { .. })));
        });
    }

    #[test]
    fn what_is_open_and_what_was_done_last_is_found_however_much_there_was() {
        on_each(async |test| {
            let mut changes = test.store.write().await.unwrap();
            let world = fill(&mut changes, 5, 0).await;
            let of = |athlete: usize, k: i64, ended: Option<i64>| Homework {
                id: Uuid::now_v7(),
                athlete_id: world.athletes[athlete].id,
                lesson_id: None,
                given: UtcMicros(k),
                drill: format!("drill {k}"),
                bat_id: None,
                how_much: String::new(),
                words: String::new(),
                ended: ended.map(UtcMicros),
                version: 1,
            };
            for k in 0..260 {
                insert(&mut changes, &of(0, k, Some(1000 - k))).await.unwrap();
            }
            for k in 260..263 {
                insert(&mut changes, &of(0, k, None)).await.unwrap();
            }
            insert(&mut changes, &of(1, 900, None)).await.unwrap();
            let given = |found: Vec<Homework>| found.into_iter().map(|one| one.given.0).collect::<Vec<_>>();
            let athlete = world.athletes[0].id;
            assert_eq!(given(open(&mut changes, athlete).await.unwrap()), [260, 261, 262]);
            assert_eq!(given(latest_done(&mut changes, athlete, 3).await.unwrap()), [0, 1, 2]);
            assert_eq!(latest_done(&mut changes, world.athletes[1].id, 3).await.unwrap(), []);
        });
    }
}
