//! Tables of what tills sold while they were cut off, and of what came back. Written by hand after the migrations, as `schema.rs` is. Nothing
//! else stands here.

use super::{sales, trays};

diesel::table! {
    replayed_sales (client, request_key, fingerprint) {
        client -> Text,
        request_key -> Text,
        fingerprint -> Text,
        sale_id -> BigInt,
        device_time -> BigInt,
        clock -> Text,
        received_at -> BigInt,
        sequence -> Nullable<BigInt>,
    }
}

diesel::table! {
    replayed_lines (sale_id, line_number) {
        sale_id -> BigInt,
        line_number -> BigInt,
        scanned -> Text,
        grams -> Nullable<BigInt>,
        price_cents -> BigInt,
        tray_id -> Nullable<BigInt>,
        moved_g -> BigInt,
    }
}

diesel::table! {
    exceptions (id) {
        id -> BigInt,
        sale_id -> BigInt,
        line_number -> BigInt,
        code -> Text,
        tray_id -> Nullable<BigInt>,
        scanned -> Text,
        claimed_g -> Nullable<BigInt>,
        moved_g -> BigInt,
        missing_g -> Nullable<BigInt>,
        price_cents -> BigInt,
        happened_at -> BigInt,
        device_time -> BigInt,
        received_at -> BigInt,
        till -> Text,
        act_id -> Nullable<BigInt>,
        resolved_at -> Nullable<BigInt>,
        resolved_by -> Nullable<Text>,
        way -> Nullable<Text>,
        note -> Nullable<Text>,
        settled_g -> BigInt,
        other_tray_id -> Nullable<BigInt>,
    }
}

diesel::table! {
    exception_findings (exception_id, position) {
        exception_id -> BigInt,
        position -> BigInt,
        code -> Text,
        reason -> Text,
    }
}

diesel::table! {
    return_lines (id) {
        id -> BigInt,
        act_id -> BigInt,
        sale_id -> BigInt,
        tray_id -> BigInt,
        grams -> BigInt,
        refund_cents -> BigInt,
        reason -> Text,
    }
}

diesel::allow_tables_to_appear_in_same_query!(return_lines, trays);
diesel::allow_tables_to_appear_in_same_query!(return_lines, sales);
