//! The shop that is killed: its server process, one key for each till, fish when it is wanted, and everything its books say. Decides
//! nothing.

use std::collections::{BTreeMap, BTreeSet};
use std::process::{Command, Output};
use std::thread;
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::opening::{self, text};
use crate::program::{BLOCK_G, BLOCKS, Slot, TILLS, TUB_G, TUBS};
use crate::support::http::Client;
use crate::support::server::Server;

/// The trays of a few rounds.
#[derive(Debug, Clone, Default)]
pub struct Stock {
    pub blocks: Vec<String>,
    pub tubs: Vec<String>,
}

impl Stock {
    pub fn code(&self, slot: Slot) -> &str {
        match slot {
            Slot::Block(number) => &self.blocks[number],
            Slot::Tub(number) => &self.tubs[number],
        }
    }

    /// Every tray with its weight at the beginning.
    pub fn full(&self) -> BTreeMap<String, i64> {
        let blocks = self.blocks.iter().map(|code| (code.clone(), BLOCK_G));
        blocks.chain(self.tubs.iter().map(|code| (code.clone(), TUB_G))).collect()
    }
}

/// An act as the feed tells it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Told {
    pub actor: String,
    pub kind: String,
    pub reason: Option<String>,
}

/// What the books say of the time since a mark.
#[derive(Debug, Clone, Default)]
pub struct Books {
    pub acts: Vec<Told>,
    /// Without their lines.
    pub sales: BTreeMap<i64, Value>,
    /// What the manager is told of replayed sales, by sale and line.
    pub exceptions: BTreeMap<(i64, i64), Value>,
    /// The sales these are of, with their lines.
    pub contradicted: BTreeMap<i64, Value>,
    /// What is in stock, and how much.
    pub trays: BTreeMap<String, i64>,
    /// Where the feed was read to.
    pub cursor: String,
}

/// Where a stock begins in the books. The feed goes on where it was last read, so that an act that shows late is not passed over.
#[derive(Debug, Clone)]
pub struct Mark {
    cursor: String,
    last_sale: i64,
}

pub struct Counter {
    pub server: Server,
    /// What `--database` takes.
    pub database: String,
    manager: String,
    tills: Vec<String>,
    fish: usize,
    cursor: String,
}

/// A database server that was killed takes nobody while it plays its log again.
const PATIENCE: Duration = Duration::from_secs(60);

/// `sakudana verify`, beside the server: as soon as the database lets it in.
pub fn verify(database: &str) -> Output {
    let end = Instant::now() + PATIENCE;
    loop {
        let mut command = Command::new(env!("CARGO_BIN_EXE_sakudana"));
        let output = command.args(["verify", "--database", database]).output().expect("the program runs");
        let shut_out = String::from_utf8_lossy(&output.stderr).contains("the database cannot be used");
        if !shut_out || Instant::now() > end {
            return output;
        }
        thread::sleep(Duration::from_millis(100));
    }
}

/// The name in the books of a till.
pub fn actor(till: usize) -> String {
    format!("key till {till:02}")
}

impl Counter {
    /// Opens a shop on an empty database.
    pub fn open(database: &str) -> Counter {
        let server = Server::start_on(database);
        let owner = opening::owner(&server);
        let tills = (0..TILLS).map(|till| opening::key(&owner, &format!("till {till:02}"), "counter")).collect();
        let newest = owner.get("/v1/changes?after=now").send().expect(200).json();
        let (manager, cursor) = (opening::key(&owner, "manager", "manager"), text(&newest["cursor"]));
        let counter = Counter { manager, cursor, tills, server, database: database.to_owned(), fish: 0 };
        opening::fill_catalogue(&counter.manager());
        counter
    }

    pub fn manager(&self) -> Client {
        self.server.client().with_key(&self.manager)
    }

    pub fn till(&self, number: usize) -> Client {
        self.server.client().with_key(&self.tills[number])
    }

    /// The server on the same database again.
    pub fn start_again(&mut self) {
        self.server = Server::start_on(&self.database);
    }

    /// Clears the counter of what is left and cuts a fish for the next rounds.
    pub fn refill(&mut self) -> (Stock, Mark) {
        self.fish += 1;
        let (manager, name) = (self.manager(), format!("manager-fish-{:06}", self.fish));
        let left: Vec<Value> = self.in_stock().keys().map(|code| json!({"tray_code": code, "counted_g": 0})).collect();
        if !left.is_empty() {
            let body = json!({"lines": left, "reason": "end of the day"});
            manager.post("/v1/counts").idempotency_key(&format!("{name}-count")).json(&body).send().expect(201);
        }
        let parts = [(opening::BLOCK.0, BLOCK_G, BLOCKS), (opening::TUB.0, TUB_G, TUBS)];
        let mut blocks = opening::cut_a_fish(&manager, &name, &parts);
        let tubs = blocks.split_off(BLOCKS);
        (Stock { blocks, tubs }, self.mark())
    }

    fn mark(&self) -> Mark {
        let newest = self.manager().get("/v1/sales?limit=1").send().expect(200).json();
        Mark { cursor: self.cursor.clone(), last_sale: newest[0]["sale_id"].as_i64().unwrap_or(0) }
    }

    /// Everything in the books since `mark`, and what is in stock now.
    pub fn books(&self, mark: &Mark) -> Books {
        let (acts, cursor) = self.acts_since(mark);
        let exceptions = self.exceptions_since(mark);
        let (manager, of_sales) = (self.manager(), exceptions.keys().map(|(sale, _)| *sale).collect::<BTreeSet<i64>>());
        let read = |id: i64| (id, manager.get(&format!("/v1/sales/{id}")).send().expect(200).json());
        let contradicted = of_sales.into_iter().map(read).collect();
        Books { acts, cursor, sales: self.sales_since(mark), exceptions, contradicted, trays: self.in_stock() }
    }

    /// What was read is done with: the next stock begins behind it.
    pub fn close(&mut self, books: Books) {
        self.cursor = books.cursor;
    }

    /// An act that touched several trays stands in the feed once for each; it is one act all the same. What is told without an act,
    /// nobody did.
    fn acts_since(&self, mark: &Mark) -> (Vec<Told>, String) {
        let (manager, mut cursor, mut acts) = (self.manager(), mark.cursor.clone(), BTreeMap::new());
        loop {
            let page = manager.get(&format!("/v1/changes?after={cursor}&limit=200")).send().expect(200).json();
            let changes = page["changes"].as_array().unwrap();
            acts.extend(changes.iter().filter_map(|change| Some((change["act_id"].as_i64()?, told(change)))));
            if changes.is_empty() {
                return (acts.into_values().collect(), cursor);
            }
            cursor = text(&page["cursor"]);
        }
    }

    fn sales_since(&self, mark: &Mark) -> BTreeMap<i64, Value> {
        let sales = self.all_pages("/v1/sales?limit=200", |sale| sale["sale_id"].as_i64() > Some(mark.last_sale));
        sales.into_iter().map(|sale| (sale["sale_id"].as_i64().unwrap(), sale)).collect()
    }

    fn exceptions_since(&self, mark: &Mark) -> BTreeMap<(i64, i64), Value> {
        let of_sale = |exception: &Value| exception["sale_id"].as_i64().unwrap();
        // Nobody settles one, so that the newest come first.
        let found = self.all_pages("/v1/exceptions?limit=200", |exception| of_sale(exception) > mark.last_sale);
        let named = |exception: Value| ((of_sale(&exception), exception["line"].as_i64().unwrap()), exception);
        found.into_iter().map(named).collect()
    }

    fn in_stock(&self) -> BTreeMap<String, i64> {
        let trays = self.all_pages("/v1/trays?limit=200", |_| true);
        trays.iter().map(|tray| (text(&tray["tray_code"]), tray["net_weight_g"].as_i64().unwrap())).collect()
    }

    /// The things of a list, page after page, while `wanted`.
    fn all_pages(&self, first: &str, wanted: impl Fn(&Value) -> bool) -> Vec<Value> {
        let (manager, mut path, mut found) = (self.manager(), first.to_owned(), Vec::new());
        loop {
            let page = manager.get(&path).send().expect(200);
            let things = page.json().as_array().unwrap().clone();
            let more = things.iter().all(&wanted);
            found.extend(things.into_iter().take_while(|thing| wanted(thing)));
            // `Link: </v1/sales?cursor=...>; rel="next"`
            match page.header("link").and_then(|link| link.split(['<', '>']).nth(1)) {
                Some(next) if more => next.clone_into(&mut path),
                _ => return found,
            }
        }
    }
}

fn told(change: &Value) -> Told {
    Told {
        actor: text(&change["actor"]),
        kind: text(&change["kind"]),
        reason: change["reason"].as_str().map(Into::into),
    }
}
