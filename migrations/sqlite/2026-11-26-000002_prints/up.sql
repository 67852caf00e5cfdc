-- Labels on their way to a printer. A row changes until it is over; what a person did to it stands in the acts.
CREATE TABLE prints (
    id INTEGER PRIMARY KEY,
    act_id INTEGER NOT NULL REFERENCES acts (id),
    tray_id INTEGER NOT NULL REFERENCES trays (id),
    printer TEXT NOT NULL,
    copies INTEGER NOT NULL CHECK (copies BETWEEN 1 AND 99),
    wanted_at INTEGER NOT NULL,
    state TEXT NOT NULL,
    reasons TEXT NOT NULL,
    job_id INTEGER,
    job_uri TEXT,
    attempts INTEGER NOT NULL CHECK (attempts >= 0),
    next_try_at INTEGER NOT NULL,
    reason TEXT,
    actor TEXT NOT NULL,
    finished_at INTEGER,
    cancel_by TEXT,
    CHECK (state IN ('waiting', 'sending', 'printing', 'done', 'failed', 'unknown', 'cancelled', 'superseded')),
    CHECK ((finished_at IS NOT NULL) = (state IN ('done', 'failed', 'cancelled', 'superseded'))),
    CHECK (state <> 'printing' OR job_id IS NOT NULL)
) STRICT;

CREATE INDEX prints_open ON prints (printer, id) WHERE finished_at IS NULL;
CREATE INDEX prints_by_act ON prints (act_id);
CREATE INDEX prints_by_state ON prints (state, id);
