//! A server that answers the calls of a history over HTTP, each caller with a key of its own.

use std::process::Command;
use std::sync::atomic::{AtomicUsize, Ordering};

use serde_json::{Value, json};

use crate::Shop;
use crate::opening::{BLOCK, TUB, cut_a_fish, fill_catalogue, key, owner};
use crate::program::{BLOCK_G, Plan, TUB_G};
use crate::shop::{Larder, only_of_one_tray, told_number};
use crate::spec::{Call, Said};
use crate::support::http::{Answer, Client};
use crate::support::postgres::{Database, fresh_database};
use crate::support::server::{Kind, Server};

const CALLERS: usize = 8;

pub struct Served {
    manager: Client,
    callers: Vec<Client>,
    larder: Larder,
    keys: AtomicUsize,
    database: String,
    // The server ends before its database goes.
    _server: EndedByDrop,
    _guard: Option<Database>,
    _folder: tempfile::TempDir,
}

/// Keeps the process; callers on other threads need none of it.
struct EndedByDrop(#[allow(dead_code, reason = "held, not read")] std::sync::Mutex<Server>);

impl Served {
    pub fn start(kind: Kind) -> Served {
        let folder = tempfile::tempdir().unwrap();
        let guard = (kind == Kind::Postgres).then(fresh_database);
        let file = || folder.path().join("shop.db").display().to_string();
        let database = guard.as_ref().map_or_else(file, |guard| guard.url().to_owned());
        let server = Server::start_on(&database);
        let (owner, anonymous) = (owner(&server), server.client());
        let client = |name: &str| anonymous.with_key(&key(&owner, name, "manager"));
        let manager = client("manager");
        fill_catalogue(&manager);
        let callers = (0..CALLERS).map(|caller| client(&format!("caller {caller}"))).collect();
        let (larder, keys) = (Larder::empty(), AtomicUsize::new(0));
        let server = EndedByDrop(std::sync::Mutex::new(server));
        Served { manager, callers, larder, keys, database, _server: server, _guard: guard, _folder: folder }
    }

    fn fresh_key(&self) -> String {
        format!("history-call-{:08}", self.keys.fetch_add(1, Ordering::Relaxed))
    }

    fn act(&self, caller: usize, path: &str, body: &Value) -> Answer {
        self.callers[caller].post(path).idempotency_key(&self.fresh_key()).json(body).send()
    }

    fn ask(&self, trays: &[String], caller: usize, call: &Call) -> Answer {
        let on = |tray: usize, what: &str, body: &Value| {
            self.act(caller, &format!("/v1/trays/{}/{what}", trays[tray]), body)
        };
        match call {
            Call::Sell(lines) => {
                let line = |(tray, grams): &(usize, Option<i64>)| json!({"tray_code": trays[*tray], "grams": grams});
                let lines: Vec<Value> = lines.iter().map(line).collect();
                self.act(caller, "/v1/sales", &json!({ "lines": lines }))
            }
            Call::Kitchen(tray, grams) => on(*tray, "kitchen-transfers", &json!({ "grams": grams })),
            Call::MarkDown(tray, price) => {
                on(*tray, "markdowns", &json!({"price_per_kg_cents": price, "reason": "evening"}))
            }
            Call::Reverse(sale, _) => {
                self.act(caller, &format!("/v1/sales/{sale}/reversal"), &json!({"reason": "mis-scan"}))
            }
            Call::Scan(tray) => self.callers[caller].post("/v1/scans").json(&json!({"text": trays[*tray]})).send(),
        }
    }
}

fn said(call: &Call, answer: &Answer) -> Said {
    let body = answer.json();
    let whole = |value: &Value| value.as_i64().unwrap_or_else(|| panic!("{value} is no number: {body}"));
    if answer.status == 503 && body["code"] == "unavailable" {
        return Said::Nothing;
    }
    if answer.status >= 400 {
        let code = body["code"].as_str().expect("a code");
        return Said::Refused(code.to_owned(), told_number(code, body["detail"].as_str().expect("a reason")));
    }
    match call {
        Call::Sell(_) => Said::Sold { sale: whole(&body["sale_id"]), cents: whole(&body["total_cents"]) },
        Call::Kitchen(..) => Said::Taken(whole(&body["net_weight_g"])),
        Call::MarkDown(..) => Said::MarkedDown,
        Call::Reverse(..) => Said::Reversed,
        Call::Scan(_) => {
            let tray = &body["tray"];
            let stop = tray["stops"][0]["code"].as_str();
            let verdict = stop.or(body["verdict"].as_str()).expect("a verdict").to_owned();
            let (grams, price) = (whole(&tray["net_weight_g"]), whole(&tray["price_per_kg_cents"]));
            Said::Seen { grams, price, verdict, sale: body["sale_id"].as_i64() }
        }
    }
}

impl Shop for Served {
    fn trays(&self, plan: &Plan) -> Vec<String> {
        self.larder.take(&plan.trays, |tub, count| {
            let (cut, grams) = if tub { (TUB.0, TUB_G) } else { (BLOCK.0, BLOCK_G) };
            cut_a_fish(&self.manager, &self.fresh_key(), &[(cut, grams, count)])
        })
    }

    fn answer(&self, trays: &[String], caller: usize, call: &Call) -> Said {
        only_of_one_tray(call, said(call, &self.ask(trays, caller, call)))
    }

    fn holds_together(&self) {
        let mut verify = Command::new(env!("CARGO_BIN_EXE_sakudana"));
        let verified = verify.args(["verify", "--database", &self.database]).output().unwrap();
        assert!(verified.status.success(), "{verified:?}");
    }
}
