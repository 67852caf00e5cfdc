//! What following a shop costs: a hundred changes at a thousand and at a million live trays, against the same query bare; and a snapshot of a
//! million trays over HTTP from the built server on its embedded database, against serde_json on structs that lie ready in memory. All in one
//! run. Prints rows of Markdown.
//!
//! `cargo bench --bench live [-- [--rounds N] [--trays N] [--at FOLDER]]`
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a benchmark that meets what it did not expect should stop right there"
)]

#[allow(dead_code, reason = "other benchmarks share it and use more of it")]
mod bare;
#[path = "../tests/counter/mod.rs"]
mod counter;

use bare::{Bare, Prepared, Value};
use counter::shop;
use sakudana::ops::changes::{FeedPosition, behind};
use sakudana::ops::desk::Desk;
use sakudana::store::StoreOptions;
use sakudana::web::api::changes::{Telling, speak};
use sakudana::web::api::live_stock::OfferBody;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Instant;

const PROGRAM: &str = env!("CARGO_BIN_EXE_sakudana");
const FEW: usize = 1_000;
const PAGE: i64 = 100;
/// Pages read in a round at each size.
const PAGES: usize = 400;
const PIECE: usize = 64 * 1024;

struct Asked {
    rounds: usize,
    trays: usize,
    at: Option<PathBuf>,
}

fn asked() -> Asked {
    let mut asked = Asked { rounds: 5, trays: 1_000_000, at: None };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut value = || words.next().unwrap_or_else(|| panic!("{word} wants a value"));
        match word.as_str() {
            "--rounds" => asked.rounds = value().parse().expect("a number of rounds"),
            "--trays" => asked.trays = value().parse().expect("a number of trays"),
            "--at" => asked.at = Some(value().into()),
            // Cargo's own.
            "--bench" => {}
            other => panic!("unknown: {other}; known: --rounds N, --trays N, --at FOLDER"),
        }
    }
    asked
}

fn main() {
    let asked = asked();
    let folder = asked.at.as_ref().map_or_else(tempfile::tempdir, tempfile::tempdir_in).expect("a folder to work in");
    let few = Shop::fill(&folder.path().join("few.db"), FEW);
    let many = Shop::fill(&folder.path().join("many.db"), asked.trays);
    let (mut pages, mut flows) = (Vec::new(), Vec::new());
    for _ in 0..asked.rounds {
        pages.push([few.pages(), many.pages(), few.bare(), many.bare()]);
    }
    drop((few, many));
    let offers: Vec<OfferBody> = (1..=asked.trays).map(offer).collect();
    let served = Served::start(&folder.path().join("many.db"));
    let mut grown = 0;
    for _ in 0..asked.rounds {
        let ready = serialised(&offers);
        let (streamed, bytes, kib) = served.snapshot();
        grown = grown.max(kib);
        flows.push([ready, streamed, bytes as f64]);
    }
    tell(&asked, &pages, &flows, grown);
}

fn middle(values: impl Iterator<Item = f64>) -> f64 {
    let mut all: Vec<f64> = values.collect();
    all.sort_by(f64::total_cmp);
    all[all.len() / 2]
}

fn tell(asked: &Asked, pages: &[[f64; 4]], flows: &[[f64; 3]], grown: u64) {
    let column = |n: usize| middle(pages.iter().map(|round| round[n]));
    println!("| {PAGE} changes, spoken as JSON | µs | of the bare query |");
    println!("|---|---:|---:|");
    for (name, own, bare) in [(FEW, 0, 2), (asked.trays, 1, 3)] {
        println!("| at {name} live trays, bare query | {:.0} | |", column(bare));
        println!(
            "| at {name} live trays | {:.0} | {:.1} |",
            column(own),
            middle(pages.iter().map(|r| r[own] / r[bare]))
        );
    }
    let growth = middle(pages.iter().map(|round| round[1] / round[0]));
    println!();
    println!(
        "goal {}: {} trays of {FEW}: {growth:.2} (under 1.3)",
        if growth < 1.3 { "met" } else { "MISSED" },
        asked.trays
    );
    println!();
    println!("| {} trays | MB/s | of serde_json |", asked.trays);
    println!("|---|---:|---:|");
    let share = middle(flows.iter().map(|round| round[1] / round[0]));
    println!(
        "| serde_json on structs in memory, in pieces of 64 KB | {:.0} | |",
        middle(flows.iter().map(|r| r[0])) / 1e6
    );
    println!(
        "| snapshot over HTTP, {:.0} MB | {:.0} | {share:.2} |",
        flows[0][2] / 1e6,
        middle(flows.iter().map(|r| r[1])) / 1e6
    );
    println!();
    println!("goal {}: bytes a second: {share:.2} (at least 0.5)", if share >= 0.5 { "met" } else { "MISSED" });
    let megabytes = grown as f64 * 1024.0 / 1e6;
    println!(
        "goal {}: memory above idle: {megabytes:.1} MB (under 64)",
        if megabytes < 64.0 { "met" } else { "MISSED" }
    );
}

/// The offer of a tray as the fill writes it.
fn offer(n: usize) -> OfferBody {
    let grams = 200 + i64::try_from(n).unwrap() % 200;
    OfferBody {
        tray_code: format!("T{n:07}"),
        kind: "block".into(),
        cut_code: format!("cut-{}", n % 20),
        cut_name: format!("Cut number {}", n % 20),
        species_code: "YFT".into(),
        place_code: format!("case-{}", n % 5),
        net_weight_g: grams,
        price_per_kg_cents: 7_450,
        list_price_per_kg_cents: 7_450,
        price_cents: Some(grams * 7_450 / 1_000),
        markdown_reason: None,
        use_by: Some("2026-11-27T09:12:00.000000Z".into()),
        sell_until: Some("2026-11-27T09:00:00.000000Z".into()),
        verdict: "sell".into(),
        stops: Vec::new(),
    }
}

/// Bytes a second.
fn serialised(offers: &[OfferBody]) -> f64 {
    let (mut piece, mut bytes, begun) = (Vec::with_capacity(PIECE * 2), 0, Instant::now());
    for offer in offers {
        serde_json::to_writer(&mut piece, offer).unwrap();
        piece.push(b',');
        if piece.len() >= PIECE {
            bytes += std::hint::black_box(&piece).len();
            piece.clear();
        }
    }
    (bytes + piece.len()) as f64 / begun.elapsed().as_secs_f64()
}

/// A database with so many live trays, each told of once by an act of its own.
struct Shop {
    desk: Desk,
    bare: Bare,
    page: Prepared,
    trays: usize,
}

impl Shop {
    fn fill(file: &Path, trays: usize) -> Shop {
        let options = StoreOptions { database: file.to_str().unwrap().to_owned(), readers: 2 };
        let desk = Desk::open(&options, shop()).unwrap();
        let mut bare = Bare::open(file);
        bare.ask("PRAGMA foreign_keys = OFF");
        bare.ask("PRAGMA busy_timeout = 5000");
        bare.ask("BEGIN IMMEDIATE");
        let act = bare.prepare(
            "INSERT INTO acts (id, at, recorded_at, kind, actor) VALUES (?1, ?1, ?1, 'break_down', 'Mika Kallio')",
        );
        let change = bare
            .prepare("INSERT INTO changes (act_id, kind, at, tray_code, offer) VALUES (?1, 'break_down', ?1, ?2, ?3)");
        let shelf = bare.prepare("INSERT INTO shelf (tray_id, tray_code, cut_code, place_code, sellable_g, offer) VALUES (?1, ?2, ?3, ?4, ?5, ?6)");
        for n in 1..=trays {
            let offer = offer(n);
            let text = Value::Text(serde_json::to_string(&offer).unwrap());
            let (id, code) = (Value::Integer(i64::try_from(n).unwrap()), Value::Text(offer.tray_code));
            bare.run(act, std::slice::from_ref(&id));
            bare.run(change, &[id.clone(), code.clone(), text.clone()]);
            let (cut, place) = (Value::Text(offer.cut_code), Value::Text(offer.place_code));
            bare.run(shelf, &[id, code, cut, place, Value::Integer(offer.net_weight_g), text]);
        }
        bare.ask("COMMIT");
        bare.ask("PRAGMA wal_checkpoint(TRUNCATE)");
        let page = bare.prepare(
            "SELECT c.id, c.xact, c.act_id, c.kind, a.at, c.at, a.actor, a.reason, a.reverses_act_id, c.tray_code, c.offer \
             FROM changes AS c LEFT JOIN acts AS a ON a.id = c.act_id WHERE c.id > ?1 ORDER BY c.id LIMIT 100",
        );
        Shop { desk, bare, page, trays }
    }

    /// Positions of followers who are nearly up to date: among the last thousand changes.
    fn positions(&self) -> impl Iterator<Item = i64> + '_ {
        (0..PAGES).map(|n| i64::try_from(self.trays - FEW + (n * 7) % (FEW - 100)).unwrap()).map(|id| id.max(1))
    }

    /// Microseconds for a page as a request reads and speaks it.
    fn pages(&self) -> f64 {
        let begun = Instant::now();
        for id in self.positions() {
            let from = FeedPosition { xact: 0, id };
            let found = self.desk.look(|reading, _| behind(reading, from, PAGE)).unwrap();
            assert_eq!(found.len(), 100);
            let spoken: usize = found.iter().map(|change| speak(change, Telling::Whole).len()).sum();
            std::hint::black_box(spoken);
        }
        begun.elapsed().as_secs_f64() * 1e6 / PAGES as f64
    }

    fn bare(&self) -> f64 {
        let begun = Instant::now();
        for id in self.positions() {
            assert_eq!(self.bare.run(self.page, &[Value::Integer(id)]), id + 1);
        }
        begun.elapsed().as_secs_f64() * 1e6 / PAGES as f64
    }
}

/// The built server.
struct Served {
    child: Child,
    address: String,
    token: String,
}

impl Served {
    fn start(file: &Path) -> Served {
        let mut command = Command::new(PROGRAM);
        command.args(["serve", "--listen", "127.0.0.1:0", "--database"]).arg(file).env("SAKUDANA_LOG", "error");
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("the server starts");
        let (mut password, mut address) = (String::new(), String::new());
        let mut lines = BufReader::new(child.stdout.take().expect("its output is ours")).lines();
        while address.is_empty() {
            let line = lines.next().expect("the server listens").expect("text");
            if let Some(found) = line.strip_prefix("owner sign-in: owner ") {
                found.clone_into(&mut password);
            }
            if let Some(found) = line.strip_prefix("listening on http://") {
                found.trim().clone_into(&mut address);
            }
        }
        std::thread::spawn(move || lines.for_each(drop));
        let body = serde_json::json!({"name": "owner", "password": password});
        let answer = ureq::post(format!("http://{address}/v1/sign-in")).send_json(&body).expect("signed in");
        let answer: serde_json::Value = answer.into_body().read_json().unwrap();
        Served { child, address, token: answer["token"].as_str().unwrap().to_owned() }
    }

    /// Bytes a second, bytes, and the memory that the process took above what it had before, in KiB.
    fn snapshot(&self) -> (f64, usize, u64) {
        // From here on the peak is counted anew (proc(5), clear_refs).
        std::fs::write(format!("/proc/{}/clear_refs", self.child.id()), "5").expect("the peak is reset");
        let idle = self.memory("VmRSS:");
        let begun = Instant::now();
        let mut connection = TcpStream::connect(&self.address).unwrap();
        let (address, token) = (&self.address, &self.token);
        write!(connection, "GET /v1/live-stock HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {token}\r\nConnection: close\r\n\r\n").unwrap();
        let (mut piece, mut bytes, mut last) = (vec![0; 256 * 1024], 0, Vec::new());
        loop {
            let read = connection.read(&mut piece).unwrap();
            if read == 0 {
                break;
            }
            if bytes == 0 {
                assert!(piece.starts_with(b"HTTP/1.1 200"), "{}", String::from_utf8_lossy(&piece[..read]));
            }
            bytes += read;
            last.extend_from_slice(&piece[read.saturating_sub(8)..read]);
            last.drain(..last.len().saturating_sub(8));
        }
        let took = begun.elapsed().as_secs_f64();
        assert!(last.ends_with(b"0\r\n\r\n"), "it came to its end");
        (bytes as f64 / took, bytes, self.memory("VmHWM:").saturating_sub(idle))
    }

    fn memory(&self, field: &str) -> u64 {
        let status =
            std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).expect("Linux tells of a process");
        let line = status.lines().find_map(|line| line.strip_prefix(field)).expect("the field is there");
        line.trim().trim_end_matches("kB").trim().parse().expect("a number of KiB")
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
