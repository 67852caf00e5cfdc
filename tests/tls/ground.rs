//! curl, OpenSSL, and a directory with settings.

use crate::support::server::Server;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use tempfile::TempDir;

/// curl's exit code for a certificate it does not trust (curl's manual, EXIT CODES).
pub const NOT_TRUSTED: i32 = 60;

pub struct Ground {
    pub directory: TempDir,
}

impl Ground {
    pub fn new() -> Ground {
        Ground { directory: tempfile::tempdir().unwrap() }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    fn settings(&self, text: &str) -> String {
        let file = self.path("shop.toml");
        std::fs::write(&file, text).unwrap();
        file.display().to_string()
    }

    /// Starts a server with these settings; its database, and its authority, stay when it ends.
    pub fn serve(&self, settings: &str) -> Server {
        let database = self.path("shop.db");
        Server::start_with(&["--settings", &self.settings(settings)], database.to_str().unwrap(), None)
    }

    /// A start that has to fail: its exit code and what it says.
    pub fn refused(&self, settings: &str) -> (Option<i32>, String) {
        let mut command = Command::new(env!("CARGO_BIN_EXE_sakudana"));
        command.args(["serve", "--listen", "127.0.0.1:0", "--settings", &self.settings(settings), "--database"]);
        let output = command.arg(self.path("shop.db")).output().unwrap();
        (output.status.code(), String::from_utf8_lossy(&output.stderr).into_owned())
    }

    /// OpenSSL, which has to succeed.
    pub fn openssl(&self, line: &str) -> String {
        let output = self.try_openssl(line);
        assert!(output.status.success(), "openssl {line}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8_lossy(&output.stdout).into_owned()
    }

    pub fn try_openssl(&self, line: &str) -> Output {
        let mut command = Command::new("openssl");
        command.args(line.split_whitespace()).current_dir(self.directory.path()).stdin(Stdio::null());
        command.output().expect("openssl")
    }
}

/// What curl heard: its exit code, and head and body as text.
pub fn curl(arguments: &[&str]) -> (Option<i32>, String) {
    let mut command = Command::new("curl");
    command.args(["--silent", "--include", "--noproxy", "*", "--max-time", "60"]).args(arguments);
    let output = command.output().expect("curl");
    (output.status.code(), String::from_utf8_lossy(&output.stdout).into_owned())
}

pub fn port(server: &Server) -> String {
    server.url("").rsplit_once(':').unwrap().1.to_owned()
}

/// Trusts this file and nothing else.
pub fn trusting<'a>(authority: &'a Path, more: &[&'a str]) -> (Option<i32>, String) {
    let file = authority.to_str().unwrap();
    curl(&[&["--cacert", file, "--capath", "/nonexistent"], more].concat())
}
