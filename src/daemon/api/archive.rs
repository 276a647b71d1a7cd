//! One athlete as one file.

use super::Api;
use super::extract::Id;
use super::problem::{Kind, Problem, Result};
use crate::daemon::record::archive::{Archive, ArchiveError, archive};
use axum::body::{Body, Bytes};
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use futures::stream::try_unfold;
use std::io;
use tokio::io::AsyncReadExt;
use uuid::Uuid;

/// So many bytes are sent at once.
const PIECE_BYTES: usize = 64 * 1024;

/// Take along all of one athlete
///
/// A zip archive with everything that is kept of the athlete at this installation: JSON, CSV, their stretches of the
/// recordings, and a BIDS-motion data set. Its README.txt says what is where.
#[utoipa::path(
    get, path = "/v1/athletes/{id}/archive", operation_id = "archive", tag = "athletes", params(("id" = Uuid, Path)),
    responses((status = 200, content_type = "application/zip", body = Vec<u8>))
)]
pub async fn read(State(api): State<Api>, Id(id): Id<Uuid>) -> Result<Response> {
    let turn = api.turns.export().await?;
    // Its files are written to the end even if nobody waits for them any more: so long the turn is taken.
    let making = tokio::spawn(async move {
        let _turn = turn;
        archive(&api.store, &api.data_folder, &api.cage, id).await
    });
    let made = making.await.map_err(|error| Problem::new(Kind::Internal, error.to_string()))??;
    let failed = |error: io::Error| Problem::from(ArchiveError::File(error));
    let file = tokio::fs::File::open(made.path()).await.map_err(failed)?;
    let length = file.metadata().await.map_err(failed)?.len();
    let headers = [
        (header::CONTENT_TYPE, "application/zip".to_owned()),
        (header::CONTENT_LENGTH, length.to_string()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"athlete-{id}.zip\"")),
    ];
    // The archive is removed when it was sent, or nobody wants the rest.
    let pieces = try_unfold((file, made), async |(mut file, made): (tokio::fs::File, Archive)| {
        let mut piece = Vec::with_capacity(PIECE_BYTES);
        let read = (&mut file).take(PIECE_BYTES as u64).read_to_end(&mut piece).await?;
        Ok::<_, io::Error>((read > 0).then(|| (Bytes::from(piece), (file, made))))
    });
    Ok((headers, Body::from_stream(pieces)).into_response())
}

impl From<ArchiveError> for Problem {
    fn from(error: ArchiveError) -> Self {
        match error {
            ArchiveError::Store(error) => error.into(),
            ArchiveError::File(cause) if cause.kind() == io::ErrorKind::StorageFull => {
                Self::new(Kind::DiskFull, "there is no room to put the archive together")
            }
            ArchiveError::File(_) | ArchiveError::Zip(_) | ArchiveError::Bids(_) => {
                tracing::error!(%error, "an archive could not be made");
                Self::new(Kind::Internal, "the archive could not be made; the log says more")
            }
        }
    }
}
