//! Tables of what was decided at reviews and what is carried because of it. Written by hand after the migrations, as `schema.rs` is. Nothing
//! else stands here.

use super::{markdowns, trays};

diesel::table! {
    decisions (id) {
        id -> BigInt,
        act_id -> BigInt,
        at -> BigInt,
        day -> Text,
        cut_code -> Text,
        way -> Text,
        decided_by -> Text,
        note -> Nullable<Text>,
        basis -> Text,
        price_per_kg_cents -> Nullable<BigInt>,
        sold_g -> BigInt,
        revenue_cents -> BigInt,
        kitchen_g -> BigInt,
        kitchen_cents -> BigInt,
        frozen_g -> BigInt,
        frozen_cents -> BigInt,
        wasted_g -> BigInt,
        waste_cents -> BigInt,
        total_cents -> BigInt,
        alone_sold_g -> BigInt,
        alone_revenue_cents -> BigInt,
        alone_wasted_g -> BigInt,
        alone_total_cents -> BigInt,
        explanation -> Text,
        undone_at -> Nullable<BigInt>,
        undone_by -> Nullable<Text>,
        undone_act_id -> Nullable<BigInt>,
    }
}

diesel::table! {
    decision_trays (decision_id, tray_id) {
        decision_id -> BigInt,
        tray_id -> BigInt,
        net_g -> BigInt,
        ends_at -> BigInt,
        old_price_per_kg_cents -> BigInt,
        new_price_per_kg_cents -> BigInt,
        course -> Text,
        sold_permille -> BigInt,
        advised_course -> Text,
        advised_price_per_kg_cents -> Nullable<BigInt>,
        kitchen_g -> BigInt,
        advised_kitchen_g -> BigInt,
        promised_g -> BigInt,
    }
}

diesel::table! {
    errands (id) {
        id -> BigInt,
        decision_id -> BigInt,
        tray_id -> BigInt,
        kind -> Text,
        grams -> Nullable<BigInt>,
        created_at -> BigInt,
        done_at -> Nullable<BigInt>,
        done_by -> Nullable<Text>,
        done_act_id -> Nullable<BigInt>,
        dropped_at -> Nullable<BigInt>,
        dropped_act_id -> Nullable<BigInt>,
    }
}

diesel::table! {
    markdowns_undone (markdown_id) {
        markdown_id -> BigInt,
        act_id -> BigInt,
        decision_id -> BigInt,
        at -> BigInt,
    }
}

diesel::allow_tables_to_appear_in_same_query!(decisions, decision_trays, errands, markdowns_undone, markdowns, trays);
