//! A child process that is watched line by line and surely ended. Knows no particular program.

use std::io::{BufRead, BufReader, Read};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

/// How long a child may take to end after SIGTERM before SIGKILL follows.
const GRACE: Duration = Duration::from_secs(10);

/// A running program whose output is kept; dropped, it is ended.
pub struct Watched {
    name: String,
    child: Child,
    lines: Receiver<String>,
    said: Arc<Mutex<String>>,
}

impl Watched {
    /// Starts `command` with both outputs caught.
    pub fn start(mut command: Command) -> Self {
        let name = command.get_program().to_string_lossy().into_owned();
        let mut child = command
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap_or_else(|error| panic!("{name} does not start: {error}"));
        let said = Arc::new(Mutex::new(String::new()));
        let (send, lines) = channel();
        let out = child.stdout.take().expect("stdout is piped");
        let err = child.stderr.take().expect("stderr is piped");
        follow(out, Arc::clone(&said), move |line| {
            // Nobody may be waiting any more; the pipe is emptied all the same.
            let _ = send.send(line);
        });
        follow(err, Arc::clone(&said), drop);
        Self { name, child, lines, said }
    }

    /// Reads stdout until `pick` takes a line.
    ///
    /// # Panics
    /// When the child ends or `limit` passes first; the panic holds all that it had said.
    pub fn await_line<T>(&self, limit: Duration, mut pick: impl FnMut(&str) -> Option<T>) -> T {
        let end = Instant::now() + limit;
        loop {
            let left = end.saturating_duration_since(Instant::now());
            match self.lines.recv_timeout(left) {
                Ok(line) => {
                    if let Some(found) = pick(&line) {
                        return found;
                    }
                }
                Err(RecvTimeoutError::Timeout) => {
                    panic!("{} is not ready after {limit:?}:\n{}", self.name, self.said())
                }
                Err(RecvTimeoutError::Disconnected) => {
                    panic!("{} ended before it was ready:\n{}", self.name, self.said())
                }
            }
        }
    }

    /// Everything written so far to both outputs.
    pub fn said(&self) -> String {
        self.said.lock().unwrap().clone()
    }

    /// The process id.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Whether it has ended by itself.
    pub fn ended(&mut self) -> bool {
        matches!(self.child.try_wait(), Ok(Some(_)))
    }

    /// SIGTERM, then SIGKILL after ten seconds. Returns the exit code, or `None` if a signal ended
    /// it. A second call returns the same.
    pub fn stop(&mut self) -> Option<i32> {
        if let Ok(Some(status)) = self.child.try_wait() {
            return status.code();
        }
        // The standard library can only send SIGKILL.
        let _ = Command::new("kill").args(["-TERM", &self.child.id().to_string()]).status();
        let end = Instant::now() + GRACE;
        while Instant::now() < end {
            if let Ok(Some(status)) = self.child.try_wait() {
                return status.code();
            }
            thread::sleep(Duration::from_millis(10));
        }
        self.kill();
        None
    }

    /// SIGKILL at once: the process gets no chance to tidy up, as in a power cut.
    pub fn kill(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Drop for Watched {
    fn drop(&mut self) {
        self.stop();
        if thread::panicking() {
            eprintln!("--- {} said:\n{}", self.name, self.said());
        }
    }
}

fn follow(pipe: impl Read + Send + 'static, said: Arc<Mutex<String>>, mut each: impl FnMut(String) + Send + 'static) {
    thread::spawn(move || {
        for line in BufReader::new(pipe).lines().map_while(Result::ok) {
            let mut said = said.lock().unwrap();
            said.push_str(&line);
            said.push('\n');
            drop(said);
            each(line);
        }
    });
}
