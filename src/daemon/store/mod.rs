//! The instructor's record in a database: SQLite without any setting up, or PostgreSQL by URL where cages share one.
//!
//! [`schema`] brings a database up to date; its SQL documents the tables. [`queries`] holds all other SQL, a function a
//! query, the same for both databases; [`rows`] what comes out of them. Nothing outside this folder writes SQL.
//!
//! One connection writes, in transactions that begin with the lock (`BEGIN IMMEDIATE`); a few read beside it. What
//! [`Transaction::commit`] has returned from is on disk: WAL with `synchronous = FULL` syncs at every commit.

pub mod copy;
pub mod error;
pub mod place;
pub mod queries;
pub mod rows;
mod schema;
#[cfg(test)]
pub mod test_store;

pub use error::StoreError;
pub use place::Place;

use sqlx::any::{AnyConnectOptions, AnyPoolOptions};
use sqlx::{AnyConnection, AnyPool, Executor};
use std::ops::{Deref, DerefMut};
use std::str::FromStr;
use std::time::Duration;

/// Connections that read. A laptop's cage has a few front-ends.
const READERS: u32 = 4;
/// A connection is waited for so long; then the store is busy.
const WAIT: Duration = Duration::from_secs(5);
/// Another process that writes is waited for so long, ms.
const BUSY_TIMEOUT_MS: u64 = 5000;
/// While this file is beside a SQLite store, another is being put in its place.
pub const RESTORING: &str = "restoring.json";
/// Curves of about 3 kB leave less of a page unused than in SQLite's usual 4096, bytes.
const PAGE_SIZE: u32 = 8192;

/// An open store. Clones share its connections.
#[derive(Clone, Debug)]
pub struct Store {
    readers: AnyPool,
    writer: AnyPool,
    place: Place,
}

/// Changes that are made together, or not at all if this is dropped before [`Self::commit`].
#[derive(Debug)]
pub struct Transaction(sqlx::Transaction<'static, sqlx::Any>);

/// Reads of one instant.
#[derive(Debug)]
pub struct Reading(sqlx::Transaction<'static, sqlx::Any>);

impl Store {
    /// Opens it, makes it where there is none (SQLite only), and brings its schema up to date.
    ///
    /// # Errors
    /// If it cannot be reached or written to, is no store of this program, or was made by a later version of it.
    pub async fn open(place: &Place) -> Result<Self, StoreError> {
        if let Place::File(path) = place
            && path.with_file_name(RESTORING).exists()
        {
            let words =
                "it is being restored from a backup, or that was ended in between; start the service, which ends it";
            return Err(StoreError::Unavailable(words.into()));
        }
        sqlx::any::install_default_drivers();
        let store = Self { writer: pool(place, 1).await?, readers: pool(place, READERS).await?, place: place.clone() };
        let mut connection = store.writer.acquire().await?;
        schema::migrate(&mut connection, place.is_sqlite()).await?;
        Ok(store)
    }

    /// Where it is.
    pub fn place(&self) -> &Place {
        &self.place
    }

    /// Begins a change. Waits for the one before.
    ///
    /// # Errors
    /// If another process writes for too long, or the store cannot be reached.
    pub async fn write(&self) -> Result<Transaction, StoreError> {
        let begin = if self.place.is_sqlite() { "BEGIN IMMEDIATE" } else { "BEGIN" };
        Ok(Transaction(self.writer.begin_with(begin).await?))
    }

    /// Begins to read: all of it sees the same state.
    ///
    /// # Errors
    /// If the store cannot be reached.
    pub async fn read(&self) -> Result<Reading, StoreError> {
        let begin = if self.place.is_sqlite() { "BEGIN" } else { "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY" };
        Ok(Reading(self.readers.begin_with(begin).await?))
    }

    /// Moves what the write-ahead log holds into the database and empties the log, so that nothing deleted is left in it.
    /// Without a log of its own, nothing.
    ///
    /// # Errors
    /// If the store cannot be written to.
    pub async fn empty_log(&self) -> Result<(), StoreError> {
        if self.place.is_sqlite() {
            self.writer.execute("PRAGMA wal_checkpoint(TRUNCATE)").await?;
        }
        Ok(())
    }

    /// Waits for what is going on, and closes.
    pub async fn close(&self) {
        self.readers.close().await;
        self.writer.close().await;
    }
}

async fn pool(place: &Place, connections: u32) -> Result<AnyPool, StoreError> {
    let is_sqlite = place.is_sqlite();
    let options = AnyConnectOptions::from_str(&place.url())?;
    let pool = AnyPoolOptions::new()
        .max_connections(connections)
        .acquire_timeout(WAIT)
        .after_connect(move |connection, _| {
            Box::pin(async move { if is_sqlite { prepare_sqlite(connection).await } else { Ok(()) } })
        })
        .connect_with(options)
        .await;
    pool.map_err(|error| StoreError::cannot_open(place, error))
}

async fn prepare_sqlite(connection: &mut AnyConnection) -> Result<(), sqlx::Error> {
    let pragmas = format!(
        "PRAGMA page_size = {PAGE_SIZE}; PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}; PRAGMA journal_mode = WAL; \
         PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON; PRAGMA secure_delete = ON; PRAGMA trusted_schema = OFF;"
    );
    connection.execute(sqlx::AssertSqlSafe(pragmas)).await?;
    Ok(())
}

impl Transaction {
    /// Makes the changes last; when it has returned they are on disk.
    ///
    /// # Errors
    /// If they could not be written; then none of them was made.
    pub async fn commit(self) -> Result<(), StoreError> {
        Ok(self.0.commit().await?)
    }
}

impl Deref for Transaction {
    type Target = AnyConnection;
    fn deref(&self) -> &AnyConnection {
        &self.0
    }
}

impl DerefMut for Transaction {
    fn deref_mut(&mut self) -> &mut AnyConnection {
        &mut self.0
    }
}

impl Deref for Reading {
    type Target = AnyConnection;
    fn deref(&self) -> &AnyConnection {
        &self.0
    }
}

impl DerefMut for Reading {
    fn deref_mut(&mut self) -> &mut AnyConnection {
        &mut self.0
    }
}
