//! The course of a request on its connection: begun with its head, over with the last byte of its answer; and the pace at which its body has
//! to come. Only the time that the server waits for the client counts, so that a slow disk is not held against a fast till.

use super::line::{BYTES_A_SECOND, STALL};
use actix_web::body::{BodySize, MessageBody};
use actix_web::dev::{Payload, ServiceRequest, ServiceResponse};
use actix_web::error::PayloadError;
use actix_web::middleware::Next;
use actix_web::web::Bytes;
use actix_web::{Error, HttpMessage};
use futures_core::Stream;
use std::cell::Cell;
use std::io;
use std::pin::Pin;
use std::rc::Rc;
use std::task::{Context, Poll, ready};
use std::time::Duration;
use tokio::time::{Instant, Sleep, sleep_until};

/// Whether a request is under way on a connection; shared by the two who know.
#[derive(Clone, Default)]
pub struct Course(Rc<Cell<u32>>);

impl Course {
    pub fn is_under_way(&self) -> bool {
        self.0.get() > 0
    }

    fn begin(&self) -> UnderWay {
        self.0.set(self.0.get().saturating_add(1));
        UnderWay(self.clone())
    }
}

/// A request until its answer has been handed over.
struct UnderWay(Course);

impl Drop for UnderWay {
    fn drop(&mut self) {
        let count = &self.0.0;
        count.set(count.get().saturating_sub(1));
    }
}

pin_project_lite::pin_project! {
    /// An answer's body, which ends the course of its request.
    pub struct Ending<B> {
        #[pin]
        body: B,
        under_way: Option<UnderWay>,
    }
}

impl<B: MessageBody> MessageBody for Ending<B> {
    type Error = B::Error;

    fn size(&self) -> BodySize {
        self.body.size()
    }

    fn poll_next(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Result<Bytes, Self::Error>>> {
        self.project().body.poll_next(context)
    }
}

/// A request's body, which must keep moving.
struct Paced {
    body: Payload,
    got: u64,
    /// What the client let the server wait so far.
    waited: Duration,
    waiting: Option<(Instant, Pin<Box<Sleep>>)>,
}

impl Paced {
    fn allowed(&self) -> Duration {
        STALL + Duration::from_secs(self.got / BYTES_A_SECOND)
    }
}

impl Stream for Paced {
    type Item = Result<Bytes, PayloadError>;

    fn poll_next(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        let paced = self.get_mut();
        if let Poll::Ready(piece) = Pin::new(&mut paced.body).poll_next(context) {
            if let Some((since, _)) = paced.waiting.take() {
                paced.waited += since.elapsed();
            }
            if let Some(Ok(bytes)) = &piece {
                paced.got += bytes.len() as u64;
            }
            return Poll::Ready(piece);
        }
        let left = paced.allowed().saturating_sub(paced.waited);
        let (_, alarm) = paced.waiting.get_or_insert_with(|| {
            let now = Instant::now();
            (now, Box::pin(sleep_until(now + left)))
        });
        ready!(alarm.as_mut().poll(context));
        let late = io::Error::new(io::ErrorKind::TimedOut, "the body comes too slowly");
        Poll::Ready(Some(Err(PayloadError::Io(late))))
    }
}

/// Watches the request on its connection.
pub async fn watch(
    mut request: ServiceRequest,
    next: Next<impl MessageBody>,
) -> Result<ServiceResponse<impl MessageBody>, Error> {
    let under_way = request.conn_data::<Course>().map(Course::begin);
    let body = request.take_payload();
    request.set_payload(match body {
        Payload::None => Payload::None,
        body => {
            let paced = Paced { body, got: 0, waited: Duration::ZERO, waiting: None };
            Payload::Stream { payload: Box::pin(paced) }
        }
    });
    let response = next.call(request).await?;
    Ok(response.map_body(|_, body| Ending { body, under_way }))
}
