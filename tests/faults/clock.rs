//! The clock of the machine is set, back and forward, while the shop is open: it goes on, its record keeps its order, and no life is
//! reckoned longer for it.

use crate::setting::Shop;
use crate::support::server::{Kind, Server};
use crate::till::{Till, verify};
use std::path::{Path, PathBuf};
use std::process::Command;

/// The library that answers for the clock; the monotonic one stays right, as on a machine whose clock is set.
fn library() -> PathBuf {
    let folders = std::fs::read_dir("/usr/lib").unwrap().map(|folder| folder.unwrap().path());
    let found = folders.map(|folder| folder.join("faketime/libfaketime.so.1")).find(|file| file.exists());
    found.expect("libfaketime: tests/run installs it")
}

fn served_under(clock: &Path) -> Till {
    let shop = Shop::served(Kind::Sqlite, |settings, database, _| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_sakudana"));
        command.args(["serve", "--settings", settings, "--database", database, "--listen", "127.0.0.1:0"]);
        command.env("LD_PRELOAD", library()).env("FAKETIME_TIMESTAMP_FILE", clock);
        command.env("FAKETIME_NO_CACHE", "1").env("FAKETIME_DONT_FAKE_MONOTONIC", "1");
        Server::from_command(command, None)
    });
    Till::at(shop)
}

#[test]
fn a_clock_that_is_set_stops_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let clock = folder.path().join("clock");
    std::fs::write(&clock, "+0\n").unwrap();
    let till = served_under(&clock);
    let use_by = |till: &Till| till.shop.tray(&till.blocks[11])["use_by"].clone();
    let end = |till: &Till| till.shop.scan(&till.blocks[11])["tray"]["life"]["sell_until"].as_str().unwrap().to_owned();
    let (printed, reckoned) = (use_by(&till), end(&till));
    assert!(printed.is_string(), "{printed}");
    let mut sales = Vec::new();
    let mut moments = Vec::new();
    for (step, setting) in ["+0", "+40m", "-3d", "-1h", "+1h", "-10m", "+0"].iter().enumerate() {
        std::fs::write(&clock, format!("{setting}\n")).unwrap();
        for round in 0..3 {
            let answer = till.sell(&format!("clock-step-{step}-{round}-000"), None).expect(201).json();
            sales.push(answer["sale_id"].as_i64().unwrap());
            moments.push(answer["at"].as_str().unwrap().to_owned());
        }
        // People may have been quiet for too long by such a clock; keys are not asked.
        till.is_read_by_keys();
        assert_eq!(use_by(&till), printed, "a printed date stays");
        assert!(end(&till) <= reckoned, "{setting}: {} is later than {reckoned}", end(&till));
        assert!(
            till.sell(&format!("clock-step-{step}-0-000"), None).expect(201).header("idempotent-replayed").is_some()
        );
    }
    assert!(!moments.is_sorted(), "the clock was never set back: {moments:?}");
    assert!(sales.is_sorted_by(|a, b| a < b), "the record is in the order of what was done: {sales:?}");
    assert_eq!(till.tub_grams(), 9_000 - i64::try_from(sales.len()).unwrap());
    verify(&till.shop.database);
}
