-- Takes the names and the day of first freezing away.
ALTER TABLE lots DROP COLUMN frozen_on;
DROP TABLE names;
