//! Runs schemathesis on a served document and says what it found. Knows nothing of fish.

use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

use tempfile::TempDir;

use crate::support::from_tests_run;

/// What is asked, and for how long.
#[derive(Default)]
pub struct Asking<'a> {
    /// After the examples of the document, which are all asked for however long it takes.
    pub seconds: u64,
    /// Only these operations; all when empty.
    pub only: &'a [&'a str],
    pub without: &'a [&'a str],
}

/// The end of a run.
pub struct Found {
    pub report: String,
    pub requests: usize,
    code: Option<i32>,
}

impl Found {
    /// Whether it ran and found nothing.
    pub fn passed(&self) -> bool {
        self.code == Some(0)
    }

    /// What is said of the operations at addresses that begin like this: each stands under a line `____ GET /v1/lots ____`.
    pub fn report_of(&self, path: &str) -> String {
        let mut inside = false;
        let lines = self.report.lines().filter(|line| {
            if line.starts_with("___") || line.starts_with("===") {
                inside = line.contains(&format!(" {path}"));
            }
            inside
        });
        lines.collect::<Vec<_>>().join("\n")
    }
}

/// The tool, with a folder for its settings.
pub struct Schemathesis {
    program: PathBuf,
    folder: TempDir,
}

impl Schemathesis {
    /// Each row: the name of a list, the fields and parameters that often get a value of it, and the values.
    pub fn new(known: &[(&str, &[&str], Vec<String>)]) -> Schemathesis {
        let python = from_tests_run("SAKUDANA_TEST_PYTHON");
        let program = Path::new(&python).with_file_name("schemathesis");
        assert!(program.exists(), "{} is not there: tests/run installs it", program.display());
        let folder = tempfile::tempdir().expect("a temporary directory");
        let mut settings = include_str!("settings.toml").to_owned();
        let mut parameters = "\n[parameters]\n".to_owned();
        for (name, fields, values) in known {
            write!(settings, "\n[dictionaries.{name}]\nvalues = {values:?}\n").unwrap();
            for field in *fields {
                for place in ["path", "query", "body", "body.lines[*]", "body.inputs[*]", "body.outputs[*]"] {
                    writeln!(parameters, "\"{place}.{field}\" = {{ dictionary = \"{name}\", probability = 0.8 }}")
                        .unwrap();
                }
            }
        }
        std::fs::write(folder.path().join("settings.toml"), settings + &parameters).expect("room for settings");
        std::fs::write(folder.path().join("hooks.py"), include_str!("hooks.py")).expect("room for hooks");
        Schemathesis { program, folder }
    }

    pub fn run(&self, base: &str, key: Option<&str>, asking: &Asking<'_>) -> Found {
        let examples = self.run_phases(base, key, asking, &["--phases", "examples"]);
        let seconds = asking.seconds.max(1).to_string();
        let phases = ["--phases", "coverage,fuzzing,stateful", "--max-time", &seconds];
        let rest = self.run_phases(base, key, asking, &phases);
        Found {
            report: examples.report + &rest.report,
            requests: examples.requests + rest.requests,
            code: [examples.code, rest.code].into_iter().find(|code| *code != Some(0)).unwrap_or(Some(0)),
        }
    }

    fn run_phases(&self, base: &str, key: Option<&str>, asking: &Asking<'_>, phases: &[&str]) -> Found {
        let seed = std::env::var("SAKUDANA_API_FUZZ_SEED").unwrap_or_else(|_| "1".to_owned());
        let mut command = Command::new(&self.program);
        command.current_dir(self.folder.path());
        command.args(["--config-file", "settings.toml", "run", &format!("{base}/v1/openapi.json")]);
        command.args(["--url", base, "--no-color", "--seed", &seed]).args(phases);
        // A text never holds a NUL, which the document says in words: PostgreSQL takes none.
        command.args(["--generation-allow-x00", "false", "--generation-database", "none"]);
        command.args(["--request-timeout", "20", "--continue-on-failure", "--max-failures", "40"]);
        for operation in asking.only {
            command.args(["--include-operation-id", operation]);
        }
        for operation in asking.without {
            command.args(["--exclude-operation-id", operation]);
        }
        if let Some(key) = key {
            command.args(["--header", &format!("Authorization: Bearer {key}")]);
        }
        let output = command.output().expect("schemathesis starts");
        let report = String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
        let requests = report
            .lines()
            .find_map(|line| line.trim().split_once(" generated").and_then(|(count, _)| count.parse().ok()))
            .unwrap_or(0);
        Found { report, requests, code: output.status.code() }
    }
}
