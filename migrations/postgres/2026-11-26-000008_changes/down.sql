DROP TABLE shelf;
DROP TABLE changes;
DROP FUNCTION xact_offset();
