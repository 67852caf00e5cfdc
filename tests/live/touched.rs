//! Which offers are looked at again, and that one which cannot be read is in nobody's way.

use crate::ground::{Ground, Which, actor, arrival, chill, shop, start};
use diesel::connection::SimpleConnection;
use diesel::sql_types::BigInt;
use diesel::{QueryableByName, RunQueryDsl, sql_query};
use sakudana::domain::catalogue::SpeciesDraft;
use sakudana::jobs::shelf as keeper;
use sakudana::ops::break_down::{Cutting, InputDraft, OutputDraft, break_down};
use sakudana::ops::desk::Desk;
use sakudana::ops::edit_catalogue::{Expected, put_species};
use sakudana::ops::receive::receive;
use sakudana::store::StoreOptions;
use sakudana::units::instant::{Instant, MICROS_PER_HOUR};
use std::collections::BTreeMap;
use std::sync::Arc;

#[derive(QueryableByName)]
struct Counted {
    #[diesel(sql_type = BigInt)]
    answer: i64,
}

fn count(ground: &Ground, condition: &str) -> i64 {
    let sql = format!("SELECT COUNT(*) AS answer FROM shelf WHERE {condition}");
    sql_query(sql).get_result::<Counted>(&mut ground.witness()).unwrap().answer
}

/// Blocks of a species in the case.
fn blocks(ground: &Ground, species: &'static str, count: usize) {
    let cutting = move |fish: String| Cutting {
        inputs: vec![InputDraft { tray: fish, grams: None }],
        outputs: vec![OutputDraft { cut: "saku".into(), place: "case".into(), net_g: 300 }; count],
        losses: Vec::new(),
        place: "case".into(),
        bench_minutes: Some(0),
        reason: None,
    };
    let grams = 300 * i64::try_from(count).unwrap();
    let made = ground.desk.act(move |tx, shop| {
        let fish = receive(tx, shop, &actor(), start(), &arrival(species, "case", grams))?;
        break_down(tx, shop, &actor(), start(), &cutting(fish.tray.code.to_string())).map(drop)
    });
    made.unwrap();
}

fn say_of_salmon(ground: &Ground, market_name: &'static str, rule: &'static str, version: i64) {
    let draft = SpeciesDraft {
        scientific_name: "Piscis sal".into(),
        market_name: market_name.into(),
        names: BTreeMap::new(),
        group: "salmonid".into(),
        parasite_rule: rule.into(),
        parasite_note: Some("letter of the authority".into()),
    };
    let put = move |tx: &mut sakudana::store::Tx<'_>, shop: &sakudana::domain::shop::Shop| {
        put_species(tx, shop, &actor(), start(), "SAL", &draft, Expected::Version(version)).map(drop)
    };
    ground.desk.act(put).unwrap();
}

fn a_species_touches_its_own(which: Which) {
    let ground = Ground::open(which, 2);
    ground.place("case", chill(0, 2_000));
    blocks(&ground, "YFT", 3);
    blocks(&ground, "SAL", 2);
    assert_eq!((count(&ground, "1 = 1"), count(&ground, "due_at = 0")), (5, 0));
    say_of_salmon(&ground, "Salmon, farmed", "freeze_before_raw", 1);
    assert_eq!(count(&ground, "due_at = 0"), 0, "a name is no reason");
    say_of_salmon(&ground, "Salmon, farmed", "exempt", 2);
    assert_eq!(count(&ground, "due_at = 0"), 2, "those that are judged by it, and no others");
}

#[test]
fn a_species_touches_its_own_on_sqlite() {
    a_species_touches_its_own(Which::Sqlite);
}

#[test]
fn a_species_touches_its_own_on_postgres() {
    a_species_touches_its_own(Which::Postgres);
}

/// Days later, when every life has ended.
fn much_later() -> Instant {
    start().plus_micros(24 * 30 * MICROS_PER_HOUR)
}

#[test]
fn one_tray_that_cannot_be_read_is_in_nobodys_way() {
    let ground = Ground::open(Which::Sqlite, 2);
    ground.place("case", chill(0, 2_000));
    blocks(&ground, "YFT", 4);
    let stopped = "offer LIKE '%\"verdict\":\"stop\"%'";
    assert_eq!(count(&ground, stopped), 0);
    // Foreign hands: what no program of ours writes.
    ground
        .witness()
        .batch_execute(
            "PRAGMA ignore_check_constraints = ON; UPDATE trays SET label_wanted = 'nonsense' \
             WHERE id = (SELECT MIN(tray_id) FROM shelf);",
        )
        .unwrap();
    let options = StoreOptions { database: ground.address(), readers: 2 };
    let desk = Arc::new(Desk::open(&options, shop()).unwrap());
    let kept = keeper::start(Arc::clone(&desk), much_later).unwrap();
    let begun = std::time::Instant::now();
    while count(&ground, stopped) < 3 {
        assert!(begun.elapsed() < crate::PATIENCE, "the others wait for the one that cannot be read");
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    drop(kept);
    assert_eq!(count(&ground, stopped), 3, "the control: it is the one that cannot be read that is left");
}
