//! A PostgreSQL database for each test that asks, on the cluster that `tests/run` started. Holds no
//! SQL of the shop.

use std::process;
use std::sync::atomic::{AtomicU32, Ordering};

use diesel::connection::SimpleConnection;
use diesel::{Connection, PgConnection};

/// The variable with the URL of the cluster's own database, set by `tests/run`.
const CLUSTER: &str = "SAKUDANA_TEST_POSTGRES";

/// An empty database; dropped with this value.
pub struct Database {
    name: String,
    url: String,
    cluster: String,
}

impl Database {
    /// What `--database` takes.
    pub fn url(&self) -> &str {
        &self.url
    }
}

/// Makes an empty database with a name that nobody else has.
///
/// # Panics
/// When SAKUDANA_TEST_POSTGRES is missing or its cluster does not answer.
pub fn fresh_database() -> Database {
    let cluster = super::from_tests_run(CLUSTER);
    let name = unique_name();
    on_cluster(&cluster, &format!("CREATE DATABASE {name}"))
        .unwrap_or_else(|error| panic!("no database on {cluster}: {error}"));
    let url = with_database(&cluster, &name);
    Database { name, url, cluster }
}

impl Drop for Database {
    fn drop(&mut self) {
        // FORCE ends connections that a failed test left open. The cluster goes away after the run,
        // so a failure here costs only room and must not hide the test's own panic.
        let sql = format!("DROP DATABASE IF EXISTS {} WITH (FORCE)", self.name);
        if let Err(error) = on_cluster(&self.cluster, &sql) {
            eprintln!("{} is left behind: {error}", self.name);
        }
    }
}

fn unique_name() -> String {
    static COUNT: AtomicU32 = AtomicU32::new(0);
    let count = COUNT.fetch_add(1, Ordering::Relaxed);
    // Process ids come round again when one cluster serves many runs.
    let micros = sakudana::web::clock::now().micros();
    format!("t_{}_{count}_{micros}", process::id())
}

fn on_cluster(cluster: &str, sql: &str) -> Result<(), String> {
    let mut connection = PgConnection::establish(cluster).map_err(|error| error.to_string())?;
    connection.batch_execute(sql).map_err(|error| error.to_string())
}

/// The same URL with another database: the last path segment changes, parameters stay.
fn with_database(url: &str, name: &str) -> String {
    let (path, parameters) = match url.split_once('?') {
        Some((path, parameters)) => (path, format!("?{parameters}")),
        None => (url, String::new()),
    };
    let (server, _) = path.rsplit_once('/').unwrap_or_else(|| panic!("{CLUSTER} is not a postgres:// URL: {url}"));
    format!("{server}/{name}{parameters}")
}
