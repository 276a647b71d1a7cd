//! A store of its own for each test.

use super::{Place, Store};
use sqlx::{AssertSqlSafe, Connection, Executor};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU32, Ordering};

/// The URL of a PostgreSQL server in which tests may make databases, ending in `/`.
const POSTGRES: &str = "TEST_POSTGRES_URL";

/// A fresh store, and a folder that is removed with it.
pub struct TestStore {
    /// The store.
    pub store: Store,
    /// A data folder.
    pub folder: PathBuf,
}

/// An empty database that nothing was done to, and a folder that is removed with it.
pub struct TestPlace {
    /// Where it is.
    pub place: Place,
    /// A data folder.
    pub folder: PathBuf,
}

/// Runs a test on SQLite, and on PostgreSQL where the environment names a server: `tests/all` starts one.
pub fn on_each(test: impl AsyncFn(TestStore)) {
    on_each_server(async |server| {
        test(opened(server).await).await;
    });
}

/// Runs a test with SQLite (`None`), and with the URL of a PostgreSQL server where there is one: for [`empty`].
pub fn on_each_server(test: impl AsyncFn(Option<&str>)) {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
    runtime.block_on(async {
        test(None).await;
        match std::env::var(POSTGRES) {
            Ok(server) => test(Some(&server)).await,
            Err(_) => println!("{POSTGRES} is not set: not run on PostgreSQL"),
        }
    });
}

/// A fresh store of either kind. Of PostgreSQL only where the environment names a server.
pub async fn fresh(is_sqlite: bool) -> TestStore {
    let server = (!is_sqlite).then(|| std::env::var(POSTGRES).unwrap());
    opened(server.as_deref()).await
}

async fn opened(server: Option<&str>) -> TestStore {
    let TestPlace { place, folder } = empty(server).await;
    TestStore { store: Store::open(&place).await.unwrap(), folder }
}

/// An empty database: a file yet to be made, or one of a server.
pub async fn empty(server: Option<&str>) -> TestPlace {
    let folder = folder();
    let Some(server) = server else { return TestPlace { place: Place::in_folder(&folder), folder } };
    let name = folder.file_name().unwrap().to_string_lossy().replace('-', "_");
    sqlx::any::install_default_drivers();
    let mut connection = sqlx::AnyConnection::connect(&format!("{server}postgres")).await.unwrap();
    connection.execute(AssertSqlSafe(format!("CREATE DATABASE {name}"))).await.unwrap();
    connection.close().await.unwrap();
    TestPlace { place: Place::from_url(&format!("{server}{name}")).unwrap(), folder }
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
