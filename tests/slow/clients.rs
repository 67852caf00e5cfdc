//! Every kind of client that would hold a server, and what becomes of it.

use socket2::{Domain, Socket, Type};
use std::io::{ErrorKind, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::thread;
use std::time::{Duration, Instant};

/// Longer than any patience of the server's, the time it takes to note what is in flight included.
const FAR_TOO_LONG: Duration = Duration::from_secs(60);
const STEP: Duration = Duration::from_millis(300);

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Slow {
    Silent,
    Head,
    /// After a whole request and its answer.
    SecondHead,
    /// Kept for a while, then begun: the idle time is used up before.
    LateSecondHead,
    Body,
    /// Of a request that is refused before its body is read.
    ChunksOfARefusedRequest,
    NoChunkAfterARefusal,
    NeverReading,
    /// A byte now and then.
    HardlyReading,
}

pub const KINDS: [Slow; 9] = [
    Slow::Silent,
    Slow::Head,
    Slow::SecondHead,
    Slow::LateSecondHead,
    Slow::Body,
    Slow::ChunksOfARefusedRequest,
    Slow::NoChunkAfterARefusal,
    Slow::NeverReading,
    Slow::HardlyReading,
];

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    ByTheServer,
    Never,
}

pub fn connect(address: SocketAddr) -> TcpStream {
    connect_from("127.0.0.1:0".parse().unwrap(), address)
}

/// The whole of 127.0.0.0/8 is this machine: a test can come from many addresses. A small receive buffer makes it notice sooner who does
/// not read.
pub fn connect_from(own: SocketAddr, address: SocketAddr) -> TcpStream {
    let socket = Socket::new(Domain::for_address(address), Type::STREAM, None).unwrap();
    socket.set_recv_buffer_size(4_096).unwrap();
    socket.bind(&own.into()).unwrap();
    socket.connect(&address.into()).unwrap();
    let stream: TcpStream = socket.into();
    stream.set_read_timeout(Some(STEP)).unwrap();
    stream.set_write_timeout(Some(STEP)).unwrap();
    stream
}

/// Whether the other side has ended the connection; what it still says is thrown away.
fn ended(stream: &mut TcpStream) -> bool {
    let mut buffer = [0; 4_096];
    loop {
        match stream.read(&mut buffer) {
            Ok(0) => return true,
            Ok(_) => {}
            Err(e) if [ErrorKind::WouldBlock, ErrorKind::TimedOut].contains(&e.kind()) => return false,
            Err(_) => return true,
        }
    }
}

fn until_ended(mut step: impl FnMut() -> bool) -> Ended {
    let end = Instant::now() + FAR_TOO_LONG;
    while Instant::now() < end {
        if step() {
            return Ended::ByTheServer;
        }
    }
    Ended::Never
}

/// Sends one more byte at every step.
fn trickle(stream: &mut TcpStream, piece: &[u8]) -> Ended {
    until_ended(|| stream.write_all(piece).is_err() || ended(stream))
}

fn whole_request(stream: &mut TcpStream) {
    stream.write_all(b"GET /livez HTTP/1.1\r\nhost: a\r\n\r\n").unwrap();
    let mut answer = Vec::new();
    let end = Instant::now() + FAR_TOO_LONG;
    while !is_whole(&answer) {
        let mut byte = [0];
        match stream.read(&mut byte) {
            Ok(0) => panic!("the server hung up: {}", String::from_utf8_lossy(&answer)),
            Ok(_) => answer.push(byte[0]),
            Err(_) => assert!(Instant::now() < end, "no whole answer: {}", String::from_utf8_lossy(&answer)),
        }
    }
}

/// Whether an answer is there with all the bytes of its body.
fn is_whole(answer: &[u8]) -> bool {
    let text = String::from_utf8_lossy(answer).to_ascii_lowercase();
    let Some((head, body)) = text.split_once("\r\n\r\n") else { return false };
    let length = head.lines().find_map(|line| line.strip_prefix("content-length: ")?.parse::<usize>().ok());
    body.len() == length.expect("an answer says how long it is")
}

const HEAD: &[u8] = b"GET /livez HTTP/1.1\r\nhost: a\r\nx-slow: ";
const BODY: &[u8] =
    b"POST /v1/sign-in HTTP/1.1\r\nhost: a\r\ncontent-type: application/json\r\ncontent-length: 5000\r\n\r\n{";
const CHUNKS: &[u8] =
    b"POST /v1/sales HTTP/1.1\r\nhost: a\r\ncontent-type: application/json\r\ntransfer-encoding: chunked\r\n\r\n1\r\n{\r\n";
const LARGE: &[u8] = b"GET /v1/openapi.json HTTP/1.1\r\nhost: a\r\n\r\n";

/// Behaves as its kind does until it is ended, or for far too long.
pub fn hold(address: SocketAddr, kind: Slow) -> Ended {
    let mut stream = connect(address);
    match kind {
        Slow::Silent => until_ended(|| ended(&mut stream)),
        Slow::Head => {
            stream.write_all(HEAD).unwrap();
            trickle(&mut stream, b"x")
        }
        Slow::SecondHead => {
            whole_request(&mut stream);
            stream.write_all(HEAD).unwrap();
            trickle(&mut stream, b"x")
        }
        Slow::LateSecondHead => {
            whole_request(&mut stream);
            thread::sleep(Duration::from_secs(3));
            stream.write_all(HEAD).unwrap();
            trickle(&mut stream, b"x")
        }
        Slow::Body => {
            stream.write_all(BODY).unwrap();
            trickle(&mut stream, b" ")
        }
        Slow::ChunksOfARefusedRequest => {
            stream.write_all(CHUNKS).unwrap();
            trickle(&mut stream, b"1\r\n \r\n")
        }
        Slow::NoChunkAfterARefusal => {
            stream.write_all(CHUNKS).unwrap();
            until_ended(|| ended(&mut stream))
        }
        Slow::NeverReading => {
            ask_for_much(&mut stream);
            // Whether it was ended is seen by writing alone: nothing is read.
            until_ended(|| {
                thread::sleep(STEP);
                was_reset(&mut stream)
            })
        }
        Slow::HardlyReading => {
            ask_for_much(&mut stream);
            until_ended(|| {
                thread::sleep(STEP);
                let mut byte = [0];
                matches!(stream.read(&mut byte), Ok(0)) || was_reset(&mut stream)
            })
        }
    }
}

/// More than the buffers of both sides hold.
fn ask_for_much(stream: &mut TcpStream) {
    for _ in 0..16 {
        stream.write_all(LARGE).unwrap();
    }
}

fn was_reset(stream: &mut TcpStream) -> bool {
    match stream.write_all(b"G") {
        Ok(()) => stream.take_error().unwrap().is_some(),
        Err(e) => ![ErrorKind::WouldBlock, ErrorKind::TimedOut].contains(&e.kind()),
    }
}
