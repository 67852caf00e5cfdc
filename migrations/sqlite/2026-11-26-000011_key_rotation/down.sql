-- Takes the second secret of keys and their last use away.
ALTER TABLE access_keys DROP COLUMN previous_until;
ALTER TABLE access_keys DROP COLUMN previous_hash;
ALTER TABLE access_keys DROP COLUMN last_used_at;
ALTER TABLE access_keys DROP COLUMN first_used_at;
ALTER TABLE access_keys DROP COLUMN rotated_at;
