-- The one sequence that all who follow the shop read, and what may be known of each tray for sale without asking.
-- Kept in step with migrations/postgres by tests/migrations.rs.

CREATE TABLE changes (
    id INTEGER PRIMARY KEY,
    -- One writer: ids are in the order of commits by themselves. Other than 0 only on PostgreSQL.
    xact INTEGER NOT NULL DEFAULT 0 CHECK (xact = 0),
    -- None where nobody did anything: time passed.
    act_id INTEGER REFERENCES acts (id),
    kind TEXT NOT NULL,
    at INTEGER NOT NULL,
    -- The tray that changed, if one did, and what stands on the shelf of it from now on; none when it is not for sale.
    tray_code TEXT,
    offer TEXT
) STRICT;

CREATE TRIGGER changes_are_never_changed BEFORE UPDATE ON changes BEGIN SELECT RAISE(ABORT, 'the record is append-only'); END;

-- Every tray for sale, as the last change of it said.
CREATE TABLE shelf (
    tray_id INTEGER PRIMARY KEY REFERENCES trays (id),
    tray_code TEXT NOT NULL UNIQUE,
    cut_code TEXT NOT NULL,
    place_code TEXT NOT NULL,
    -- Grams that can be sold now: none of a tray that is stopped.
    sellable_g INTEGER NOT NULL CHECK (sellable_g >= 0),
    offer TEXT NOT NULL,
    -- When time alone changes the offer next; none when it does not.
    due_at INTEGER
) STRICT;

CREATE INDEX shelf_due ON shelf (due_at) WHERE due_at IS NOT NULL;
