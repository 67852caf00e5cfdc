//! The table of the terms of cuts. Written by hand after the migrations, as `schema.rs` is. Nothing else stands here.

diesel::table! {
    cut_terms (cut_code) {
        cut_code -> Text,
        kitchen_cents_per_kg -> Nullable<BigInt>,
        kitchen_g_per_day -> Nullable<BigInt>,
        freezer_cents_per_kg -> Nullable<BigInt>,
        waste_cents_per_kg -> Nullable<BigInt>,
        elasticity_permille -> Nullable<BigInt>,
        units_per_hour_permille -> Nullable<BigInt>,
        portion_g -> Nullable<BigInt>,
        cost_cents_per_kg -> Nullable<BigInt>,
        set_by -> Text,
        set_at -> BigInt,
        version -> BigInt,
    }
}
