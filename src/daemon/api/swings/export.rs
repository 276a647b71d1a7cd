//! Swings as a table for notebooks.
//!
//! All pages are read from one state of the store and written to a file without a name, which is sent once it is whole: a
//! slow client holds neither a connection of the store nor its log, and an answer that has begun is complete.

use super::super::Api;
use super::super::problem::{Kind, Problem, Result};
use super::query::{Filter, FilterParams};
use crate::daemon::access::OfAthletes;
use crate::daemon::store::Reading;
use crate::daemon::store::queries::Slice;
use crate::daemon::store::queries::swings_read::{self, FoundSwing, Order, SwingFilter};
use crate::daemon::store::rows::{Mark, Word};
use crate::report::swing_rows::{CsvRows, ParquetRows, RowsError, SwingRow};
use axum::body::{Body, Bytes};
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use futures::stream::try_unfold;
use std::collections::BTreeSet;
use std::fs::File;
use std::io::{BufWriter, Seek, SeekFrom};
use tokio::io::AsyncReadExt;
use tokio::sync::Semaphore;
use uuid::Uuid;

/// So many swings are in memory at once, and those that Parquet holds back.
const ROWS_A_PAGE: i64 = 1000;
/// So much of the file is read at once, bytes.
const CHUNK: usize = 64 * 1024;
/// One export at a time: it holds one of the store's few reading connections while it reads.
static TURN: Semaphore = Semaphore::const_new(1);

/// Export swings as CSV
///
/// The oldest first, a line a swing: whose it is, when, its flags, and for each metric its value and one standard deviation.
#[utoipa::path(
    get, path = "/v1/swings/export.csv", tag = "swings", params(FilterParams),
    responses((status = 200, body = String, content_type = "text/csv"))
)]
pub async fn export_csv(State(api): State<Api>, Filter(filter): Filter) -> Result<Response> {
    export(api, filter, Format::Csv).await
}

/// Export swings as Parquet
///
/// The same rows and columns as in CSV, with their types.
#[utoipa::path(
    get, path = "/v1/swings/export.parquet", tag = "swings", params(FilterParams),
    responses((status = 200, body = Vec<u8>, content_type = "application/vnd.apache.parquet"))
)]
pub async fn export_parquet(State(api): State<Api>, Filter(filter): Filter) -> Result<Response> {
    export(api, filter, Format::Parquet).await
}

#[derive(Clone, Copy)]
enum Format {
    Csv,
    Parquet,
}

impl Format {
    const fn facts(self) -> (&'static str, &'static str) {
        match self {
            Self::Csv => ("text/csv; charset=utf-8", "attachment; filename=\"swings.csv\""),
            Self::Parquet => ("application/vnd.apache.parquet", "attachment; filename=\"swings.parquet\""),
        }
    }
}

async fn export(api: Api, filter: SwingFilter, format: Format) -> Result<Response> {
    let turn = TURN.acquire().await.map_err(|error| Problem::new(Kind::Internal, error.to_string()))?;
    let folder = api.data_folder.clone();
    let table = blocking(move || Table::new(tempfile::tempfile_in(folder)?, format)).await?;
    let mut reading = api.store.read().await?;
    let (file, athletes) = write(&mut reading, &filter, table).await?;
    drop(reading);
    drop(turn);
    let (kind, name) = format.facts();
    let length = file.metadata().map_err(|error| failed(error.into()))?.len();
    let headers = [(header::CONTENT_TYPE, kind), (header::CONTENT_DISPOSITION, name)];
    let athletes = axum::Extension(OfAthletes(athletes));
    Ok((headers, [(header::CONTENT_LENGTH, length)], athletes, body(file)).into_response())
}

/// The table, and whose swings are in it.
async fn write(reading: &mut Reading, filter: &SwingFilter, mut table: Table) -> Result<(File, BTreeSet<Uuid>)> {
    let (mut after, mut athletes) = (None, BTreeSet::new());
    loop {
        let slice = Slice { after, limit: ROWS_A_PAGE };
        let found = swings_read::list(reading, filter, Order::Oldest, slice).await?;
        let is_last = (found.len() as i64) < ROWS_A_PAGE;
        after = found.last().map(FoundSwing::key);
        athletes.extend(found.iter().filter_map(|found| found.swing.athlete_id));
        table = blocking(move || {
            found.into_iter().try_for_each(|found| table.push(row(found)))?;
            Ok(table)
        })
        .await?;
        if is_last {
            return Ok((blocking(move || table.finish()).await?, athletes));
        }
    }
}

/// A table being written to a file.
enum Table {
    Csv(Box<CsvRows<BufWriter<File>>>, File),
    Parquet(Box<ParquetRows<BufWriter<File>>>, File),
}

impl Table {
    fn new(file: File, format: Format) -> std::result::Result<Self, ExportError> {
        let out = BufWriter::new(file.try_clone()?);
        Ok(match format {
            Format::Csv => Self::Csv(Box::new(CsvRows::new(out)?), file),
            Format::Parquet => Self::Parquet(Box::new(ParquetRows::new(out)?), file),
        })
    }

    fn push(&mut self, row: SwingRow) -> std::result::Result<(), ExportError> {
        match self {
            Self::Csv(table, _) => table.push(&row)?,
            Self::Parquet(table, _) => table.push(row)?,
        }
        Ok(())
    }

    /// The file, at its beginning.
    fn finish(self) -> std::result::Result<File, ExportError> {
        let mut file = match self {
            Self::Csv(table, file) => {
                table.finish()?;
                file
            }
            Self::Parquet(table, file) => {
                table.finish()?;
                file
            }
        };
        file.seek(SeekFrom::Start(0))?;
        Ok(file)
    }
}

#[derive(Debug, thiserror::Error)]
enum ExportError {
    #[error(transparent)]
    Rows(#[from] RowsError),
    #[error("the table's file: {0}")]
    File(#[from] std::io::Error),
}

async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> std::result::Result<T, ExportError> + Send + 'static,
) -> Result<T> {
    let done = tokio::task::spawn_blocking(work).await;
    done.map_err(|error| Problem::new(Kind::Internal, error.to_string()))?.map_err(failed)
}

fn failed(error: ExportError) -> Problem {
    tracing::error!(%error, "an export could not be written");
    Problem::new(Kind::DiskFull, "the table could not be written; make room on the disk and try again")
}

fn body(file: File) -> Body {
    let chunks = try_unfold(tokio::fs::File::from_std(file), async |mut file| {
        let mut chunk = Vec::with_capacity(CHUNK);
        let read = file.read_buf(&mut chunk).await?;
        Ok::<_, std::io::Error>((read > 0).then(|| (Bytes::from(chunk), file)))
    });
    Body::from_stream(chunks)
}

fn row(found: FoundSwing) -> SwingRow {
    let text = |id: Option<Uuid>| id.map(|id| id.to_string());
    let FoundSwing { swing, analysis, nickname, occasion, drill, ball_source, bat, .. } = found;
    SwingRow {
        swing_id: swing.id.to_string(),
        athlete_id: text(swing.athlete_id),
        nickname,
        side: swing.side.map(|side| side.word().to_owned()),
        bat,
        drill,
        ball_source: ball_source.map(|source| source.word().to_owned()),
        lesson_id: text(swing.lesson_id),
        round_id: text(swing.round_id),
        occasion: occasion.map(|occasion| occasion.word().to_owned()),
        recording_id: swing.recording_id.to_string(),
        contact_utc_us: Some(swing.contact_utc.0),
        start_s: analysis.start_s,
        contact_s: analysis.contact_s,
        contact: if analysis.met_ball { "ball" } else { "none" }.to_owned(),
        engine_version: analysis.engine_version,
        revision: i32::try_from(analysis.revision).unwrap_or(i32::MAX),
        excluded: swing.mark == Mark::Exclude,
        flags: analysis.flags,
        metrics: analysis.metrics,
    }
}
