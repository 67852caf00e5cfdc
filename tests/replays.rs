//! Sales of a till that was cut off, on both databases: each once whatever breaks, what contradicts the stock recorded and settled, returns to
//! waste, and the ledger even after all of it. `SAKUDANA_REPLAY_SEQUENCES` rolls more random days than by default, `SAKUDANA_REPLAY_SEED` from
//! where.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "replays/clocks.rs"]
mod clocks;
#[path = "replays/contradictions.rs"]
mod contradictions;
mod counter;
#[path = "model/dice.rs"]
mod dice;
#[path = "replays/exchanging.rs"]
mod exchanging;
#[path = "model/ground.rs"]
mod ground;
#[path = "replays/keys.rs"]
mod keys;
#[path = "replays/page.rs"]
mod page;
#[path = "replays/random.rs"]
mod random;
#[path = "replays/returning.rs"]
mod returning;
#[path = "http/setting.rs"]
mod setting;
#[path = "replays/settling.rs"]
mod settling;
#[path = "prints/stub.rs"]
mod stub;
mod support;
#[path = "replays/till.rs"]
mod till;
#[path = "replays/wire.rs"]
mod wire;

macro_rules! on_both {
    ($($module:ident::$name:ident),* $(,)?) => {
        mod sqlite {
            $(#[test] fn $name() { super::$module::$name(super::ground::Which::Sqlite); })*
        }
        mod postgresql {
            $(#[test] fn $name() { super::$module::$name(super::ground::Which::Postgres); })*
        }
    };
}

on_both!(
    contradictions::each_is_recorded_and_the_ledger_is_even,
    contradictions::time_is_that_of_the_sale,
    contradictions::a_key_is_one_sale,
    contradictions::a_sale_that_got_through_is_known_again,
    contradictions::two_tills_and_two_tabs,
    keys::a_sale_that_was_reversed_is_sold_again,
    keys::told_with_another_time_it_is_the_same_sale,
    keys::a_code_that_became_ambiguous_is_no_other_sale,
    clocks::a_sale_before_the_cutting,
    clocks::what_came_after_it_says_so,
    exchanging::what_left_a_wrong_tray_goes_back,
    exchanging::what_cannot_go_back_is_refused,
    exchanging::what_stood_against_the_right_one_is_said,
    settling::each_way_moves_what_it_says,
    settling::what_does_not_fit_is_refused,
    returning::what_comes_back_goes_to_waste,
    random::days_agree_with_a_naive_model,
    wire::ten_thousand_sales_in_little_memory,
    wire::cut_anywhere_and_sent_again,
    wire::lines_that_are_no_sales,
    wire::who_may,
);
