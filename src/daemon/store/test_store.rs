//! A store of its own for each test.

use super::{Place, Store};
use sqlx::{AssertSqlSafe, Connection, Executor};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU32, Ordering};

/// The URL of a PostgreSQL server in which tests may make databases, ending in `/`.
const POSTGRES: &str = "SWINGD_TEST_POSTGRES";

/// A fresh store, and a folder that is removed with it.
pub struct TestStore {
    /// The store.
    pub store: Store,
    /// A data folder.
    pub folder: PathBuf,
}

/// Runs a test on SQLite, and on PostgreSQL where the environment names a server: `tests/all` starts one.
pub fn on_each(test: impl AsyncFn(TestStore)) {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
    runtime.block_on(async {
        let folder = folder();
        let store = Store::open(&Place::in_folder(&folder)).await.unwrap();
        test(TestStore { store, folder }).await;
        match std::env::var(POSTGRES) {
            Ok(server) => test(on_postgres(&server).await).await,
            Err(_) => println!("{POSTGRES} is not set: not run on PostgreSQL"),
        }
    });
}

/// A fresh store of either kind. Of PostgreSQL only where the environment names a server.
pub async fn fresh(is_sqlite: bool) -> TestStore {
    if !is_sqlite {
        return on_postgres(&std::env::var(POSTGRES).unwrap()).await;
    }
    let folder = folder();
    let store = Store::open(&Place::in_folder(&folder)).await.unwrap();
    TestStore { store, folder }
}

async fn on_postgres(server: &str) -> TestStore {
    let folder = folder();
    let name = folder.file_name().unwrap().to_string_lossy().replace('-', "_");
    sqlx::any::install_default_drivers();
    let mut connection = sqlx::AnyConnection::connect(&format!("{server}postgres")).await.unwrap();
    connection.execute(AssertSqlSafe(format!("CREATE DATABASE {name}"))).await.unwrap();
    connection.close().await.unwrap();
    let place = Place::from_url(&format!("{server}{name}")).unwrap();
    TestStore { store: Store::open(&place).await.unwrap(), folder }
}

fn folder() -> PathBuf {
    static COUNT: AtomicU32 = AtomicU32::new(0);
    let number = COUNT.fetch_add(1, Ordering::Relaxed);
    let folder = std::env::temp_dir().join(format!("swingd-store-{}-{number}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

impl Drop for TestStore {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}
