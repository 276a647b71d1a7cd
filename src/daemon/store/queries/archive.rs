//! All that is one athlete's, as it stands: columns by name, for taking along.

use super::super::StoreError;
use crate::engine::metrics::Metric;
use serde_json::Value;
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, AssertSqlSafe, Column, Row};
use uuid::Uuid;

/// A row: its columns in order.
pub type Fields = Vec<(String, Value)>;

/// What is asked for; `$1` is the athlete in all of them.
const ATHLETE: &str = "SELECT * FROM athletes WHERE id = $1";
const CONSENTS: &str = "SELECT * FROM consents WHERE athlete_id = $1 ORDER BY given_utc_us, id";
const LESSONS: &str = "SELECT * FROM lessons WHERE athlete_id = $1 ORDER BY begun_utc_us, id";
const ROUNDS: &str = "SELECT * FROM rounds WHERE lesson_id IN (SELECT id FROM lessons WHERE athlete_id = $1)
     ORDER BY begun_utc_us, id";
const HOMEWORK: &str = "SELECT * FROM homework WHERE athlete_id = $1 ORDER BY given_utc_us, id";
const BATS: &str = "SELECT * FROM bats WHERE id IN (SELECT bat_id FROM swings WHERE athlete_id = $1)
     OR id IN (SELECT bat_id FROM homework WHERE athlete_id = $1)
     OR id IN (SELECT bat_id FROM rounds WHERE lesson_id IN (SELECT id FROM lessons WHERE athlete_id = $1)) ORDER BY id";
const SWINGS: &str = "SELECT * FROM swings WHERE athlete_id = $1 ORDER BY contact_utc_us, id";
const TAGS: &str = "SELECT * FROM swing_tags WHERE swing_id IN (SELECT id FROM swings WHERE athlete_id = $1)
     ORDER BY swing_id, tag";
const ANALYSES: &str = "SELECT * FROM analyses WHERE swing_id IN (SELECT id FROM swings WHERE athlete_id = $1)
     ORDER BY swing_id, revision";
const BALL_RESULTS: &str = "SELECT * FROM ball_results WHERE athlete_id = $1
     OR (athlete_id IS NULL AND swing_id IN (SELECT id FROM swings WHERE athlete_id = $1)) ORDER BY measured_utc_us, id";
const RECORDINGS: &str = "SELECT id, cage, file_name, sensor_id, origin, athlete_id, begun_utc_us, ended_utc_us, state
     FROM recordings WHERE athlete_id = $1 OR id IN (SELECT recording_id FROM swings WHERE athlete_id = $1)
     ORDER BY begun_utc_us, id";

/// All that is one athlete's but the curves.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Theirs {
    /// The athlete.
    pub athlete: Fields,
    /// Their consents.
    pub consents: Vec<Fields>,
    /// Their lessons.
    pub lessons: Vec<Fields>,
    /// The rounds of these.
    pub rounds: Vec<Fields>,
    /// What they were told to do at home.
    pub homework: Vec<Fields>,
    /// What they swung, and what that is to be done with.
    pub bats: Vec<Fields>,
    /// Their swings.
    pub swings: Vec<Fields>,
    /// Words on these.
    pub tags: Vec<Fields>,
    /// What was said of these, every time.
    pub analyses: Vec<Fields>,
    /// Swings with what was said of them last.
    pub latest: Vec<Fields>,
    /// What the balls did.
    pub ball_results: Vec<Fields>,
    /// The recordings that the swings are in.
    pub recordings: Vec<Fields>,
}

/// All that is one athlete's but the curves.
///
/// # Errors
/// If there is no such athlete, or it cannot be read.
pub async fn theirs(connection: &mut AnyConnection, id: Uuid) -> Result<Theirs, StoreError> {
    let athlete = fields(connection, ATHLETE, id).await?.pop();
    Ok(Theirs {
        athlete: athlete.ok_or_else(|| StoreError::NoSuch { kind: "athlete", id: id.to_string() })?,
        consents: fields(connection, CONSENTS, id).await?,
        lessons: fields(connection, LESSONS, id).await?,
        rounds: fields(connection, ROUNDS, id).await?,
        homework: fields(connection, HOMEWORK, id).await?,
        bats: fields(connection, BATS, id).await?,
        swings: fields(connection, SWINGS, id).await?,
        tags: fields(connection, TAGS, id).await?,
        analyses: fields(connection, ANALYSES, id).await?,
        latest: fields(connection, &latest(), id).await?,
        ball_results: fields(connection, BALL_RESULTS, id).await?,
        recordings: fields(connection, RECORDINGS, id).await?,
    })
}

/// The latest curves of a swing, as they are stored.
///
/// # Errors
/// If they cannot be read.
pub async fn curves(connection: &mut AnyConnection, swing_id: &str) -> Result<Option<Vec<u8>>, StoreError> {
    let row = sqlx::query("SELECT compact FROM curves WHERE swing_id = $1 ORDER BY revision DESC LIMIT 1")
        .bind(swing_id)
        .fetch_optional(connection)
        .await?;
    row.map(|row| Ok(row.try_get(0)?)).transpose()
}

fn latest() -> String {
    let metrics = Metric::ALL.iter().flat_map(|metric| {
        let key = metric.key();
        [format!("analyses.{key}"), format!("analyses.{key}_sigma")]
    });
    format!(
        "SELECT swings.id, contact_utc_us, contact_utc_sigma_us, swings.recording_id, run, analyses.start_s,
             analyses.contact_s, analyses.contact_sigma_s, lesson_id, round_id, side, bat_id, mark, note,
             analyses.revision, analyses.stage, analyses.contact, analyses.flags, analyses.engine_version, {}
         FROM swings LEFT JOIN analyses ON analyses.swing_id = swings.id AND analyses.revision = swings.revision
         WHERE athlete_id = $1 ORDER BY contact_utc_us, swings.id",
        metrics.collect::<Vec<_>>().join(", ")
    )
}

/// `sql` is this file's own.
async fn fields(connection: &mut AnyConnection, sql: &str, id: Uuid) -> Result<Vec<Fields>, StoreError> {
    let rows = sqlx::query(AssertSqlSafe(sql.to_owned())).bind(id.to_string()).fetch_all(connection).await?;
    rows.iter().map(|row| (0..row.columns().len()).map(|at| field(row, at)).collect()).collect()
}

fn field(row: &AnyRow, at: usize) -> Result<(String, Value), StoreError> {
    let name = row.columns().get(at).map_or_else(String::new, |column| column.name().to_owned());
    if let Ok(whole) = row.try_get::<Option<i64>, _>(at) {
        return Ok((name, whole.map_or(Value::Null, Value::from)));
    }
    if let Ok(number) = row.try_get::<Option<f64>, _>(at) {
        return Ok((name, number.map_or(Value::Null, Value::from)));
    }
    Ok((name, row.try_get::<Option<String>, _>(at)?.map_or(Value::Null, Value::from)))
}
