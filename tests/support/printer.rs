//! A real IPP printer, `ippeveprinter`, that keeps what it is sent; and the system bus of its own that it needs. Its faults are switched by
//! files.

use std::fs;
use std::net::{TcpListener, TcpStream};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::thread;
use std::time::{Duration, Instant};

use tempfile::TempDir;

use super::child::Watched;

const START: Duration = Duration::from_secs(30);

/// What it says it takes: a 203 dpi, one-bit printer of labels of 62 by 40 mm, no vendor's.
const ATTRIBUTES: &str = include_str!("label.conf");

/// Called with the spooled document; what it writes to stdout is kept, its stderr steers the printer (ippeveprinter(1)).
const COMMAND: &str = r#"#!/bin/sh
touch "$OUT/log"
cp "$1" "$OUT/$(($(wc -l < "$OUT/log") + 1)).document"
printf '%s media=%s copies=%s name=%s\n' "$CONTENT_TYPE" "$IPP_MEDIA" "$IPP_COPIES" "$IPP_JOB_NAME" >> "$OUT/log"
if [ -e "$OUT/fault" ]; then
  echo "STATE: $(cat "$OUT/fault")" >&2
  while [ -e "$OUT/fault" ]; do sleep 0.05; done
  echo "STATE: none" >&2
fi
[ -e "$OUT/abort" ] && exit 1
echo "ATTR: job-impressions-completed=1" >&2
"#;

/// Which attributes it shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Variant {
    /// With its default formats.
    Alone,
    /// With PWG raster alone, as a spooler in front of it needs.
    Behind,
}

/// A printer that runs; dropped, it ends, and its bus after it.
pub struct Printer {
    pub port: u16,
    folder: PathBuf,
    process: Option<Watched>,
    variant: Variant,
    _bus: Watched,
    _home: TempDir,
}

impl Printer {
    pub fn start(variant: Variant) -> Printer {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().to_owned();
        for name in ["spool", "ssl", "out"] {
            fs::create_dir(folder.join(name)).unwrap();
        }
        let command = folder.join("command.sh");
        fs::write(&command, COMMAND).unwrap();
        fs::set_permissions(&command, fs::Permissions::from_mode(0o755)).unwrap();
        fs::write(folder.join("printer.conf"), attributes(variant)).unwrap();
        let bus = start_bus(&folder);
        // Between the choice of a free port and its use another program may take it.
        for _ in 0..5 {
            let port = free_port();
            if let Some(process) = start_printer(&folder, port) {
                return Printer { port, folder, process: Some(process), variant, _bus: bus, _home: home };
            }
        }
        panic!("no ippeveprinter starts");
    }

    pub fn uri(&self) -> String {
        format!("ipp://localhost:{}/ipp/print", self.port)
    }

    pub const fn variant(&self) -> Variant {
        self.variant
    }

    /// What it was told of each job that it began, one line each.
    pub fn log(&self) -> Vec<String> {
        let text = fs::read_to_string(self.folder.join("out/log")).unwrap_or_default();
        text.lines().map(str::to_owned).collect()
    }

    /// The documents it received, in order.
    pub fn documents(&self) -> Vec<Vec<u8>> {
        (1..=self.log().len()).map(|n| fs::read(self.folder.join(format!("out/{n}.document"))).unwrap()).collect()
    }

    /// From now on a job reports these reasons and waits until `mend`.
    pub fn fault(&self, reasons: &str) {
        fs::write(self.folder.join("out/fault"), reasons).unwrap();
    }

    pub fn mend(&self) {
        fs::remove_file(self.folder.join("out/fault")).unwrap();
    }

    /// Whether jobs are aborted from now on.
    pub fn abort_jobs(&self, abort: bool) {
        let file = self.folder.join("out/abort");
        if abort { fs::write(file, "").unwrap() } else { fs::remove_file(file).unwrap() }
    }

    /// Sets how much paper it believes to have, through its own page.
    pub fn paper(&self, level: u32) {
        let path = format!("/media?size0=om_tray-62x40_62x40mm&type0=labels&level0={level}");
        let client = super::http::Client::new(&format!("http://localhost:{}", self.port));
        client.get(&path).send().expect(200);
    }

    /// Stops the process in its tracks, or lets it go on.
    pub fn freeze(&self, frozen: bool) {
        let signal = if frozen { "-STOP" } else { "-CONT" };
        let id = self.process.as_ref().expect("a running printer").id().to_string();
        assert!(Command::new("kill").args([signal, &id]).status().unwrap().success());
    }

    /// Pulls the plug; what it received stays.
    pub fn switch_off(&mut self) {
        self.process = None;
    }

    /// The same printer at the same port, with job numbers from 1 on.
    pub fn switch_on(&mut self) {
        let process = start_printer(&self.folder, self.port);
        self.process = Some(process.expect("the printer at its old port"));
    }
}

fn attributes(variant: Variant) -> String {
    match variant {
        Variant::Alone => ATTRIBUTES.to_owned(),
        Variant::Behind => {
            format!(
                "{ATTRIBUTES}ATTR mimeMediaType document-format-supported image/pwg-raster,application/octet-stream\n"
            )
        }
    }
}

/// A port of both loopback addresses that nobody listens on now.
pub fn free_port() -> u16 {
    loop {
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        if TcpListener::bind(("::1", port)).is_ok() {
            return port;
        }
    }
}

/// Waits until somebody listens; false when `process` ended first.
pub fn listens(port: u16, process: &mut Watched) -> bool {
    let end = Instant::now() + START;
    while Instant::now() < end {
        if process.ended() {
            return false;
        }
        if TcpStream::connect(("127.0.0.1", port)).is_ok() {
            return true;
        }
        thread::sleep(Duration::from_millis(10));
    }
    panic!("nobody listens on {port} after {START:?}:\n{}", process.said());
}

fn start_bus(folder: &Path) -> Watched {
    let socket = folder.join("bus");
    let policy = format!(
        "<!DOCTYPE busconfig PUBLIC \"-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN\"\n \
         \"http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd\">\n\
         <busconfig><type>system</type><listen>unix:path={}</listen><auth>EXTERNAL</auth>\n\
         <policy context=\"default\"><allow send_destination=\"*\"/><allow eavesdrop=\"true\"/><allow own=\"*\"/></policy>\n\
         </busconfig>\n",
        socket.display()
    );
    let file = folder.join("bus.conf");
    fs::write(&file, policy).unwrap();
    let mut command = Command::new("dbus-daemon");
    command.arg(format!("--config-file={}", file.display())).args(["--nofork", "--nopidfile"]);
    let mut bus = Watched::start(command);
    let end = Instant::now() + START;
    while !socket.exists() {
        assert!(!bus.ended() && Instant::now() < end, "dbus-daemon does not start:\n{}", bus.said());
        thread::sleep(Duration::from_millis(5));
    }
    bus
}

fn start_printer(folder: &Path, port: u16) -> Option<Watched> {
    let path = std::env::var("PATH").unwrap_or_default();
    let mut command = Command::new("ippeveprinter");
    command
        .env("PATH", format!("{path}:/usr/sbin"))
        .env("DBUS_SYSTEM_BUS_ADDRESS", format!("unix:path={}", folder.join("bus").display()))
        .env("OUT", folder.join("out"))
        // Localhost is the only name under which it listens on loopback alone.
        .args(["-r", "off", "-n", "localhost", "-p", &port.to_string(), "-k", "-v"])
        .arg("-K")
        .arg(folder.join("ssl"))
        .arg("-d")
        .arg(folder.join("spool"))
        .arg("-a")
        .arg(folder.join("printer.conf"))
        .arg("-c")
        .arg(folder.join("command.sh"))
        .arg("Label 203");
    let mut process = Watched::start(command);
    listens(port, &mut process).then_some(process)
}
