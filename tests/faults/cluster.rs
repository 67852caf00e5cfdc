//! A PostgreSQL cluster of the test's own, to be stopped, to follow nobody as a standby, and to be promoted. Private: others are not disturbed.

use std::fs::File;
use std::io::Write;
use std::net::TcpListener;
use std::path::PathBuf;
use std::process::Command;
use tempfile::TempDir;

const BIN: &str = "/usr/lib/postgresql/15/bin";

pub struct Cluster {
    folder: TempDir,
    port: u16,
    as_nobody: bool,
}

impl Cluster {
    pub fn start() -> Cluster {
        let folder = tempfile::tempdir().unwrap();
        let id = Command::new("id").arg("-u").output().unwrap();
        let as_nobody = String::from_utf8_lossy(&id.stdout).trim() == "0";
        if as_nobody {
            // The server refuses to run as root.
            assert!(Command::new("chown").arg("nobody:nogroup").arg(folder.path()).status().unwrap().success());
        }
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let cluster = Cluster { folder, port, as_nobody };
        let data = cluster.data();
        let made =
            ["-D", data.to_str().unwrap(), "-U", "app", "--auth=trust", "--no-sync", "-E", "UTF8", "--locale=C.UTF-8"];
        cluster.run("initdb", &made);
        let socket = cluster.folder.path().display();
        let settings = format!(
            "listen_addresses='127.0.0.1'\nport={port}\nunix_socket_directories='{socket}'\nshared_buffers=32MB\n"
        );
        let mut file = File::options().append(true).open(data.join("postgresql.conf")).unwrap();
        file.write_all(settings.as_bytes()).unwrap();
        cluster.go_on();
        cluster
    }

    pub fn url(&self) -> String {
        format!("postgres://app@127.0.0.1:{}/postgres", self.port)
    }

    fn data(&self) -> PathBuf {
        self.folder.path().join("data")
    }

    pub fn go_on(&self) {
        let log = self.folder.path().join("server.log");
        self.control(&["-l", log.to_str().unwrap(), "-w", "start"]);
    }

    pub fn stop(&self) {
        self.control(&["-m", "immediate", "-w", "stop"]);
    }

    /// Comes back as a server that follows another one: it can be read.
    pub fn go_on_as_standby(&self) {
        std::fs::write(self.data().join("standby.signal"), "").unwrap();
        self.go_on();
    }

    pub fn promote(&self) {
        self.control(&["-w", "promote"]);
    }

    fn control(&self, arguments: &[&str]) {
        let data = self.data();
        let all = [&["-D", data.to_str().unwrap()], arguments].concat();
        self.run("pg_ctl", &all);
    }

    fn run(&self, program: &str, arguments: &[&str]) {
        let mut command = if self.as_nobody {
            let mut command = Command::new("setpriv");
            command.args(["--reuid=nobody", "--regid=nogroup", "--clear-groups", "--", "env"]);
            command.arg(format!("HOME={}", self.folder.path().display())).arg(format!("{BIN}/{program}"));
            command
        } else {
            Command::new(format!("{BIN}/{program}"))
        };
        // A server keeps what it inherits: its outputs must not be ours, or we would wait for its end.
        let said = File::create(self.folder.path().join(format!("{program}.said"))).unwrap();
        command.args(arguments).current_dir(self.folder.path()).stdout(said.try_clone().unwrap()).stderr(said);
        let ended = command.status().unwrap_or_else(|error| panic!("{program}: {error}"));
        let said = std::fs::read_to_string(self.folder.path().join(format!("{program}.said"))).unwrap();
        assert!(ended.success(), "{program} {arguments:?}: {said}");
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        let data = self.data();
        if data.join("postmaster.pid").exists() && !std::thread::panicking() {
            self.stop();
        } else if data.join("postmaster.pid").exists() {
            // A second panic would hide the first.
            let _ = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| self.stop()));
        }
    }
}
