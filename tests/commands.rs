//! The program as a person or a script starts it: its help, its settings, the demo, the copy, and whether `verify` finds damage.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing, reason = "tests stop at a surprise")]

mod support;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use std::time::Duration;

use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use tempfile::TempDir;

use support::child::Watched;

/// What a command left behind.
struct Ran {
    code: Option<i32>,
    out: String,
    err: String,
}

fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sakudana"));
    for variable in ["SETTINGS", "DATABASE", "LISTEN", "LOG"] {
        command.env_remove(format!("SAKUDANA_{variable}"));
    }
    command
}

fn run_with(mut command: Command) -> Ran {
    let output = command.output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    Ran { code: output.status.code(), out: text(&output.stdout), err: text(&output.stderr) }
}

fn run(arguments: &[&str]) -> Ran {
    let mut command = program();
    command.args(arguments);
    run_with(command)
}

/// One demo for all tests of this file, built once.
fn demo() -> &'static Path {
    static DEMO: OnceLock<(TempDir, PathBuf)> = OnceLock::new();
    let (_, file) = DEMO.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("demo.db");
        let ran = run(&["demo", "--no-serve", "--database", file.to_str().unwrap()]);
        assert_eq!(ran.code, Some(0), "{}{}", ran.out, ran.err);
        assert!(ran.out.contains("invariants hold") && !ran.out.contains("WRONG"), "{}", ran.out);
        (folder, file)
    });
    file
}

fn verify(file: &Path) -> Ran {
    run(&["verify", "--database", file.to_str().unwrap()])
}

#[test]
fn help_names_every_option() {
    let rows: [(&str, &[&str]); 5] = [
        (
            "serve",
            &["--settings", "--database", "--listen", "SAKUDANA_SETTINGS", "SAKUDANA_DATABASE", "SAKUDANA_LISTEN"],
        ),
        ("demo", &["--database", "--listen", "--data", "--no-serve", "SAKUDANA_LISTEN"]),
        ("backup", &["<FILE>", "--settings", "--database", "SAKUDANA_DATABASE"]),
        ("verify", &["--settings", "--database", "SAKUDANA_DATABASE"]),
        ("openapi", &["sakudana openapi"]),
    ];
    let all = run(&["--help"]);
    assert_eq!(all.code, Some(0));
    assert!(all.out.contains("SAKUDANA_LOG") && all.out.contains("Exit codes"), "{}", all.out);
    for (command, words) in rows {
        assert!(all.out.contains(command), "--help does not name {command}");
        let help = run(&[command, "--help"]);
        assert_eq!(help.code, Some(0));
        for word in words.iter().chain(&["Example"]) {
            assert!(help.out.contains(word), "{command} --help does not say {word}:\n{}", help.out);
        }
    }
    for wrong in [&["sell"][..], &[], &["serve", "--colour"], &["backup"]] {
        assert_eq!(run(wrong).code, Some(2), "{wrong:?}");
    }
}

#[test]
fn wrong_settings_are_named_all_at_once_and_nothing_starts() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("shop.toml");
    fs::write(&file, "[shop]\nreversal_minutes = 300\ndrip = 1\n[server]\nworkers = 0\n").unwrap();
    let database = folder.path().join("shop.db");
    let ran = run(&["serve", "--settings", file.to_str().unwrap(), "--database", database.to_str().unwrap()]);
    assert_eq!(ran.code, Some(2));
    for line in [
        "shop.reversal_minutes = 300: must be a whole number from 0 to 240",
        "shop.drip: unknown key",
        "server.workers = 0: must be a whole number from 1 to 64",
    ] {
        assert!(ran.err.contains(line), "{line} is not in:\n{}", ran.err);
    }
    assert!(!database.exists());
    assert_eq!(run(&["serve", "--listen", "8080"]).code, Some(2));
    assert_eq!(run(&["verify", "--settings", "no-such-file.toml"]).code, Some(2));
    let mut by_environment = program();
    by_environment.args(["verify"]).env("SAKUDANA_SETTINGS", &file);
    assert_eq!(run_with(by_environment).code, Some(2));
}

#[test]
fn a_database_that_cannot_be_used_is_one_clear_line() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("shop.db");
    fs::write(&file, "this is no database, though it is long enough to look like one at first sight").unwrap();
    for command in ["serve", "verify"] {
        let ran = run(&[command, "--database", file.to_str().unwrap(), "--settings", "settings.example.toml"]);
        let lines: Vec<&str> = ran.err.lines().filter(|line| line.starts_with("sakudana: ")).collect();
        assert_eq!((ran.code, lines.len()), (Some(1), 1), "{command}: {}", ran.err);
    }
}

#[test]
fn looking_commands_create_no_database() {
    let folder = tempfile::tempdir().unwrap();
    let missing = folder.path().join("shop.db");
    let copy = folder.path().join("copy.db");
    assert_eq!(verify(&missing).code, Some(1));
    let copied = run(&["backup", copy.to_str().unwrap(), "--database", missing.to_str().unwrap()]);
    assert_eq!(copied.code, Some(1));
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    let server = run(&["backup", copy.to_str().unwrap(), "--database", "postgres://nobody@127.0.0.1:1/shop"]);
    assert_eq!(server.code, Some(1));
    assert!(server.err.contains("pg_dump"), "{}", server.err);
}

#[test]
fn the_first_start_shows_the_owner_once_and_ends_cleanly() {
    let folder = tempfile::tempdir().unwrap();
    let database = folder.path().join("shop.db");
    let mut shown = Vec::new();
    for _ in 0..2 {
        let mut command = program();
        command.args(["serve", "--listen", "127.0.0.1:0", "--database", database.to_str().unwrap()]);
        let mut server = Watched::start(command);
        let address =
            server.await_line(Duration::from_secs(60), |line| line.strip_prefix("listening on ").map(str::to_owned));
        assert!(address.starts_with("http://127.0.0.1:") && !address.ends_with(":0"), "{address}");
        assert_eq!(server.stop(), Some(0), "{}", server.said());
        let said = server.said();
        shown.push(said.lines().filter(|line| line.starts_with("owner sign-in: owner ")).count());
        assert!(said.contains("shop.db (sqlite)"), "{said}");
    }
    assert_eq!(shown, [1, 0]);
}

#[test]
fn the_api_is_described_in_json() {
    let ran = run(&["openapi"]);
    let document: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert!(document["openapi"].as_str().unwrap().starts_with("3.1"));
}

#[test]
fn the_demo_is_built_sound_and_never_over_something() {
    let before = fs::metadata(demo()).unwrap().len();
    let again = run(&["demo", "--no-serve", "--database", demo().to_str().unwrap()]);
    assert_eq!(again.code, Some(1));
    assert!(again.err.contains("is not empty"), "{}", again.err);
    assert_eq!(fs::metadata(demo()).unwrap().len(), before);
    assert_eq!(verify(demo()).code, Some(0));
}

/// The demo's folder, with the rows up to a day alone: short enough to build again and again.
fn short_data(folder: &Path) {
    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
    fs::create_dir(folder.join("temperatures")).unwrap();
    for inside in ["", "temperatures"] {
        for entry in fs::read_dir(data.join(inside)).unwrap() {
            let path = entry.unwrap().path();
            if path.is_file() {
                fs::copy(&path, folder.join(inside).join(path.file_name().unwrap())).unwrap();
            }
        }
    }
    // The first arrivals are enough.
    for name in
        ["breakdowns.csv", "breakdown_outputs.csv", "breakdown_losses.csv", "acts.csv", "sales.csv", "reviews.csv"]
    {
        let text = fs::read_to_string(folder.join(name)).unwrap();
        let mut kept: Vec<&str> = text.lines().take_while(|line| line.starts_with('#')).collect();
        kept.extend(text.lines().find(|line| !line.starts_with('#')));
        fs::write(folder.join(name), kept.join("\n") + "\n").unwrap();
    }
}

#[test]
fn every_contradiction_in_the_data_is_named_with_file_and_line() {
    let folder = tempfile::tempdir().unwrap();
    short_data(folder.path());
    let database = folder.path().join("demo.db");
    let build = || {
        run(&[
            "demo",
            "--no-serve",
            "--data",
            folder.path().to_str().unwrap(),
            "--database",
            database.to_str().unwrap(),
        ])
    };
    let sound = build();
    assert_eq!(sound.code, Some(0), "{}{}", sound.out, sound.err);
    fs::remove_file(&database).unwrap();
    let acts = folder.path().join("acts.csv");
    let head = fs::read_to_string(&acts).unwrap();
    let first = head.lines().count() + 1;
    let rows = "-20,06:50,Nuala Fenwright,move,F01,,moon,\n-20,06:51,Piet Marlowe,waste,F02,,,\n-20,06:52,Piet Marlowe,count,F03,1,,x\n-20,6:53,Piet Marlowe,dance,F03,1,,x\n";
    fs::write(&acts, head + rows).unwrap();
    // A plan is one act of many rows; what is refused is still laid to its row.
    let plans = folder.path().join("case_plans.csv");
    let head = fs::read_to_string(&plans).unwrap();
    let planned = head.lines().count() + 1;
    fs::write(&plans, head + "front-case,whole-fish,2\nfreezer,collar,1\n").unwrap();
    let wrong = build();
    assert_eq!(wrong.code, Some(2));
    for (file, line, word) in [
        ("acts.csv", first, "unknown_reference"),
        ("acts.csv", first + 1, "reason_required"),
        ("acts.csv", first + 2, "may not count"),
        ("acts.csv", first + 3, "dance"),
        ("case_plans.csv", planned, "is a bulk cut"),
        ("case_plans.csv", planned + 1, "is a frozen place"),
    ] {
        let start = format!("demo data {file}, line {line}: ");
        let found =
            wrong.err.lines().find(|said| said.contains(&start)).unwrap_or_else(|| panic!("{start}\n{}", wrong.err));
        assert!(found.contains(word), "{found}");
    }
    assert!(!database.exists(), "half a shop was left behind");
}

#[test]
fn a_copy_is_the_same_shop_and_writes_over_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let copy = folder.path().join("copy.db");
    let back_up = || run(&["backup", copy.to_str().unwrap(), "--database", demo().to_str().unwrap()]);
    let first = back_up();
    assert_eq!(first.code, Some(0), "{}", first.err);
    let size = fs::metadata(&copy).unwrap().len();
    assert!(first.out.contains(&format!("{size} bytes")), "{}", first.out);
    assert_eq!(back_up().code, Some(1));
    assert_eq!(fs::metadata(&copy).unwrap().len(), size);
    let (of_copy, of_demo) = (verify(&copy), verify(demo()));
    assert_eq!((of_copy.code, of_copy.out), (Some(0), of_demo.out));
    for table in ["acts", "entries", "trays", "holdings", "stays", "issued_labels", "sale_lines", "people"] {
        let query = format!("SELECT COUNT(*) AS n FROM (SELECT * FROM {table} EXCEPT SELECT * FROM other.{table})");
        let mut connection = open(demo());
        connection.batch_execute(&format!("ATTACH '{}' AS other", copy.display())).unwrap();
        assert_eq!(number(&mut connection, &query), 0, "{table}");
        assert!(number(&mut connection, &format!("SELECT COUNT(*) AS n FROM other.{table}")) > 0, "{table}");
    }
}

fn open(file: &Path) -> SqliteConnection {
    SqliteConnection::establish(file.to_str().unwrap()).unwrap()
}

#[derive(QueryableByName)]
struct Number {
    #[diesel(sql_type = diesel::sql_types::BigInt)]
    n: i64,
}

fn number(connection: &mut SqliteConnection, query: &str) -> i64 {
    diesel::sql_query(query).get_result::<Number>(connection).unwrap().n
}

/// Each invariant, and the smallest damage that breaks it alone.
const DAMAGE: &[(&str, &str)] = &[
    (
        "mass: every act sums to zero",
        "DROP TRIGGER entries_are_never_updated;
         UPDATE entries SET cost_cents = cost_cents + 1 WHERE id = (SELECT MIN(id) FROM entries WHERE account = 'customer')",
    ),
    ("mass: each lot was received once", "UPDATE lots SET received_g = received_g + 1 WHERE id = 5"),
    (
        "mass: what lies on a tray by lot",
        "UPDATE holdings SET cost_cents = cost_cents + 1 WHERE tray_id = (SELECT MAX(tray_id) FROM holdings WHERE grams > 0)",
    ),
    (
        "mass: the weight of a tray",
        "UPDATE trays SET net_g = net_g + 2 WHERE id = (SELECT MAX(id) FROM trays WHERE fate IS NULL AND kind = 'bulk')",
    ),
    (
        "mass: every ledger entry on a tray",
        "DELETE FROM holdings WHERE tray_id = (SELECT MIN(tray_id) FROM holdings WHERE grams = 0)",
    ),
    ("mass: in every breakdown", "UPDATE breakdown_losses SET grams = grams + 1 WHERE id = 3"),
    (
        "once: no block stands on two sales",
        "PRAGMA ignore_check_constraints = ON;
         INSERT INTO sale_lines (sale_id, line_number, tray_id, grams, price_per_kg_cents, price_cents)
         SELECT 1, 99, l.tray_id, 0, 0, 0 FROM sale_lines l JOIN trays t ON t.id = l.tray_id WHERE t.kind = 'block'
         ORDER BY l.id DESC LIMIT 1",
    ),
    (
        "once: a block is gone as sold",
        "UPDATE trays SET fate = 'waste' WHERE id = (SELECT MIN(id) FROM trays WHERE kind = 'block' AND fate = 'sold')",
    ),
    ("once: the weight on sales", "UPDATE sales SET total_cents = total_cents + 1 WHERE id = 7"),
    (
        "once: every reversal",
        "DROP TRIGGER acts_are_never_updated;
         UPDATE acts SET reverses_act_id = (SELECT MIN(id) FROM acts WHERE kind = 'receive')
         WHERE id = (SELECT MIN(id) FROM acts WHERE kind = 'kitchen')",
    ),
    ("never later: no label promises more", "UPDATE issued_labels SET life_ends_at = use_by - 1 WHERE id = 9"),
    (
        "never later: no later label",
        "UPDATE issued_labels SET use_by = use_by - 7200000000 WHERE id = (SELECT a.id FROM issued_labels a
         JOIN issued_labels b ON b.tray_id = a.tray_id AND b.id > a.id AND b.use_by > a.use_by - 7200000000
         JOIN trays t ON t.id = a.tray_id WHERE t.kind = 'block' AND t.frozen_at IS NULL AND t.thawed_at IS NULL LIMIT 1)",
    ),
    (
        "never later: nothing was sold after",
        "UPDATE issued_labels SET use_by = at + 1 WHERE id = (SELECT MIN(i.id) FROM issued_labels i JOIN sale_lines l ON l.tray_id = i.tray_id
         GROUP BY i.tray_id HAVING COUNT(DISTINCT i.id) = 1 LIMIT 1)",
    ),
    (
        "never later: stays follow each other",
        "UPDATE lives SET as_of = as_of + 1 WHERE tray_id = (SELECT MAX(id) FROM trays WHERE fate IS NOT NULL)",
    ),
    (
        "never later: what each tray in stock lived through",
        "UPDATE lives SET raw_micros = raw_micros - 1 WHERE tray_id = (SELECT MAX(id) FROM trays WHERE fate IS NULL)",
    ),
    (
        "never later: a tray in stock stands",
        "UPDATE trays SET place_code = 'front-case' WHERE id = (SELECT MAX(id) FROM trays WHERE fate IS NULL AND place_code = 'cold-room')",
    ),
    ("oldest first:", "UPDATE breakdown_outputs SET cut_at = cut_at + 1 WHERE id = 30"),
    (
        "whole numbers:",
        "PRAGMA ignore_check_constraints = ON;
         UPDATE trays SET price_per_kg_cents = -1, list_price_per_kg_cents = -1 WHERE id = (SELECT MAX(id) FROM trays WHERE fate IS NULL)",
    ),
    ("holds:", "UPDATE holds SET released_at = NULL, released_by = NULL, release_note = NULL, release_act_id = NULL"),
    (
        "once: what a till says of a line",
        "INSERT INTO replayed_lines (sale_id, line_number, scanned, price_cents, moved_g)
         SELECT sale_id, 1, 'x', total_cents, 1 FROM sales JOIN sale_lines ON sale_id = sales.id WHERE sales.id = 3 LIMIT 1",
    ),
    (
        "exceptions: every exception is of a sale",
        "PRAGMA foreign_keys = OFF;
         INSERT INTO exceptions (sale_id, line_number, code, scanned, moved_g, price_cents, happened_at, device_time, received_at, till)
         VALUES (999999, 1, 'on_hold', 'x', 0, 0, 0, 0, 0, 'x')",
    ),
    (
        "exceptions: what a manager's settling moved",
        "INSERT INTO exceptions (id, sale_id, line_number, code, scanned, moved_g, price_cents, happened_at, device_time, received_at, till, act_id, resolved_at, way, settled_g)
         VALUES (1, 3, 1, 'on_hold', 'x', 0, 0, 0, 0, 0, 'x', 1, 1, 'count_difference', 5);
         INSERT INTO exception_findings VALUES (1, 1, 'on_hold', 'x')",
    ),
    (
        "returns: no more came back",
        "INSERT INTO return_lines (act_id, sale_id, tray_id, grams, refund_cents, reason)
         SELECT 1, sale_id, tray_id, grams + 1, 0, 'x' FROM sale_lines WHERE sale_id = 3 LIMIT 1",
    ),
    (
        "prices:",
        "UPDATE trays SET price_per_kg_cents = price_per_kg_cents - 1
         WHERE id = (SELECT MAX(id) FROM trays WHERE fate IS NULL AND price_per_kg_cents > 0)",
    ),
    (
        "decisions:",
        "INSERT INTO decisions (id, act_id, at, day, cut_code, way, decided_by, basis, sold_g, revenue_cents, kitchen_g, kitchen_cents, frozen_g, frozen_cents,
         wasted_g, waste_cents, total_cents, alone_sold_g, alone_revenue_cents, alone_wasted_g, alone_total_cents, explanation, undone_at, undone_by, undone_act_id)
         SELECT 999999, 1, 0, '2026-11-26', cut_code, 'accepted', 'x', 'x', 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, '{}', 1, 'x', 1 FROM trays WHERE id = 1;
         INSERT INTO errands (decision_id, tray_id, kind, created_at) VALUES (999999, 1, 'kitchen', 0)",
    ),
    ("labels:", "UPDATE issued_labels SET says = '' WHERE id = 1"),
    (
        "no skipped change: on the shelf",
        "UPDATE shelf SET place_code = 'bench' WHERE tray_id = (SELECT MAX(tray_id) FROM shelf)",
    ),
    (
        "no skipped change: the last change",
        "UPDATE shelf SET offer = REPLACE(offer, 'net_weight_g\":', 'net_weight_g\":1') WHERE tray_id = (SELECT MIN(tray_id) FROM shelf)",
    ),
    (
        "picks:",
        "INSERT INTO pick_lists (id, act_id, purpose, rule, choice, count, least_hours, made_at, made_by, touched_at, state)
         SELECT n, 1, 'order', 'fefo', 'oldest_first', 1, 0, 0, 'x', 0, 'open' FROM (SELECT 9001 AS n UNION SELECT 9002);
         INSERT INTO pick_lines (list_id, tray_id, grams, state) VALUES (9001, 1, 1, 'picked'), (9002, 1, 1, 'wanted')",
    ),
    (
        "prints:",
        "INSERT INTO prints (act_id, tray_id, printer, copies, wanted_at, state, reasons, attempts, next_try_at, actor)
         SELECT act_id, (SELECT MAX(id) FROM trays) , 'counter', 1, at, 'waiting', '', 0, at, 'x' FROM issued_labels WHERE id = 1",
    ),
    (
        "webhooks:",
        "INSERT INTO webhooks (url, kinds, created_at, created_by, secret, version, position_xact, position_id, tries, next_try_at, dead_in_a_row, claimed_until)
         SELECT 'https://receiver.example/', 'tray.gone', 0, 'x', '', 1, 0, MAX(id) + 1, 0, 0, 0, 0 FROM changes",
    ),
];

#[test]
fn verify_finds_each_damage_and_blames_nothing_else() {
    let folder = tempfile::tempdir().unwrap();
    for (invariant, damage) in DAMAGE {
        let file = folder.path().join("damaged.db");
        fs::copy(demo(), &file).unwrap();
        open(&file).batch_execute(damage).unwrap_or_else(|e| panic!("{invariant}: {e}"));
        let ran = verify(&file);
        let wrong: Vec<&str> = ran.out.lines().filter(|line| line.starts_with("WRONG")).collect();
        assert!(wrong.len() == 1 && wrong[0].contains(invariant), "{invariant}: {wrong:#?}\n{}", ran.err);
        assert!(ran.out.lines().any(|line| line.starts_with("        ")), "{invariant}: nothing is named");
        assert_eq!(ran.code, Some(1), "{invariant}");
        fs::remove_file(&file).unwrap();
    }
}

/// An invariant without its damage here would be one that nobody has seen fail.
#[test]
fn every_invariant_has_its_damage() {
    let said = verify(demo()).out;
    let names: Vec<&str> = said.lines().filter_map(|line| line.split_once("checked  ").map(|(_, name)| name)).collect();
    assert_eq!(names.len(), DAMAGE.len());
    for name in names {
        assert_eq!(DAMAGE.iter().filter(|(start, _)| name.starts_with(start)).count(), 1, "{name}");
    }
}
