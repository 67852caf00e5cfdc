//! The database server goes and comes back, and becomes one that only follows: the shop says so, loses nothing, and comes back by itself.

use crate::cluster::Cluster;
use crate::setting::Shop;
use crate::support::server::{Kind, Server};
use crate::till::{Till, expect_read_only, verify};
use diesel::connection::SimpleConnection;
use diesel::{Connection, PgConnection};

#[test]
fn a_database_server_that_goes_or_only_follows_stops_acts_until_it_is_back() {
    let cluster = Cluster::start();
    let url = cluster.url();
    let till = Till::at(Shop::served(Kind::Sqlite, |settings, _, _| {
        Server::start_with(&["--settings", settings], &url, None)
    }));
    let first = till.sell("server-goes-00001", Some(0)).expect(201);

    cluster.stop();
    let gone = till.sell("server-goes-00002", Some(1));
    assert_eq!(gone.status, 503, "{}", gone.text());
    till.await_log("reason=\"server_gone\"", 1);
    cluster.go_on();
    till.await_log("writable again", 1);
    assert_eq!(till.sell("server-goes-00002", Some(1)).expect(201).header("idempotent-replayed"), None);

    cluster.stop();
    cluster.go_on_as_standby();
    // It may take a moment until every connection that went has been replaced; nothing is sold meanwhile.
    let refused = (0..600).find_map(|_| {
        let answer = till.sell("server-goes-00003", Some(2));
        assert_eq!(answer.status, 503, "{}", answer.text());
        if answer.json()["code"] == "read_only" && answer.text().contains("takes no changes") {
            return Some(answer);
        }
        std::thread::sleep(std::time::Duration::from_millis(100));
        None
    });
    expect_read_only(
        &refused.expect("a standby is told from a server that is gone"),
        "the database server takes no changes",
    );
    till.everything_is_read();
    cluster.promote();
    till.await_log("writable again", 2);
    assert_eq!(till.sell("server-goes-00003", Some(2)).expect(201).header("idempotent-replayed"), None);
    assert_eq!(till.sell("server-goes-00001", Some(0)).expect(201).body, first.body);
    for (index, block) in till.blocks.iter().enumerate() {
        assert_eq!(till.shop.tray(block)["fate"] == "sold", index < 3, "{block}");
    }
    verify(&url);
}

/// What the shop's server asks of the database server is not seen as that server's end: not when its connections are ended one by one, and
/// not when there are none left. The control is the test above: a server that goes is noticed.
#[test]
fn connections_that_go_or_are_used_up_are_not_the_server() {
    let cluster = Cluster::start();
    let url = cluster.url();
    let till = Till::at(Shop::served(Kind::Sqlite, |settings, _, _| {
        Server::start_with(&["--settings", settings], &url, None)
    }));
    let mut own = PgConnection::establish(&url).unwrap();
    for _ in 0..3 {
        own.batch_execute(END_THE_SHOPS).unwrap();
        till.shop.reader.get("/v1/trays").send();
    }
    until_sold(&till, "connections-go-0001", 0);
    // All that there are, and then those of the shop too.
    own.batch_execute("SET application_name = 'theirs'").unwrap();
    let mut taken = Vec::new();
    for _ in 0..40 {
        while let Ok(mut one) = PgConnection::establish(&url) {
            one.batch_execute("SET application_name = 'theirs'").unwrap();
            taken.push(one);
        }
        own.batch_execute(END_THE_SHOPS).unwrap();
    }
    let full = till.sell("connections-go-0002", Some(1));
    if full.status != 201 {
        assert_eq!((full.status, &full.json()["code"] == "read_only"), (503, false), "{}", full.text());
    }
    till.shop.reader.get("/v1/trays").send();
    drop(taken);
    until_sold(&till, "connections-go-0002", 1);
    let log = till.shop.server.log();
    assert!(!log.contains("server_gone"), "{log}");
}

const END_THE_SHOPS: &str = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity \
     WHERE backend_type = 'client backend' AND pid <> pg_backend_pid() AND application_name <> 'theirs'";

/// Asks again as a till does, until it is sold; the shop is never read-only meanwhile.
fn until_sold(till: &Till, key: &str, block: usize) {
    for _ in 0..100 {
        let answer = till.sell(key, Some(block));
        if answer.status == 201 {
            return;
        }
        assert_eq!((answer.status, answer.json()["code"] == "read_only"), (503, false), "{}", answer.text());
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
    panic!("never sold: {}", till.shop.server.log());
}
