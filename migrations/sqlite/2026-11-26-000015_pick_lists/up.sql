-- What a case should hold, which trays a list takes for it or for an order, how far each of them is, and what was passed over.
-- Kept in step with migrations/postgres by tests/migrations.rs.

-- A place with a plan is a case that is filled from other places.
CREATE TABLE case_plans (
    place_code TEXT NOT NULL PRIMARY KEY REFERENCES places (code),
    version INTEGER NOT NULL CHECK (version >= 1)
) STRICT, WITHOUT ROWID;

CREATE TABLE case_plan_lines (
    place_code TEXT NOT NULL REFERENCES case_plans (place_code),
    cut_code TEXT NOT NULL REFERENCES cuts (code),
    trays INTEGER NOT NULL CHECK (trays >= 1),
    PRIMARY KEY (place_code, cut_code)
) STRICT, WITHOUT ROWID;

CREATE TABLE pick_lists (
    id INTEGER PRIMARY KEY,
    act_id INTEGER NOT NULL REFERENCES acts (id),
    purpose TEXT NOT NULL CHECK (purpose IN ('refill', 'order')),
    -- Of a refill the case; of an order the only place to take from.
    place_code TEXT REFERENCES places (code),
    -- None where a refill fills the whole plan.
    cut_code TEXT REFERENCES cuts (code),
    rule TEXT NOT NULL CHECK (rule IN ('fifo', 'fefo')),
    choice TEXT NOT NULL CHECK (choice IN ('oldest_first', 'closest', 'fewest', 'least_fresh')),
    -- An order asks for a count or for a weight; a refill for what the plan says.
    count INTEGER CHECK (count >= 1),
    low_g INTEGER CHECK (low_g >= 1),
    high_g INTEGER CHECK (high_g >= low_g),
    least_hours INTEGER NOT NULL CHECK (least_hours >= 0),
    highest_price_per_kg_cents INTEGER CHECK (highest_price_per_kg_cents >= 0),
    needed_at INTEGER,
    note TEXT,
    made_at INTEGER NOT NULL,
    made_by TEXT NOT NULL,
    -- A list that was not touched for long no longer reserves.
    touched_at INTEGER NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('open', 'done', 'given_up')),
    ended_at INTEGER,
    ended_by TEXT
) STRICT;

CREATE INDEX pick_lists_open ON pick_lists (id) WHERE state = 'open';

CREATE TABLE pick_lines (
    id INTEGER PRIMARY KEY,
    list_id INTEGER NOT NULL REFERENCES pick_lists (id),
    tray_id INTEGER NOT NULL REFERENCES trays (id),
    -- Of a tub what is to be drawn.
    grams INTEGER NOT NULL CHECK (grams >= 1),
    state TEXT NOT NULL CHECK (state IN ('wanted', 'picked', 'gone', 'replaced')),
    picked_at INTEGER,
    picked_by TEXT,
    -- The tray that was brought in its stead; none where the list was filled up again.
    replaced_by INTEGER REFERENCES trays (id)
) STRICT;

CREATE INDEX pick_lines_by_list ON pick_lines (list_id);
CREATE INDEX pick_lines_by_tray ON pick_lines (tray_id);

-- Every older tray that was not taken, when the list was made or filled up last.
CREATE TABLE pick_passed (
    list_id INTEGER NOT NULL REFERENCES pick_lists (id),
    tray_id INTEGER NOT NULL REFERENCES trays (id),
    why TEXT NOT NULL,
    -- The list that it was reserved for.
    other_list_id INTEGER REFERENCES pick_lists (id),
    PRIMARY KEY (list_id, tray_id)
) STRICT, WITHOUT ROWID;
