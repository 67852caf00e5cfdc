//! What a till waits for: scans and sales over HTTP on the embedded database, at 1, 8, 32 and 128 clients, held against bare actix-web that
//! answers a constant of the same size, all in one run. Clients and servers share the machine. Prints rows of Markdown.
//!
//! `cargo bench --bench served [-- [--rounds N] [--seconds N] [--sales N] [--at FOLDER]]`
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a benchmark that meets what it did not expect should stop right there"
)]

#[path = "served/client.rs"]
mod client;
#[path = "served/constant.rs"]
mod constant;
#[path = "../tests/counter/mod.rs"]
mod counter;
#[path = "served/server.rs"]
mod server;
#[path = "sales/shop.rs"]
mod shop;
#[path = "served/stock.rs"]
mod stock;

use client::{Load, Measured};
use server::Server;
use std::path::{Path, PathBuf};
use std::time::Duration;

const CLIENTS: [usize; 4] = [1, 8, 32, 128];

struct Options {
    rounds: usize,
    seconds: u64,
    sales: usize,
    at: Option<PathBuf>,
}

fn options() -> Options {
    let mut options = Options { rounds: 3, seconds: 2, sales: 12_000, at: None };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut value = || words.next().unwrap_or_else(|| panic!("{word} wants a value"));
        match word.as_str() {
            "--rounds" => options.rounds = value().parse().expect("a number of rounds"),
            "--seconds" => options.seconds = value().parse().expect("a number of seconds"),
            "--sales" => options.sales = value().parse().expect("a number of sales"),
            "--at" => options.at = Some(value().into()),
            // Cargo's own.
            "--bench" => {}
            other => panic!("unknown: {other}; known: --rounds N, --seconds N, --sales N, --at FOLDER"),
        }
    }
    options
}

/// One row: what was asked, by how many clients, in each round.
struct Row {
    what: &'static str,
    clients: usize,
    rounds: Vec<Round>,
}

struct Round {
    constant: Measured,
    own: Measured,
}

fn main() {
    if let Some(bytes) = std::env::args().skip_while(|word| word != "--constant").nth(1) {
        constant::serve(bytes.parse().expect("a number of bytes"));
        return;
    }
    let options = options();
    let folder = match &options.at {
        Some(at) => tempfile::tempdir_in(at),
        None => tempfile::tempdir(),
    }
    .expect("a folder to work in");
    let stock = stock::make(&folder.path().join("stock.db"), options.sales);
    let mut rows = Vec::new();
    for clients in CLIENTS {
        rows.push(Row {
            what: "scan",
            clients,
            rounds: (0..options.rounds).map(|_| scans(&options, &stock, clients)).collect(),
        });
    }
    for clients in CLIENTS {
        let round = |n| sales(folder.path(), &stock, clients, n);
        rows.push(Row { what: "sale", clients, rounds: (0..options.rounds).map(round).collect() });
    }
    print(&rows);
}

/// As many scans as fit into the time.
fn scans(options: &Options, stock: &stock::Stock, clients: usize) -> Round {
    let time = Duration::from_secs(options.seconds);
    let requests: Vec<Vec<u8>> = stock.links.iter().map(|link| stock.scan(link)).collect();
    let server = Server::sakudana(&stock.file);
    let bytes = client::once(server.port, &requests[0]).len();
    let own = client::run(server.port, clients, Load::For(time), &requests);
    drop(server);
    Round { constant: constant(bytes, clients, Load::For(time), &requests), own }
}

/// Every block of the shop, sold once, from a copy of its own.
fn sales(folder: &Path, stock: &stock::Stock, clients: usize, round: usize) -> Round {
    let file = folder.join(format!("sales-{clients}-{round}.db"));
    std::fs::copy(&stock.file, &file).expect("the shop is copied");
    let requests: Vec<Vec<u8>> = stock.links.iter().enumerate().map(|(n, link)| stock.sale(link, n)).collect();
    let server = Server::sakudana(&file);
    let bytes = client::once(server.port, &requests[0]).len();
    // One at a time is slow enough with a tenth of them.
    let some = if clients == 1 { &requests[1..requests.len() / 10] } else { &requests[1..] };
    let own = client::run(server.port, clients, Load::Each, some);
    drop(server);
    let kept = stock::sold(&file);
    assert_eq!(kept, some.len() + 1, "every block was sold once");
    std::fs::remove_file(&file).expect("the copy goes");
    Round { constant: constant(bytes, clients, Load::Each, some), own }
}

fn constant(bytes: usize, clients: usize, load: Load, requests: &[Vec<u8>]) -> Measured {
    let server = Server::constant(bytes);
    client::run(server.port, clients, load, requests)
}

fn print(rows: &[Row]) {
    println!("| what | clients | a second | p99 | of the constant | constant, p99 |");
    println!("|---|---:|---:|---:|---:|---:|");
    for row in rows {
        let mut rounds: Vec<&Round> = row.rounds.iter().collect();
        let ratio = |round: &Round| round.own.rate / round.constant.rate;
        rounds.sort_by(|a, b| ratio(a).total_cmp(&ratio(b)));
        let middle = rounds[rounds.len() / 2];
        println!(
            "| {} | {} | {:.0} | {:.2} ms | {:.2} | {:.0}, {:.2} ms |",
            row.what,
            row.clients,
            middle.own.rate,
            middle.own.p99.as_secs_f64() * 1e3,
            ratio(middle),
            middle.constant.rate,
            middle.constant.p99.as_secs_f64() * 1e3
        );
    }
}
