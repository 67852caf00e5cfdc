-- Sales of tills that were cut off, what of them contradicts the stock, and what came back from customers.

-- What a till said of a sale: by its key, and by its content, since one key may have been used twice.
CREATE TABLE replayed_sales (
    client TEXT NOT NULL,
    request_key TEXT NOT NULL,
    fingerprint TEXT NOT NULL,
    sale_id INTEGER NOT NULL REFERENCES sales (id),
    -- By the till's clock; what is to be said of that clock; when we were told; the till's own count.
    device_time INTEGER NOT NULL,
    clock TEXT NOT NULL CHECK (clock IN ('plausible', 'ahead', 'long_ago', 'backwards')),
    received_at INTEGER NOT NULL,
    sequence INTEGER,
    PRIMARY KEY (client, request_key, fingerprint)
) STRICT, WITHOUT ROWID;

CREATE INDEX replayed_sales_by_sale ON replayed_sales (sale_id);

-- Its lines as they were sent, with what they came to. Of a sale that had got through by itself, none.
CREATE TABLE replayed_lines (
    sale_id INTEGER NOT NULL REFERENCES sales (id),
    line_number INTEGER NOT NULL,
    scanned TEXT NOT NULL,
    grams INTEGER CHECK (grams > 0),
    price_cents INTEGER NOT NULL CHECK (price_cents >= 0),
    tray_id INTEGER REFERENCES trays (id),
    moved_g INTEGER NOT NULL CHECK (moved_g >= 0),
    PRIMARY KEY (sale_id, line_number)
) STRICT, WITHOUT ROWID;

CREATE TABLE exceptions (
    id INTEGER PRIMARY KEY,
    sale_id INTEGER NOT NULL REFERENCES sales (id),
    -- 0 for the sale as a whole.
    line_number INTEGER NOT NULL,
    -- The gravest of its findings.
    code TEXT NOT NULL,
    tray_id INTEGER REFERENCES trays (id),
    scanned TEXT NOT NULL,
    claimed_g INTEGER,
    moved_g INTEGER NOT NULL CHECK (moved_g >= 0),
    -- None when nobody knows how much.
    missing_g INTEGER CHECK (missing_g >= 0),
    price_cents INTEGER NOT NULL CHECK (price_cents >= 0),
    happened_at INTEGER NOT NULL,
    device_time INTEGER NOT NULL,
    received_at INTEGER NOT NULL,
    till TEXT NOT NULL,
    -- How it was settled: the act, by whom, in which way, and what that moved.
    act_id INTEGER REFERENCES acts (id),
    resolved_at INTEGER,
    resolved_by TEXT,
    way TEXT CHECK (way IN ('noted', 'was_other_tray', 'count_difference', 'recalled')),
    note TEXT,
    settled_g INTEGER NOT NULL DEFAULT 0 CHECK (settled_g >= 0),
    other_tray_id INTEGER REFERENCES trays (id),
    UNIQUE (sale_id, line_number),
    CHECK ((resolved_at IS NULL) = (act_id IS NULL)),
    CHECK ((resolved_at IS NULL) = (way IS NULL))
) STRICT;

CREATE INDEX exceptions_open ON exceptions (id) WHERE resolved_at IS NULL;
CREATE INDEX exceptions_by_tray ON exceptions (tray_id);

CREATE TABLE exception_findings (
    exception_id INTEGER NOT NULL REFERENCES exceptions (id),
    position INTEGER NOT NULL,
    code TEXT NOT NULL,
    reason TEXT NOT NULL,
    PRIMARY KEY (exception_id, position)
) STRICT, WITHOUT ROWID;

-- What customers brought back: to waste, never into stock.
CREATE TABLE return_lines (
    id INTEGER PRIMARY KEY,
    act_id INTEGER NOT NULL REFERENCES acts (id),
    sale_id INTEGER NOT NULL REFERENCES sales (id),
    tray_id INTEGER NOT NULL REFERENCES trays (id),
    grams INTEGER NOT NULL CHECK (grams > 0),
    refund_cents INTEGER NOT NULL CHECK (refund_cents >= 0),
    reason TEXT NOT NULL
) STRICT;

CREATE INDEX return_lines_by_sale ON return_lines (sale_id);
