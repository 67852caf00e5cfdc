//! Tables of what those who follow the shop are told. Written by hand after the migrations, as `schema.rs` is. Nothing else stands here.

use super::trays;

diesel::table! {
    changes (id) {
        id -> BigInt,
        xact -> BigInt,
        act_id -> Nullable<BigInt>,
        kind -> Text,
        at -> BigInt,
        tray_code -> Nullable<Text>,
        offer -> Nullable<Text>,
    }
}

diesel::table! {
    shelf (tray_id) {
        tray_id -> BigInt,
        tray_code -> Text,
        cut_code -> Text,
        place_code -> Text,
        sellable_g -> BigInt,
        offer -> Text,
        due_at -> Nullable<BigInt>,
    }
}

diesel::table! {
    webhooks (id) {
        id -> BigInt,
        url -> Text,
        kinds -> Text,
        created_at -> BigInt,
        created_by -> Text,
        secret -> Text,
        earlier_secret -> Nullable<Text>,
        earlier_until -> Nullable<BigInt>,
        version -> BigInt,
        disabled_at -> Nullable<BigInt>,
        disabled_why -> Nullable<Text>,
        position_xact -> BigInt,
        position_id -> BigInt,
        tries -> BigInt,
        next_try_at -> BigInt,
        last_failure -> Nullable<Text>,
        dead_in_a_row -> BigInt,
        last_success_at -> Nullable<BigInt>,
        claimed_by -> Nullable<Text>,
        claimed_until -> BigInt,
        test_asked_at -> Nullable<BigInt>,
        test_outcome -> Nullable<Text>,
    }
}

diesel::table! {
    webhook_dead_letters (id) {
        id -> BigInt,
        webhook_id -> BigInt,
        xact -> BigInt,
        change_id -> BigInt,
        failed_at -> BigInt,
        tries -> BigInt,
        reason -> Text,
        replay_asked_at -> Nullable<BigInt>,
    }
}

diesel::allow_tables_to_appear_in_same_query!(shelf, trays);
