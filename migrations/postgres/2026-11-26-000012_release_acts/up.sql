-- Which act released a hold. Its time alone does not order it among acts that waited for one another.
-- Kept in step with migrations/sqlite by tests/migrations.rs.

ALTER TABLE holds ADD COLUMN release_act_id BIGINT;
