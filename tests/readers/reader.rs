//! The unrelated readers as one process that is asked picture by picture, and what they said of a picture. What it should have been is not
//! known here.

use std::io::{BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

use crate::support::from_tests_run;

/// What zxing-cpp says of a code: symbology identifier, level of error correction, text.
pub type Zxing = (String, String, String);

/// What zbar says of a code: kind, text.
pub type Zbar = (String, String);

/// What stands on a picture, to three readers.
#[derive(Debug, Clone, Deserialize)]
pub struct Answer {
    pub zxing: Vec<Zxing>,
    pub zbar: Vec<Zbar>,
    /// The elements of the address zxing-cpp found, each with identifier, value, number and date; or an object with an error.
    pub biip: Value,
}

/// A process with all readers in it: starting one costs as much as a hundred pictures.
pub struct Reader {
    child: Child,
    questions: Option<ChildStdin>,
    answers: BufReader<ChildStdout>,
}

impl Reader {
    pub fn start() -> Self {
        Self::running("answer_all(read)")
    }

    /// The same programs with another answer to every question.
    pub fn running(answering: &str) -> Self {
        let program = [include_str!("read.py"), include_str!("degrade.py"), answering].join("\n");
        let python = from_tests_run("SAKUDANA_TEST_PYTHON");
        let mut child = Command::new(&python)
            .args(["-c", &program])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap_or_else(|error| panic!("{python} does not start: {error}"));
        let questions = child.stdin.take();
        let answers = BufReader::new(child.stdout.take().expect("stdout is piped"));
        Self { child, questions, answers }
    }

    /// The readers' answer to a picture; `more` is asked beside it. One question at a time: neither pipe can fill up.
    pub fn ask<A: DeserializeOwned>(&mut self, png: &[u8], more: &Value) -> A {
        let question = json!({ "png": STANDARD.encode(png), "more": more });
        let pipe = self.questions.as_mut().expect("open until the end");
        writeln!(pipe, "{question}").and_then(|()| pipe.flush()).expect("the readers take a question");
        let mut line = String::new();
        let taken = self.answers.read_line(&mut line).expect("the readers answer");
        assert!(taken > 0, "the readers stopped: what they said stands above");
        serde_json::from_str(&line).unwrap_or_else(|error| panic!("{error}: {line}"))
    }

    pub fn read(&mut self, png: &[u8]) -> Answer {
        self.ask(png, &Value::Null)
    }
}

impl Drop for Reader {
    fn drop(&mut self) {
        // The end of its questions ends it.
        drop(self.questions.take());
        let _ = self.child.wait();
    }
}
