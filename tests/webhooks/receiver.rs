//! A receiver of webhooks: keeps every request it hears, and answers as its script says, rightly or not. Plain or with TLS.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

/// Longer than anything here takes.
pub const PATIENCE: Duration = Duration::from_secs(60);

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heard {
    pub path: String,
    /// Names in lower case.
    pub headers: BTreeMap<String, String>,
    pub body: String,
}

impl Heard {
    pub fn id(&self) -> &str {
        &self.headers["webhook-id"]
    }

    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.body).expect("a body that is JSON")
    }

    pub fn timestamp(&self) -> i64 {
        self.headers["webhook-timestamp"].parse().expect("a number")
    }
}

/// What a receiver does when it has heard a request.
#[derive(Debug, Clone)]
pub enum Say {
    Status(u16),
    With(u16, Vec<(&'static str, String)>),
    /// Answers 200 after a while.
    After(Duration),
    /// Half a head, then the end.
    HalfAHead,
    /// 200 and a body that breaks off.
    HalfABody,
    /// Hangs up without a word.
    HangUp,
    /// 500 with a body without end.
    Endless,
}

/// The answer to the `n`th request, from 0.
pub type Script = Arc<dyn Fn(usize, &Heard) -> Say + Send + Sync>;

struct Inside {
    heard: Mutex<Vec<Heard>>,
    script: Script,
    connections: AtomicUsize,
    at_once: AtomicUsize,
    most_at_once: AtomicUsize,
    stop: AtomicBool,
    tls: Option<Arc<rustls::ServerConfig>>,
}

/// A running receiver; dropped, it takes no more connections.
pub struct Receiver {
    pub at: SocketAddr,
    inside: Arc<Inside>,
}

pub fn always(status: u16) -> Script {
    Arc::new(move |_, _| Say::Status(status))
}

impl Receiver {
    pub fn start(script: Script) -> Receiver {
        Receiver::on("127.0.0.1:0", script, None)
    }

    pub fn with_tls(script: Script, tls: Arc<rustls::ServerConfig>) -> Receiver {
        Receiver::on("127.0.0.1:0", script, Some(tls))
    }

    pub fn on(address: &str, script: Script, tls: Option<Arc<rustls::ServerConfig>>) -> Receiver {
        let listener = TcpListener::bind(address).expect("a free port");
        let at = listener.local_addr().unwrap();
        let inside = Arc::new(Inside {
            heard: Mutex::default(),
            script,
            connections: AtomicUsize::new(0),
            at_once: AtomicUsize::new(0),
            most_at_once: AtomicUsize::new(0),
            stop: AtomicBool::new(false),
            tls,
        });
        let shared = Arc::clone(&inside);
        thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                if shared.stop.load(Ordering::SeqCst) {
                    return;
                }
                shared.connections.fetch_add(1, Ordering::SeqCst);
                let shared = Arc::clone(&shared);
                thread::spawn(move || shared.welcome(stream));
            }
        });
        Receiver { at, inside }
    }

    pub fn url(&self, path: &str) -> String {
        let scheme = if self.inside.tls.is_some() { "https" } else { "http" };
        format!("{scheme}://{}{path}", self.at)
    }

    pub fn heard(&self) -> Vec<Heard> {
        self.inside.heard.lock().unwrap().clone()
    }

    pub fn connections(&self) -> usize {
        self.inside.connections.load(Ordering::SeqCst)
    }

    pub fn most_at_once(&self) -> usize {
        self.inside.most_at_once.load(Ordering::SeqCst)
    }

    /// Everything heard, once it is at least so much.
    pub fn at_least(&self, count: usize) -> Vec<Heard> {
        until(&format!("{count} requests"), || Some(self.heard()).filter(|heard| heard.len() >= count))
    }
}

impl Drop for Receiver {
    fn drop(&mut self) {
        self.inside.stop.store(true, Ordering::SeqCst);
        let _ = TcpStream::connect(self.at);
    }
}

/// Waits for something to become true.
#[track_caller]
pub fn until<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let begun = Instant::now();
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(begun.elapsed() < PATIENCE, "never came: {what}");
        thread::sleep(Duration::from_millis(5));
    }
}

impl Inside {
    fn welcome(&self, stream: TcpStream) {
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        match &self.tls {
            None => self.serve(stream),
            Some(config) => {
                let connection = rustls::ServerConnection::new(Arc::clone(config)).unwrap();
                self.serve(rustls::StreamOwned::new(connection, stream));
            }
        }
    }

    /// Requests on one connection, one after another.
    fn serve(&self, stream: impl Read + Write) {
        let mut stream = BufReader::new(stream);
        while let Some(heard) = read(&mut stream) {
            let now = self.at_once.fetch_add(1, Ordering::SeqCst) + 1;
            self.most_at_once.fetch_max(now, Ordering::SeqCst);
            let number = {
                let mut all = self.heard.lock().unwrap();
                all.push(heard.clone());
                all.len() - 1
            };
            let goes_on = self.answer((self.script)(number, &heard), stream.get_mut());
            self.at_once.fetch_sub(1, Ordering::SeqCst);
            if !goes_on {
                return;
            }
        }
    }

    fn answer(&self, say: Say, stream: &mut impl Write) -> bool {
        let whole = |status: u16, headers: &[(&str, String)]| {
            let more: String = headers.iter().map(|(name, value)| format!("{name}: {value}\r\n")).collect();
            format!("HTTP/1.1 {status} Said\r\n{more}Content-Length: 2\r\n\r\nok")
        };
        let (text, goes_on) = match say {
            Say::Status(status) => (whole(status, &[]), true),
            Say::With(status, headers) => (whole(status, &headers), true),
            Say::After(pause) => {
                thread::sleep(pause);
                (whole(200, &[]), false)
            }
            Say::HalfAHead => ("HTTP/1.1 200 OK\r\nContent-Le".to_owned(), false),
            Say::HalfABody => ("HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\nhalf".to_owned(), false),
            Say::HangUp => (String::new(), false),
            Say::Endless => {
                let _ = stream.write_all(b"HTTP/1.1 500 Said\r\nContent-Length: 999999999\r\n\r\n");
                for _ in 0..64 {
                    if stream.write_all(&[b'x'; 65_536]).is_err() {
                        break;
                    }
                }
                return false;
            }
        };
        stream.write_all(text.as_bytes()).and_then(|()| stream.flush()).is_ok() && goes_on
    }
}

fn read(stream: &mut impl BufRead) -> Option<Heard> {
    let mut first = String::new();
    stream.read_line(&mut first).ok().filter(|n| *n > 0)?;
    let path = first.split(' ').nth(1)?.to_owned();
    let mut headers = BTreeMap::new();
    loop {
        let mut line = String::new();
        stream.read_line(&mut line).ok().filter(|n| *n > 0)?;
        let Some((name, value)) = line.trim_end().split_once(':') else { break };
        headers.insert(name.to_ascii_lowercase(), value.trim().to_owned());
    }
    let length: usize = headers.get("content-length").and_then(|text| text.parse().ok()).unwrap_or(0);
    let mut body = vec![0; length];
    stream.read_exact(&mut body).ok()?;
    Some(Heard { path, headers, body: String::from_utf8(body).ok()? })
}
