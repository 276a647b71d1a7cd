//! What analyses said of swings: rows are added, never changed.

use super::super::StoreError;
use super::super::rows::{Analysis, UtcMicros};
use super::uuid;
use crate::engine::metrics::{Estimate, Metric};
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, AssertSqlSafe, Row};
use uuid::Uuid;

/// The columns before those of the metrics.
const HEAD: &str = "swing_id, revision, analysed_utc_us, engine_version, profile_sha256, recording_id, stage, start_s, \
                    contact_s, contact_sigma_s, contact, flags";
/// How many these are.
const HEAD_COLUMNS: usize = 12;

/// Adds one.
///
/// # Errors
/// If the swing has this revision already, or it cannot be written.
pub async fn insert(connection: &mut AnyConnection, analysis: &Analysis) -> Result<(), StoreError> {
    let columns: String = Metric::ALL.iter().map(|metric| format!(", {0}, {0}_sigma", metric.key())).collect();
    let values: Vec<_> = (1..=HEAD_COLUMNS + 2 * Metric::COUNT).map(|place| format!("${place}")).collect();
    let sql = format!("INSERT INTO analyses ({HEAD}{columns}) VALUES ({})", values.join(", "));
    let mut query = sqlx::query(AssertSqlSafe(sql))
        .bind(analysis.swing_id.to_string())
        .bind(analysis.revision)
        .bind(analysis.analysed.0)
        .bind(&analysis.engine_version)
        .bind(&analysis.profile_sha256)
        .bind(analysis.recording_id.to_string())
        .bind(&analysis.stage)
        .bind(analysis.start_s)
        .bind(analysis.contact_s)
        .bind(analysis.contact_sigma_s)
        .bind(if analysis.met_ball { "ball" } else { "none" })
        .bind(flags_text(&analysis.flags));
    for estimate in analysis.metrics {
        query = query.bind(estimate.map(|estimate| estimate.value)).bind(estimate.map(|estimate| estimate.sigma));
    }
    query.execute(connection).await?;
    Ok(())
}

/// The latest of a swing that was made by so much of the recording.
///
/// # Errors
/// If it cannot be read.
pub async fn latest_of_stage(
    connection: &mut AnyConnection,
    swing_id: Uuid,
    stage: &str,
) -> Result<Option<Analysis>, StoreError> {
    let row = sqlx::query("SELECT * FROM analyses WHERE swing_id = $1 AND stage = $2 ORDER BY revision DESC LIMIT 1")
        .bind(swing_id.to_string())
        .bind(stage)
        .fetch_optional(connection)
        .await?;
    row.as_ref().map(analysis).transpose()
}

/// One from a row that holds all columns of `analyses`.
///
/// # Errors
/// If the row is not as this version writes it.
pub fn analysis(row: &AnyRow) -> Result<Analysis, StoreError> {
    let mut metrics = [None; Metric::COUNT];
    for (metric, estimate) in Metric::ALL.iter().zip(&mut metrics) {
        let value: Option<f64> = row.try_get(metric.key())?;
        let sigma: Option<f64> = row.try_get(&*format!("{}_sigma", metric.key()))?;
        *estimate = value.zip(sigma).map(|(value, sigma)| Estimate { value, sigma });
    }
    Ok(Analysis {
        swing_id: uuid(row, "swing_id")?,
        revision: row.try_get("revision")?,
        analysed: UtcMicros(row.try_get("analysed_utc_us")?),
        engine_version: row.try_get("engine_version")?,
        profile_sha256: row.try_get("profile_sha256")?,
        recording_id: uuid(row, "recording_id")?,
        stage: row.try_get("stage")?,
        start_s: row.try_get("start_s")?,
        contact_s: row.try_get("contact_s")?,
        contact_sigma_s: row.try_get("contact_sigma_s")?,
        met_ball: row.try_get::<String, _>("contact")? == "ball",
        flags: flags(row.try_get("flags")?),
        metrics,
    })
}

/// Between commas, so that one flag is found by the text `,flag,`.
fn flags_text(flags: &[String]) -> String {
    flags.iter().fold(String::from(","), |text, flag| text + flag + ",")
}

fn flags(text: &str) -> Vec<String> {
    text.split(',').filter(|flag| !flag.is_empty()).map(str::to_owned).collect()
}
