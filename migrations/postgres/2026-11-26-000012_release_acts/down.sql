-- Forgets which act released a hold.
ALTER TABLE holds DROP COLUMN release_act_id;
