-- A key is given a new secret while the old one lives on for a while, and when it was used last is known, to the hour.
-- Kept in step with migrations/sqlite by tests/migrations.rs.

ALTER TABLE access_keys ADD COLUMN rotated_at BIGINT;
ALTER TABLE access_keys ADD COLUMN first_used_at BIGINT;
ALTER TABLE access_keys ADD COLUMN last_used_at BIGINT;
ALTER TABLE access_keys ADD COLUMN previous_hash TEXT;
ALTER TABLE access_keys ADD COLUMN previous_until BIGINT;
