//! README's tour is the script that is tested: the block in README equals `docs/tour.sh`, which runs against a demo and gets the answers it shows.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

mod counter;
mod support;

use std::process::Command;
use support::server::Server;

#[test]
fn the_tour_in_readme_is_the_tour_that_is_tested() {
    let readme = include_str!("../README.md");
    let tour = include_str!("../docs/tour.sh");
    assert!(readme.contains(&format!("```sh\n{tour}```")), "README's tour differs from docs/tour.sh");
    for command in ["cargo run --release -- demo", "bash tests/run"] {
        assert!(readme.contains(&format!("```sh\n{command}\n```")), "README keeps {command:?} in a block of its own");
    }
}

#[test]
fn the_tour_runs() {
    let folder = tempfile::tempdir().unwrap();
    let database = folder.path().join("demo.db");
    let binary = env!("CARGO_BIN_EXE_sakudana");
    let built = Command::new(binary).args(["demo", "--no-serve", "--database"]).arg(&database).output().unwrap();
    assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
    counter::add_manager(database.to_str().unwrap(), "Tour");
    let settings = concat!(env!("CARGO_MANIFEST_DIR"), "/demo-data/shop.toml");
    let server = Server::start_with(&["--settings", settings], database.to_str().unwrap(), None);
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/tour.sh");
    let tour = Command::new("bash")
        .args(["-euo", "pipefail", script])
        .current_dir(folder.path())
        .env("BASE", server.url(""))
        .env("NAME", "Tour")
        .env("PASSWORD", counter::PASSWORD)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&tour.stdout);
    assert!(tour.status.success(), "{said}\n{}", String::from_utf8_lossy(&tour.stderr));
    for expected in [
        r#""unexplained_g":10"#,
        r#""verdict":"sell""#,
        r#""total_cents":1715"#,
        r#""code":"already_sold""#,
        r#""passed_over":[]"#,
        r#""nothing_done":{"sold_g":"#,
        r#"{"account":"customer","grams":268"#,
        r#""sensor_fault":1"#,
        r#""limiting_clock":"raw""#,
    ] {
        assert!(said.contains(expected), "{expected} is missing in\n{said}");
    }
    let picture = std::fs::read(folder.path().join("label.png")).unwrap();
    assert!(support::decoders::zxing(&picture)[0].starts_with("https://quorneslate.example/01/"));
    let verified = Command::new(binary).args(["verify", "--database"]).arg(&database).output().unwrap();
    assert!(verified.status.success(), "{}", String::from_utf8_lossy(&verified.stdout));
}
