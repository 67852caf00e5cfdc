-- Who is told of changes, and how far: a place in the sequence for each, and only what could not be delivered letter by letter.
-- Kept in step with migrations/postgres by tests/migrations.rs.

CREATE TABLE webhooks (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    url TEXT NOT NULL,
    -- Names of events with a space between.
    kinds TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    created_by TEXT NOT NULL,
    -- Sealed with a key that is not in this database; the earlier one is good for a while after a rotation.
    secret TEXT NOT NULL,
    earlier_secret TEXT,
    earlier_until INTEGER,
    -- Raised by every change a person makes.
    version INTEGER NOT NULL,
    disabled_at INTEGER,
    disabled_why TEXT,
    -- The last change that is done with: (0, 0) or one that is there.
    position_xact INTEGER NOT NULL,
    position_id INTEGER NOT NULL,
    -- How often what comes behind it was tried, and when it is tried again.
    tries INTEGER NOT NULL CHECK (tries >= 0),
    next_try_at INTEGER NOT NULL,
    last_failure TEXT,
    dead_in_a_row INTEGER NOT NULL CHECK (dead_in_a_row >= 0),
    last_success_at INTEGER,
    -- The process that serves it, and until when it need not say so again.
    claimed_by TEXT,
    claimed_until INTEGER NOT NULL,
    test_asked_at INTEGER,
    test_outcome TEXT
) STRICT;

-- What could not be delivered. The letter itself is the change it tells of.
CREATE TABLE webhook_dead_letters (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    webhook_id INTEGER NOT NULL REFERENCES webhooks (id),
    xact INTEGER NOT NULL,
    change_id INTEGER NOT NULL,
    failed_at INTEGER NOT NULL,
    tries INTEGER NOT NULL,
    reason TEXT NOT NULL,
    -- When somebody asked to send it once more.
    replay_asked_at INTEGER,
    UNIQUE (webhook_id, xact, change_id)
) STRICT;
