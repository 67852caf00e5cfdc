//! A till at a real server: it sells out of one tub and some blocks, and asks again under the same key. What every outage must keep to is
//! asked here once.

use crate::setting::Shop;
use crate::support::http::Answer;
use serde_json::{Value, json};
use std::path::Path;
use std::process::Command;
use std::time::Duration;

/// A served shop with something to sell.
pub struct Till {
    pub shop: Shop,
    pub tub: String,
    pub blocks: Vec<String>,
}

impl Till {
    pub fn at(shop: Shop) -> Till {
        let (_, fish) = shop.receive("YFT", 20_000);
        let mut outputs = vec![("scrape", "cold-room", 9_000)];
        outputs.extend([("lean-saku", "front-case", 300); 12]);
        let mut trays = shop.cut(&fish, 20_000, &outputs);
        shop.label(&trays);
        let blocks = trays.split_off(1);
        Till { tub: trays.remove(0), blocks, shop }
    }

    /// One gram out of the tub, or a whole block.
    pub fn body(&self, block: Option<usize>) -> Value {
        match block {
            None => json!({"lines": [{"tray_code": self.tub, "grams": 1}]}),
            Some(index) => json!({"lines": [{"tray_code": self.blocks[index]}]}),
        }
    }

    pub fn sell(&self, key: &str, block: Option<usize>) -> Answer {
        self.shop.till.post("/v1/sales").idempotency_key(key).json(&self.body(block)).send()
    }

    pub fn tub_grams(&self) -> i64 {
        self.shop.tray(&self.tub)["net_weight_g"].as_i64().unwrap()
    }

    /// Waits until the log has said this so many times, without asking anything of the server.
    pub fn await_log(&self, words: &str, times: usize) {
        for _ in 0..1_200 {
            if self.shop.server.log().matches(words).count() >= times {
                return;
            }
            std::thread::sleep(Duration::from_millis(100));
        }
        panic!("never said: {words}\n{}", self.shop.server.log());
    }

    /// Everything that only looks, also for a person who is signed in.
    pub fn everything_is_read(&self) {
        self.is_read_by_keys();
        for page in ["/", "/scan"] {
            self.shop.owner.get(page).send().expect(200);
        }
    }

    pub fn is_read_by_keys(&self) {
        let shop = &self.shop;
        shop.reader.get("/v1/trays").send().expect(200);
        shop.reader.get(&format!("/v1/trays/{}", self.tub)).send().expect(200);
        shop.reader.get("/v1/changes").send().expect(200);
        let last = &self.blocks[self.blocks.len() - 1];
        assert_eq!(shop.scan(last)["verdict"], "sell", "{}", shop.scan(last));
        shop.anonymous.get("/livez").send().expect(200);
    }
}

/// A refusal that says that only reading goes on, and why.
#[track_caller]
pub fn expect_read_only(answer: &Answer, why: &str) {
    assert_eq!(answer.status, 503, "{}", answer.text());
    let problem = answer.json();
    assert_eq!(problem["code"], "read_only", "{problem}");
    let detail = problem["detail"].as_str().unwrap();
    assert!(detail.contains(why) && detail.contains("nothing was done"), "{detail}");
    assert!(answer.header("retry-after").is_some());
}

/// Every invariant of a database, asked by the program itself.
pub fn verify(database: &str) {
    let ran = Command::new(env!("CARGO_BIN_EXE_sakudana")).args(["verify", "--database", database]).output().unwrap();
    let said = String::from_utf8_lossy(&ran.stdout);
    assert!(ran.status.success(), "{said}{}", String::from_utf8_lossy(&ran.stderr));
}

/// A folder of a mount that only the server sees, looked at from outside.
pub fn seen_from(server: u32, folder: &Path) -> String {
    format!("/proc/{server}/root{}", folder.display())
}
