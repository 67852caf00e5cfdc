//! Tables of case plans and pick lists. Written by hand after the migrations, as `schema.rs` is. Nothing else stands here.

use super::trays;

diesel::table! {
    case_plans (place_code) {
        place_code -> Text,
        version -> BigInt,
    }
}

diesel::table! {
    case_plan_lines (place_code, cut_code) {
        place_code -> Text,
        cut_code -> Text,
        trays -> BigInt,
    }
}

diesel::table! {
    pick_lists (id) {
        id -> BigInt,
        act_id -> BigInt,
        purpose -> Text,
        place_code -> Nullable<Text>,
        cut_code -> Nullable<Text>,
        rule -> Text,
        choice -> Text,
        count -> Nullable<BigInt>,
        low_g -> Nullable<BigInt>,
        high_g -> Nullable<BigInt>,
        least_hours -> BigInt,
        highest_price_per_kg_cents -> Nullable<BigInt>,
        needed_at -> Nullable<BigInt>,
        note -> Nullable<Text>,
        made_at -> BigInt,
        made_by -> Text,
        touched_at -> BigInt,
        state -> Text,
        ended_at -> Nullable<BigInt>,
        ended_by -> Nullable<Text>,
    }
}

diesel::table! {
    pick_lines (id) {
        id -> BigInt,
        list_id -> BigInt,
        tray_id -> BigInt,
        grams -> BigInt,
        state -> Text,
        picked_at -> Nullable<BigInt>,
        picked_by -> Nullable<Text>,
        replaced_by -> Nullable<BigInt>,
    }
}

diesel::table! {
    pick_passed (list_id, tray_id) {
        list_id -> BigInt,
        tray_id -> BigInt,
        why -> Text,
        other_list_id -> Nullable<BigInt>,
    }
}

diesel::allow_tables_to_appear_in_same_query!(pick_lists, pick_lines, pick_passed, trays);
