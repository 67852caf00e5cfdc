//! One Python process for many questions: a line each in, a line each out.

use std::io::Write;
use std::process::{Command, Stdio};

/// Runs a program over lines and gives its lines, as many as went in.
pub fn lines(program: &str, lines: &[String]) -> Vec<String> {
    let python = super::from_tests_run("SAKUDANA_TEST_PYTHON");
    let mut child = Command::new(&python)
        .args(["-c", program])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("{python} does not start: {error}"));
    let mut pipe = child.stdin.take().expect("stdin is piped");
    let text = lines.join("\n") + "\n";
    // Written beside the reading: both pipes are small.
    let writing = std::thread::spawn(move || pipe.write_all(text.as_bytes()));
    let output = child.wait_with_output().expect("the end of python");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    writing.join().expect("the writer ends").expect("python reads all");
    let text = String::from_utf8(output.stdout).expect("python speaks UTF-8");
    let answers: Vec<String> = text.lines().map(str::to_owned).collect();
    assert_eq!(answers.len(), lines.len());
    answers
}
