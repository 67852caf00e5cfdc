//! Live stock, the change sequence and the stream of events: random days of many writers, followed, stopped, resumed and snapshotted on both
//! databases; and the same from outside, through served shops. `SAKUDANA_LIVE_ACTS` is the number of acts of each writer (20 when absent),
//! `SAKUDANA_LIVE_SEED` the seed.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "live/days.rs"]
mod days;
#[path = "model/dice.rs"]
mod dice;
#[path = "model/ground.rs"]
mod ground;
#[path = "live/late.rs"]
mod late;
#[path = "live/listener.rs"]
mod listener;
#[path = "live/replica.rs"]
mod replica;
#[path = "live/served.rs"]
mod served;
#[path = "http/setting.rs"]
mod setting;
#[path = "live/slow.rs"]
mod slow;
#[path = "prints/stub.rs"]
mod stub;
mod support;
#[path = "live/touched.rs"]
mod touched;
#[path = "live/writer.rs"]
mod writer;

use std::time::Duration;

/// Longer than anything here takes; other tests on the same server hold the feed back while they write.
const PATIENCE: Duration = Duration::from_secs(120);

/// Declares a test for each database.
macro_rules! on_both {
    ($kind:ty; $($scenario:path => $sqlite:ident, $postgres:ident;)*) => {
        $(
            #[test]
            fn $sqlite() {
                $scenario(<$kind>::Sqlite);
            }

            #[test]
            fn $postgres() {
                $scenario(<$kind>::Postgres);
            }
        )*
    };
}

on_both! { ground::Which;
    days::are_followed => days_are_followed_on_sqlite, days_are_followed_on_postgres;
}

on_both! { support::server::Kind;
    served::a_snapshot_is_told => a_snapshot_on_sqlite, a_snapshot_on_postgres;
    served::events_come => events_on_sqlite, events_on_postgres;
    served::time_is_a_change => time_on_sqlite, time_on_postgres;
    served::a_till_is_told_no_words => a_till_on_sqlite, a_till_on_postgres;
    served::streams_are_counted_and_end => streams_on_sqlite, streams_on_postgres;
}
