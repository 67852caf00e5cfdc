//! One connection, watched: the server below has no limit on the time of a later head, of what it discards of a body, or of a client that
//! does not read; this stands between it and the bytes and ends what does not move. Bodies that are read are paced in `pace.rs`, which also
//! says when a request is under way.
//!
//! Time is counted only against the client: while a request is worked on nothing is expected of it.

use super::connections::Place;
use super::pace::Course;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll, ready};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::TcpStream;
use tokio::time::{Instant, Sleep, sleep_until};
use tokio_rustls::server::TlsStream;

/// From the first byte of a head to its last.
pub const HEAD: Duration = Duration::from_secs(5);
/// From the end of an answer to the end of the next head.
pub const IDLE: Duration = Duration::from_secs(10);
/// A client that takes nothing for so long is gone; one that takes something gets more time, at `BYTES_A_SECOND`.
pub const STALL: Duration = Duration::from_secs(10);
/// Slower than this, a client holds the server.
pub const BYTES_A_SECOND: u64 = 1_024;

const TOO_SLOW: &[u8] = b"HTTP/1.1 408 Request Timeout\r\nconnection: close\r\ncontent-length: 0\r\n\r\n";

/// The bytes, bare or under TLS.
pub enum Wire {
    Plain(TcpStream),
    Secure(Box<TlsStream<TcpStream>>),
}

macro_rules! on_wire {
    ($wire:expr, $stream:ident => $run:expr) => {
        match $wire {
            Wire::Plain($stream) => {
                let $stream = Pin::new($stream);
                $run
            }
            Wire::Secure($stream) => {
                let $stream = Pin::new(&mut **$stream);
                $run
            }
        }
    };
}

/// A client that does not take what was written.
struct Stalled {
    since: Instant,
    taken: u64,
}

pub struct Line {
    wire: Wire,
    course: Course,
    /// When the last answer, or the connection, had come so far.
    idle_since: Instant,
    /// When the first byte after that came.
    head_since: Option<Instant>,
    stalled: Option<Stalled>,
    alarm: Option<Pin<Box<Sleep>>>,
    _place: Place,
}

impl Line {
    pub fn new(wire: Wire, place: Place) -> Line {
        Line {
            wire,
            course: Course::default(),
            idle_since: Instant::now(),
            head_since: None,
            stalled: None,
            alarm: None,
            _place: place,
        }
    }

    /// What the requests of this connection tell it.
    pub fn course(&self) -> Course {
        self.course.clone()
    }

    /// Ready once `end` has passed; else wakes the task then. An alarm set for earlier is kept: it wakes once for nothing and is set again,
    /// which is cheaper than to set it with every request.
    fn over(&mut self, context: &mut Context<'_>, end: Instant) -> bool {
        if Instant::now() >= end {
            return true;
        }
        let alarm = self.alarm.get_or_insert_with(|| Box::pin(sleep_until(end)));
        if alarm.deadline() > end {
            alarm.as_mut().reset(end);
        }
        while alarm.as_mut().poll(context).is_ready() {
            alarm.as_mut().reset(end);
            if Instant::now() >= end {
                return true;
            }
        }
        false
    }

    /// Whether the next head has taken too long.
    fn head_is_late(&mut self, context: &mut Context<'_>) -> bool {
        if self.course.is_under_way() || self.stalled.is_some() {
            return false;
        }
        let end = self.idle_since + IDLE;
        let end = self.head_since.map_or(end, |since| end.min(since + HEAD));
        self.over(context, end)
    }

    /// Keeps account of a write that went through for a part, or not at all.
    fn wrote(&mut self, context: &mut Context<'_>, wrote: Poll<io::Result<usize>>) -> Poll<io::Result<usize>> {
        if let Poll::Ready(Ok(bytes @ 1..)) = wrote {
            self.idle_since = Instant::now();
            self.head_since = None;
            if let Some(stalled) = &mut self.stalled {
                stalled.taken += bytes as u64;
            }
        }
        if wrote.is_pending() {
            let stalled = self.stalled.get_or_insert_with(|| Stalled { since: Instant::now(), taken: 0 });
            let end = stalled.since + STALL + Duration::from_secs(stalled.taken / BYTES_A_SECOND);
            if self.over(context, end) {
                return Poll::Ready(Err(io::Error::new(io::ErrorKind::TimedOut, "the client does not read")));
            }
        }
        wrote
    }
}

impl AsyncRead for Line {
    fn poll_read(self: Pin<&mut Self>, context: &mut Context<'_>, buffer: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        let line = self.get_mut();
        let before = buffer.filled().len();
        let read = on_wire!(&mut line.wire, stream => stream.poll_read(context, buffer));
        if read.is_ready() && buffer.filled().len() > before && !line.course.is_under_way() {
            line.head_since.get_or_insert_with(Instant::now);
        }
        if !line.head_is_late(context) || read.is_ready() && buffer.filled().len() == before {
            return read;
        }
        if line.head_since.is_some() {
            // Whether it hears this or not, the connection ends.
            let _ = on_wire!(&mut line.wire, stream => stream.poll_write(context, TOO_SLOW));
        }
        buffer.set_filled(before);
        Poll::Ready(Ok(()))
    }
}

impl AsyncWrite for Line {
    fn poll_write(self: Pin<&mut Self>, context: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let line = self.get_mut();
        let wrote = on_wire!(&mut line.wire, stream => stream.poll_write(context, bytes));
        line.wrote(context, wrote)
    }

    fn poll_flush(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        let line = self.get_mut();
        let flushed = on_wire!(&mut line.wire, stream => stream.poll_flush(context));
        let flushed = ready!(line.wrote(context, flushed.map_ok(|()| 0)));
        if flushed.is_ok() && line.stalled.take().is_some() {
            line.idle_since = Instant::now();
        }
        // The server reads next when bytes come; until then this is the last it is heard of.
        if line.head_is_late(context) {
            context.waker().wake_by_ref();
        }
        Poll::Ready(flushed.map(drop))
    }

    fn poll_shutdown(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        let line = self.get_mut();
        let shut = on_wire!(&mut line.wire, stream => stream.poll_shutdown(context));
        line.wrote(context, shut.map_ok(|()| 0)).map_ok(drop)
    }
}
