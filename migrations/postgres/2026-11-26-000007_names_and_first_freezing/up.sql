-- Names of species and cuts in the languages that customers read, and the day on which fish that came frozen was frozen first.
-- Kept in step with migrations/sqlite by tests/migrations.rs.

CREATE TABLE names (
    thing TEXT NOT NULL,
    code TEXT NOT NULL,
    language TEXT NOT NULL,
    name TEXT NOT NULL,
    PRIMARY KEY (thing, code, language),
    CHECK (thing IN ('species', 'cut')),
    CHECK (language IN ('en', 'ja'))
);

ALTER TABLE lots ADD COLUMN frozen_on TEXT;
