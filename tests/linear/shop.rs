//! An open desk that answers the calls of a history, on either database.

use std::sync::Mutex;

use sakudana::domain::permissions::Role;
use sakudana::domain::refusal::Refusal;
use sakudana::ops::desk::Actor;
use sakudana::ops::failure::Failure;
use sakudana::ops::mark_down::mark_down;
use sakudana::ops::scan::scan;
use sakudana::ops::sell::{LineDraft, reverse, sell};
use sakudana::ops::take_out::{Whither, take_out};
use sakudana::ops::verify::verify;
use sakudana::store::error::StoreError;
use sakudana::units::instant::{Instant, MICROS_PER_SECOND};

use crate::Shop;
use crate::ground::{Ground, Which, chill, start};
use crate::program::{BLOCK_G, Plan, TUB_G};
use crate::spec::{Call, Said, Tray};

/// Trays of each kind that one fish gives.
const OF_A_FISH: usize = 200;

/// Blocks and tubs that nobody has touched, and what cuts more of them.
pub struct Larder {
    untouched: Mutex<[Vec<String>; 2]>,
}

impl Larder {
    pub fn empty() -> Larder {
        Larder { untouched: Mutex::default() }
    }

    /// Trays for a plan; `cut` gives many blocks, or many tubs.
    pub fn take(&self, trays: &[Tray], cut: impl Fn(bool, usize) -> Vec<String>) -> Vec<String> {
        let mut untouched = self.untouched.lock().unwrap();
        let one = |tray: &Tray| {
            let kind = &mut untouched[usize::from(tray.tub)];
            if kind.is_empty() {
                *kind = cut(tray.tub, OF_A_FISH);
            }
            kind.pop().expect("a fish gives trays")
        };
        trays.iter().map(one).collect()
    }
}

pub struct OpenDesk {
    ground: Ground,
    larder: Larder,
}

fn now() -> Instant {
    start().plus_micros(3_600 * MICROS_PER_SECOND)
}

fn refusal(refusal: &Refusal) -> Said {
    Said::Refused(refusal.code.as_str().to_owned(), told_number(refusal.code.as_str(), &refusal.findings[0].reason))
}

/// The number in the words of a refused sale of one tray: the sale it went out with, `sold at … by … (sale 7)`, or what is left,
/// `the tub holds 50 g`.
pub fn told_number(code: &str, reason: &str) -> Option<i64> {
    let behind = match code {
        "already_sold" => reason.split_once("(sale ")?.1,
        "insufficient_stock" => reason.split_once("the tub holds ")?.1,
        _ => return None,
    };
    behind.split([' ', ')']).next()?.parse().ok()
}

impl OpenDesk {
    pub fn open(which: Which) -> OpenDesk {
        let ground = Ground::open(which, 8);
        ground.place("case", chill(0, 2_000));
        OpenDesk { ground, larder: Larder::empty() }
    }

    fn cut(&self, tub: bool, count: usize) -> Vec<String> {
        let (cut, grams) = if tub { ("scrape", TUB_G) } else { ("saku", BLOCK_G) };
        self.ground.trays(cut, count, grams)
    }

    fn done(&self, trays: &[String], caller: usize, call: &Call) -> Result<Said, Failure> {
        let (desk, actor) = (&self.ground.desk, Actor { name: format!("till {caller}"), role: Role::Manager });
        let code = |tray: usize| trays[tray].clone();
        match call.clone() {
            Call::Sell(lines) => {
                let lines: Vec<LineDraft> =
                    lines.into_iter().map(|(tray, grams)| LineDraft { tray: code(tray), grams }).collect();
                let sold = desk.act(move |tx, shop| sell(tx, shop, &actor, now(), &lines))?;
                Ok(Said::Sold { sale: sold.sale.id, cents: sold.sale.total_cents })
            }
            Call::Kitchen(tray, grams) => {
                let code = code(tray);
                let kitchen = Whither::Kitchen;
                let left = desk.act(move |tx, shop| take_out(tx, shop, &actor, now(), &code, kitchen, grams, None))?;
                Ok(Said::Taken(left.net.get()))
            }
            Call::MarkDown(tray, price) => {
                let code = code(tray);
                desk.act(move |tx, shop| mark_down(tx, shop, &actor, now(), &code, price, "evening"))?;
                Ok(Said::MarkedDown)
            }
            Call::Reverse(sale, _) => {
                desk.act(move |tx, shop| reverse(tx, shop, &actor, now(), sale, "mis-scan"))?;
                Ok(Said::Reversed)
            }
            Call::Scan(tray) => {
                let seen = desk.look(|reading, shop| scan(reading, shop, now(), &code(tray)))?;
                let stop = seen.verdict.stops.first().map(|stop| stop.code.as_str());
                Ok(Said::Seen {
                    grams: seen.facts.tray.net.get(),
                    price: seen.facts.tray.price.get(),
                    verdict: stop.unwrap_or(seen.verdict.outcome.as_str()).to_owned(),
                    sale: seen.sold.map(|sale| sale.id),
                })
            }
        }
    }
}

impl Shop for OpenDesk {
    fn trays(&self, plan: &Plan) -> Vec<String> {
        self.larder.take(&plan.trays, |tub, count| self.cut(tub, count))
    }

    fn answer(&self, trays: &[String], caller: usize, call: &Call) -> Said {
        match self.done(trays, caller, call) {
            Ok(said) => said,
            Err(Failure::Refused(refused)) => only_of_one_tray(call, refusal(&refused)),
            Err(Failure::Store(StoreError::Busy(_) | StoreError::Collision(_))) => Said::Nothing,
            Err(Failure::Store(error)) => panic!("the store failed: {error}"),
        }
    }

    fn holds_together(&self) {
        let findings = self.ground.desk.look(|reading, _| verify(reading)).unwrap();
        let broken: Vec<_> = findings.into_iter().filter(|finding| !finding.wrong.is_empty()).collect();
        assert!(broken.is_empty(), "{broken:?}");
    }
}

/// Only a refused sale of one tray is held to what it says besides its code.
pub fn only_of_one_tray(call: &Call, said: Said) -> Said {
    match (call, said) {
        (Call::Sell(lines), said) if lines.len() == 1 => said,
        (_, Said::Refused(code, _)) => Said::Refused(code, None),
        (_, said) => said,
    }
}
