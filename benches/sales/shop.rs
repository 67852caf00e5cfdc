//! A shop with many labelled blocks to sell, made by the acts of the shop. Nothing is measured here.

use super::counter::{actor, arrival, catalogue, shop};
use sakudana::ops::break_down::{Cutting, InputDraft, LossDraft, OutputDraft, break_down};
use sakudana::ops::desk::Desk;
use sakudana::ops::failure::Failure;
use sakudana::ops::label;
use sakudana::ops::press::Press;
use sakudana::ops::receive::{Arrival, receive};
use sakudana::store::StoreOptions;
use sakudana::units::instant::Instant;
use std::path::Path;

/// Blocks out of one fish.
const OF_ONE_FISH: usize = 400;
const LOSS_G: i64 = 2_000;

/// A file, or the address of a server.
pub fn open(database: &Path) -> Desk {
    let database = database.to_str().expect("a path that is text").to_owned();
    let desk = Desk::open(&StoreOptions { database, readers: 1 }, shop()).expect("the database opens");
    // As a server that starts.
    desk.warm_up().expect("what was measured is read");
    desk
}

/// Makes the shop in an empty database and gives the codes of its blocks, `count` of them.
pub fn make(database: &Path, count: usize, now: Instant) -> Vec<String> {
    let desk = open(database);
    catalogue(&desk, now);
    let mut codes = Vec::new();
    while codes.len() < count {
        codes.extend(desk.act(move |tx, shop| one_fish(tx, shop, now)).expect("a fish is cut"));
    }
    codes.truncate(count);
    codes
}

fn one_fish(
    tx: &mut sakudana::store::Tx<'_>,
    shop: &sakudana::domain::shop::Shop,
    now: Instant,
) -> Result<Vec<String>, Failure> {
    let masses = (0..OF_ONE_FISH).map(|n| 200 + (n as i64 * 37) % 150);
    let received_g = masses.clone().sum::<i64>() + LOSS_G;
    let fish = receive(tx, shop, &actor(), now, &Arrival { received_g, ..arrival(None) })?;
    let block = |net_g| OutputDraft { cut: "lean-saku".into(), place: "case".into(), net_g };
    let cutting = Cutting {
        inputs: vec![InputDraft { tray: fish.tray.code.to_string(), grams: None }],
        outputs: masses.map(block).collect(),
        losses: vec![LossDraft { name: "head and bones".into(), grams: LOSS_G }],
        place: "case".into(),
        bench_minutes: None,
        reason: None,
    };
    let made = break_down(tx, shop, &actor(), now, &cutting)?;
    let codes: Vec<String> = made.trays.iter().map(|tray| tray.code.to_string()).collect();
    for code in &codes {
        label::issue(tx, shop, &Press::default(), &actor(), now, code, None)?;
    }
    Ok(codes)
}
