//! A served shop with printers, and what a test asks of it. Knows the server only by its addresses.

use std::path::PathBuf;
use std::thread;
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tempfile::TempDir;

use crate::counter::{Counter, PASSWORD, fill};
use crate::support::http::{Answer, Client};
use crate::support::postgres::{Database, fresh_database};
use crate::support::server::{Kind, Server};

/// A shop of five blocks and a tub, all labelled.
pub struct Shop {
    pub server: Server,
    pub counter: Counter,
    pub client: Client,
    database: String,
    settings: PathBuf,
    _database: Option<Database>,
    _folder: TempDir,
}

impl Shop {
    /// Printers by name and address.
    pub fn open(kind: Kind, printers: &[(&str, &str)]) -> Shop {
        let folder = tempfile::tempdir().unwrap();
        let held = (kind == Kind::Postgres).then(fresh_database);
        let file = folder.path().join("shop.db").to_str().unwrap().to_owned();
        let database = held.as_ref().map_or(file, |database| database.url().to_owned());
        let counter = fill(&database);
        let settings = folder.path().join("settings.toml");
        let mut text = "[shop]\nname = \"Test Counter\"\naddress = \"1 Quay\"\ntime_zone = \"Europe/Lisbon\"\n\
                        web_address = \"https://counter.example\"\n"
            .to_owned();
        for (name, uri) in printers {
            text.push_str(&format!(
                "[[printers]]\nname = \"{name}\"\nuri = \"{uri}\"\nstock = \"62x40\"\ntimeout_seconds = 3\n"
            ));
        }
        std::fs::write(&settings, text).unwrap();
        let (server, client) = serve(&database, &settings);
        Shop { server, counter, client, database, settings, _database: held, _folder: folder }
    }

    /// The same shop after its server has come to an end.
    pub fn start_again(&mut self) {
        (self.server, self.client) = serve(&self.database, &self.settings);
    }

    pub fn settings_text(&self) -> String {
        std::fs::read_to_string(&self.settings).unwrap()
    }

    pub fn write_settings(&self, text: &str) {
        std::fs::write(&self.settings, text).unwrap();
    }

    pub fn queue(&self, tray: &str, more: &Value) -> Answer {
        let mut body = json!({"tray_code": tray});
        body.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        self.post("/v1/prints", &body)
    }

    /// Queues the label of a tray; gives the number of the print.
    #[track_caller]
    pub fn print(&self, tray: &str) -> i64 {
        self.queue(tray, &json!({})).expect(201).json()["print_id"].as_i64().unwrap()
    }

    pub fn post(&self, path: &str, body: &Value) -> Answer {
        use std::sync::atomic::{AtomicU32, Ordering};
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let key = format!("test-print-{:08}", COUNT.fetch_add(1, Ordering::Relaxed));
        self.client.post(path).idempotency_key(&key).json(body).send()
    }

    #[track_caller]
    pub fn cancel(&self, id: i64) -> Value {
        self.post(&format!("/v1/prints/{id}/cancel"), &json!({})).expect(201).json()
    }

    #[track_caller]
    pub fn resolve(&self, id: i64, printed: &str) -> Value {
        self.post(&format!("/v1/prints/{id}/resolve"), &json!({"printed": printed})).expect(201).json()
    }

    pub fn get(&self, id: i64) -> Value {
        self.client.get(&format!("/v1/prints/{id}")).send().expect(200).json()
    }

    pub fn printer(&self, name: &str) -> Value {
        let all = self.client.get("/v1/printers").send().expect(200).json();
        all.as_array().unwrap().iter().find(|printer| printer["name"] == name).unwrap().clone()
    }

    /// Waits until a print is in a state, with these words in its reasons.
    #[track_caller]
    pub fn becomes(&self, id: i64, state: &str, words: &str) -> Value {
        self.until(|| {
            let print = self.get(id);
            let there = print["state"] == state && print["reasons"].as_str().unwrap().contains(words);
            if there { Ok(print) } else { Err(print) }
        })
    }

    /// Asks again and again; the last answer that is not yet right is what the panic shows.
    #[track_caller]
    pub fn until<T>(&self, ask: impl Fn() -> Result<T, Value>) -> T {
        let end = Instant::now() + Duration::from_secs(60);
        loop {
            match ask() {
                Ok(found) => return found,
                Err(seen) => assert!(Instant::now() < end, "still {seen}\n{}", self.server.log()),
            }
            thread::sleep(Duration::from_millis(50));
        }
    }

    /// The label of a tray as the shop shows it, at 203 dpi.
    pub fn picture(&self, tray: &str) -> image::GrayImage {
        let png = self.client.get(&format!("/v1/trays/{tray}/label.png?dpi=203")).send().expect(200).body;
        image::load_from_memory(&png).unwrap().to_luma8()
    }
}

fn serve(database: &str, settings: &std::path::Path) -> (Server, Client) {
    let server = Server::start_with(&["--settings", settings.to_str().unwrap()], database, None);
    let body = json!({"name": "Marta", "password": PASSWORD});
    let token = server.client().post("/v1/sign-in").json(&body).send().expect(200).json();
    let client = server.client().with_key(token["token"].as_str().unwrap());
    (server, client)
}

/// How long nothing may happen for a test to believe that nothing will: longer than two turns of the queue.
pub fn a_while() {
    thread::sleep(Duration::from_secs(5));
}
