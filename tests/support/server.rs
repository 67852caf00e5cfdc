//! The built server as a real process, on a free port and a database of its own. Speaks no HTTP:
//! that is `http.rs`.

use std::path::Path;
use std::process::Command;
use std::time::Duration;

use tempfile::TempDir;

use super::child::Watched;
use super::http::Client;
use super::postgres::{Database, fresh_database};

/// A debug build that migrates an empty database on a busy machine takes a few seconds.
const READY: Duration = Duration::from_secs(60);

/// The line that ends the start; the address follows.
const LISTENING: &str = "listening on ";

/// The line of a first run; name and password follow.
const FIRST_OWNER: &str = "owner sign-in: ";

/// The two databases every HTTP test runs on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Sqlite,
    Postgres,
}

/// The name and password that a first run prints.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OwnerSignIn {
    pub name: String,
    pub password: String,
}

/// A running server. Dropped, it is ended, then its database and its directory go.
pub struct Server {
    process: Watched,
    base: String,
    owner: Option<OwnerSignIn>,
    _database: Option<Database>,
    directory: TempDir,
}

impl Server {
    /// Starts on an empty database of this kind.
    pub fn start(kind: Kind) -> Self {
        match kind {
            Kind::Sqlite => Self::start_with(&[], "sqlite:shop.db", None),
            Kind::Postgres => {
                let database = fresh_database();
                let url = database.url().to_owned();
                Self::start_with(&[], &url, Some(database))
            }
        }
    }

    /// Starts on a database that the caller keeps, so that a second start can follow the first.
    pub fn start_on(url: &str) -> Self {
        Self::start_with(&[], url, None)
    }

    /// Starts with more arguments after `serve --database URL --listen 127.0.0.1:0`.
    pub fn start_with(more: &[&str], url: &str, database: Option<Database>) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_sakudana"));
        command.args(["serve", "--database", url, "--listen", "127.0.0.1:0"]).args(more);
        Self::from_command(command, database)
    }

    /// Runs any program that prints the lines of a start. `command` runs in a fresh directory.
    pub fn from_command(mut command: Command, database: Option<Database>) -> Self {
        let directory = tempfile::tempdir().expect("a temporary directory");
        command.current_dir(directory.path());
        let process = Watched::start(command);
        let mut owner = None;
        let base = process.await_line(READY, |line| {
            if let Some(found) = owner_sign_in(line) {
                owner = Some(found);
            }
            listening_on(line)
        });
        Self { process, base, owner, _database: database, directory }
    }

    /// The absolute URL of `path`, which begins with a slash.
    pub fn url(&self, path: &str) -> String {
        format!("{}{path}", self.base)
    }

    /// A client without a key.
    pub fn client(&self) -> Client {
        Client::new(&self.base)
    }

    /// The sign-in that the first run printed.
    ///
    /// # Panics
    /// When this start printed none.
    pub fn owner(&self) -> &OwnerSignIn {
        self.owner.as_ref().expect("a line `owner sign-in: NAME PASSWORD`")
    }

    /// Whether this start printed an owner's sign-in: only a first run does.
    pub fn printed_owner(&self) -> bool {
        self.owner.is_some()
    }

    /// Where the server runs and, with SQLite, keeps its database.
    pub fn directory(&self) -> &Path {
        self.directory.path()
    }

    /// For whoever looks at the process from outside.
    pub fn process_id(&self) -> u32 {
        self.process.id()
    }

    /// Everything the server wrote to both outputs.
    pub fn log(&self) -> String {
        self.process.said()
    }

    /// Ends it as a service manager would; returns the exit code.
    pub fn stop(&mut self) -> Option<i32> {
        self.process.stop()
    }

    /// Ends it without warning.
    pub fn kill(&mut self) {
        self.process.kill();
    }
}

fn listening_on(line: &str) -> Option<String> {
    let (_, address) = line.split_once(LISTENING)?;
    let address = address.split_whitespace().next()?;
    ["http://", "https://"]
        .iter()
        .any(|scheme| address.starts_with(scheme))
        .then(|| address.trim_end_matches('/').to_owned())
}

fn owner_sign_in(line: &str) -> Option<OwnerSignIn> {
    let (_, rest) = line.split_once(FIRST_OWNER)?;
    let mut words = rest.split_whitespace();
    Some(OwnerSignIn { name: words.next()?.to_owned(), password: words.next()?.to_owned() })
}
