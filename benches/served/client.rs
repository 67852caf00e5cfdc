//! Many clients on one thread: each sends a request on its connection and waits for the whole answer before it sends the next.

use std::cell::{Cell, RefCell};
use std::rc::Rc;
use std::time::{Duration, Instant};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

/// How much is asked.
#[derive(Debug, Clone, Copy)]
pub enum Load {
    /// The requests over and over, for so long.
    For(Duration),
    /// Every request once.
    Each,
}

pub struct Measured {
    /// Answers in a second.
    pub rate: f64,
    pub p99: Duration,
}

/// What the clients share.
struct Shared<'a> {
    requests: &'a [Vec<u8>],
    load: Load,
    begun: Instant,
    next: Cell<usize>,
    waits: RefCell<Vec<Duration>>,
}

impl<'a> Shared<'a> {
    fn next(&self) -> Option<&'a [u8]> {
        let number = self.next.get();
        self.next.set(number + 1);
        match self.load {
            Load::For(time) => {
                (self.begun.elapsed() < time).then(|| self.requests[number % self.requests.len()].as_slice())
            }
            Load::Each => self.requests.get(number).map(Vec::as_slice),
        }
    }
}

pub fn run(port: u16, clients: usize, load: Load, requests: &[Vec<u8>]) -> Measured {
    // Tasks outlive no borrow of the caller's.
    let requests: &'static [Vec<u8>] = Box::leak(requests.to_vec().into_boxed_slice());
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    let tasks = tokio::task::LocalSet::new();
    let shared =
        Rc::new(Shared { requests, load, begun: Instant::now(), next: Cell::new(0), waits: RefCell::default() });
    tasks.block_on(&runtime, async {
        let each: Vec<_> = (0..clients).map(|_| tokio::task::spawn_local(client(port, Rc::clone(&shared)))).collect();
        for client in each {
            client.await.expect("a client ends well");
        }
    });
    let took = shared.begun.elapsed();
    let mut waits = shared.waits.take();
    waits.sort_unstable();
    Measured { rate: waits.len() as f64 / took.as_secs_f64(), p99: waits[waits.len() * 99 / 100] }
}

async fn client(port: u16, shared: Rc<Shared<'static>>) {
    let mut connection = TcpStream::connect(("127.0.0.1", port)).await.expect("the server listens");
    connection.set_nodelay(true).expect("a socket takes options");
    let mut answer = Vec::with_capacity(16 * 1024);
    while let Some(request) = shared.next() {
        let sent = Instant::now();
        ask(&mut connection, request, &mut answer).await;
        shared.waits.borrow_mut().push(sent.elapsed());
    }
}

/// One request and its answer; the body of the answer.
pub fn once(port: u16, request: &[u8]) -> Vec<u8> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    runtime.block_on(async {
        let mut connection = TcpStream::connect(("127.0.0.1", port)).await.expect("the server listens");
        let mut answer = Vec::new();
        let head = ask(&mut connection, request, &mut answer).await;
        answer.split_off(head)
    })
}

/// Sends a request and reads the whole answer. Gives the length of its head.
async fn ask(connection: &mut TcpStream, request: &[u8], answer: &mut Vec<u8>) -> usize {
    connection.write_all(request).await.expect("the server takes it");
    answer.clear();
    loop {
        let read = connection.read_buf(answer).await.expect("the server answers");
        assert_ne!(read, 0, "the server hung up: {}", String::from_utf8_lossy(answer));
        let Some(head) = answer.windows(4).position(|end| end == b"\r\n\r\n") else { continue };
        let head = head + 4;
        let text = String::from_utf8_lossy(&answer[..head]).to_ascii_lowercase();
        assert!(text.starts_with("http/1.1 2"), "{}", String::from_utf8_lossy(answer));
        let length = text.lines().find_map(|line| line.strip_prefix("content-length: ")).expect("a length");
        if answer.len() == head + length.parse::<usize>().expect("a number") {
            return head;
        }
    }
}
