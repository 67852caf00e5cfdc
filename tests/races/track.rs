//! Where races are run: a desk, fish cut for it, and 64 callers that go for the same tray at the same moment.

use std::sync::Barrier;
use std::thread;

use diesel::prelude::*;
use diesel::sql_types::BigInt;
use sakudana::domain::permissions::Role;
use sakudana::ops::desk::{Actor, Desk};
use sakudana::ops::failure::Failure;
use sakudana::ops::sell::{LineDraft, sell};
use sakudana::ops::verify::verify;
use sakudana::units::instant::{Instant, MICROS_PER_SECOND};

use crate::ground::{Ground, Which, chill, start};
use crate::heard::Heard;

pub const THREADS: usize = 64;

/// The name under which a caller sells.
pub fn seller(number: usize) -> String {
    format!("till-{number:02}")
}

/// When a caller says it sells: another instant for each, so that a loser told one can be held to it.
pub fn begins(number: usize) -> Instant {
    start().plus_micros(3_600 * MICROS_PER_SECOND + i64::try_from(number).unwrap())
}

pub struct Track {
    ground: Ground,
}

#[derive(QueryableByName)]
struct Number {
    #[diesel(sql_type = BigInt)]
    number: i64,
}

impl Track {
    pub fn open(which: Which) -> Track {
        let ground = Ground::open(which, 2);
        ground.place("case", chill(0, 2_000));
        Track { ground }
    }

    /// So many trays of one cut and weight, out of one fish.
    pub fn cut(&self, cut: &'static str, count: usize, grams: i64) -> Vec<String> {
        self.ground.trays(cut, count, grams)
    }

    /// One race for each tray: nobody begins before all are there. What each caller heard, tray by tray.
    pub fn race(&self, trays: &[String], grams: Option<i64>) -> Vec<Vec<Heard>> {
        let (line_up, desk) = (&Barrier::new(THREADS), &self.ground.desk);
        let run = |number: usize| {
            let actor = Actor { name: seller(number), role: Role::Till };
            let one = |tray: &String| {
                line_up.wait();
                sell_one(desk, &actor, begins(number), tray, grams)
            };
            trays.iter().map(one).collect::<Vec<Heard>>()
        };
        let by_caller: Vec<Vec<Heard>> = thread::scope(|scope| {
            let callers: Vec<_> = (0..THREADS).map(|number| scope.spawn(move || run(number))).collect();
            callers.into_iter().map(|caller| caller.join().unwrap()).collect()
        });
        let of_tray = |tray: usize| by_caller.iter().map(|heard| heard[tray].clone()).collect();
        (0..trays.len()).map(of_tray).collect()
    }

    /// Rows of a table, past the program.
    pub fn count(&self, rows: &str) -> usize {
        usize::try_from(self.number(&format!("SELECT COUNT(*) AS number FROM {rows}"))).unwrap()
    }

    pub fn left_in(&self, tray: &str) -> i64 {
        self.number(&format!("SELECT net_g AS number FROM trays WHERE code = '{tray}'"))
    }

    fn number(&self, query: &str) -> i64 {
        diesel::sql_query(query).get_result::<Number>(&mut self.ground.witness()).unwrap().number
    }

    pub fn holds_together(&self) {
        let findings = self.ground.desk.look(|reading, _| verify(reading)).unwrap();
        let broken: Vec<_> = findings.into_iter().filter(|finding| !finding.wrong.is_empty()).collect();
        assert!(broken.is_empty(), "{broken:?}");
    }
}

/// The one place where a race calls the shop.
fn sell_one(desk: &Desk, actor: &Actor, at: Instant, tray: &str, grams: Option<i64>) -> Heard {
    let (actor, line) = (actor.clone(), LineDraft { tray: tray.to_owned(), grams });
    match desk.act(move |tx, shop| sell(tx, shop, &actor, at, std::slice::from_ref(&line)).map(drop)) {
        Ok(()) => Heard::Sold,
        Err(Failure::Refused(refusal)) => {
            Heard::Refused { code: refusal.code.as_str(), reason: refusal.findings[0].reason.clone() }
        }
        Err(Failure::Store(error)) => panic!("the store failed: {error}"),
    }
}
