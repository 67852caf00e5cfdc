//! The two servers under measurement, each a process of its own, killed when it goes out of scope.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};

const PROGRAM: &str = env!("CARGO_BIN_EXE_sakudana");

pub struct Server {
    child: Child,
    pub port: u16,
}

impl Server {
    /// The shop's server, as it is delivered; the log is quiet.
    pub fn sakudana(database: &Path) -> Server {
        // One key asks for all: its limit is not what is measured. The labels are of the shop that the tests share.
        let shop = "[shop]\nweb_address = \"https://counter.example\"\ntime_zone = \"Europe/Lisbon\"\n";
        let settings = database.with_extension("toml");
        std::fs::write(
            &settings,
            shop.to_owned() + "[limits]\nrequests_a_second = 1000000\nrequests_at_once = 1000000\n",
        )
        .expect("settings");
        let mut command = Command::new(PROGRAM);
        command.args(["serve", "--listen", "127.0.0.1:0", "--database"]).arg(database).arg("--settings").arg(settings);
        Server::start(command.env("SAKUDANA_LOG", "error"))
    }

    /// This program again, answering a constant of so many bytes.
    pub fn constant(bytes: usize) -> Server {
        let own = std::env::current_exe().expect("this program");
        Server::start(Command::new(own).args(["--constant", &bytes.to_string()]))
    }

    fn start(command: &mut Command) -> Server {
        let mut child = command.stdout(Stdio::piped()).spawn().expect("the server starts");
        let lines = BufReader::new(child.stdout.take().expect("its output")).lines();
        let said = |line: std::io::Result<String>| {
            line.ok()?.strip_prefix("listening on http://")?.rsplit(':').next()?.parse::<u16>().ok()
        };
        let port = lines.into_iter().find_map(said).expect("it says where it listens");
        Server { child, port }
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
