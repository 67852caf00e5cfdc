-- What a manager decided at a review, what was expected of it, and what is to be done by hand because of it.
-- Kept in step with migrations/postgres by tests/migrations.rs.

CREATE TABLE decisions (
    id INTEGER PRIMARY KEY,
    act_id INTEGER NOT NULL REFERENCES acts (id),
    at INTEGER NOT NULL,
    -- The local business day.
    day TEXT NOT NULL,
    cut_code TEXT NOT NULL REFERENCES cuts (code),
    way TEXT NOT NULL CHECK (way IN ('accepted', 'changed', 'declined')),
    decided_by TEXT NOT NULL,
    note TEXT,
    -- What the advice rested on: while it stays the same, it is not asked again.
    basis TEXT NOT NULL,
    -- What was chosen; none where prices were left alone.
    price_per_kg_cents INTEGER CHECK (price_per_kg_cents >= 0),
    -- Expected of what was chosen, until the last of these trays ends.
    sold_g INTEGER NOT NULL,
    revenue_cents INTEGER NOT NULL,
    kitchen_g INTEGER NOT NULL,
    kitchen_cents INTEGER NOT NULL,
    frozen_g INTEGER NOT NULL,
    frozen_cents INTEGER NOT NULL,
    wasted_g INTEGER NOT NULL,
    waste_cents INTEGER NOT NULL,
    total_cents INTEGER NOT NULL,
    -- Expected had nothing been done, now or later.
    alone_sold_g INTEGER NOT NULL,
    alone_revenue_cents INTEGER NOT NULL,
    alone_wasted_g INTEGER NOT NULL,
    alone_total_cents INTEGER NOT NULL,
    -- All that was shown, word for word.
    explanation TEXT NOT NULL,
    undone_at INTEGER,
    undone_by TEXT,
    undone_act_id INTEGER REFERENCES acts (id)
) STRICT;

CREATE INDEX decisions_by_day ON decisions (day, cut_code);

-- Each tray the advice looked at.
CREATE TABLE decision_trays (
    decision_id INTEGER NOT NULL REFERENCES decisions (id),
    tray_id INTEGER NOT NULL REFERENCES trays (id),
    -- Of its weight, what was free: not promised to the kitchen already.
    net_g INTEGER NOT NULL CHECK (net_g >= 0),
    ends_at INTEGER NOT NULL,
    old_price_per_kg_cents INTEGER NOT NULL,
    new_price_per_kg_cents INTEGER NOT NULL,
    course TEXT NOT NULL CHECK (course IN ('keep', 'mark_down', 'kitchen', 'freeze')),
    -- How likely it was to be sold before its end; of a tub, the share expected to be.
    sold_permille INTEGER NOT NULL CHECK (sold_permille BETWEEN 0 AND 1000),
    -- What was advised for it, whatever was decided: the same is not asked again that day. No price where none was to fall.
    advised_course TEXT NOT NULL DEFAULT 'keep' CHECK (advised_course IN ('keep', 'mark_down', 'kitchen', 'freeze')),
    advised_price_per_kg_cents INTEGER,
    -- What goes to the kitchen, of a tub maybe a part, and what was advised to.
    kitchen_g INTEGER NOT NULL DEFAULT 0 CHECK (kitchen_g >= 0),
    advised_kitchen_g INTEGER NOT NULL DEFAULT 0 CHECK (advised_kitchen_g >= 0),
    -- Promised to the kitchen before, and so no part of this decision.
    promised_g INTEGER NOT NULL DEFAULT 0 CHECK (promised_g >= 0),
    PRIMARY KEY (decision_id, tray_id)
) STRICT, WITHOUT ROWID;

CREATE INDEX decision_trays_by_tray ON decision_trays (tray_id);

-- Markdowns taken back because a decision was undone: a correction, never a raise.
CREATE TABLE markdowns_undone (
    markdown_id INTEGER PRIMARY KEY REFERENCES markdowns (id),
    act_id INTEGER NOT NULL REFERENCES acts (id),
    decision_id INTEGER NOT NULL REFERENCES decisions (id),
    at INTEGER NOT NULL
) STRICT;

-- What a person still has to carry to the kitchen or the freezer; it ends with a scan.
CREATE TABLE errands (
    id INTEGER PRIMARY KEY,
    decision_id INTEGER NOT NULL REFERENCES decisions (id),
    tray_id INTEGER NOT NULL REFERENCES trays (id),
    kind TEXT NOT NULL CHECK (kind IN ('kitchen', 'freeze')),
    -- Of a tub, what is still to be carried; none for a block, which goes as a whole.
    grams INTEGER CHECK (grams > 0),
    created_at INTEGER NOT NULL,
    done_at INTEGER,
    done_by TEXT,
    done_act_id INTEGER REFERENCES acts (id),
    -- Taken back with its decision, dropped by hand or by a newer decision, or its tray went elsewhere; in which act.
    dropped_at INTEGER,
    dropped_act_id INTEGER REFERENCES acts (id)
) STRICT;

CREATE INDEX errands_open ON errands (tray_id) WHERE done_at IS NULL AND dropped_at IS NULL;
CREATE INDEX errands_by_decision ON errands (decision_id);

-- What the kitchen took today is asked at every review.
CREATE INDEX acts_of_the_kitchen ON acts (at) WHERE kind = 'kitchen';
