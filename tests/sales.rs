//! Sales that are done together leave exactly what they would have left one by one, on both databases, whatever they ask for and in
//! whatever company. `SAKUDANA_SALES_SEED` and `SAKUDANA_SALES_GROUPS` roll other and longer days.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "model/dice.rs"]
mod dice;
#[path = "model/ground.rs"]
mod ground;
#[path = "sales/stall.rs"]
mod stall;
mod support;

use dice::Dice;
use diesel::connection::SimpleConnection;
use ground::{Which, on_both, start};
use sakudana::domain::permissions::Role;
use sakudana::domain::refusal::Code;
use sakudana::ops::desk::{Actor, Desk};
use sakudana::ops::failure::Failure;
use sakudana::ops::once::{Answer, Request};
use sakudana::ops::sell::group::{Order, sell_together};
use sakudana::ops::sell::{Charged, ChargedLine, LineDraft, Sold, sell_charged};
use sakudana::store::error::StoreError;
use sakudana::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_MINUTE};
use stall::Stall;
use std::sync::Barrier;
use std::sync::mpsc::channel;
use std::thread;

on_both!(
    together_is_as_one_by_one,
    many_callers_empty_one_tub_and_no_more,
    one_key_at_once_is_one_sale,
    of_two_that_sell_one_tray_the_other_is_told,
    one_bad_sale_does_not_spoil_its_company,
    what_waits_is_done_before_the_end,
    a_price_that_the_tray_does_not_cost_is_refused,
);

fn from_environment(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).map_or(otherwise, |text| text.parse().unwrap())
}

fn speak(sold: Sold) -> (u16, String) {
    let Sold { sale, lines } = sold;
    (201, format!("(sale {}) at {} by {} for {}: {lines:?}", sale.id, sale.at, sale.sold_by, sale.total_cents))
}

fn line(tray: &str, grams: Option<i64>) -> ChargedLine {
    ChargedLine::from(&LineDraft { tray: tray.to_owned(), grams })
}

fn order(key: &str, who: &str, now: Instant, lines: Vec<ChargedLine>) -> Order {
    let fingerprint = format!("{lines:?}");
    let request = Request { client: "till".into(), route: "POST /v1/sales".into(), key: key.into(), fingerprint };
    Order { request, actor: Actor { name: who.into(), role: Role::Till }, now, lines, speak }
}

/// The same done by itself, by the plain way.
fn alone(desk: &Desk, order: &Order) -> Result<Answer, Failure> {
    let Order { request, actor, now, lines, speak } = order.clone();
    desk.act_once(request, now, move |tx, shop| Ok(speak(sell_charged(tx, shop, &actor, now, &lines)?)))
}

fn together(desk: &Desk, orders: Vec<Order>) -> Vec<Result<Answer, Failure>> {
    desk.act(move |tx, shop| sell_together(tx, shop, &orders)).unwrap()
}

fn code_of(answer: &Result<Answer, Failure>) -> Option<Code> {
    match answer {
        Err(Failure::Refused(refusal)) => Some(refusal.code),
        Err(other) => panic!("{other}"),
        Ok(_) => None,
    }
}

/// An answer with its numbers of sales counted without the gaps that a server leaves.
fn counted(answer: &Result<Answer, Failure>, numbers: &mut Vec<i64>) -> String {
    let text = format!("{answer:?}");
    let mut parts = text.split("(sale ");
    let mut out = parts.next().unwrap().to_owned();
    for part in parts {
        let (number, rest) = part.split_once(')').unwrap();
        let number: i64 = number.parse().unwrap();
        if !numbers.contains(&number) {
            numbers.push(number);
        }
        let rank = numbers.iter().position(|known| *known == number).unwrap();
        out += &format!("(sale {rank}){rest}");
    }
    out
}

/// A day of random sales: lines that fit, lines that do not, trays and keys again and again, some under other content.
struct Rolling<'a> {
    dice: Dice,
    stall: &'a Stall,
    sent: Vec<Order>,
}

impl Rolling<'_> {
    fn line(&mut self) -> ChargedLine {
        let tray = self.dice.pick(&self.stall.trays);
        let (code, kilogram) = (tray.code.to_string(), tray.price.get());
        // Tubs mostly by weight, blocks mostly whole.
        let tub = tray.kind == sakudana::domain::tray::Kind::Tub;
        let grams = if tub != self.dice.one_in(8) { Some(self.dice.between(-1, 130)) } else { None };
        let text = if self.dice.one_in(2) { code } else { self.dice.pick(&self.stall.texts).clone() };
        let mut line = line(&text, grams);
        if self.dice.one_in(4) {
            line.charged = Charged { price_per_kg_cents: Some(kilogram), price_cents: None };
        }
        if self.dice.one_in(12) {
            line.charged.price_cents = Some(self.dice.between(0, 3_000));
        }
        line
    }

    fn order(&mut self, now: Instant) -> Order {
        if !self.sent.is_empty() && self.dice.one_in(5) {
            let mut again = self.dice.pick(&self.sent).clone();
            again.now = now;
            if self.dice.one_in(4) {
                again.request.fingerprint.push('!');
            }
            return again;
        }
        let count = if self.dice.one_in(3) { self.dice.between(0, 5) } else { 1 };
        let lines = (0..count).map(|_| self.line()).collect();
        let who = ["Ines", "key till 2", "mika"][self.dice.below(3)];
        let order = order(&format!("key {}", self.sent.len()), who, now, lines);
        self.sent.push(order.clone());
        order
    }
}

fn together_is_as_one_by_one(which: Which) {
    let seed = from_environment("SAKUDANA_SALES_SEED", 20_261_126);
    let groups = from_environment("SAKUDANA_SALES_GROUPS", 24);
    for day in 0..from_environment("SAKUDANA_SALES_DAYS", 3) {
        one_day(which, seed + day, groups);
    }
}

fn one_day(which: Which, seed: u64, groups: u64) {
    let (plain, grouped) = (Stall::open(which), Stall::open(which));
    assert_eq!(plain.texts, grouped.texts, "the stalls are not twins");
    assert_eq!(plain.books(), grouped.books(), "the stalls are not twins");
    let mut rolling = Rolling { dice: Dice::new(seed), stall: &plain, sent: Vec::new() };
    let (mut plainly, mut in_groups) = (Vec::new(), Vec::new());
    let (mut sold, mut refused) = (0, std::collections::BTreeSet::new());
    let mut now = start().plus_micros(30 * MICROS_PER_MINUTE);
    for group in 0..groups {
        now = now.plus_micros(rolling.dice.between(0, 2 * MICROS_PER_HOUR));
        let count = rolling.dice.between(1, 24);
        let orders: Vec<Order> = (0..count)
            .map(|_| {
                let moment = now.plus_micros(rolling.dice.between(-1_000_000, 1_000_000));
                rolling.order(moment)
            })
            .collect();
        let one_by_one: Vec<_> = orders.iter().map(|order| alone(&plain.ground.desk, order)).collect();
        let at_once = together(&grouped.ground.desk, orders.clone());
        for ((order, plain), grouped) in orders.iter().zip(&one_by_one).zip(&at_once) {
            let (plain, grouped) = (counted(plain, &mut plainly), counted(grouped, &mut in_groups));
            assert_eq!(plain, grouped, "seed {seed}, group {group}: {order:#?}");
        }
        sold += one_by_one.iter().filter(|answer| answer.as_ref().is_ok_and(|answer| !answer.replayed)).count();
        refused.extend(one_by_one.iter().filter_map(code_of));
    }
    for (plain, grouped) in plain.books().iter().zip(&grouped.books()) {
        assert_eq!(plain, grouped, "seed {seed}");
    }
    assert_eq!(plain.books().len(), grouped.books().len(), "seed {seed}");
    if which == Which::Sqlite {
        assert_eq!(plainly, in_groups, "seed {seed}: with one writer the numbers are the same too");
    }
    plain.clean();
    grouped.clean();
    // A day on which nothing was sold, or everything, would show nothing.
    assert!(sold > 20, "seed {seed}: {sold} sales");
    for code in [Code::AlreadySold, Code::OnHold, Code::KeyReused, Code::PriceDiffers, Code::InsufficientStock] {
        assert!(refused.contains(&code), "seed {seed}: {} is not among {refused:?}", code.as_str());
    }
}

fn many_callers_empty_one_tub_and_no_more(which: Which) {
    let stall = Stall::open(which);
    let tub = stall.trays[7].clone();
    let (code, held) = (tub.code.to_string(), tub.net.get());
    let now = start().plus_micros(MICROS_PER_MINUTE);
    let (ready, desk) = (Barrier::new(64), &stall.ground.desk);
    let draw = |caller: usize| {
        ready.wait();
        let draw = |n: usize| {
            let answer = desk.sell_now(order(&format!("{caller}/{n}"), "till", now, vec![line(&code, Some(5))]));
            match code_of(&answer) {
                None => 5,
                Some(Code::AlreadySold | Code::InsufficientStock) => 0,
                Some(other) => panic!("{}", other.as_str()),
            }
        };
        (0..3).map(draw).sum::<i64>()
    };
    let sold: i64 = thread::scope(|scope| {
        let callers: Vec<_> = (0..64).map(|caller| scope.spawn(move || draw(caller))).collect();
        callers.into_iter().map(|caller| caller.join().unwrap()).sum()
    });
    assert!(64 * 3 * 5 > held, "there is enough for everybody: nothing is shown");
    assert_eq!(sold, held, "{held} g are a multiple of 5");
    stall.clean();
}

fn one_key_at_once_is_one_sale(which: Which) {
    let stall = Stall::open(which);
    let now = start().plus_micros(MICROS_PER_MINUTE);
    let same = order("the same key", "till", now, vec![line(&stall.trays[7].code.to_string(), Some(50))]);
    let mut other = same.clone();
    other.request.fingerprint.push('!');
    let (sender, answers) = channel();
    for n in 0..40 {
        let (order, sender) = (if n % 8 == 7 { other.clone() } else { same.clone() }, sender.clone());
        stall.ground.desk.sell_later(order, Box::new(move |answer| sender.send((n, answer)).unwrap()));
    }
    drop(sender);
    let answers: Vec<_> = answers.iter().collect();
    let mine: Vec<&Answer> = answers.iter().filter(|(n, _)| n % 8 != 7).map(|(_, a)| a.as_ref().unwrap()).collect();
    assert_eq!((answers.len(), mine.iter().filter(|answer| !answer.replayed).count()), (40, 1));
    assert!(mine.iter().all(|answer| answer.body == mine[0].body), "{mine:?}");
    assert!(answers.iter().all(|(n, answer)| n % 8 != 7 || code_of(answer) == Some(Code::KeyReused)), "{answers:?}");
    stall.clean();
}

/// By whom and when, whether both come in one group or one after the other.
fn of_two_that_sell_one_tray_the_other_is_told(which: Which) {
    let stall = Stall::open(which);
    let (first, second) = (start().plus_micros(MICROS_PER_MINUTE), start().plus_micros(2 * MICROS_PER_MINUTE));
    let text = stall.trays[0].code.to_string();
    let orders = vec![
        order("key a", "Ines", first, vec![line(&text, None)]),
        order("key b", "mika", second, vec![line(&text, None)]),
    ];
    let answers = together(&stall.ground.desk, orders);
    assert!(answers[0].is_ok(), "{answers:?}");
    let later = together(&stall.ground.desk, vec![order("key c", "mika", second, vec![line(&text, None)])]);
    for answer in [&answers[1], &later[0]] {
        let Err(Failure::Refused(refusal)) = answer else { panic!("{answer:?}") };
        assert_eq!((refusal.code, refusal.findings.len()), (Code::AlreadySold, 1));
        let reason = &refusal.findings[0].reason;
        assert!(reason.starts_with(&format!("sold at {first} by Ines (sale ")), "{reason}");
    }
    stall.clean();
}

fn stop_by_a_defect(_: Sold) -> (u16, String) {
    panic!("a defect of the test's own")
}

/// A tray that cannot be read and a sale that panics are their own callers' trouble.
fn one_bad_sale_does_not_spoil_its_company(which: Which) {
    let stall = Stall::open(which);
    let broken = &stall.trays[3];
    let damage = format!("UPDATE trays SET label_wanted = 'nobody knows' WHERE id = {}", broken.id);
    stall.ground.witness().batch_execute(&damage).unwrap();
    let now = start().plus_micros(MICROS_PER_MINUTE);
    let (sender, answers) = channel();
    for n in 0..30_usize {
        let tray = if n == 11 { broken } else { &stall.trays[7] };
        let grams = if n == 11 { None } else { Some(3) };
        let mut order = order(&format!("key {n}"), "till", now, vec![line(&tray.code.to_string(), grams)]);
        if n == 17 {
            order.speak = stop_by_a_defect;
        }
        let sender = sender.clone();
        stall.ground.desk.sell_later(order, Box::new(move |answer| sender.send((n, answer)).unwrap()));
    }
    drop(sender);
    let mut answers: Vec<_> = answers.iter().collect();
    answers.sort_by_key(|(n, _)| *n);
    for (n, answer) in &answers {
        match n {
            11 => assert!(matches!(answer, Err(Failure::Store(StoreError::Inconsistent(_)))), "{answer:?}"),
            17 => assert_eq!(answer, &Err(Failure::Store(StoreError::Panicked))),
            _ => assert!(answer.is_ok(), "{n}: {answer:?}"),
        }
    }
    assert_eq!(answers.len(), 30);
    let mend = format!("UPDATE trays SET label_wanted = NULL WHERE id = {}", broken.id);
    stall.ground.witness().batch_execute(&mend).unwrap();
    stall.clean();
    let left = stall.books().into_iter().filter(|row| row.starts_with("sales: ")).count();
    assert_eq!(left, 28, "what failed left nothing");
}

fn what_waits_is_done_before_the_end(which: Which) {
    let stall = Stall::open(which);
    let now = start().plus_micros(MICROS_PER_MINUTE);
    let (sender, answers) = channel();
    for n in 0..120 {
        let order = order(&format!("key {n}"), "till", now, vec![line(&stall.trays[7].code.to_string(), Some(1))]);
        let sender = sender.clone();
        stall.ground.desk.sell_later(order, Box::new(move |answer| sender.send(answer).unwrap()));
    }
    drop((sender, stall));
    assert_eq!(answers.iter().map(Result::unwrap).count(), 120);
}

fn a_price_that_the_tray_does_not_cost_is_refused(which: Which) {
    let stall = Stall::open(which);
    // 268 g at 60.00, marked down from 79.50: 16.08, computed.
    let (code, now) = (stall.trays[2].code.to_string(), start().plus_micros(MICROS_PER_MINUTE));
    let charged = |price_per_kg_cents, price_cents| {
        let mut line = line(&code, None);
        line.charged = Charged { price_per_kg_cents, price_cents };
        let key = format!("key {price_per_kg_cents:?} {price_cents:?}");
        stall.ground.desk.sell_now(order(&key, "till", now, vec![line]))
    };
    for (kilogram, line, expected) in [
        (Some(7_950), None, vec!["price_per_kg_cents"]),
        (None, Some(2_131), vec!["price_cents"]),
        (Some(6_000), Some(1_607), vec!["price_cents"]),
        (Some(-1), Some(i64::MAX), vec!["price_per_kg_cents", "price_cents"]),
    ] {
        let Err(Failure::Refused(refusal)) = charged(kilogram, line) else { panic!("was sold") };
        let fields: Vec<&str> = refusal.findings.iter().map(|f| f.field.rsplit('/').next().unwrap()).collect();
        assert_eq!((refusal.code, fields), (Code::PriceDiffers, expected));
    }
    assert!(charged(Some(6_000), Some(1_608)).is_ok());
    stall.clean();
}
