//! A shop whose webhooks are served, under a clock that the test turns. The receivers are on this machine, each named in the shop's rules.

use crate::ground::{Ground, Which, actor, shop, start};
use crate::receiver::{Heard, Receiver, until};
use sakudana::domain::webhook::Webhook;
use sakudana::domain::webhook::address::{AddressRules, HostPort};
use sakudana::domain::webhook::signature::{read_secret, verify};
use sakudana::jobs::webhooks::{Options, Serving};
use sakudana::ops::changes::{ChangeRow, FeedPosition, behind, cursor, newest};
use sakudana::ops::desk::Desk;
use sakudana::ops::failure::Failure;
use sakudana::ops::webhooks::{self, Draft, FreshSecret, Webhooks, fresh_secret};
use sakudana::outbound::webhook::Road;
use sakudana::store::StoreOptions;
use sakudana::store::acts::{self, NewAct};
use sakudana::units::instant::{Instant, MICROS_PER_SECOND};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, AtomicU8, Ordering};
use std::time::Duration;

/// Seconds a letter may take here.
pub const TIMEOUT_S: u64 = 1;

/// A clock that stands until it is turned.
#[derive(Clone)]
pub struct Clock(Arc<AtomicI64>);

impl Clock {
    pub fn now(&self) -> Instant {
        Instant::from_micros(self.0.load(Ordering::SeqCst)).unwrap()
    }
}

pub struct Stage {
    pub desk: Arc<Desk>,
    pub clock: Clock,
    rules: AddressRules,
    authority: Vec<Vec<u8>>,
    serving: Option<Serving>,
    ground: Ground,
}

/// Chance for the test: never the same twice.
pub fn chance() -> ([u8; 32], [u8; 32]) {
    static COUNT: AtomicU8 = AtomicU8::new(1);
    let number = COUNT.fetch_add(1, Ordering::SeqCst);
    ([number; 32], [255 - number; 32])
}

fn open(ground: &Ground, rules: &AddressRules, key: u8) -> Arc<Desk> {
    let options = StoreOptions { database: ground.address(), readers: 4 };
    let webhooks = Webhooks::of(rules.clone(), Box::new(move || Ok([key; 32])));
    Arc::new(Desk::open(&options, shop()).unwrap().with_webhooks(webhooks))
}

impl Stage {
    pub fn open(which: Which, receivers: &[&Receiver]) -> Stage {
        Stage::trusting(which, receivers, Vec::new())
    }

    /// The same, with certificates of an authority of the shop's own.
    pub fn trusting(which: Which, receivers: &[&Receiver], authority: Vec<Vec<u8>>) -> Stage {
        let at = |receiver: &&Receiver| HostPort::parse(&receiver.at.to_string()).unwrap();
        let rules = AddressRules { this_machine: receivers.iter().map(at).collect(), ..AddressRules::default() };
        let ground = Ground::open(which, 4);
        let clock = Clock(Arc::new(AtomicI64::new(start().micros())));
        let desk = open(&ground, &rules, 1);
        let mut stage = Stage { desk, clock, rules, authority, serving: None, ground };
        stage.serve();
        stage
    }

    fn options(&self, process: &str) -> Options {
        let (may, ours, clock) = (self.rules.clone(), self.rules.clone(), self.clock.clone());
        Options {
            road: Road {
                may_reach: Arc::new(move |host, port, address| may.may_reach(host, port, address)),
                is_ours: Arc::new(move |host, port| ours.is_of_the_shop(host, port)),
                authority: self.authority.clone(),
                timeout: Duration::from_secs(TIMEOUT_S),
            },
            clock: Arc::new(move || clock.now()),
            chance: || 0,
            process: process.to_owned(),
        }
    }

    /// Starts serving.
    pub fn serve(&mut self) {
        self.serving = Some(sakudana::jobs::webhooks::start(&self.desk, self.options("first")).unwrap());
    }

    /// Ends serving, in good order.
    pub fn stop(&mut self) {
        drop(self.serving.take());
    }

    /// Another process on the same database.
    pub fn another(&self) -> (Arc<Desk>, Serving) {
        let desk = open(&self.ground, &self.rules, 1);
        let serving = sakudana::jobs::webhooks::start(&desk, self.options("second")).unwrap();
        (desk, serving)
    }

    /// The same shop after its key was lost and made anew.
    pub fn with_another_key(&mut self) {
        self.stop();
        self.desk = open(&self.ground, &self.rules, 2);
        self.serve();
    }

    pub fn draft(&self, url: &str, kinds: &[&str]) -> Result<Draft, Failure> {
        let kinds: Vec<String> = kinds.iter().map(|kind| (*kind).to_owned()).collect();
        Draft::check(self.desk.webhooks(), url, &kinds)
    }

    pub fn secret(&self) -> FreshSecret {
        fresh_secret(self.desk.webhooks(), &chance()).unwrap()
    }

    /// A subscription that begins now, and its secret.
    pub fn subscribe(&self, url: &str, kinds: &[&str]) -> (i64, Vec<u8>) {
        self.settled();
        let (draft, secret, now) = (self.draft(url, kinds).unwrap(), self.secret(), self.clock.now());
        let written = read_secret(&secret.written).unwrap();
        let hook = self.desk.act(move |tx, _| webhooks::create(tx, &actor(), now, &draft, None, &secret)).unwrap();
        (hook.id, written)
    }

    /// An act that touches no tray.
    pub fn note(&self, said: &str) {
        note(&self.desk, said);
    }

    pub fn hook(&self, id: i64) -> Webhook {
        self.desk.look(|reading, _| webhooks::one(reading, id)).unwrap()
    }

    /// Waits until a subscription looks so.
    #[track_caller]
    pub fn until(&self, id: i64, what: &str, looks: impl Fn(&Webhook) -> bool) -> Webhook {
        until(what, || Some(self.hook(id)).filter(&looks))
    }

    /// Turns the clock to the moment at which a subscription is tried again.
    pub fn turn_to_next_try(&self, id: i64) {
        self.turn_to(self.hook(id).next_try_at);
    }

    pub fn turn(&self, seconds: i64) {
        self.turn_to(self.clock.now().plus_micros(seconds * MICROS_PER_SECOND));
    }

    fn turn_to(&self, at: Instant) {
        self.clock.0.fetch_max(at.micros(), Ordering::SeqCst);
        self.desk.bell().ring();
    }

    pub fn ask_for_test(&self, id: i64) {
        let now = self.clock.now();
        self.desk.act(move |tx, _| webhooks::ask_for_test(tx, now, id)).unwrap();
        self.desk.bell().ring();
    }

    pub fn replay(&self, id: i64, what: webhooks::Replay) {
        let now = self.clock.now();
        self.desk.act(move |tx, _| webhooks::replay(tx, &actor(), now, id, what)).unwrap();
        self.desk.bell().ring();
    }

    /// All changes behind a position, once those committed by now are settled.
    pub fn changes(&self, after: FeedPosition) -> Vec<ChangeRow> {
        self.settled();
        self.desk.look(|reading, _| behind(reading, after, 100_000)).unwrap()
    }

    pub fn newest(&self) -> FeedPosition {
        self.settled();
        self.desk.look(|reading, _| newest(reading)).unwrap()
    }

    /// Waits until all that is committed can be read: other tests on the same server hold it back while they write.
    fn settled(&self) {
        use diesel::prelude::*;
        #[derive(QueryableByName)]
        struct Number {
            #[diesel(sql_type = diesel::sql_types::BigInt)]
            number: i64,
        }
        let query = "SELECT COUNT(*) AS number FROM changes";
        let all = diesel::sql_query(query).get_result::<Number>(&mut self.ground.witness()).unwrap().number;
        until("the feed", || {
            let found = self.desk.look(|reading, _| behind(reading, FeedPosition::START, 100_000)).unwrap();
            (i64::try_from(found.len()).unwrap() >= all).then_some(())
        });
    }

    /// Every request is signed with the secret, at the time it says, and says of which change it is.
    pub fn signed(&self, secret: &[u8], heard: &[Heard]) {
        for one in heard {
            let (id, at, signature) = (one.id(), one.timestamp(), &one.headers["webhook-signature"]);
            assert_eq!(verify(secret, id, at, signature, one.body.as_bytes(), at), Ok(()), "{id}");
            assert_eq!(one.headers["content-type"], "application/json");
            assert!(one.body.len() < 20_000, "{}", one.body.len());
            assert!(at <= self.clock.now().micros() / MICROS_PER_SECOND);
        }
    }
}

pub fn note(desk: &Desk, said: &str) {
    let said = said.to_owned();
    desk.act(move |tx, _| {
        let act = NewAct {
            kind: "note",
            at: start(),
            recorded_at: start(),
            actor: "mika",
            reason: Some(&said),
            reverses: None,
        };
        acts::append(tx, &act)?;
        Ok::<_, Failure>(())
    })
    .unwrap();
}

/// The changes that requests tell of, by their cursors.
pub fn told(heard: &[Heard]) -> Vec<String> {
    heard.iter().map(|one| one.json()["data"]["cursor"].as_str().unwrap().to_owned()).collect()
}

pub fn cursors(changes: &[ChangeRow]) -> Vec<String> {
    changes.iter().map(|change| cursor(change.position)).collect()
}
