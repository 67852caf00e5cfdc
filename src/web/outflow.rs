//! An answer that is too large to be held: poured by a thread of its own, piece by piece, no faster than the client takes it and for no
//! longer than a stated time. One that could not be told to its end is cut off, so that nobody takes a part for the whole.

use actix_web::web::Bytes;
use flate2::Compression;
use flate2::write::GzEncoder;
use futures_core::Stream;
use std::io::{self, Write};
use std::ops::ControlFlow;
use std::pin::Pin;
use std::task::{Context, Poll, ready};
use std::time::Duration;
use tokio::runtime::Handle;
use tokio::sync::mpsc::{Receiver, Sender, channel};
use tokio::time::{Instant, timeout_at};

/// A piece goes out when it is at least so large.
const PIECE: usize = 64 * 1024;
/// Pieces that wait for the client.
const WAITING: usize = 2;

/// How the pieces are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Coding {
    Plain,
    Gzip,
}

enum Piece {
    Bytes(Bytes),
    /// All was said.
    End,
}

enum Pack {
    Plain(Vec<u8>),
    Gzip(GzEncoder<Vec<u8>>),
}

impl Pack {
    fn waiting(&mut self) -> &mut Vec<u8> {
        match self {
            Pack::Plain(bytes) => bytes,
            Pack::Gzip(encoder) => encoder.get_mut(),
        }
    }
}

/// Where the thread pours in.
pub struct Spout {
    pieces: Sender<Piece>,
    runtime: Handle,
    /// A client keeps one state of the database open, and with it the log of all later changes: not for longer than until then.
    until: Instant,
    pack: Pack,
}

/// What comes out, as the body of an answer.
pub struct Outflow {
    pieces: Receiver<Piece>,
    ended: bool,
}

/// Both ends, for an answer that its client takes within a time. To be called where answers are made.
pub fn open(coding: Coding, within: Duration) -> (Spout, Outflow) {
    let (sender, pieces) = channel(WAITING);
    let pack = match coding {
        Coding::Plain => Pack::Plain(Vec::with_capacity(PIECE * 2)),
        Coding::Gzip => Pack::Gzip(GzEncoder::new(Vec::with_capacity(PIECE * 2), Compression::fast())),
    };
    let spout = Spout { pieces: sender, runtime: Handle::current(), until: Instant::now() + within, pack };
    (spout, Outflow { pieces, ended: false })
}

impl Spout {
    /// Waits while the client is behind. Breaks when the client is gone, or too slow.
    pub fn pour(&mut self, text: &str) -> ControlFlow<()> {
        let packed = match &mut self.pack {
            Pack::Plain(bytes) => bytes.write_all(text.as_bytes()),
            Pack::Gzip(encoder) => encoder.write_all(text.as_bytes()),
        };
        // Writing to memory does not fail; if it ever did, the answer would be cut off.
        if packed.is_err() {
            return ControlFlow::Break(());
        }
        if self.pack.waiting().len() < PIECE { ControlFlow::Continue(()) } else { self.hand_out() }
    }

    fn hand_out(&mut self) -> ControlFlow<()> {
        let bytes = std::mem::replace(self.pack.waiting(), Vec::with_capacity(PIECE * 2));
        self.send(Piece::Bytes(Bytes::from(bytes)))
    }

    fn send(&self, piece: Piece) -> ControlFlow<()> {
        match self.runtime.block_on(timeout_at(self.until, self.pieces.send(piece))) {
            Ok(Ok(())) => ControlFlow::Continue(()),
            Ok(Err(_)) => ControlFlow::Break(()),
            Err(_) => {
                tracing::warn!("a client took too long over a large answer: cut off");
                ControlFlow::Break(())
            }
        }
    }

    /// All was said: without this, the answer is cut off.
    pub fn end(mut self) {
        if let Pack::Gzip(encoder) = &mut self.pack
            && encoder.try_finish().is_err()
        {
            return;
        }
        if self.hand_out().is_continue() {
            let _ = self.send(Piece::End);
        }
    }
}

impl Stream for Outflow {
    type Item = io::Result<Bytes>;

    fn poll_next(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        if self.ended {
            return Poll::Ready(None);
        }
        Poll::Ready(match ready!(self.pieces.poll_recv(context)) {
            Some(Piece::Bytes(bytes)) => Some(Ok(bytes)),
            Some(Piece::End) => {
                self.ended = true;
                None
            }
            None => Some(Err(io::Error::other("the answer was cut off"))),
        })
    }
}
