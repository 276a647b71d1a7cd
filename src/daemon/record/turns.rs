//! Measuring files takes a whole core, taking them in much of the disk, and reading much of the store one of its few readers:
//! few at a time, and a bounded number waits.

use std::sync::Arc;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// One is measured, and so many more wait for their turn.
const MOST_WAITING: usize = 8;
/// So many files arrive at a time.
const MOST_ARRIVING: usize = 4;
/// So many exports and archives are made at a time: half of the store's readers are left to others,
const MOST_EXPORTS: usize = 2;
/// and so many more wait for their turn.
const MOST_EXPORTS_WAITING: usize = 8;

/// Who may measure, take in or take along files now.
#[derive(Debug)]
pub struct Turns {
    measuring: Line,
    exports: Line,
    arriving: Arc<Semaphore>,
}

/// Some are at it, and some wait.
#[derive(Debug)]
struct Line {
    places: Arc<Semaphore>,
    turns: Arc<Semaphore>,
}

/// A turn to measure or to export, until it is dropped.
#[derive(Debug)]
pub struct Turn {
    _place: OwnedSemaphorePermit,
    _turn: OwnedSemaphorePermit,
}

/// A file may arrive, until this is dropped.
#[derive(Debug)]
pub struct MayArrive {
    _place: OwnedSemaphorePermit,
}

/// Too many are at it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Busy {
    /// Too many wait for their turn.
    #[error("a recording is measured and {MOST_WAITING} more wait; expected another try when some are done")]
    Measuring,
    /// Too many wait to take something along.
    #[error(
        "{MOST_EXPORTS} exports are made and {MOST_EXPORTS_WAITING} more wait; expected another try when some are done"
    )]
    Exporting,
    /// Too many arrive.
    #[error("{MOST_ARRIVING} recordings arrive already; expected another try when one has arrived")]
    Arriving,
}

impl Default for Turns {
    fn default() -> Self {
        Self::new()
    }
}

impl Turns {
    /// Nobody is at it yet.
    pub fn new() -> Self {
        Self {
            measuring: Line::new(1, MOST_WAITING),
            exports: Line::new(MOST_EXPORTS, MOST_EXPORTS_WAITING),
            arriving: Arc::new(Semaphore::new(MOST_ARRIVING)),
        }
    }

    /// A turn to measure a file, when those before have had theirs.
    ///
    /// # Errors
    /// If too many wait.
    pub async fn turn(&self) -> Result<Turn, Busy> {
        self.measuring.turn().await.ok_or(Busy::Measuring)
    }

    /// A turn to read much of the store for an export or an archive, when those before have had theirs.
    ///
    /// # Errors
    /// If too many wait.
    pub async fn export(&self) -> Result<Turn, Busy> {
        self.exports.turn().await.ok_or(Busy::Exporting)
    }

    /// Leave for a file to arrive.
    ///
    /// # Errors
    /// If too many do.
    pub fn arrive(&self) -> Result<MayArrive, Busy> {
        let place = Arc::clone(&self.arriving).try_acquire_owned().map_err(|_| Busy::Arriving)?;
        Ok(MayArrive { _place: place })
    }
}

impl Line {
    fn new(most: usize, most_waiting: usize) -> Self {
        Self { places: Arc::new(Semaphore::new(most + most_waiting)), turns: Arc::new(Semaphore::new(most)) }
    }

    /// `None` if too many wait.
    async fn turn(&self) -> Option<Turn> {
        let place = Arc::clone(&self.places).try_acquire_owned().ok()?;
        let turn = Arc::clone(&self.turns).acquire_owned().await.ok()?;
        Some(Turn { _place: place, _turn: turn })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use futures::FutureExt;

    #[tokio::test]
    async fn one_has_a_turn_some_wait_and_the_rest_are_told() {
        let turns = Turns::new();
        let first = turns.turn().await.unwrap();
        let mut waiting: Vec<_> = (0..MOST_WAITING).map(|_| Box::pin(turns.turn())).collect();
        assert!(waiting.iter_mut().all(|turn| turn.now_or_never().is_none()));
        assert_eq!(turns.turn().await.err(), Some(Busy::Measuring));
        drop(first);
        let second = waiting.remove(0).await.unwrap();
        assert!(waiting[0].as_mut().now_or_never().is_none());
        drop((second, waiting));
        turns.turn().await.unwrap();
    }

    #[test]
    fn as_many_files_arrive_as_there_are_places() {
        let turns = Turns::new();
        let arriving: Vec<_> = (0..MOST_ARRIVING).map(|_| turns.arrive().unwrap()).collect();
        assert_eq!(turns.arrive().err(), Some(Busy::Arriving));
        drop(arriving);
        assert!(turns.arrive().is_ok());
    }
}
