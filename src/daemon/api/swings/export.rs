//! Swings as a table for notebooks.
//!
//! All pages are read from one state of the store and written to a file without a name, which is sent once it is whole: a
//! slow client holds neither a connection of the store nor its log, and an answer that has begun is complete.

use super::super::Api;
use super::super::problem::{Kind, Problem, Result};
use super::query::{Filter, FilterParams};
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
use std::error::Error;
use std::fs::File;
use std::io::{self, BufWriter, ErrorKind, Seek, SeekFrom};
use tokio::io::AsyncReadExt;
use uuid::Uuid;

/// So many swings are in memory at once, and those that Parquet holds back.
const ROWS_A_PAGE: i64 = 1000;
/// So much of the file is read at once, bytes.
const CHUNK: usize = 64 * 1024;

/// Export swings as CSV
///
/// The oldest first, a line a swing: whose it is, when, its flags, and for each metric its value and one standard deviation.
/// Words that begin with `=`, `+`, `-` or `@` stand behind an apostrophe, so that no spreadsheet computes them.
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
    // Dropped with all of this if the client goes away.
    let turn = api.turns.export().await?;
    let folder = api.data_folder.clone();
    let table = blocking(move || Table::new(tempfile::tempfile_in(folder)?, format)).await?;
    let mut reading = api.store.read().await?;
    let file = write(&mut reading, &filter, table).await?;
    drop(reading);
    drop(turn);
    let (kind, name) = format.facts();
    let length = file.metadata().map_err(|error| failed(error.into()))?.len();
    let headers = [(header::CONTENT_TYPE, kind), (header::CONTENT_DISPOSITION, name)];
    Ok((headers, [(header::CONTENT_LENGTH, length)], body(file)).into_response())
}

async fn write(reading: &mut Reading, filter: &SwingFilter, mut table: Table) -> Result<File> {
    let mut after = None;
    loop {
        let slice = Slice { after, limit: ROWS_A_PAGE };
        let found = swings_read::list(reading, filter, Order::Oldest, slice).await?;
        let is_last = (found.len() as i64) < ROWS_A_PAGE;
        after = found.last().map(FoundSwing::key);
        table = blocking(move || {
            found.into_iter().try_for_each(|found| table.push(row(found)))?;
            Ok(table)
        })
        .await?;
        if is_last {
            return blocking(move || table.finish()).await;
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
    if error.is_full() {
        return Problem::new(Kind::DiskFull, "the table could not be written; make room on the disk and try again");
    }
    Problem::new(Kind::Internal, "the table could not be written; the log says more")
}

impl ExportError {
    fn is_full(&self) -> bool {
        let cause = match self {
            Self::File(cause) => Some(cause),
            Self::Rows(RowsError::Csv(error)) => match error.kind() {
                ::csv::ErrorKind::Io(cause) => Some(cause),
                _ => None,
            },
            Self::Rows(RowsError::Parquet(error)) => error.source().and_then(|cause| cause.downcast_ref()),
        };
        cause.is_some_and(|cause: &io::Error| matches!(cause.kind(), ErrorKind::StorageFull | ErrorKind::QuotaExceeded))
    }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::daemon::api::test_api::{TestApi, on_each};

    struct Failing(ErrorKind);

    impl io::Write for Failing {
        fn write(&mut self, _: &[u8]) -> io::Result<usize> {
            Err(self.0.into())
        }

        fn flush(&mut self) -> io::Result<()> {
            Err(self.0.into())
        }
    }

    #[test]
    fn only_a_full_disk_is_called_full() {
        for (cause, kind) in [(ErrorKind::StorageFull, Kind::DiskFull), (ErrorKind::PermissionDenied, Kind::Internal)] {
            let csv = CsvRows::new(Failing(cause)).and_then(CsvRows::finish).unwrap_err();
            let parquet = ParquetRows::new(Failing(cause)).and_then(ParquetRows::finish).unwrap_err();
            for error in [ExportError::Rows(csv), ExportError::Rows(parquet), ExportError::File(cause.into())] {
                let words = error.to_string();
                assert_eq!(failed(error).kind, kind, "{words}");
            }
        }
    }

    #[test]
    fn who_finds_too_many_waiting_is_told_when_to_come_again() {
        on_each(async |api: TestApi| {
            let turns = &api.api.turns;
            let held = (turns.export().await.unwrap(), turns.export().await.unwrap());
            let mut waiting: Vec<_> = (0..).map(|_| Box::pin(turns.export())).take(8).collect();
            assert!(waiting.iter_mut().all(|turn| futures::FutureExt::now_or_never(turn).is_none()));
            let nobody = format!("/v1/athletes/{}/archive", Uuid::nil());
            for path in ["/v1/swings/export.csv", "/v1/swings/export.parquet", &nobody] {
                let refused = api.get(path).await;
                assert_eq!((refused.status, refused.header("retry-after")), (429, Some("5")), "{path}");
            }
            drop((held, waiting));
            assert_eq!(api.get("/v1/swings/export.csv").await.status, 200);
            assert_eq!(api.get(&nobody).await.status, 404);
        });
    }
}
