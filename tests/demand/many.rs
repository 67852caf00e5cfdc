//! Many trays: what is counted is what was sold, and old years are left alone. `SAKUDANA_DEMAND_TRAYS=30000` is a shop that sold so many in
//! eight weeks, with ten times as many before them, and tells how long it took; no time is asserted.

use crate::ground::{Ground, Which, chill, on_both, shop, start};
use chrono::NaiveTime;
use diesel::connection::SimpleConnection;
use sakudana::domain::hours::{OpeningHours, Span};
use sakudana::domain::shop::Shop;
use sakudana::ops::demand::studies;

on_both!(every_sale_of_the_weeks_counts_and_none_before);

const WEEKS_8: i64 = 8 * 7 * 24 * 3_600 * 1_000_000;

/// One block after the other, of four cuts in turn, each three hours in the case and then sold; a tenth of them at 20 % off for the last hour.
fn fill(ground: &Ground, trays: i64, older: i64) {
    let now = start().micros();
    let step = WEEKS_8 / trays;
    let hour = 3_600 * 1_000_000_i64;
    let count = trays + older;
    let numbers = format!("WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < {count})");
    // The newest is sold just before now.
    let sold = format!("({now} - ({count} - i) * {step} - 1000000)");
    let cut = "CASE i % 4 WHEN 0 THEN 'saku' WHEN 1 THEN 'belly' WHEN 2 THEN 'slices' ELSE 'collar' END";
    let sql = [
        format!(
            "INSERT INTO trays (id, code, kind, cut_code, species_code, place_code, fate, gone_at, net_g, initial_g, \
             price_per_kg_cents, list_price_per_kg_cents, cut_at, use_by, version) {numbers} \
             SELECT i, 'T' || i, 'block', {cut}, 'YFT', 'case', 'sold', {sold}, 0, 300, \
             CASE WHEN i % 10 = 0 THEN 6360 ELSE 7950 END, 7950, {sold} - 3 * {hour}, {sold} + 24 * {hour}, 1 FROM n"
        ),
        format!(
            "INSERT INTO stays (tray_id, place_code, method, from_at, to_at) {numbers} \
             SELECT i, 'case', 'chill', {sold} - 3 * {hour}, {sold} FROM n"
        ),
        format!(
            "INSERT INTO markdowns (act_id, tray_id, at, old_price_per_kg_cents, new_price_per_kg_cents, reason) {numbers} \
             SELECT 1, i, {sold} - {hour}, 7950, 6360, 'old' FROM n WHERE i % 10 = 0"
        ),
        format!(
            "INSERT INTO sales (id, act_id, at, sold_by, total_cents) {numbers} SELECT i, 1, {sold}, 'mika', 2385 FROM n"
        ),
        format!(
            "INSERT INTO sale_lines (sale_id, line_number, tray_id, grams, price_per_kg_cents, price_cents) {numbers} \
             SELECT i, 1, i, 300, CASE WHEN i % 10 = 0 THEN 6360 ELSE 7950 END, 2385 FROM n"
        ),
    ];
    let mut witness = ground.witness();
    for statement in sql {
        witness.batch_execute(&statement).unwrap();
    }
    witness.batch_execute("ANALYZE").unwrap();
}

fn every_sale_of_the_weeks_counts_and_none_before(which: Which) {
    let asked = std::env::var("SAKUDANA_DEMAND_TRAYS").ok().and_then(|text| text.parse::<i64>().ok());
    let trays = asked.unwrap_or(400) / 4 * 4;
    let all_day = NaiveTime::MIN;
    let span = Span { open: all_day, close: NaiveTime::from_hms_opt(23, 59, 59).unwrap() };
    let ground = Ground::of(Shop { hours: OpeningHours { days: [Some(span); 7] }, ..shop() }, which, 2);
    ground.place("case", chill(0, 2_000));
    fill(&ground, trays, if asked.is_some() { 10 * trays } else { trays });
    let began = std::time::Instant::now();
    let found = ground.desk.look(|reading, shop| studies(reading, shop, start())).unwrap();
    let first = began.elapsed();
    let again = std::time::Instant::now();
    ground.desk.look(|reading, shop| studies(reading, shop, start())).unwrap();
    println!("{which:?}: {trays} trays in {} ms, once more in {} ms", first.as_millis(), again.elapsed().as_millis());
    let mut sold = 0;
    for study in found.iter().filter(|study| study.cut.code != "scrape") {
        let forecast = &study.learned.forecast;
        assert!(
            (trays / 4 - 1..=trays / 4).contains(&forecast.units_sold),
            "{}: {}",
            study.cut.code,
            forecast.units_sold
        );
        sold += forecast.units_sold;
        // A tenth of the trays were lowered, all of one or two cuts.
        assert_eq!(study.learned.lowered_units > 0.0, ["saku", "slices"].contains(&study.cut.code.as_str()));
    }
    assert!(sold >= trays - 1, "{sold} of {trays}");
}
