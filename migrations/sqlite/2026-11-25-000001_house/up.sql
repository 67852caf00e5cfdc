-- The tables of the house on SQLite. Instants are UTC microseconds, mass is grams, money is cents, temperatures are milli-degrees.
-- Kept in step with migrations/postgres by tests/migrations.rs.

CREATE TABLE counters (
    name TEXT NOT NULL PRIMARY KEY,
    value INTEGER NOT NULL
) STRICT;

CREATE TABLE species (
    code TEXT NOT NULL PRIMARY KEY,
    scientific_name TEXT NOT NULL,
    market_name TEXT NOT NULL,
    species_group TEXT NOT NULL,
    parasite_rule TEXT NOT NULL,
    parasite_note TEXT,
    version INTEGER NOT NULL,
    CHECK (parasite_rule IN ('exempt', 'freeze_before_raw'))
) STRICT;

CREATE TABLE suppliers (
    code TEXT NOT NULL PRIMARY KEY,
    name TEXT NOT NULL,
    address TEXT NOT NULL,
    version INTEGER NOT NULL
) STRICT;

CREATE TABLE cuts (
    code TEXT NOT NULL PRIMARY KEY,
    name TEXT NOT NULL,
    kind TEXT NOT NULL,
    form TEXT NOT NULL,
    price_per_kg_cents INTEGER NOT NULL CHECK (price_per_kg_cents >= 0),
    raw_budget_hours INTEGER,
    raw_budget_validated TEXT,
    item_number INTEGER NOT NULL UNIQUE,
    label_note TEXT,
    version INTEGER NOT NULL,
    CHECK (kind IN ('block', 'tub', 'bulk'))
) STRICT;

CREATE TABLE places (
    code TEXT NOT NULL PRIMARY KEY,
    name TEXT NOT NULL,
    method TEXT NOT NULL,
    set_point_mc INTEGER NOT NULL,
    upper_limit_mc INTEGER NOT NULL,
    gap_minutes INTEGER NOT NULL CHECK (gap_minutes > 0),
    warm_minutes INTEGER NOT NULL CHECK (warm_minutes >= 0),
    expects_readings INTEGER NOT NULL CHECK (expects_readings IN (0, 1)),
    readings_generation INTEGER NOT NULL,
    version INTEGER NOT NULL,
    CHECK (method IN ('chill', 'superchill', 'frozen', 'ambient')),
    CHECK (set_point_mc <= upper_limit_mc)
) STRICT;

CREATE TABLE place_eras (
    place_code TEXT NOT NULL REFERENCES places (code),
    from_at INTEGER NOT NULL,
    method TEXT NOT NULL,
    upper_limit_mc INTEGER NOT NULL,
    gap_minutes INTEGER NOT NULL,
    warm_minutes INTEGER NOT NULL,
    PRIMARY KEY (place_code, from_at)
) STRICT, WITHOUT ROWID;

CREATE TABLE people (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    role TEXT NOT NULL,
    password_hash TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    disabled_at INTEGER,
    CHECK (role IN ('counter', 'cutter', 'manager', 'till', 'reader'))
) STRICT;

CREATE TABLE sign_ins (
    token_hash TEXT NOT NULL PRIMARY KEY,
    person_id INTEGER NOT NULL REFERENCES people (id),
    created_at INTEGER NOT NULL,
    last_seen_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL
) STRICT;

CREATE TABLE access_keys (
    id INTEGER PRIMARY KEY,
    key_id TEXT NOT NULL UNIQUE,
    name TEXT NOT NULL,
    role TEXT NOT NULL,
    secret_hash TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    revoked_at INTEGER,
    CHECK (role IN ('counter', 'cutter', 'manager', 'till', 'reader', 'logger'))
) STRICT;

CREATE TABLE acts (
    id INTEGER PRIMARY KEY,
    at INTEGER NOT NULL,
    recorded_at INTEGER NOT NULL,
    kind TEXT NOT NULL,
    actor TEXT NOT NULL,
    reason TEXT,
    reverses_act_id INTEGER REFERENCES acts (id)
) STRICT;

CREATE TABLE lots (
    id INTEGER PRIMARY KEY,
    code TEXT NOT NULL UNIQUE,
    act_id INTEGER NOT NULL REFERENCES acts (id),
    species_code TEXT NOT NULL REFERENCES species (code),
    supplier_code TEXT NOT NULL REFERENCES suppliers (code),
    supplier_lot_code TEXT,
    supplier_use_by TEXT,
    received_at INTEGER NOT NULL,
    received_g INTEGER NOT NULL CHECK (received_g > 0),
    cost_cents INTEGER NOT NULL CHECK (cost_cents >= 0),
    pieces INTEGER NOT NULL CHECK (pieces > 0),
    production TEXT NOT NULL,
    area TEXT NOT NULL,
    gear TEXT,
    country TEXT NOT NULL,
    caught_from TEXT NOT NULL,
    caught_to TEXT NOT NULL,
    core_temperature_mc INTEGER NOT NULL,
    grade INTEGER NOT NULL,
    colour INTEGER NOT NULL,
    fat INTEGER NOT NULL,
    burn TEXT NOT NULL,
    sample TEXT NOT NULL,
    note TEXT,
    parasite_freezing TEXT,
    previously_frozen INTEGER NOT NULL CHECK (previously_frozen IN (0, 1))
) STRICT;

CREATE TABLE breakdowns (
    id INTEGER PRIMARY KEY,
    act_id INTEGER NOT NULL REFERENCES acts (id),
    at INTEGER NOT NULL,
    place_code TEXT NOT NULL REFERENCES places (code),
    input_g INTEGER NOT NULL,
    output_g INTEGER NOT NULL,
    named_loss_g INTEGER NOT NULL,
    unexplained_g INTEGER NOT NULL,
    scale_g INTEGER NOT NULL,
    drip_g INTEGER NOT NULL,
    reason TEXT
) STRICT;

CREATE TABLE breakdown_losses (
    id INTEGER PRIMARY KEY,
    breakdown_id INTEGER NOT NULL REFERENCES breakdowns (id),
    name TEXT NOT NULL,
    grams INTEGER NOT NULL CHECK (grams > 0)
) STRICT;

CREATE TABLE batches (
    id INTEGER PRIMARY KEY,
    breakdown_id INTEGER REFERENCES breakdowns (id),
    cut_code TEXT NOT NULL REFERENCES cuts (code),
    made_at INTEGER NOT NULL
) STRICT;

CREATE TABLE trays (
    id INTEGER PRIMARY KEY,
    code TEXT NOT NULL UNIQUE,
    kind TEXT NOT NULL,
    cut_code TEXT NOT NULL REFERENCES cuts (code),
    species_code TEXT NOT NULL REFERENCES species (code),
    batch_id INTEGER REFERENCES batches (id),
    place_code TEXT NOT NULL REFERENCES places (code),
    fate TEXT,
    gone_at INTEGER,
    net_g INTEGER NOT NULL CHECK (net_g >= 0),
    initial_g INTEGER NOT NULL CHECK (initial_g >= 0),
    price_per_kg_cents INTEGER NOT NULL CHECK (price_per_kg_cents >= 0),
    list_price_per_kg_cents INTEGER NOT NULL CHECK (list_price_per_kg_cents >= 0),
    markdown_reason TEXT,
    cut_at INTEGER NOT NULL,
    use_by INTEGER,
    supplier_until INTEGER,
    paused_left_micros INTEGER,
    frozen_at INTEGER,
    thawed_at INTEGER,
    label_wanted TEXT,
    version INTEGER NOT NULL,
    CHECK (kind IN ('block', 'tub', 'bulk')),
    CHECK ((fate IS NULL) = (gone_at IS NULL)),
    CHECK (fate IS NULL OR net_g = 0),
    CHECK (price_per_kg_cents <= list_price_per_kg_cents)
) STRICT;

CREATE TABLE lives (
    tray_id INTEGER NOT NULL PRIMARY KEY REFERENCES trays (id),
    as_of INTEGER NOT NULL,
    raw_budget_micros INTEGER NOT NULL CHECK (raw_budget_micros >= 0),
    colour_budget_micros INTEGER,
    frozen_budget_micros INTEGER NOT NULL CHECK (frozen_budget_micros >= 0),
    raw_micros INTEGER NOT NULL CHECK (raw_micros >= 0),
    colour_micros INTEGER NOT NULL CHECK (colour_micros >= 0),
    frozen_micros INTEGER NOT NULL CHECK (frozen_micros >= 0),
    exposed_micros INTEGER NOT NULL CHECK (exposed_micros >= 0),
    hot_micros INTEGER NOT NULL CHECK (hot_micros >= 0),
    measured_micros INTEGER NOT NULL CHECK (measured_micros >= 0),
    assumed_micros INTEGER NOT NULL CHECK (assumed_micros >= 0),
    raw_budget_validated INTEGER NOT NULL CHECK (raw_budget_validated IN (0, 1)),
    date_day_one TEXT,
    wholly_frozen_before INTEGER NOT NULL CHECK (wholly_frozen_before IN (0, 1)),
    parasites_frozen_at INTEGER
) STRICT;

CREATE TABLE breakdown_inputs (
    id INTEGER PRIMARY KEY,
    breakdown_id INTEGER NOT NULL REFERENCES breakdowns (id),
    tray_id INTEGER NOT NULL REFERENCES trays (id),
    grams INTEGER NOT NULL CHECK (grams > 0),
    life_budget_micros INTEGER NOT NULL,
    life_used_micros INTEGER NOT NULL,
    cut_at INTEGER NOT NULL
) STRICT;

CREATE TABLE breakdown_outputs (
    id INTEGER PRIMARY KEY,
    breakdown_id INTEGER NOT NULL REFERENCES breakdowns (id),
    tray_id INTEGER NOT NULL REFERENCES trays (id),
    grams INTEGER NOT NULL CHECK (grams > 0),
    life_budget_micros INTEGER NOT NULL,
    life_used_micros INTEGER NOT NULL,
    cut_at INTEGER NOT NULL
) STRICT;

CREATE TABLE holdings (
    tray_id INTEGER NOT NULL REFERENCES trays (id),
    lot_id INTEGER NOT NULL REFERENCES lots (id),
    grams INTEGER NOT NULL CHECK (grams >= 0),
    cost_cents INTEGER NOT NULL CHECK (cost_cents >= 0),
    PRIMARY KEY (tray_id, lot_id)
) STRICT, WITHOUT ROWID;

CREATE TABLE stays (
    id INTEGER PRIMARY KEY,
    tray_id INTEGER NOT NULL REFERENCES trays (id),
    place_code TEXT NOT NULL REFERENCES places (code),
    method TEXT NOT NULL,
    from_at INTEGER NOT NULL,
    to_at INTEGER,
    CHECK (to_at IS NULL OR to_at >= from_at)
) STRICT;

CREATE TABLE entries (
    id INTEGER PRIMARY KEY,
    act_id INTEGER NOT NULL REFERENCES acts (id),
    lot_id INTEGER NOT NULL REFERENCES lots (id),
    account TEXT NOT NULL,
    tray_id INTEGER REFERENCES trays (id),
    grams INTEGER NOT NULL,
    cost_cents INTEGER NOT NULL,
    CHECK (account IN ('supplier', 'tray', 'customer', 'kitchen', 'waste', 'shrink', 'count_difference')),
    CHECK ((account = 'tray') = (tray_id IS NOT NULL))
) STRICT;

CREATE TABLE holds (
    id INTEGER PRIMARY KEY,
    act_id INTEGER NOT NULL REFERENCES acts (id),
    scope TEXT NOT NULL,
    target_id INTEGER NOT NULL,
    placed_at INTEGER NOT NULL,
    placed_by TEXT NOT NULL,
    reason TEXT NOT NULL,
    released_at INTEGER,
    released_by TEXT,
    release_note TEXT,
    CHECK (scope IN ('lot', 'batch', 'tray'))
) STRICT;

CREATE TABLE held_trays (
    hold_id INTEGER NOT NULL REFERENCES holds (id),
    tray_id INTEGER NOT NULL REFERENCES trays (id),
    PRIMARY KEY (hold_id, tray_id)
) STRICT, WITHOUT ROWID;

CREATE TABLE sales (
    id INTEGER PRIMARY KEY,
    act_id INTEGER NOT NULL,
    at INTEGER NOT NULL,
    sold_by TEXT NOT NULL,
    total_cents INTEGER NOT NULL CHECK (total_cents >= 0),
    reversed_by_act_id INTEGER REFERENCES acts (id)
) STRICT;

CREATE TABLE sale_lines (
    id INTEGER PRIMARY KEY,
    sale_id INTEGER NOT NULL REFERENCES sales (id),
    line_number INTEGER NOT NULL,
    tray_id INTEGER NOT NULL REFERENCES trays (id),
    grams INTEGER NOT NULL CHECK (grams > 0),
    price_per_kg_cents INTEGER NOT NULL CHECK (price_per_kg_cents >= 0),
    price_cents INTEGER NOT NULL CHECK (price_cents >= 0)
) STRICT;

CREATE TABLE markdowns (
    id INTEGER PRIMARY KEY,
    act_id INTEGER NOT NULL REFERENCES acts (id),
    tray_id INTEGER NOT NULL REFERENCES trays (id),
    at INTEGER NOT NULL,
    old_price_per_kg_cents INTEGER NOT NULL,
    new_price_per_kg_cents INTEGER NOT NULL CHECK (new_price_per_kg_cents >= 0),
    reason TEXT NOT NULL,
    CHECK (new_price_per_kg_cents < old_price_per_kg_cents)
) STRICT;

CREATE TABLE issued_labels (
    id INTEGER PRIMARY KEY,
    act_id INTEGER NOT NULL REFERENCES acts (id),
    tray_id INTEGER NOT NULL REFERENCES trays (id),
    at INTEGER NOT NULL,
    reason TEXT NOT NULL,
    use_by INTEGER,
    life_ends_at INTEGER,
    net_g INTEGER NOT NULL,
    price_per_kg_cents INTEGER NOT NULL,
    list_price_per_kg_cents INTEGER NOT NULL,
    markdown_reason TEXT,
    template TEXT NOT NULL,
    -- The article number in its code: item numbers and prefixes change, labels do not.
    article TEXT NOT NULL,
    -- Word for word what it says.
    says TEXT NOT NULL
) STRICT;

CREATE TABLE count_lines (
    id INTEGER PRIMARY KEY,
    act_id INTEGER NOT NULL REFERENCES acts (id),
    tray_id INTEGER NOT NULL REFERENCES trays (id),
    book_g INTEGER NOT NULL CHECK (book_g >= 0),
    counted_g INTEGER NOT NULL CHECK (counted_g >= 0)
) STRICT;

CREATE TABLE top_ups (
    id INTEGER PRIMARY KEY,
    act_id INTEGER NOT NULL REFERENCES acts (id),
    at INTEGER NOT NULL,
    tub_id INTEGER NOT NULL REFERENCES trays (id),
    source_id INTEGER NOT NULL REFERENCES trays (id),
    grams INTEGER NOT NULL CHECK (grams > 0)
) STRICT;

CREATE TABLE alarms (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL,
    place_code TEXT REFERENCES places (code),
    tray_id INTEGER REFERENCES trays (id),
    since INTEGER NOT NULL,
    raised_at INTEGER NOT NULL,
    reason TEXT NOT NULL,
    acknowledged_at INTEGER,
    acknowledged_by TEXT,
    note TEXT,
    ended_at INTEGER,
    cleared_at INTEGER,
    CHECK (kind IN ('place_too_warm', 'place_silent', 'label_too_long', 'exposure_reached')),
    CHECK ((place_code IS NULL) <> (tray_id IS NULL))
) STRICT;

CREATE TABLE parasite_freezings (
    id INTEGER PRIMARY KEY,
    act_id INTEGER NOT NULL REFERENCES acts (id),
    scope TEXT NOT NULL,
    target_id INTEGER NOT NULL,
    evidence TEXT NOT NULL,
    rule TEXT NOT NULL,
    place_code TEXT REFERENCES places (code),
    from_at INTEGER,
    to_at INTEGER,
    temperature_mc INTEGER NOT NULL,
    hours INTEGER NOT NULL,
    note TEXT,
    recorded_at INTEGER NOT NULL,
    recorded_by TEXT NOT NULL,
    refuted_at INTEGER,
    CHECK (scope IN ('lot', 'batch')),
    CHECK (evidence IN ('measured', 'supplier_letter'))
) STRICT;

CREATE TABLE idempotency (
    client TEXT NOT NULL,
    route TEXT NOT NULL,
    request_key TEXT NOT NULL,
    fingerprint TEXT NOT NULL,
    status INTEGER NOT NULL,
    body TEXT NOT NULL,
    at INTEGER NOT NULL,
    PRIMARY KEY (client, route, request_key)
) STRICT, WITHOUT ROWID;

CREATE INDEX trays_in_stock ON trays (place_code, cut_code) WHERE fate IS NULL;
CREATE INDEX trays_by_batch ON trays (batch_id);
CREATE INDEX holdings_by_lot ON holdings (lot_id);
CREATE INDEX stays_by_tray ON stays (tray_id, from_at);
CREATE INDEX stays_by_place ON stays (place_code, to_at);
CREATE INDEX top_ups_by_tub ON top_ups (tub_id);
CREATE INDEX top_ups_by_source ON top_ups (source_id);
CREATE INDEX breakdown_outputs_by_tray ON breakdown_outputs (tray_id);
CREATE INDEX breakdown_inputs_by_tray ON breakdown_inputs (tray_id);
CREATE INDEX alarms_open ON alarms (kind) WHERE cleared_at IS NULL;
CREATE INDEX stays_open ON stays (tray_id) WHERE to_at IS NULL;
CREATE INDEX entries_by_act ON entries (act_id);
CREATE INDEX entries_by_lot ON entries (lot_id);
CREATE INDEX entries_by_tray ON entries (tray_id) WHERE tray_id IS NOT NULL;
CREATE INDEX holds_open ON holds (scope, target_id) WHERE released_at IS NULL;
CREATE INDEX held_trays_by_tray ON held_trays (tray_id);
CREATE INDEX sale_lines_by_sale ON sale_lines (sale_id);
CREATE INDEX sale_lines_by_tray ON sale_lines (tray_id);
CREATE INDEX issued_labels_by_tray ON issued_labels (tray_id, at);
CREATE INDEX markdowns_by_tray ON markdowns (tray_id);
CREATE INDEX breakdown_inputs_by_breakdown ON breakdown_inputs (breakdown_id);
CREATE INDEX breakdown_outputs_by_breakdown ON breakdown_outputs (breakdown_id);
CREATE INDEX breakdown_losses_by_breakdown ON breakdown_losses (breakdown_id);

-- The ledger is append-only: a correction is a reversing entry.
CREATE TRIGGER entries_are_never_updated BEFORE UPDATE ON entries BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER entries_are_never_deleted BEFORE DELETE ON entries BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER acts_are_never_updated BEFORE UPDATE ON acts BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER acts_are_never_deleted BEFORE DELETE ON acts BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;

-- What was measured in a place. No reference to the place: it would be looked up again for each of a million rows; the delivery has one.
CREATE TABLE readings (
    place_code TEXT NOT NULL,
    at INTEGER NOT NULL,
    temperature_mc INTEGER NOT NULL,
    PRIMARY KEY (place_code, at)
) STRICT, WITHOUT ROWID;

-- Other temperatures given for the same instant, which are not the warmest.
CREATE TABLE reading_contradictions (
    id INTEGER PRIMARY KEY,
    place_code TEXT NOT NULL,
    at INTEGER NOT NULL,
    temperature_mc INTEGER NOT NULL,
    recorded_at INTEGER NOT NULL
) STRICT;

-- One row for each transaction that changed the readings of a place: generations count up by one.
CREATE TABLE reading_deliveries (
    id INTEGER PRIMARY KEY,
    place_code TEXT NOT NULL REFERENCES places (code),
    generation INTEGER NOT NULL CHECK (generation > 0),
    first_at INTEGER NOT NULL,
    last_at INTEGER NOT NULL,
    accepted INTEGER NOT NULL CHECK (accepted > 0),
    recorded_at INTEGER NOT NULL,
    actor TEXT NOT NULL,
    CHECK (first_at <= last_at)
) STRICT;

CREATE UNIQUE INDEX reading_contradictions_by_value ON reading_contradictions (place_code, at, temperature_mc);
CREATE UNIQUE INDEX reading_deliveries_by_generation ON reading_deliveries (place_code, generation);

-- What was measured stays. A warmer temperature for the same instant is the only change there is.
CREATE TRIGGER readings_only_rise BEFORE UPDATE ON readings
    WHEN NEW.place_code <> OLD.place_code OR NEW.at <> OLD.at OR NEW.temperature_mc <= OLD.temperature_mc
    BEGIN SELECT RAISE(ABORT, 'readings are kept'); END;
CREATE TRIGGER readings_are_never_deleted BEFORE DELETE ON readings BEGIN SELECT RAISE(ABORT, 'readings are kept'); END;
CREATE TRIGGER reading_contradictions_are_never_updated BEFORE UPDATE ON reading_contradictions BEGIN SELECT RAISE(ABORT, 'readings are kept'); END;
CREATE TRIGGER reading_contradictions_are_never_deleted BEFORE DELETE ON reading_contradictions BEGIN SELECT RAISE(ABORT, 'readings are kept'); END;
CREATE TRIGGER reading_deliveries_are_never_updated BEFORE UPDATE ON reading_deliveries BEGIN SELECT RAISE(ABORT, 'readings are kept'); END;
CREATE TRIGGER reading_deliveries_are_never_deleted BEFORE DELETE ON reading_deliveries BEGIN SELECT RAISE(ABORT, 'readings are kept'); END;
