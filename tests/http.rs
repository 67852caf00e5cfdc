//! The HTTP interface from outside, on both databases: a whole day's work, who may do what, what is refused and how, and what every
//! answer carries. Knows the server only by its addresses; the few tables it reads from the crate are named where they are read.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "http/bad_input.rs"]
mod bad_input;
#[path = "http/bad_speech.rs"]
mod bad_speech;
#[path = "http/contents.rs"]
mod contents;
#[path = "http/guard.rs"]
mod guard;
#[path = "http/happy.rs"]
mod happy;
#[path = "http/lives.rs"]
mod lives;
#[path = "http/readings.rs"]
mod readings;
#[path = "http/rights.rs"]
mod rights;
#[path = "http/schema.rs"]
mod schema;
#[path = "http/setting.rs"]
mod setting;
#[path = "prints/stub.rs"]
mod stub;
mod support;
#[path = "http/whole_job.rs"]
mod whole_job;

/// Declares a test for each database out of one function that takes a fresh shop.
macro_rules! on_both {
    ($($scenario:path => $sqlite:ident, $postgres:ident;)*) => {
        $(
            #[test]
            fn $sqlite() {
                $scenario(&crate::setting::Shop::open(crate::support::server::Kind::Sqlite));
            }

            #[test]
            fn $postgres() {
                $scenario(&crate::setting::Shop::open(crate::support::server::Kind::Postgres));
            }
        )*
    };
}

on_both! {
    whole_job::runs => a_whole_job_on_sqlite, a_whole_job_on_postgres;
    rights::hold => rights_on_sqlite, rights_on_postgres;
    happy::every_operation_answers => every_operation_on_sqlite, every_operation_on_postgres;
    lives::are_told => lives_on_sqlite, lives_on_postgres;
    bad_input::is_refused => bad_input_on_sqlite, bad_input_on_postgres;
    readings::are_taken => readings_on_sqlite, readings_on_postgres;
    readings::flow => the_flow_of_readings_on_sqlite, the_flow_of_readings_on_postgres;
    guard::stands => the_guard_on_sqlite, the_guard_on_postgres;
}
