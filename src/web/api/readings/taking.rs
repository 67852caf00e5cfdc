//! Carries readings from the wire to the shop, some thousand lines at a time: nothing more is read while a batch is being stored, so that
//! a file of any length needs the memory of one batch.

use super::{MOST, json};
use crate::domain::logger::csv::Reader;
use crate::domain::logger::lines::{Raw, Splitter};
use crate::domain::logger::tally::Tally;
use crate::domain::logger::{Fault, Line, Options};
use crate::ops::failure::Failure;
use crate::ops::take_readings::{self, Delivery, Follows};
use crate::ops::watch;
use crate::web::body;
use crate::web::call::Look;
use crate::web::permit::PostReadings;
use crate::web::problem::{Problem, Speech};
use crate::web::stream::Pieces;
use actix_web::{HttpRequest, web};
use std::sync::Arc;

/// Lines of one transaction.
const BATCH: usize = 5_000;
/// Largest streamed body.
const STREAM_LIMIT: usize = 256 * 1024 * 1024;
/// Largest JSON body: 10,000 readings, generously spaced.
const JSON_LIMIT: usize = 2 * 1024 * 1024;

/// What a body is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Json,
    JsonLines,
    Csv,
}

impl Kind {
    pub fn of(request: &HttpRequest) -> Result<Kind, Problem> {
        match actix_web::HttpMessage::content_type(request).to_ascii_lowercase().as_str() {
            "application/json" => Ok(Kind::Json),
            "application/x-ndjson" => Ok(Kind::JsonLines),
            "text/csv" => Ok(Kind::Csv),
            _ => {
                let reason = "must be application/json, application/x-ndjson or text/csv";
                Err(Problem::at(Speech::MediaType, "Content-Type", reason))
            }
        }
    }
}

/// One delivery on its way.
pub struct Courier {
    look: Look<PostReadings>,
    delivery: Arc<Delivery>,
    batch: Vec<Line>,
    tally: Tally,
    follows: Follows,
}

impl Courier {
    pub async fn begin(look: Look<PostReadings>, code: String) -> Result<Courier, Problem> {
        let begun = look.ask(move |desk, _| desk.look(|reading, _| take_readings::begin(reading, &code))).await?;
        Ok(Courier {
            look,
            delivery: Arc::new(begun),
            batch: Vec::new(),
            tally: Tally::default(),
            follows: Follows::default(),
        })
    }

    /// Takes the whole body; gives the code of the place and what became of the lines.
    pub async fn take(
        mut self,
        kind: Kind,
        options: Options,
        request: &HttpRequest,
        payload: web::Payload,
    ) -> Result<(String, Tally, Follows), Problem> {
        let limit = if kind == Kind::Json { JSON_LIMIT } else { STREAM_LIMIT };
        let pieces = Pieces::of(request, payload, limit)?;
        let taken = match kind {
            Kind::Json => self.json(pieces).await,
            Kind::JsonLines => self.json_lines(pieces).await,
            Kind::Csv => self.csv(pieces, options).await,
        };
        match taken {
            Ok(()) => {
                // What the readings mean for the trays that stand there now is not left to the next minute.
                self.follows.alarms_changed += self.look.ask(watch::round).await?;
                Ok((self.delivery.place.clone(), self.tally, self.follows))
            }
            Err(problem) => Err(partly(problem, &self.tally)),
        }
    }

    async fn json(&mut self, pieces: Pieces) -> Result<(), Problem> {
        let body = body::parse::<json::PostReadingsBody>(&pieces.whole().await?)?.value;
        if i64::try_from(body.readings.len()).is_ok_and(|count| count > MOST) {
            let reason = format!("must be at most {MOST}; send more as application/x-ndjson, a reading a line");
            return Err(Problem::invalid("readings", reason));
        }
        self.batch = (1..).zip(body.readings).map(|(number, value)| json::of_value(number, value)).collect();
        self.deliver(1).await
    }

    async fn json_lines(&mut self, mut pieces: Pieces) -> Result<(), Problem> {
        let mut splitter = Splitter::default();
        let read = |batch: &mut Vec<Line>, number, raw: Raw<'_>| match raw {
            Raw::Whole(line) => batch.extend(json::of_line(number, line)),
            Raw::TooLong => batch.push(Line { number, found: Err(Fault::unreadable("is longer than 4096 bytes")) }),
        };
        while let Some(piece) = pieces.next().await? {
            splitter.push(&piece, &mut |number, raw| read(&mut self.batch, number, raw));
            self.deliver(BATCH).await?;
        }
        splitter.finish(&mut |number, raw| read(&mut self.batch, number, raw));
        self.deliver(1).await
    }

    async fn csv(&mut self, mut pieces: Pieces, options: Options) -> Result<(), Problem> {
        let mut reader = Reader::new(options);
        let refused = |refusal| Problem::from(Failure::Refused(refusal));
        while let Some(piece) = pieces.next().await? {
            reader.push(&piece, &mut |line| self.batch.push(line)).map_err(refused)?;
            self.deliver(BATCH).await?;
        }
        reader.finish(&mut |line| self.batch.push(line)).map_err(refused)?;
        self.deliver(1).await
    }

    /// Stores what waits as long as that is at least so many lines.
    async fn deliver(&mut self, least: usize) -> Result<(), Problem> {
        while self.batch.len() >= least.max(1) {
            let rest = self.batch.split_off(self.batch.len().min(BATCH));
            let lines = Arc::new(std::mem::replace(&mut self.batch, rest));
            let (actor, delivery) = (self.look.actor.clone(), Arc::clone(&self.delivery));
            let taken =
                self.look.ask(move |desk, now| take_readings::deliver(desk, &actor, now, &delivery, lines)).await?;
            self.tally.add(taken.tally);
            self.follows.add(taken.follows);
        }
        Ok(())
    }
}

/// Says how far it came.
fn partly(mut problem: Problem, tally: &Tally) -> Problem {
    let taken = tally.lines();
    if taken > 0 {
        let told = format!("{taken} lines were read and what they said stays: send it again, nothing is taken twice");
        problem.detail = format!("{}; {told}", problem.detail);
    }
    problem
}
