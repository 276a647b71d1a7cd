//! What was kept long enough is erased: athletes without a swing or lesson since then, and recordings of that age in which
//! no stored swing is.

use super::cut::{FilesCut, remove};
use super::erase::{EraseError, Eraser, Removed, blocking};
use crate::daemon::clock::Clock;
use crate::daemon::store::queries::erase;
use crate::daemon::store::queries::tombstones::{self, Kind, Reason, Tombstone};
use crate::daemon::store::rows::UtcMicros;
use std::sync::Arc;
use std::time::Duration;
use tokio_util::sync::CancellationToken;
use uuid::Uuid;

const DAY_US: i64 = 24 * 3600 * 1_000_000;
/// What could not be erased whole is tried again so often.
const RESUME_EVERY: Duration = Duration::from_secs(600);
/// And retention is looked at every so many times: daily.
const RESUMES_A_DAY: u32 = 144;

/// What was removed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Expired {
    /// Athletes.
    pub athletes: Vec<Uuid>,
    /// Recordings.
    pub recordings: Vec<Uuid>,
}

/// Removes what is older than so many days; with 0, nothing.
///
/// # Errors
/// The first that cannot be removed. It is tried again the next time.
pub async fn expire(eraser: &Eraser, days: u64, now: UtcMicros) -> Result<Expired, EraseError> {
    let mut expired = Expired::default();
    let kept_us = i64::try_from(days).unwrap_or(i64::MAX).saturating_mul(DAY_US);
    if days == 0 || kept_us > now.0 {
        return Ok(expired);
    }
    let oldest = UtcMicros(now.0 - kept_us);
    // Nobody may be reading when somebody is erased.
    let athletes = erase::expired_athletes(&mut *eraser.store.read().await?, oldest).await?;
    for id in athletes {
        match eraser.erase(id, Reason::Retention, now).await {
            Err(EraseError::AtThePlate { .. }) => continue,
            erased => erased?,
        };
        tracing::info!(athlete = %id, days, "erased, as there was nothing of theirs for longer than retention.days");
        expired.athletes.push(id);
    }
    let found = erase::expired_recordings(&mut *eraser.store.read().await?, &eraser.cage, oldest).await?;
    for (id, file_name) in found {
        remove_recording(eraser, id, file_name, now).await?;
        tracing::info!(recording = %id, days, "removed, as it is older than retention.days and has no swings");
        expired.recordings.push(id);
    }
    Ok(expired)
}

/// The file first: a kill before the row is gone leaves it to be found again.
async fn remove_recording(eraser: &Eraser, id: Uuid, file_name: String, now: UtcMicros) -> Result<(), EraseError> {
    let folder = eraser.data_folder.join("recordings");
    let path = folder.join(&file_name);
    let removing = move || {
        let mut done = FilesCut::default();
        remove(&folder, &file_name, &mut done).map(|()| done.bytes)
    };
    let bytes = blocking(removing).await.map_err(|cause| EraseError::File { path, cause })?;
    let removed = serde_json::to_string(&Removed { bytes, ..Removed::default() }).unwrap_or_else(|_| "{}".into());
    let mut changes = eraser.store.write().await?;
    erase::recording(&mut changes, id).await?;
    let tombstone = Tombstone { id, kind: Kind::Recording, erased: now, reason: Reason::Retention, removed };
    tombstones::insert(&mut changes, &tombstone).await?;
    Ok(changes.commit().await?)
}

/// Profiles by which nothing that is left was measured.
async fn tidy(eraser: &Eraser) -> Result<(), EraseError> {
    if !erase::has_unused_profiles(&mut *eraser.store.read().await?).await? {
        return Ok(());
    }
    let mut changes = eraser.store.write().await?;
    erase::unused_profiles(&mut changes).await?;
    Ok(changes.commit().await?)
}

/// Goes on with what could not be erased whole (of which the start has tried all: [`Eraser::resume`]), and erases daily what was kept for `days`; until `cancel`.
pub async fn look_after(eraser: Eraser, days: u64, clock: Arc<dyn Clock>, cancel: CancellationToken) {
    let mut round = 0_u32;
    loop {
        let now = UtcMicros(clock.now().utc_ns / 1000);
        if let Err(error) = eraser.resume_due(now).await {
            tracing::warn!(%error, "what is to be erased still could not be looked for");
        }
        if round.is_multiple_of(RESUMES_A_DAY)
            && let Err(error) = expire(&eraser, days, now).await
        {
            tracing::warn!(%error, "not all that is older than retention.days is erased");
        }
        if round.is_multiple_of(RESUMES_A_DAY)
            && let Err(error) = tidy(&eraser).await
        {
            tracing::warn!(%error, "profiles that nothing was measured by could not be removed");
        }
        round = round.wrapping_add(1);
        tokio::select! {
            () = tokio::time::sleep(RESUME_EVERY) => {}
            () = cancel.cancelled() => return,
        }
    }
}
