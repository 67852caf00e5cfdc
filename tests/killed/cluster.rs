//! A PostgreSQL server of this test's own, to be killed. It syncs what it commits, as the shop's would.

use std::fs;
use std::net::TcpListener;
use std::path::Path;
use std::process::Command;
use std::thread;
use std::time::{Duration, Instant};

use tempfile::TempDir;

/// Where Debian puts the programs of this version; `tests/run` installs it.
const PROGRAMS: &str = "/usr/lib/postgresql/15/bin";

/// How long a killed server may take to come back: its orphans have to notice, and its log is played again.
const PATIENCE: Duration = Duration::from_secs(60);

pub struct Cluster {
    folder: TempDir,
    port: u16,
}

impl Cluster {
    pub fn start() -> Cluster {
        let folder = tempfile::tempdir().unwrap();
        if is_root() {
            ran(Command::new("chown").arg("nobody:nogroup").arg(folder.path()));
        }
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let cluster = Cluster { folder, port };
        // Only the empty cluster is left unsynced.
        let options = ["-U", "app", "--auth=trust", "--no-sync", "-E", "UTF8", "--locale=C.UTF-8"];
        ran(cluster.program("initdb").arg("-D").arg(cluster.data()).args(options));
        cluster.start_again();
        cluster
    }

    /// What `--database` takes.
    pub fn url(&self) -> String {
        format!("postgres://app@127.0.0.1:{}/postgres", self.port)
    }

    fn data(&self) -> std::path::PathBuf {
        self.folder.path().join("data")
    }

    /// A program of the server, as an owner it accepts: it refuses root.
    fn program(&self, name: &str) -> Command {
        let path = Path::new(PROGRAMS).join(name);
        let mut command = if is_root() {
            let mut command = Command::new("setpriv");
            command.args(["--reuid=nobody", "--regid=nogroup", "--clear-groups", "--"]).arg(path);
            command
        } else {
            Command::new(path)
        };
        command.current_dir(self.folder.path()).env("HOME", self.folder.path());
        command
    }

    /// Starts it, however it ended.
    pub fn start_again(&self) {
        let options = format!("-p {} -c listen_addresses=127.0.0.1 -k {}", self.port, self.folder.path().display());
        let end = Instant::now() + PATIENCE;
        loop {
            let mut start = self.program("pg_ctl");
            start.arg("-D").arg(self.data()).args(["-o", &options, "-w", "start"]);
            // The server keeps the outputs it is given: a pipe would never end.
            let log = self.folder.path().join("server.log");
            if start.arg("-l").arg(&log).stdout(std::process::Stdio::null()).status().unwrap().success() {
                return;
            }
            assert!(Instant::now() < end, "{}", fs::read_to_string(log).unwrap_or_default());
            thread::sleep(Duration::from_millis(50));
        }
    }

    fn process_id(&self) -> u32 {
        let file = fs::read_to_string(self.data().join("postmaster.pid")).expect("a running server");
        file.lines().next().and_then(|line| line.trim().parse().ok()).expect("its process id")
    }

    /// SIGKILL to the server and to every process of it: nobody gets to end what it began.
    pub fn kill(&self) {
        let server = self.process_id();
        let children = children_of(server);
        kill(server);
        children.into_iter().for_each(kill);
    }

    /// SIGKILL to one process that serves a client, one at work if there is any: the server then ends all others and recovers by itself.
    pub fn kill_one(&self) {
        let titles: Vec<(u32, String)> = children_of(self.process_id()).into_iter().map(|id| (id, title(id))).collect();
        let serving = || titles.iter().filter(|(_, title)| title.contains("postgres: app "));
        let at_work = serving().find(|(_, title)| !title.trim_end().ends_with("idle"));
        let (process, _) = at_work.or_else(|| serving().next()).expect("a process that serves a client");
        kill(*process);
    }

    /// Told to end at once, as by a service manager: clients are cut off in the middle.
    pub fn stop(&self) {
        ran(self.program("pg_ctl").arg("-D").arg(self.data()).args(["-m", "fast", "-w", "stop"]));
    }
}

fn kill(process: u32) {
    // It may have ended by itself meanwhile.
    let _ = Command::new("kill").args(["-KILL", &process.to_string()]).output();
}

/// What a process of the server says it does.
fn title(process: u32) -> String {
    fs::read_to_string(format!("/proc/{process}/cmdline")).unwrap_or_default().replace('\0', " ")
}

impl Drop for Cluster {
    fn drop(&mut self) {
        let mut stop = self.program("pg_ctl");
        let stop = stop.arg("-D").arg(self.data()).args(["-m", "immediate", "-w", "stop"]);
        if !stop.output().is_ok_and(|ended| ended.status.success()) {
            eprintln!("the cluster in {} did not stop", self.folder.path().display());
        }
    }
}

fn is_root() -> bool {
    Command::new("id").arg("-u").output().is_ok_and(|output| output.stdout.starts_with(b"0\n"))
}

fn ran(command: &mut Command) {
    let output = command.output().unwrap();
    assert!(output.status.success(), "{command:?}: {}", String::from_utf8_lossy(&output.stderr));
}

/// The processes that this one started: the fourth field of `/proc/PID/stat`, behind a name in brackets that may hold anything.
fn children_of(parent: u32) -> Vec<u32> {
    let processes = fs::read_dir("/proc").unwrap().flatten();
    let ids = processes.filter_map(|entry| entry.file_name().to_str()?.parse::<u32>().ok());
    ids.filter(|id| {
        let stat = fs::read_to_string(format!("/proc/{id}/stat")).unwrap_or_default();
        let behind_the_name = stat.rsplit_once(')').map_or("", |(_, rest)| rest);
        behind_the_name.split_whitespace().nth(1).is_some_and(|found| found == parent.to_string())
    })
    .collect()
}
