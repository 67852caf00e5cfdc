//! The tables as diesel sees them. Written by hand after the migrations; tests/migrations.rs compares. Nothing else stands here.

pub mod following;
pub mod offline;
pub mod reviewing;
pub mod terms;

diesel::table! {
    counters (name) {
        name -> Text,
        value -> BigInt,
    }
}

diesel::table! {
    species (code) {
        code -> Text,
        scientific_name -> Text,
        market_name -> Text,
        species_group -> Text,
        parasite_rule -> Text,
        parasite_note -> Nullable<Text>,
        version -> BigInt,
    }
}

diesel::table! {
    names (thing, code, language) {
        thing -> Text,
        code -> Text,
        language -> Text,
        name -> Text,
    }
}

diesel::table! {
    suppliers (code) {
        code -> Text,
        name -> Text,
        address -> Text,
        version -> BigInt,
    }
}

diesel::table! {
    cuts (code) {
        code -> Text,
        name -> Text,
        kind -> Text,
        form -> Text,
        price_per_kg_cents -> BigInt,
        raw_budget_hours -> Nullable<BigInt>,
        raw_budget_validated -> Nullable<Text>,
        item_number -> BigInt,
        label_note -> Nullable<Text>,
        version -> BigInt,
    }
}

diesel::table! {
    places (code) {
        code -> Text,
        name -> Text,
        method -> Text,
        set_point_mc -> BigInt,
        upper_limit_mc -> BigInt,
        gap_minutes -> BigInt,
        warm_minutes -> BigInt,
        expects_readings -> BigInt,
        readings_generation -> BigInt,
        version -> BigInt,
    }
}

diesel::table! {
    place_eras (place_code, from_at) {
        place_code -> Text,
        from_at -> BigInt,
        method -> Text,
        upper_limit_mc -> BigInt,
        gap_minutes -> BigInt,
        warm_minutes -> BigInt,
    }
}

diesel::table! {
    people (id) {
        id -> BigInt,
        name -> Text,
        role -> Text,
        password_hash -> Text,
        created_at -> BigInt,
        disabled_at -> Nullable<BigInt>,
    }
}

diesel::table! {
    sign_ins (token_hash) {
        token_hash -> Text,
        person_id -> BigInt,
        created_at -> BigInt,
        last_seen_at -> BigInt,
        expires_at -> BigInt,
    }
}

diesel::table! {
    access_keys (id) {
        id -> BigInt,
        key_id -> Text,
        name -> Text,
        role -> Text,
        secret_hash -> Text,
        created_at -> BigInt,
        expires_at -> BigInt,
        revoked_at -> Nullable<BigInt>,
        rotated_at -> Nullable<BigInt>,
        first_used_at -> Nullable<BigInt>,
        last_used_at -> Nullable<BigInt>,
        previous_hash -> Nullable<Text>,
        previous_until -> Nullable<BigInt>,
    }
}

diesel::table! {
    acts (id) {
        id -> BigInt,
        at -> BigInt,
        recorded_at -> BigInt,
        kind -> Text,
        actor -> Text,
        reason -> Nullable<Text>,
        reverses_act_id -> Nullable<BigInt>,
    }
}

diesel::table! {
    lots (id) {
        id -> BigInt,
        code -> Text,
        act_id -> BigInt,
        species_code -> Text,
        supplier_code -> Text,
        supplier_lot_code -> Nullable<Text>,
        supplier_use_by -> Nullable<Text>,
        received_at -> BigInt,
        received_g -> BigInt,
        cost_cents -> BigInt,
        pieces -> BigInt,
        production -> Text,
        area -> Text,
        gear -> Nullable<Text>,
        country -> Text,
        caught_from -> Text,
        caught_to -> Text,
        core_temperature_mc -> BigInt,
        grade -> BigInt,
        colour -> BigInt,
        fat -> BigInt,
        burn -> Text,
        sample -> Text,
        note -> Nullable<Text>,
        parasite_freezing -> Nullable<Text>,
        previously_frozen -> BigInt,
        frozen_on -> Nullable<Text>,
    }
}

diesel::table! {
    breakdowns (id) {
        id -> BigInt,
        act_id -> BigInt,
        at -> BigInt,
        place_code -> Text,
        input_g -> BigInt,
        output_g -> BigInt,
        named_loss_g -> BigInt,
        unexplained_g -> BigInt,
        scale_g -> BigInt,
        drip_g -> BigInt,
        reason -> Nullable<Text>,
    }
}

diesel::table! {
    breakdown_losses (id) {
        id -> BigInt,
        breakdown_id -> BigInt,
        name -> Text,
        grams -> BigInt,
    }
}

diesel::table! {
    batches (id) {
        id -> BigInt,
        breakdown_id -> Nullable<BigInt>,
        cut_code -> Text,
        made_at -> BigInt,
    }
}

diesel::table! {
    trays (id) {
        id -> BigInt,
        code -> Text,
        kind -> Text,
        cut_code -> Text,
        species_code -> Text,
        batch_id -> Nullable<BigInt>,
        place_code -> Text,
        fate -> Nullable<Text>,
        gone_at -> Nullable<BigInt>,
        net_g -> BigInt,
        initial_g -> BigInt,
        price_per_kg_cents -> BigInt,
        list_price_per_kg_cents -> BigInt,
        markdown_reason -> Nullable<Text>,
        cut_at -> BigInt,
        use_by -> Nullable<BigInt>,
        supplier_until -> Nullable<BigInt>,
        paused_left_micros -> Nullable<BigInt>,
        frozen_at -> Nullable<BigInt>,
        thawed_at -> Nullable<BigInt>,
        label_wanted -> Nullable<Text>,
        version -> BigInt,
    }
}

diesel::table! {
    lives (tray_id) {
        tray_id -> BigInt,
        as_of -> BigInt,
        raw_budget_micros -> BigInt,
        colour_budget_micros -> Nullable<BigInt>,
        frozen_budget_micros -> BigInt,
        raw_micros -> BigInt,
        colour_micros -> BigInt,
        frozen_micros -> BigInt,
        exposed_micros -> BigInt,
        hot_micros -> BigInt,
        measured_micros -> BigInt,
        assumed_micros -> BigInt,
        raw_budget_validated -> BigInt,
        date_day_one -> Nullable<Text>,
        wholly_frozen_before -> BigInt,
        parasites_frozen_at -> Nullable<BigInt>,
    }
}

diesel::table! {
    breakdown_inputs (id) {
        id -> BigInt,
        breakdown_id -> BigInt,
        tray_id -> BigInt,
        grams -> BigInt,
        life_budget_micros -> BigInt,
        life_used_micros -> BigInt,
        cut_at -> BigInt,
    }
}

diesel::table! {
    breakdown_outputs (id) {
        id -> BigInt,
        breakdown_id -> BigInt,
        tray_id -> BigInt,
        grams -> BigInt,
        life_budget_micros -> BigInt,
        life_used_micros -> BigInt,
        cut_at -> BigInt,
    }
}

diesel::table! {
    holdings (tray_id, lot_id) {
        tray_id -> BigInt,
        lot_id -> BigInt,
        grams -> BigInt,
        cost_cents -> BigInt,
    }
}

diesel::table! {
    stays (id) {
        id -> BigInt,
        tray_id -> BigInt,
        place_code -> Text,
        method -> Text,
        from_at -> BigInt,
        to_at -> Nullable<BigInt>,
    }
}

diesel::table! {
    entries (id) {
        id -> BigInt,
        act_id -> BigInt,
        lot_id -> BigInt,
        account -> Text,
        tray_id -> Nullable<BigInt>,
        grams -> BigInt,
        cost_cents -> BigInt,
    }
}

diesel::table! {
    holds (id) {
        id -> BigInt,
        act_id -> BigInt,
        scope -> Text,
        target_id -> BigInt,
        placed_at -> BigInt,
        placed_by -> Text,
        reason -> Text,
        released_at -> Nullable<BigInt>,
        released_by -> Nullable<Text>,
        release_note -> Nullable<Text>,
        release_act_id -> Nullable<BigInt>,
    }
}

diesel::table! {
    held_trays (hold_id, tray_id) {
        hold_id -> BigInt,
        tray_id -> BigInt,
    }
}

diesel::table! {
    sales (id) {
        id -> BigInt,
        act_id -> BigInt,
        at -> BigInt,
        sold_by -> Text,
        total_cents -> BigInt,
        reversed_by_act_id -> Nullable<BigInt>,
    }
}

diesel::table! {
    sale_lines (id) {
        id -> BigInt,
        sale_id -> BigInt,
        line_number -> BigInt,
        tray_id -> BigInt,
        grams -> BigInt,
        price_per_kg_cents -> BigInt,
        price_cents -> BigInt,
    }
}

diesel::table! {
    markdowns (id) {
        id -> BigInt,
        act_id -> BigInt,
        tray_id -> BigInt,
        at -> BigInt,
        old_price_per_kg_cents -> BigInt,
        new_price_per_kg_cents -> BigInt,
        reason -> Text,
    }
}

diesel::table! {
    issued_labels (id) {
        id -> BigInt,
        act_id -> BigInt,
        tray_id -> BigInt,
        at -> BigInt,
        reason -> Text,
        use_by -> Nullable<BigInt>,
        life_ends_at -> Nullable<BigInt>,
        net_g -> BigInt,
        price_per_kg_cents -> BigInt,
        list_price_per_kg_cents -> BigInt,
        markdown_reason -> Nullable<Text>,
        template -> Text,
        article -> Text,
        says -> Text,
    }
}

diesel::table! {
    count_lines (id) {
        id -> BigInt,
        act_id -> BigInt,
        tray_id -> BigInt,
        book_g -> BigInt,
        counted_g -> BigInt,
    }
}

diesel::table! {
    top_ups (id) {
        id -> BigInt,
        act_id -> BigInt,
        at -> BigInt,
        tub_id -> BigInt,
        source_id -> BigInt,
        grams -> BigInt,
    }
}

diesel::table! {
    alarms (id) {
        id -> BigInt,
        kind -> Text,
        place_code -> Nullable<Text>,
        tray_id -> Nullable<BigInt>,
        since -> BigInt,
        raised_at -> BigInt,
        reason -> Text,
        acknowledged_at -> Nullable<BigInt>,
        acknowledged_by -> Nullable<Text>,
        note -> Nullable<Text>,
        ended_at -> Nullable<BigInt>,
        cleared_at -> Nullable<BigInt>,
    }
}

diesel::table! {
    parasite_freezings (id) {
        id -> BigInt,
        act_id -> BigInt,
        scope -> Text,
        target_id -> BigInt,
        evidence -> Text,
        rule -> Text,
        place_code -> Nullable<Text>,
        from_at -> Nullable<BigInt>,
        to_at -> Nullable<BigInt>,
        temperature_mc -> BigInt,
        hours -> BigInt,
        note -> Nullable<Text>,
        recorded_at -> BigInt,
        recorded_by -> Text,
        refuted_at -> Nullable<BigInt>,
    }
}

diesel::table! {
    prints (id) {
        id -> BigInt,
        act_id -> BigInt,
        tray_id -> BigInt,
        printer -> Text,
        copies -> BigInt,
        wanted_at -> BigInt,
        state -> Text,
        reasons -> Text,
        job_id -> Nullable<BigInt>,
        job_uri -> Nullable<Text>,
        attempts -> BigInt,
        next_try_at -> BigInt,
        reason -> Nullable<Text>,
        actor -> Text,
        finished_at -> Nullable<BigInt>,
        cancel_by -> Nullable<Text>,
    }
}

diesel::table! {
    idempotency (client, route, request_key) {
        client -> Text,
        route -> Text,
        request_key -> Text,
        fingerprint -> Text,
        status -> BigInt,
        body -> Text,
        at -> BigInt,
    }
}

diesel::table! {
    readings (place_code, at) {
        place_code -> Text,
        at -> BigInt,
        temperature_mc -> BigInt,
    }
}

diesel::table! {
    reading_contradictions (id) {
        id -> BigInt,
        place_code -> Text,
        at -> BigInt,
        temperature_mc -> BigInt,
        recorded_at -> BigInt,
    }
}

diesel::table! {
    reading_deliveries (id) {
        id -> BigInt,
        place_code -> Text,
        generation -> BigInt,
        first_at -> BigInt,
        last_at -> BigInt,
        accepted -> BigInt,
        recorded_at -> BigInt,
        actor -> Text,
    }
}

diesel::allow_tables_to_appear_in_same_query!(sales, sale_lines, trays);
diesel::allow_tables_to_appear_in_same_query!(stays, trays);
diesel::allow_tables_to_appear_in_same_query!(sign_ins, people);
diesel::allow_tables_to_appear_in_same_query!(holds, held_trays, holdings);
diesel::allow_tables_to_appear_in_same_query!(acts, entries);
diesel::allow_tables_to_appear_in_same_query!(lots, holdings, trays);
diesel::allow_tables_to_appear_in_same_query!(trays, lives);
diesel::allow_tables_to_appear_in_same_query!(trays, issued_labels);
diesel::allow_tables_to_appear_in_same_query!(breakdowns, breakdown_inputs, breakdown_outputs);
diesel::allow_tables_to_appear_in_same_query!(places, cuts, species);
