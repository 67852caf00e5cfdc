//! The database server goes and comes back, and becomes one that only follows: the shop says so, loses nothing, and comes back by itself.

use crate::cluster::Cluster;
use crate::setting::Shop;
use crate::support::server::{Kind, Server};
use crate::till::{Till, expect_read_only, verify};

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
