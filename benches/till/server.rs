//! A PostgreSQL server of the benchmark's own, as it comes: fsync on, every setting the default but where it listens. Gone when dropped.

use diesel::connection::SimpleConnection;
use diesel::{Connection, PgConnection};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Where Debian puts the server's programs; another folder in SAKUDANA_PG_BIN.
const PROGRAMS: &str = "/usr/lib/postgresql/15/bin";
const COPY: &str = "copy";

pub struct Server {
    folder: PathBuf,
    port: u16,
}

pub fn program(name: &str) -> PathBuf {
    Path::new(&std::env::var("SAKUDANA_PG_BIN").unwrap_or_else(|_| PROGRAMS.to_owned())).join(name)
}

/// The server refuses to run as root.
fn as_nobody(name: &str) -> Command {
    let root = std::fs::metadata("/proc/self").is_ok_and(|own| std::os::unix::fs::MetadataExt::uid(&own) == 0);
    if !root {
        return Command::new(program(name));
    }
    let mut command = Command::new("setpriv");
    command.args(["--reuid=nobody", "--regid=nogroup", "--clear-groups", "--"]).arg(program(name));
    command
}

fn done(mut command: Command) {
    let ended = command.stdout(Stdio::null()).stderr(Stdio::null()).status().expect("the program is there");
    assert!(ended.success(), "{command:?}: {ended}");
}

impl Server {
    pub fn start() -> Server {
        let folder = tempfile::tempdir().expect("a folder").keep();
        // Nobody must be able to write in it.
        done({
            let mut open = Command::new("chmod");
            open.arg("0777").arg(&folder);
            open
        });
        let data = folder.join("data");
        let mut make = as_nobody("initdb");
        make.arg("-D").arg(&data).args(["-U", "app", "--auth=trust", "-E", "UTF8", "--locale=C.UTF-8"]);
        done(make);
        let socket = std::net::TcpListener::bind("127.0.0.1:0").expect("a free port");
        let port = socket.local_addr().expect("its address").port();
        drop(socket);
        let mut start = as_nobody("pg_ctl");
        let settings =
            format!("-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={}", folder.display());
        start.arg("-D").arg(&data).arg("-l").arg(folder.join("log")).args(["-o", &settings, "-w", "start"]);
        done(start);
        Server { folder, port }
    }

    pub fn port(&self) -> u16 {
        self.port
    }

    fn address(&self, database: &str) -> String {
        format!("postgres://app@127.0.0.1:{}/{database}", self.port)
    }

    pub fn run(&self, database: &str, sql: &str) {
        let mut connection = PgConnection::establish(&self.address(database)).expect("the server answers");
        connection.batch_execute(sql).unwrap_or_else(|error| panic!("{sql}: {error}"));
    }

    /// An empty database.
    pub fn database(&self, name: &str) -> String {
        self.run("postgres", &format!("CREATE DATABASE {name}"));
        self.address(name)
    }

    /// A copy of a database that nobody is in, settled as it would be after a night.
    pub fn copy_of(&self, name: &str) -> String {
        self.run("postgres", &format!("CREATE DATABASE {COPY} TEMPLATE {name}"));
        self.run(COPY, "VACUUM ANALYZE");
        self.run("postgres", "CHECKPOINT");
        self.address(COPY)
    }

    pub fn drop_copy(&self) {
        self.run("postgres", &format!("DROP DATABASE {COPY} WITH (FORCE)"));
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let mut stop = as_nobody("pg_ctl");
        stop.arg("-D").arg(self.folder.join("data")).args(["-m", "immediate", "-w", "stop"]);
        // What cannot be stopped or deleted is left behind; the figures are printed.
        let _ = stop.stdout(Stdio::null()).stderr(Stdio::null()).status();
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}
