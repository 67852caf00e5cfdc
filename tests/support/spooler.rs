//! A whole print spooler (CUPS) of the test's own, with one queue in front of a printer: unprivileged, on a free loopback port, in a directory of
//! its own. Starts nothing else and touches no spooler of the machine.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::thread;
use std::time::{Duration, Instant};

use tempfile::TempDir;

use super::child::Watched;
use super::printer::{Printer, Variant, free_port, listens};

const QUEUE: &str = "labels";
const READY: Duration = Duration::from_secs(60);

pub struct Spooler {
    port: u16,
    folder: PathBuf,
    _process: Watched,
    _home: TempDir,
}

impl Spooler {
    /// Starts with a queue in front of a printer, which must list PWG raster alone: else the spooler asks for formats nothing here makes.
    pub fn before(printer: &Printer) -> Spooler {
        assert_eq!(printer.variant(), Variant::Behind);
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().to_owned();
        let (port, process) = (0..5)
            .find_map(|_| {
                let port = free_port();
                let mut process = start(&folder, port);
                listens(port, &mut process).then_some((port, process))
            })
            .expect("a spooler that starts");
        let spooler = Spooler { port, folder, _process: process, _home: home };
        spooler.tell("lpadmin", &["-p", QUEUE, "-E", "-v", &printer.uri(), "-m", "everywhere"]);
        // The queue's description appears a little later; what is printed before is refused.
        let end = Instant::now() + READY;
        let description = spooler.folder.join("etc/ppd").join(format!("{QUEUE}.ppd"));
        while fs::metadata(&description).map_or(0, |file| file.len()) == 0 {
            assert!(Instant::now() < end, "no queue after {READY:?}");
            thread::sleep(Duration::from_millis(50));
        }
        spooler
    }

    pub fn uri(&self) -> String {
        format!("ipp://127.0.0.1:{}/printers/{QUEUE}", self.port)
    }

    pub fn pause(&self, why: &str) {
        self.tell("cupsdisable", &["-r", why, QUEUE]);
    }

    pub fn go_on(&self) {
        self.tell("cupsenable", &[QUEUE]);
    }

    pub fn reject(&self) {
        self.tell("cupsreject", &[QUEUE]);
    }

    pub fn accept(&self) {
        self.tell("cupsaccept", &[QUEUE]);
    }

    /// Prints a file as a person would, past our program.
    pub fn print_file(&self, file: &Path) {
        self.tell("lp", &["-d", QUEUE, "-o", "media=om_tray-62x40_62x40mm", file.to_str().unwrap()]);
    }

    fn tell(&self, program: &str, arguments: &[&str]) -> Output {
        let server = format!("127.0.0.1:{}", self.port);
        let mut command = unprivileged(program, &self.folder);
        command.env("CUPS_SERVER", &server).args(arguments);
        let output = command.output().unwrap_or_else(|error| panic!("{program} does not start: {error}"));
        assert!(output.status.success(), "{program}: {}", String::from_utf8_lossy(&output.stderr));
        output
    }
}

fn is_root() -> bool {
    let output = Command::new("id").arg("-u").output().unwrap();
    String::from_utf8_lossy(&output.stdout).trim() == "0"
}

fn unprivileged(program: &str, folder: &Path) -> Command {
    let path = format!("{}:/usr/sbin:/sbin", std::env::var("PATH").unwrap_or_default());
    let mut command = if is_root() {
        let mut command = Command::new("setpriv");
        command.args(["--reuid=nobody", "--regid=nogroup", "--clear-groups", "--", program]);
        command
    } else {
        Command::new(program)
    };
    command.env("PATH", path).env("HOME", folder);
    command
}

fn name_of(what: &str) -> String {
    let output = Command::new("id").arg(what).output().unwrap();
    String::from_utf8_lossy(&output.stdout).trim().to_owned()
}

fn start(folder: &Path, port: u16) -> Watched {
    let (user, group) =
        if is_root() { ("nobody".to_owned(), "nogroup".to_owned()) } else { (name_of("-un"), name_of("-gn")) };
    let at = folder.display();
    for name in ["etc/ssl", "spool/temp", "cache", "run", "log"] {
        fs::create_dir_all(folder.join(name)).unwrap();
    }
    let files = format!(
        "User {user}\nGroup {group}\nSystemGroup {group}\nServerRoot {at}/etc\nRequestRoot {at}/spool\nCacheDir {at}/cache\n\
         StateDir {at}/run\nTempDir {at}/spool/temp\nDataDir /usr/share/cups\nServerBin /usr/lib/cups\n\
         DocumentRoot /usr/share/cups/doc-root\nAccessLog {at}/log/access_log\nErrorLog {at}/log/error_log\n\
         PageLog {at}/log/page_log\nServerKeychain {at}/etc/ssl\nSandboxing relaxed\n"
    );
    let rules = format!(
        "LogLevel info\nListen 127.0.0.1:{port}\nListen {at}/run/cups.sock\nBrowsing Off\nBrowseLocalProtocols none\n\
         DefaultAuthType None\nWebInterface No\nErrorPolicy retry-job\nJobRetryInterval 2\n\
         <Location />\n  Order allow,deny\n  Allow 127.0.0.1\n</Location>\n\
         <Policy default>\n  <Limit All>\n    Order deny,allow\n    Allow all\n  </Limit>\n</Policy>\n"
    );
    fs::write(folder.join("etc/cups-files.conf"), files).unwrap();
    fs::write(folder.join("etc/cupsd.conf"), rules).unwrap();
    if is_root() {
        let all = Command::new("chown").args(["-R", "nobody:nogroup"]).arg(folder).status().unwrap();
        assert!(all.success());
    }
    let mut command = unprivileged("cupsd", folder);
    command.arg("-f").arg("-c").arg(folder.join("etc/cupsd.conf")).arg("-s").arg(folder.join("etc/cups-files.conf"));
    Watched::start(command)
}
